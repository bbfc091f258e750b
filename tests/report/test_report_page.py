"""The page: complete, offline, escaped, and never a nought where nothing was measured."""

from __future__ import annotations

import re
from datetime import date
from html.parser import HTMLParser

import pytest

from seedlingcv.advice.verdict import Verdict
from seedlingcv.errors import OutputError
from seedlingcv.flags import Problem
from seedlingcv.photo.result import PhotoResult
from seedlingcv.report import page, words


class Reader(HTMLParser):
    """What a browser would fetch, and the words of each section and table cell."""

    def __init__(self) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.text: dict[str, str] = {}
        self.cells: dict[str, list[str]] = {}
        self._in_cell = False

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for name, value in attrs:
            if name in ("src", "href", "xlink:href", "srcset", "action", "poster", "data"):
                self.loads.append(value)
            if name == "id":
                self.ids.append(value)
        self._in_cell = self._in_cell or tag in ("td", "th")

    def handle_endtag(self, tag):
        self._in_cell = self._in_cell and tag not in ("td", "th")

    def handle_data(self, data):
        section = self.ids[-1] if self.ids else ""
        self.text[section] = self.text.get(section, "") + data
        if self._in_cell:
            self.cells.setdefault(section, []).append(data.strip())


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    return reader


@pytest.fixture(scope="module")
def html(nursery):
    return page.render_page(nursery.entries, nursery.photos, nursery.pictures, nursery.complaints,
                            today=nursery.today)


def test_nothing_is_fetched(html):
    loads = read(html).loads
    assert sum(v.startswith("data:image/jpeg;base64,") for v in loads) == 4
    assert all(v.startswith(("#", "data:image/jpeg;base64,")) for v in loads)
    assert not re.search(r"https?://", html.replace('xmlns="http://www.w3.org/2000/svg"', ""))
    assert all(u.startswith("#") for u in re.findall(r"url\(([^)]*)\)", html)) and "@import" not in html
    assert not {"script", "link", "iframe", "object", "embed"} & set(read(html).tags)


def test_every_flat_and_every_cell_is_there(html, nursery):
    for entry in nursery.entries:
        measured = entry.measurement
        section = html.split(f'id="flat-{measured.flat}"')[1].split("<section")[0]
        for cell in measured.cells:
            assert section.count(f"<title>{cell.cell}: ") == 2
            want = "–" if cell.legginess is None else f"{cell.legginess:.2f}"
            assert f"<title>{cell.cell}: {want}" in section
        assert f'aria-label="Flat {measured.flat}"' in html.split('id="flat-')[0]


def test_the_list_goes_by_dates_and_says_what_when_why_and_how_deep(html):
    first = html.split('id="flat-')[0]
    order = re.findall(r'href="#flat-(\d+)"', first)
    assert order == ["7", "45", "112"]  # 45 is to be looked at today, 112 waits
    for said in ("Pot up early", "by Thu\u00a027\u00a0Mar", "Bury the stem deep, 22\u00a0mm deeper than now",
                 "19 of 24 plants are leggy", "Keep the crown above the soil", "Check by eye",
                 "Wed\u00a02\u00a0Apr to Wed\u00a09\u00a0Apr", "Lift a full flat with two people or a cart",
                 "The photo is blurred", "Hold still", "Corner card 2 can", "Flat 45 is not in the register",
                 "Tuesday 25 March 2025"):
        assert said in first.replace("&#39;", "'"), said


def test_a_flats_page_says_what_was_assumed_missing_and_odd(html):
    tomato = html.split('id="flat-7"')[1].split("<section")[0]
    assert "A 100 mm pot." in tomato and "Night temperature." in tomato and "more light" in tomato.lower()
    lettuce = html.split('id="flat-112"')[1].split("<section")[0]
    assert "The camera was tilted 23 degrees. Hold the phone level" in lettuce
    assert words.LIMITS in html and "A small number is a sturdy plant" in html


def test_hostile_text_is_escaped(html):
    assert "<script" not in html and "&lt;script&gt;alert(" in html


def test_what_was_not_measured_is_a_dash_and_never_a_nought(html):
    reader = read(html)
    bare = [c for c in reader.cells["flat-45"] if c]
    names = [f.name for f in words.FIGURES if f.on_page]
    assert [c for c in bare if c in names] == names  # no unit is claimed for a figure not had
    assert bare.count("–") == 3 * len(names) and "0" not in bare
    assert "None" not in " ".join(reader.text.values()) and "nan" not in " ".join(reader.cells["flat-7"])


def test_the_table_gives_median_quartiles_and_plants(html, nursery):
    tomato = next(e.measurement for e in nursery.entries if e.measurement.flat == 7)
    had = tomato.summary("stem_length_mm")
    cells = [c for c in read(html).cells["flat-7"] if c]
    at = cells.index("Stem length, mm")
    assert cells[at + 1:at + 4] == [f"{had.median:.0f}", f"{had.quartile_low:.0f}–{had.quartile_high:.0f}",
                                    str(had.plants)]


def test_inches(nursery):
    html = page.render_page(nursery.entries, nursery.photos, nursery.pictures, today=nursery.today, inch=True)
    assert "7/8\u00a0in deeper than now" in html  # 22.4 mm / 25.4 = 0.88 in
    assert "Stem length, in" in html and "stem length in inches" in html and " mm deeper" not in html


def test_a_page_without_photos_or_flats_still_stands(nursery):
    alone = page.render_page(nursery.entries, today=nursery.today)
    assert "No overhead photo was used." in alone and "No side photo was used." in alone
    assert "the figures came from a table" in alone and "<image" not in alone
    assert "No flat was measured" in page.render_page([], today=nursery.today)


def test_shared_cautions_name_their_flats(nursery):
    assert page.shared_cautions(nursery.entries) == [("Lift a full flat with two people or a cart", "flat 7")]


def test_written_whole_or_refused(nursery, tmp_path):
    page.write_page(tmp_path / "list.html", nursery.entries, today=nursery.today)
    assert (tmp_path / "list.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    with pytest.raises(OutputError):
        page.write_page(tmp_path / "no" / "list.html", nursery.entries, today=nursery.today)


TODAY = date(2025, 3, 25)


@pytest.mark.parametrize(("first", "last", "said"), [
    (None, None, "no date"),
    (None, date(2025, 3, 28), "by Fri 28 Mar"),
    (date(2025, 3, 20), date(2025, 3, 28), "by Fri 28 Mar"),
    (date(2025, 3, 26), date(2025, 3, 28), "Wed 26 Mar to Fri 28 Mar"),
    (date(2025, 3, 28), date(2025, 3, 28), "on Fri 28 Mar"),
    (date(2025, 3, 28), None, "not before Fri 28 Mar"),
    (None, TODAY, "today, last good day"),
    (None, date(2025, 3, 24), "now, 1 day late"),
    (None, date(2025, 3, 20), "now, 5 days late"),
    (None, date(2026, 1, 2), "by Fri 2 Jan 2026"),
])
def test_by_when(first, last, said):
    assert words.by_when(Verdict("pot_up", earliest=first, latest=last), TODAY) == said


@pytest.mark.parametrize(("last", "said"), [
    (date(2025, 1, 19), "look today"),
    (TODAY, "today, last good day"),
    (date(2025, 3, 28), "by Fri 28 Mar"),
])
def test_an_unsure_flat_is_not_called_late(last, said):
    assert words.by_when(Verdict("unsure", latest=last), TODAY) == said


def test_a_file_that_cannot_be_read_is_told_once():
    note = "The file is empty. Copy it again from the phone."
    photo = PhotoResult("empty.png", problems=(Problem("unreadable"),), note=note)
    assert f"{words.photo_why(photo)}. {words.photo_advice(photo)}".strip() == note
    html = page.render_page([], [photo], today=TODAY)
    assert html.count("Copy it again") == 1 and ".." not in html.split("Photos that could not be used")[1]
    without = PhotoResult("empty.png", problems=(Problem("unreadable"),))
    assert words.photo_advice(without) == "Copy it again from the phone."


def test_safety_line(html):
    assert html.count(words.SAFETY) == 1
    for said in ("two people or a cart", "leads and lamps dry", "licensed", "local code"):
        assert said in words.SAFETY


def test_dates_and_lengths_stay_in_one_piece():
    assert words.unbroken("by Fri 28 Mar, 38 mm") == "by Fri\xa028\xa0Mar, 38\xa0mm"
    assert words.unbroken("1 1/2 in deeper") == "1\xa01/2\xa0in deeper"


def test_a_stretch_gradient_is_told_in_a_sentence():
    from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

    names = [f"{row}{column}" for row in "ABCDEF" for column in range(1, 13)]
    cells = tuple(CellMeasurement(n, plants=1, stem_length_mm=30.0 + 4 * int(n[1:]) + (k * 7 % 5) / 5)
                  for k, n in enumerate(names))
    told = words.gradient(FlatMeasurement(1, None, 6, 12, cells))
    # 4 mm a column of 42.6 mm, worked by hand: 9.4 mm for each 100 mm
    assert told.startswith("Stems get longer towards column 12: by 9.4 mm for each 100 mm")
    assert "0.38 in for each 4 in" in words.gradient(FlatMeasurement(1, None, 6, 12, cells), inch=True)
    level = tuple(CellMeasurement(n, plants=1, stem_length_mm=40.0 + (k * 7 % 5)) for k, n in enumerate(names))
    assert words.gradient(FlatMeasurement(1, None, 6, 12, level)).startswith("No clear change")
    assert words.gradient(FlatMeasurement(1, None, 6, 12, cells[:5])) == ""

"""A comparison as a page, in a terminal and as JSON. All flats here are invented."""

import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest
from rich.console import Console
from trial_season import flat, season

from seedlingcv.records.history import History, Lighting
from seedlingcv.report.compare_chart import compare_chart, half_interval
from seedlingcv.report.compare_export import compare_tree, write_compare_json
from seedlingcv.report.compare_page import render_compare
from seedlingcv.report.compare_terminal import print_compare
from seedlingcv.trials.answer import answer
from seedlingcv.trials.compare import compare
from seedlingcv.trials.design import Question

STEM = Question(figure="stem_length_mm")
TWO = season({"new panel": [38, 40, 37, 41], "old tubes": [50, 47, 52, 48]})
EVIL = "<script>alert(1)</script> & \"tubes\" [bold]"


class Reader(HTMLParser):
    """The page's words outside style and drawing, its open tags, and what it would fetch."""

    def __init__(self):
        super().__init__()
        self.words, self.open, self.fetched, self.tags = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag not in ("meta", "link", "img", "br", "circle", "path", "rect", "line"):
            self.open.append(tag)
        self.fetched += [v for k, v in attrs if k in ("src", "href", "xlink:href")]

    def handle_endtag(self, tag):
        if tag not in ("circle", "path", "rect", "line"):
            assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.words.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    return reader


def said(page: str) -> str:
    return re.sub(r"\s+", " ", " ".join(read(page).words).replace("\u00a0", " "))


def in_terminal(comparison, width: int = 80, **more) -> str:
    out = io.StringIO()
    print_compare(Console(file=out, width=width), comparison, **more)
    return out.getvalue()


def test_the_answer_comes_first_and_the_page_needs_nothing_else():
    found = compare(TWO, STEM)
    page = render_compare(found)
    words = said(page)
    assert words.index(answer(found)) < words.index("Every flat") < words.index("Differences")
    reader = read(page)
    assert reader.fetched == [] and "script" not in reader.tags and "url(" not in page


def test_every_flat_is_drawn_with_its_name():
    found = compare(TWO, STEM)
    drawing = ElementTree.fromstring(str(compare_chart(found)))
    titles = [t.text for t in drawing.iter() if t.tag.endswith("title")]
    assert len(titles) == 8 and titles[0].startswith("flat 33: 37.0 mm, 24 plants")
    labels = [t.text for t in drawing.iter() if t.tag.endswith("text")]
    assert all(f"flat {n}" in labels for n in range(31, 39))
    big = [c for c in drawing.iter() if c.tag.endswith("circle") and c.get("r") == "4.6"]
    plants = [c for c in drawing.iter() if c.tag.endswith("circle") and c.get("r") == "1.7"]
    assert len(big) == 8 and len(plants) == 8 * 24


def test_dots_stand_where_their_figures_are():
    """Two flats' dots are as far apart as their means, on the scale of the axis's own numbers."""
    drawing = ElementTree.fromstring(str(compare_chart(compare(TWO, STEM))))
    at = {}
    for g in drawing.iter():
        if g.tag.endswith("}g") or g.tag == "g":
            title = next((t.text for t in g if t.tag.endswith("title")), None)
            if title:
                at[title.split(":")[0]] = float(next(c.get("cx") for c in g if c.get("r") == "4.6"))
    axis = {float(t.text): float(t.get("x")) for t in drawing.iter()
            if t.tag.endswith("text") and t.text and re.fullmatch(r"\d+", t.text)}
    (v0, x0), *_, (v1, x1) = sorted(axis.items())
    scale = (x1 - x0) / (v1 - v0)
    assert at["flat 37"] - at["flat 33"] == pytest.approx((52 - 37) * scale, abs=0.2)
    assert at["flat 31"] == pytest.approx(x0 + (38 - v0) * scale, abs=0.2)


def test_flats_of_a_shelf_are_drawn_too():
    flats = [flat(10 * s + i, [40 + s + i, 42, 44], light="ab"[s % 2], shelf=str(s))
             for s in range(4) for i in range(3)]
    drawing = str(compare_chart(compare(History(tuple(flats)), STEM)))
    assert drawing.count('r="4.6"') == 4 and drawing.count('r="3.8"') == 12
    assert "x its flats" in in_terminal(compare(History(tuple(flats)), STEM))


def test_a_long_name_leaves_room_for_the_mean():
    """Some 7 px a character at this size: a head of 52 characters fits the drawing."""
    long = "Leuchte über dem Südfenster, doppelt gehängt, 4000 K"
    drawing = ElementTree.fromstring(str(compare_chart(compare(season({long: [38, 40], "b": [50, 47]}), STEM))))
    heads = ["".join(t.itertext()) for t in drawing.iter() if t.get("font-weight") == "700"]
    assert len(heads) == 2 and heads[0].endswith("… mean 39.0 mm") and len(heads[0]) <= 52


def test_half_interval_against_scipy():
    from scipy import stats

    cells = [3.1, 4.0, 2.2, 5.3, 4.4]
    low, high = stats.t.interval(0.95, 4, loc=sum(cells) / 5, scale=stats.sem(cells))
    assert half_interval(cells) == pytest.approx((high - low) / 2)


def test_all_that_growers_write_is_escaped():
    lamp = Lighting(EVIL, EVIL, kind=EVIL, spectrum=EVIL, ppfd_umol=((200.0,),), hours=16, distance_mm=300)
    flats = [flat(i, [40 + i % 4, 44], light=[EVIL, "b"][i % 2], batch=EVIL, shelf=f"{EVIL}{i}", variety=EVIL,
                  lighting=lamp) for i in range(8)] + [flat(99, [40], light=None)]
    page = render_compare(compare(History(tuple(flats)), STEM))
    assert "<script" not in page and "&lt;script&gt;" in page
    assert EVIL in "".join(read(page).words).replace("\u00a0", " ")
    assert "[bold]" in in_terminal(compare(History(tuple(flats)), STEM))


def test_what_was_left_out_is_named():
    history = History((*TWO.flats, flat(61, [40], age=9), flat(62, [40], age=9)))
    page = said(render_compare(compare(history, STEM)))
    assert "Flats 61 and 62: not measured at 21 days: measured at 9." in page
    assert "flats 61 and 62: not measured at 21 days" in " ".join(in_terminal(compare(history, STEM)).split())


def test_nothing_claimed_shows_no_interval_and_no_p():
    page = render_compare(compare(season({"a": [38], "b": [44]}), STEM))
    words = said(page)
    assert "Nothing can be said about the lights yet" in words and "not tested" in words
    table = words[words.index("Differences"):words.index("What was compared")]
    assert "95 %" not in table and " p " not in table.split("not tested")[0]
    assert "would matter" not in str(compare_chart(compare(season({"a": [38], "b": [44]}), STEM)))


def test_light_facts_are_shown():
    """207 umol m-2 s-1 for 16 h are 11.9 mol m-2 d-1 (x 3600 x 16 / 10^6)."""
    lamp = Lighting("1", "x", "LED panel", "white 4000 K", ((207.0,),), hours=16, distance_mm=300)
    flats = [flat(i, [40 + i % 4, 44], light="ab"[i % 2], lighting=lamp) for i in range(6)]
    found = compare(History(tuple(flats)), STEM)
    assert "LED panel, white 4000 K, 207 µmol for 16 h: 11.9 mol a day, 300 mm away" in said(render_compare(found))
    assert "12 in away" in said(render_compare(found, inch=True))


def test_several_lights_have_a_line_and_a_row_for_each_pair():
    found = compare(season({"a": [38, 40, 37], "b": [39, 40, 38], "c": [60, 62, 61]}), STEM)
    words = said(render_compare(found))
    assert "No difference that would matter: 'a' and 'b'" in words and "a − b" in words
    assert "Tukey-Kramer" in words and "Over all: F =" in words


def test_whole_flats_and_plants_are_counted_apart():
    line, *others = season({"a": [38, 40, 37], "b": [44, 46, 43]}).flats
    day = line.days[0]
    cell = replace(day.measurement.cells[0], cell="all")
    line = replace(line, days=(replace(day, measurement=replace(day.measurement, cells=(cell,))),))
    found = compare(History((line, *others)), STEM)
    assert "3 flats, 48 plants, 1 as one line for the whole flat" in said(render_compare(found))
    assert "flat 31: " in str(compare_chart(found)) and "a line for the whole flat" in str(compare_chart(found))
    assert compare_tree(found)["units"][0]["flats"][0]["plants"] is None


def test_inches_on_the_page():
    page = said(render_compare(compare(TWO, STEM), inch=True))
    assert "Stem length, in" in page and "1.46" in page  # 37 mm


@pytest.mark.parametrize("history", [TWO, season({"a": [38], "b": [44]}),
                                     season({"a": [38, 40, 37], "b": [39, 40, 38], "c": [60, 62, 61]})])
def test_the_terminal_fits_80_columns(history):
    text = in_terminal(compare(history, STEM))
    assert max(len(line) for line in text.splitlines()) <= 80
    assert " ".join(answer(compare(history, STEM)).split()) in " ".join(text.split())
    assert all(f.place in text for f in history.flats)


def test_json_holds_what_was_found(tmp_path):
    found = compare(TWO, STEM)
    write_compare_json(tmp_path / "c.json", found)
    tree = json.loads((tmp_path / "c.json").read_text())
    (d,) = tree["differences"]
    assert (d["estimate"], d["low"], d["high"]) == (found.differences[0].estimate, found.differences[0].low,
                                                    found.differences[0].high)
    assert d["verdict"] == "maybe matters" and tree["claimed"] is True
    assert [u["flats"][0]["flat"] for u in tree["units"]] == list(range(31, 39))
    assert tree["planning"]["each"] == found.planning.each
    bare = compare_tree(compare(season({"a": [38], "b": [44]}), STEM))
    assert bare["claimed"] is False and bare["differences"][0]["low"] is None and bare["differences"][0]["p"] is None

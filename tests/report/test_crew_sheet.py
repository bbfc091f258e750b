"""The crew sheet, read back from the finished PDF by pdfium. Nurseries, names and figures are INVENTED."""

import csv
import ctypes
import io
import itertools
from datetime import date
from functools import cache

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from seedlingcv.advice.burial import burial_depth
from seedlingcv.advice.pots import LARGE_POT, SMALL_POT
from seedlingcv.advice.verdict import Verdict
from seedlingcv.crops.crop import load_crop
from seedlingcv.errors import OutputError
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import Entry
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.report.crew_facts import SAFETY, count, label_rows
from seedlingcv.report.crew_sheet import crew_pdf, write_crew_sheet, write_label_list
from seedlingcv.report.depth_drawing import THICK
from seedlingcv.report.depth_plan import depth_plan
from seedlingcv.report.words import burial_lines

TODAY = date(2025, 4, 2)
MM = 72 / 25.4  # points in a mm (ISO 32000-1)
LONG_NAME = "Invented Giant of the Northern Shore and of the Southern Valley, selection 27, late, for the long bench"


def cells(rows, columns, *, stem=60.0, seed_leaves=30.0, leaves=3, spread=75.0):
    """Every 17th cell empty, every 13th doubled, every 29th not counted; every 11th stem twice as long."""
    out = []
    for place in range(rows * columns):
        name = f"{chr(ord('A') + place // columns)}{place % columns + 1}"
        if place % 29 == 28:
            out.append(CellMeasurement(name))
        elif place % 17 == 5:
            out.append(CellMeasurement(name, plants=0))
        elif place % 13 == 7:
            out.append(CellMeasurement(name, plants=2))
        else:
            longer = 2.0 if place % 11 == 3 else 1.0
            out.append(CellMeasurement(name, plants=1, true_leaves=leaves, leaf_spread_mm=spread,
                                       stem_length_mm=stem and stem * longer, hypocotyl_length_mm=seed_leaves))
    return tuple(out)


def entry(flat, crop, variety, rows=6, columns=12, *, action="pot_up", pot=None, stretched=False, latest=TODAY,
          cautions=None, part=None, as_of=None, reasons=("for a reason",), **plant):
    measured = FlatMeasurement(flat, TODAY, rows, columns, cells(rows, columns, **plant), crop, variety)
    known = load_crop(crop)
    depth = burial_depth(measured, known, pot=pot, stretched=stretched) if action.startswith("pot_up") else None
    return Entry(measured, Verdict(
        action=action, burial=known.burial if depth else None, burial_depth_mm=depth and depth.depth_mm, depth=depth,
        latest=latest, due=latest, reasons=reasons, as_of=as_of, leggy_share=0.1,
        cautions=known.cautions if cautions is None else cautions), part)


@cache
def nursery():
    """Eight flats to pot up, five others; working order by day, then number."""
    day = [date(2025, 4, n) for n in range(1, 9)]
    return (
        entry(31, "tomato", "Harbor Lantern", latest=day[0]),
        entry(104, "tomato", LONG_NAME, 5, 10, stretched=True, action="pot_up_early", latest=day[1], stem=150.0,
              seed_leaves=60.0, leaves=5, pot=SMALL_POT),
        entry(33, "tomato", "Harbor Lantern", stretched=True, latest=day[2], stem=110.0, seed_leaves=45.0, leaves=5,
              pot=LARGE_POT),
        entry(12, "lettuce", "=1+1", latest=day[3], stem=None, seed_leaves=None),
        entry(13, "basil", "<b>Sweet</b> & Example", latest=day[4], stem=48.0, seed_leaves=22.0, leaves=4),
        entry(15, "cucumber", "Žlutá", 3, 6, latest=day[5], stem=70.0, seed_leaves=45.0, leaves=2, spread=140.0),
        entry(288, "eggplant", "Баклажан", 12, 24, latest=day[6], seed_leaves=None),
        entry(580, "pepper", "Little Bell", latest=day[7], part="rows A-C"),
        entry(20, "cucumber", "Stretched", action="sow_again", reasons=("Stems 2.0 x the leaf spread",)),
        entry(21, "cabbage", "Young", action="wait", latest=day[7], reasons=("0 true leaves",)),
        entry(22, "pepper", "Odd", action="unsure", reasons=("No leaves could be measured: look at the flat",)),
        entry(23, "carrot", "Straight", action="do_not_transplant", reasons=("Carrot has a tap root",)),
        entry(24, "tomato", "Old", as_of=date(2025, 3, 1), reasons=("3 true leaves",)),
    )


WORK = ("31", "104", "33", "12", "13", "15", "288", "580")


@cache
def sheet(**options):
    options.setdefault("today", TODAY)
    return crew_pdf(nursery(), **options)[0]


@cache
def document(paper="a4", compact=False, inch=False):
    return pypdfium2.PdfDocument(sheet(paper=paper, compact=compact, inch=inch))


def words(pdf, page):
    return " ".join(pdf[page].get_textpage().get_text_range().split())


def all_words(pdf):
    return [words(pdf, i) for i in range(len(pdf))]


def page_of(number, pdf):
    """The work page of a flat: it begins with FLAT and the number."""
    return next(i for i, told in enumerate(all_words(pdf)) if told.startswith("FLAT") and f" {number} " in told[:30])


SHEETS = [("a4", False), ("letter", False), ("a4", True), ("letter", True)]


def test_each_flat_to_pot_up_has_its_page_in_working_order_and_no_other_flat_has():
    pdf = document()
    found = [page_of(n, pdf) for n in WORK]
    assert found == sorted(found) and found == list(range(found[0], found[0] + len(WORK)))
    assert sum(told.startswith("FLAT") for told in all_words(pdf)) == len(WORK)
    order = words(pdf, 0)
    places = [order.index(f"FLAT {n}") for n in WORK]
    assert places == sorted(places)
    assert not any(f"FLAT {n}" in order for n in (20, 21, 22, 23, 24))


def test_the_last_page_says_which_flats_are_left_alone_and_why():
    labels, _, last = all_words(document())[-1].partition("Not to be potted up today")
    assert labels.startswith("Labels to write")  # there is room for both
    for told in ("SOW AGAIN", "Stems 2.0 x the leaf spread", "WAIT", "0 true leaves", "CHECK BY EYE",
                 "No leaves could be measured", "DO NOT TRANSPLANT", "Carrot has a tap root", "LOOK FIRST"):
        assert told in last
    assert all(f" {n} " in last for n in (20, 21, 22, 23, 24))


def test_a_work_page_says_how_many_which_pot_how_deep_and_what_never_to_do():
    told = words(document(), page_of(31, document()))
    counted = count(nursery()[0])
    # 72 cells as `cells` lays them: two not counted, every 17th from the 6th empty, every 13th from the 8th doubled
    assert (counted.singles, counted.doubles, counted.empty, counted.unknown) == (61, 5, 4, 2)
    assert counted.pots == 66
    assert "66+ pots and labels 61 single plants 5 cells to thin 4 empty cells 2 not counted" in told
    for line in ("Harbor Lantern", "pots and labels", "single plants", "cells to thin", "empty cells", "not counted",
                 "3 1/2 in square: 90 mm wide, 80 mm deep", "Plugs and mix evenly moist",
                 "clean, dry pot before you fill", "sun won't bleach",
                 "Fill loosely, no air pockets, 13 mm free below the rim", "NEVER press",
                 "Tip the tray, squeeze the cell, slide the plug out", "NEVER pull by the stem", "snip the other off",
                 "10 mm deeper than now", "poisonous if eaten", "Row A: the side where the flat's tag hangs"):
        assert line in told, line


def test_steps_fit_the_crop():
    pdf = document()
    assert [nursery()[i].verdict.depth.way for i in (0, 1, 2)] == ["upright", "deeper_pot", "laid"]
    laid, deep, crown, once = (words(pdf, page_of(n, pdf)) for n in (33, 104, 12, 15))
    for flat, told in ((nursery()[2], laid), (nursery()[1], deep), (nursery()[3], crown), (nursery()[5], once)):
        for line in burial_lines(flat.verdict):
            assert line in told
        assert load_crop(flat.measurement.crop).crown_rule in told
    assert "slantwise" in laid and "Pinch off the seed leaves" in laid
    assert "DEEP pot" in deep and "Pinch off the seed leaves and the lowest" in deep
    assert "crown stays in sight" in crown and "Pinch off" not in crown
    assert "Keep the plug whole" in once and "Keep the plug whole" not in laid
    assert "not measured: drawn as an example" in words(pdf, page_of(288, pdf))
    assert "rows A-C" in words(pdf, page_of(580, pdf))


def test_inches_for_those_who_want_them():
    pdf = document(inch=True)
    told = words(pdf, page_of(31, pdf))
    assert "1/2 in free" in told and "3/8 in deeper than now" in told and "mm deeper" not in told
    assert "2 in drawn 1 :" in told


def test_safety_is_said_and_defers_to_local_rules():
    told = " ".join(all_words(document()))
    for heading, line in SAFETY:
        assert heading in told and line in told
    for must in ("knees", "carbon monoxide", "licensed people", "NEVER mix bleach", "Local rules", "dry"):
        assert must in told


def test_names_long_strange_or_hostile_are_printed_as_text():
    pdf = document()
    assert "selection 27" in words(pdf, page_of(104, pdf))
    assert "<b>Sweet</b> & Example" in words(pdf, page_of(13, pdf))
    assert "Žlutá" in words(pdf, page_of(15, pdf)).replace("Ž", "Ž")
    assert "(name: see the register)" in words(pdf, page_of(288, pdf))


def colours(piece):
    """Fill and stroke, red, green, blue and opacity, 0-255."""
    out = set()
    for ask in (pdfium.FPDFPageObj_GetFillColor, pdfium.FPDFPageObj_GetStrokeColor):
        parts = [ctypes.c_uint() for _ in range(4)]
        if ask(piece, *parts):
            out.add(tuple(part.value for part in parts))
    return out


@pytest.mark.parametrize(("paper", "compact"), SHEETS)
def test_only_black_and_white_and_nothing_in_the_outer_margin(paper, compact):
    """Every line and fill is ink or paper. A4 is 210 x 297 mm (ISO 216), US Letter 8 1/2 x 11 in."""
    pdf = document(paper, compact)
    size = {"a4": (210, 297), "letter": (215.9, 279.4)}[paper]
    for page in pdf:
        assert np.array(page.get_size()) / MM == pytest.approx(size, abs=0.01)
        for piece in page.get_objects():
            assert piece.type in (pdfium.FPDF_PAGEOBJ_TEXT, pdfium.FPDF_PAGEOBJ_PATH)
            assert colours(piece) <= {(0, 0, 0, 255), (255, 255, 255, 255)}
        picture = page.render(scale=1.5).to_numpy()
        rows, columns = np.nonzero(picture[..., 0] < 128)
        room = [rows.min(), columns.min(), picture.shape[0] - rows.max(), picture.shape[1] - columns.max()]
        assert min(room) / (1.5 * MM) > 9


def text_boxes(page):
    """(left, bottom, right, top, size) of each piece of text, points."""
    out = []
    for piece in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_TEXT]):
        size, matrix = ctypes.c_float(), pdfium.FS_MATRIX()
        pdfium.FPDFTextObj_GetFontSize(piece, size)
        pdfium.FPDFPageObj_GetMatrix(piece, matrix)
        out.append((*piece.get_bounds(), size.value * matrix.d))
    return out


@pytest.mark.parametrize(("paper", "compact"), SHEETS)
def test_no_words_lie_over_others_and_none_are_small(paper, compact):
    pdf = document(paper, compact)
    for number, page in enumerate(pdf):
        boxes = text_boxes(page)
        sizes = sorted(box[4] for box in boxes)
        assert sizes[0] > 3 and sizes[len(sizes) // 4] > 8.4, number  # the smallest stand in a map of 288 cells
        for one, other in itertools.combinations(boxes, 2):
            wide = min(one[2], other[2]) - max(one[0], other[0])
            tall = min(one[3], other[3]) - max(one[1], other[1])
            assert wide < 1 or tall < 1, (number, one, other)


def paths(page):
    return [piece.get_bounds() for piece in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH])]


@pytest.mark.parametrize("number", [31, 104, 12, 13, 15])
def test_the_drawing_is_to_scale(number):
    """In points on the page, by pdfium: the bar, both plugs, and how far the old soil line lies below the new one."""
    pdf, index = document(), WORK.index(str(number))
    flat = nursery()[index]
    page = pdf[page_of(number, pdf)]
    told = words(pdf, page_of(number, pdf))
    one_to = float(told.partition("drawn 1 : ")[2].split()[0])
    plan = depth_plan(flat.measurement, flat.verdict.depth, load_crop(flat.measurement.crop))
    boxes = paths(page)

    def with_size(wide_mm, tall_mm):
        """To a third of a mm on paper; pdfium's bounds reach a line's width beyond a drawn outline."""
        ends = [(b[2] - b[0] - 2 * THICK * MM, b[3] - b[1] - 2 * THICK * MM) for b in boxes]
        wanted = np.array([wide_mm, tall_mm]) / one_to * MM
        return [b for b, size in zip(boxes, ends, strict=True) if np.abs(size - wanted).max() < 0.3 * MM]

    bar = [b for b in boxes if abs(b[2] - b[0] - 50 / one_to * MM) < 0.3 and abs(b[3] - b[1] - 1.2 * MM) < 0.3]
    assert len(bar) == 1
    plugs = with_size(plan.plug_wide_mm, plan.plug_mm)
    assert len(plugs) == 2  # now, and in the pot
    old, new = (np.array(b) + np.array([1, 1, -1, -1]) * THICK * MM for b in sorted(plugs))
    # bench to the new plug's foot, as the plan has it
    assert (new[1] - old[1]) / MM * one_to == pytest.approx(max(0.0, plan.plug_foot_mm), abs=0.5)
    surface = old[1] / MM * one_to + plan.pot_mm - 13  # 13 mm of headspace
    assert surface - new[3] / MM * one_to == pytest.approx(plan.covered_mm, abs=1.5)


def test_labels_add_up_and_follow_the_working_order(tmp_path):
    rows = label_rows(nursery())
    assert [r.variety for r in rows][:3] == ["Harbor Lantern", LONG_NAME, "=1+1"]
    assert rows[0].flats == ("31 (66)", "33 (66)") and rows[0].labels == 132 and rows[0].uncounted == 4
    assert sum(r.labels for r in rows) == sum(count(e).pots for e in nursery()[:8])
    out = tmp_path / "labels.csv"
    write_label_list(out, nursery())
    read = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert [r["labels"] for r in read] == [str(r.labels) for r in rows]
    assert read[2]["variety"] == "'=1+1"  # no formula in a spreadsheet
    told = next(t for t in all_words(document()) if t.startswith("Labels to write"))
    assert f"together {sum(r.labels for r in rows)}+" in told and "flat 31 (66), 33 (66)" in told


def test_a_flat_known_by_one_line_only_is_to_be_counted():
    line = CellMeasurement(WHOLE_FLAT, plants=1, true_leaves=3, stem_length_mm=60.0, hypocotyl_length_mm=30.0)
    measured = FlatMeasurement(40, TODAY, 0, 0, (line,), "tomato", "By hand")
    hand = Entry(measured, Verdict(action="pot_up", burial="deep", latest=TODAY,
                                   depth=burial_depth(measured, load_crop("tomato"))))
    pdf = pypdfium2.PdfDocument(crew_pdf([hand], today=TODAY)[0])
    told = words(pdf, page_of(40, pdf))
    assert "count them" in told and "No cell map" in told and "No drawing" in told
    assert label_rows([hand])[0].labels == 0


def test_a_verdict_without_a_depth_still_gets_a_page():
    bare = Entry(nursery()[0].measurement, Verdict(action="pot_up", burial="deep", burial_depth_mm=20.0, latest=TODAY))
    pdf = pypdfium2.PdfDocument(crew_pdf([bare], today=TODAY)[0])
    assert "20 mm deeper than now" in words(pdf, page_of(31, pdf))


def test_no_flats_and_no_work():
    for entries in ((), nursery()[8:]):
        pdf = pypdfium2.PdfDocument(crew_pdf(entries, today=TODAY)[0])
        told = all_words(pdf)
        assert "No flat is to be potted up today" in told[0]
        assert told[-1].startswith("Not to be potted up today") and len(told) <= 3


def test_many_flats():
    many = [entry(n, "tomato", f"Invented {n}") for n in range(100, 160)]
    many += [entry(n, "carrot", "Straight", action="do_not_transplant", reasons=("a tap root " * 20,))
             for n in range(200, 240)]
    full, pages = crew_pdf(many, today=TODAY)
    told = all_words(pypdfium2.PdfDocument(full))
    assert len(told) == pages
    assert [t for t in told if t.startswith("FLAT")][0].startswith("FLAT 100")
    assert sum(t.startswith("FLAT") for t in told) == 60
    rest = " ".join(t for t in told if t.startswith("Not to be"))
    assert all(f" {n} " in rest for n in range(200, 240))
    short, compact_pages = crew_pdf(many, today=TODAY, compact=True)
    assert compact_pages < pages - 35
    numbers = " ".join(all_words(pypdfium2.PdfDocument(short)))
    assert all(f"FLAT {n} " in numbers for n in range(100, 160))


def test_cautions_that_find_no_room_go_to_a_page_of_their_own():
    lines = tuple(f"Invented caution number {n} that goes on for a good while, so that it takes two lines or three."
                  for n in range(1, 21))
    pdf = pypdfium2.PdfDocument(crew_pdf([entry(31, "tomato", "Harbor Lantern", cautions=lines)], today=TODAY)[0])
    first = page_of(31, pdf)
    assert "see the next page" in words(pdf, first)
    assert all(line in words(pdf, first + 1) for line in lines)


def test_the_short_form_never_drops_anything_without_saying_so():
    lines = tuple(f"Invented caution number {n} that goes on for a good while." for n in range(1, 21))
    pdf = pypdfium2.PdfDocument(
        crew_pdf([entry(31, "tomato", "Harbor Lantern", cautions=lines)], today=TODAY, compact=True)[0])
    told = next(t for t in all_words(pdf) if t.startswith("FLAT 31"))
    assert "poisonous if eaten" in told  # health comes first
    assert "see the full sheet" in told and lines[-1] not in told


def test_the_same_entries_give_the_same_file():
    assert crew_pdf(nursery(), today=TODAY)[0] == sheet(paper="a4", compact=False, inch=False)


def test_writing(tmp_path, monkeypatch):
    out = tmp_path / "crew.pdf"
    assert write_crew_sheet(out, nursery(), today=TODAY) == len(document())
    assert len(pypdfium2.PdfDocument(out)) == len(document())
    assert list(tmp_path.iterdir()) == [out]
    with pytest.raises(OutputError):
        write_crew_sheet(tmp_path / "missing" / "crew.pdf", (), today=TODAY)
    with pytest.raises(OutputError):
        crew_pdf((), today=TODAY, paper="a5")
    out.write_bytes(b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(OutputError, match="No space left"):
        write_crew_sheet(out, (), today=TODAY)
    assert out.read_bytes() == b"old" and list(tmp_path.iterdir()) == [out]

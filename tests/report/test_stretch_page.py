"""The page and the terminal of stretch over time: complete, offline, escaped; charts checked by their own numbers.

All flats are invented; see tests/invented_flats.py.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import invented_flats as made_up
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from scipy.optimize import minimize

from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.records.history import FlatHistory, History, Lighting
from seedlingcv.report.line_chart import BOTTOM, HEIGHT, LEFT, TOP, Course, Frame, Shade, line_chart, spread, ticks
from seedlingcv.report.stretch_page import flat_chart, render_stretch
from seedlingcv.report.stretch_terminal import print_stretch, text_chart
from seedlingcv.report.stretch_words import how_many_left
from seedlingcv.stretch.study import study_of

TOMATO = load_crop("tomato")
HOSTILE = '<script>alert("x")</script> & [bold]lamp[/bold]'
AGES = (14, 18, 22, 26, 30)
TOP_SHELF = Lighting("top", "bulb", window_side="last column", ppfd_umol=((60, 40),))


def tomato_or_none(flat: FlatHistory):
    return TOMATO if flat.crop == "tomato" else None


def season() -> History:
    """Four flats stay under the bulb and stretch, four leave it at 22 days; one was seen once, one has no sowing date.
    """
    flats = []
    for i in range(8):
        moved = i >= 4
        means = [20 + i, 28 + i, 37 + i, *((41 + i, 45 + i) if moved else (49 + 1.2 * i, 62 + i))]
        flats.append(made_up.course(31 + i, AGES, means, turn=22 if moved else None, before="bulb", after=HOSTILE,
                                    plants=72, lighting=TOP_SHELF, shelf="top"))
    once = made_up.course(41, [20], [30])
    undated = made_up.course(42, AGES, [20, 21, 22, 23, 24], sown=None)
    return History((*flats, once, replace(undated, sown=None)))


@pytest.fixture(scope="module")
def study():
    return study_of(season(), tomato_or_none, "light")


@pytest.fixture(scope="module")
def html(study):
    return render_stretch(study, tomato_or_none)


def test_nothing_is_fetched_and_all_is_escaped(html):
    assert not re.search(r"(src|href|xlink:href|action)=", html)
    assert not re.search(r"https?://", html) and "@import" not in html and "<script" not in html
    assert all(u.startswith("#") for u in re.findall(r"url\(([^)]*)\)", html))
    assert "&lt;script&gt;" in html


def test_answers_come_first(html):
    text = words_of(html)
    order = [text.index(words) for words in ("Flats that left their crop", "What a change of light did",
                                             "Which side is weak", "Day by day", "Across the flat")]
    assert order == sorted(order)
    assert "flat 41: measured on one day only" in text
    assert "in these flats, all on one shelf, growth slowed by" in text and "4 flats beside 4 that stayed" in text
    assert "one shelf can&#39;t show that the light did it" in text and "the change slowed it" not in text
    assert "Not drawn against age: flat 42: no sowing date" in text
    assert "The 95 % hold for both directions together" in text, "where the interval is explained"


def test_every_flat_is_a_labelled_line(html):
    for flat in (*range(31, 39), 41):
        assert len(re.findall(rf">{flat}</text>", html)) >= 3, flat
    assert html.count(">mean</text>") >= 6


def test_charts_are_well_formed_and_named(html):
    drawings = re.findall(r"<svg.*?</svg>", html, re.S)
    assert len(drawings) > 12
    for drawing in drawings:
        root = ElementTree.fromstring(drawing.replace("&nbsp;", " "))
        assert root.get("aria-label") or root.get("aria-hidden")


def test_by_leaf_stage_first_when_asked(study):
    page = render_stretch(study, tomato_or_none, against_leaves=True)
    assert "The same by age" in page and "The same by leaf stage" not in page


def test_inches(study):
    page = render_stretch(study, tomato_or_none, inch=True)
    assert "Stem length, in" in page and "Stem length, mm" not in page


def test_a_single_flats_chart_for_another_page():
    moved = season().flats[5]
    drawn = str(flat_chart(moved, TOMATO))
    assert drawn.count("<svg") == 3 and "the light changed" in drawn and "<script" not in drawn
    assert "days since sowing" in drawn
    assert "days since the first look" in str(flat_chart(season().flats[-1], TOMATO))
    assert "the light changed" not in str(flat_chart(season().flats[0], None))


def holding(cell: CellMeasurement, **layout) -> History:
    """A flat of one cell, on two days."""
    days = [made_up.day(age, [30]) for age in (20, 24)]
    return History((made_up.history([replace(d, measurement=replace(d.measurement, cells=(cell,), **layout))
                                     for d in days]),))


@pytest.mark.parametrize("history", [
    History((made_up.course(31, [20], [30]),)),  # one day
    History((replace(made_up.course(31, AGES, [20] * 5), crop=None),)),
    History((replace(made_up.course(31, AGES, [20] * 5), crop="leek"),)),
    History((made_up.history([made_up.day(20, [30], leaves=None, cover=None)]),)),
    holding(CellMeasurement("all", 1, stem_length_mm=30.0), rows=0, columns=0),
    holding(CellMeasurement("A1", 0, 0.0)),  # an empty cell
])
@pytest.mark.parametrize("by", ["flat", "shelf", "light"])
def test_whatever_is_missing_the_page_and_the_terminal_stand(history, by):
    study = study_of(history, lambda f: load_crop(f.crop) if f.crop else None, by)
    assert "</html>" in render_stretch(study, lambda f: load_crop(f.crop) if f.crop else None)
    said(study)


def said(study, **more) -> str:
    console = Console(width=80, record=True, no_color=True, file=io.StringIO())
    print_stretch(console, study, tomato_or_none, **more)
    return console.export_text()


def test_the_terminal_fits_80_columns_and_says_the_same(study):
    text = said(study)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
    plain = " ".join(text.split())
    assert "all on one shelf, growth slowed by" in plain and "days since sowing" in plain and "leggy above 1" in plain
    assert "[bold]lamp[/bold]" in plain, "no markup is read"
    assert "true leaves" in said(study, against_leaves=True)


def test_how_many_left_is_said_before_which(study, html):
    """Flats 32, 33 and 34 outgrow leggy above 1 (62 mm + over 50 mm); 31 and the moved ones don't; 41 is not judged."""
    gone = sum(band.left for _, band in study.left)
    assert gone > 1 and f"{gone} of {8 + 1} flats left their band" in words_of(html)
    assert " ".join(said(study).split()).index("flats left their band") < said(study).index("left its band on")
    none = study_of(History((made_up.course(31, AGES, [20, 26, 32, 38, 44]),)), tomato_or_none, "light")
    assert how_many_left(none) == "None of 1 flat left its band yet; 1 is about to."


def test_a_clear_side_is_told_with_what_its_interval_holds_for(study):
    flats = [made_up.history([made_up.day(20, [30 + (15 + i) * column / 11 for _ in range(6) for column in range(12)],
                                          flat=31 + i, light="bulb")], flat=31 + i) for i in range(3)]
    text = " ".join(said(study_of(History(tuple(flats)), tomato_or_none, "light")).split())
    assert "weak towards column 12" in text and "The 95 % hold for both directions together" in text
    plain = " ".join(said(study).split())
    assert ("weak towards" in plain) == ("The 95 % hold" in plain)


def test_the_limit_in_the_text_chart_has_its_own_height_at_the_axis():
    """A tick at 1.0 falls into the row of the limit 1.1: there the axis says 1.10."""
    lines = text_chart([Course("31", ((14.0, 0.3), (30.0, 1.15)))], 1.1, x_title="days")
    row = next(line for line in lines if "leggy above 1.1" in line)
    assert row.split("|")[0].strip() == "1.10"


def words_of(page: str) -> str:
    return re.sub(r"<[^>]+>", " ", page.split("<body>")[1]).replace("\u00a0", " ")


def test_one_day_says_what_to_do_next():
    text = said(study_of(History((made_up.course(31, [20], [30]),)), tomato_or_none, "light"))
    assert "Photograph the same flats again" in text


def test_points_stand_where_their_figures_are():
    """By hand: the frame's corners, and a point half-way."""
    frame = Frame((10, 30), (0, 100))
    assert frame.at(10, 0) == (LEFT, HEIGHT - BOTTOM) and frame.at(10, 100)[1] == TOP
    drawn = line_chart("a", [Course("31", ((20.0, 50.0),))], frame, x_title="days",
                       shades=[Shade(((0, 20, 40), (40, 20, 40)))])
    circle = ElementTree.fromstring(drawn).find(".//circle")
    assert float(circle.get("cx")) == pytest.approx((frame.at(10, 0)[0] + frame.at(30, 0)[0]) / 2, abs=0.06)
    assert float(circle.get("cy")) == pytest.approx((TOP + HEIGHT - BOTTOM) / 2, abs=0.06)


def test_numbers_at_the_axis_stand_at_their_own_height_in_inches():
    """50.8 mm is 2 in (1 in = 25.4 mm exactly)."""
    frame = Frame((0, 1), (0, 80))
    drawn = ElementTree.fromstring(line_chart("a", [Course("", ((0.0, 1.0),))], frame, x_title="days", per=25.4))
    two = next(t for t in drawn.iter("text") if t.text == "2")
    assert float(two.get("y")) - 4 == pytest.approx(frame.at(0, 50.8)[1], abs=0.06)


def test_of_many_lines_only_the_highest_and_the_mean_are_labelled():
    courses = [Course(str(i), ((0.0, float(i)), (1.0, float(i)))) for i in range(30)]
    drawn = line_chart("a", [*courses, Course("mean", ((0.0, 15.0), (1.0, 15.0)), thick=True)], Frame((0, 1), (0, 30)),
                       x_title="days")
    assert re.findall(r">(\w+)</text>", drawn.split("days</text>")[1]) == ["29", "28", "27", "26", "25", "mean"]


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4))
def test_ticks_are_round_and_inside(low, size):
    found = ticks(low, low + size)
    assert 1 <= len(found) <= 7
    if len(found) > 1:
        steps = {round(b - a, 9) for a, b in pairwise(found)}
        assert max(steps) - min(steps) < 1e-6 * max(1, abs(low)) and found[0] >= low - 1e-6 * max(1, abs(low))
        digit = f"{max(steps):.1e}"[0]
        assert digit in "125" or f"{max(steps):.4e}"[:3] in ("9.9", "1.9", "4.9")


@given(st.lists(st.floats(20, 170), min_size=1, max_size=9))
def test_labels_keep_apart_and_near(wanted):
    wanted = sorted(wanted)
    places = spread(wanted, 13, 20, 175)
    assert all(b - a >= 13 - 1e-6 for a, b in pairwise(places))
    assert places[0] >= 20 - 1e-6 and places[-1] <= 175 + 1e-6


def test_labels_are_as_near_as_may_be():
    """Against SciPy's own least squares under the same constraints."""
    wanted, n = [50.0, 52.0, 53.0, 90.0, 91.0], 5
    limits = [{"type": "ineq", "fun": lambda p, i=i: p[i + 1] - p[i] - 13} for i in range(n - 1)]
    best = minimize(lambda p: sum((a - b) ** 2 for a, b in zip(p, wanted, strict=True)),
                    [20.0 + 15 * i for i in range(n)], constraints=limits, method="SLSQP")
    assert spread(wanted, 13, 0, 200) == pytest.approx(list(best.x), abs=0.01)

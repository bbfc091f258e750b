"""Orders for the crew: how deep, by when, what stands behind the day. Flats are invented."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from seedlingcv.advice.burial import Depth
from seedlingcv.advice.pots import SMALL_POT, USUAL_POTS
from seedlingcv.advice.verdict import Limit, Verdict
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import Entry
from seedlingcv.report import page, words

TODAY = date(2025, 3, 25)
DEEP = Depth(10.0, 49.5, "first_true_leaves", SMALL_POT, 57, "upright", 10.0, above_mm=40.0)


def potting(depth, burial="deep"):
    return Verdict("pot_up", burial=burial, burial_depth_mm=depth.depth_mm, depth=depth)


@pytest.mark.parametrize(("depth", "orders"), [
    (DEEP, ("Bury the stem to just under the first true leaves, 10 mm deeper than now",)),
    (replace(DEEP, mark="plug_on_bottom"), ("Plant with the plug on the bottom of the pot, 10 mm deeper than now",)),
    (replace(DEEP, mark="old_depth", covered_mm=0.0), ("Plant as deep as it stood",)),
    (replace(DEEP, mark="crown_level", covered_mm=0.0), ("Plant with the crown level with the surface, not buried",)),
    (replace(DEEP, mark="seed_leaves", depth_mm=None, covered_mm=None),
     ("Bury the stem to just under the seed leaves, as far as the pot allows",)),
    (replace(DEEP, way="laid", covered_mm=49.5, take_off=("seed_leaves", "lowest_leaf")),
     ("Lay the plug on its side and the stem slantwise, to just under the first true leaves: 50 mm of stem covered",
      "Take off the seed leaves and the lowest true leaf first")),
    (replace(DEEP, way="deeper_pot", covered_mm=49.5, lay_in=USUAL_POTS[6]),  # 57 + 49.5 + 13 = 119.5
     ("Bury the stem to just under the first true leaves, 50 mm deeper than now",
      "Take a pot 120 mm deep, or lay the stem slantwise in a pot of 4 in square")),
])
def test_how_to_plant(depth, orders):
    assert words.burial_lines(potting(depth)) == orders
    one_line = words.burial(potting(depth))
    assert one_line.startswith(orders[0]) and one_line.count("; ") == len(orders) - 1


def test_inches_and_what_stays():
    # 10 / 25.4 = 0.394 in, three eighths; 40 / 25.4 = 1.57 in, one and five eighths to the nearest eighth
    assert "3/8 in deeper" in words.burial(potting(DEEP), inch=True)
    assert words.what_stays(potting(DEEP), inch=True) == "about 1 5/8 in of stem stays above the surface"
    assert words.what_stays(potting(replace(DEEP, above_mm=None))) == "" == words.what_stays(Verdict("wait"))


def test_every_mark_and_every_leaf_to_take_off_has_words():
    marks = {"first_true_leaves", "lowest_kept_leaves", "seed_leaves", "part_way", "plug_on_bottom", "old_depth",
             "crown_level"}
    assert set(words.MARK) == marks
    assert set(words.TAKE_OFF) == {"seed_leaves", "lowest_leaf", "lowest_2_leaves"}


@pytest.mark.parametrize(("verdict", "said"), [
    (Verdict("pot_up", earliest=TODAY, latest=TODAY, due=TODAY - timedelta(10)), "now, 10 days late"),
    (Verdict("pot_up", earliest=TODAY, latest=TODAY, due=TODAY), "today, last good day"),
    (Verdict("wait", earliest=TODAY + timedelta(2), latest=TODAY + timedelta(2), due=TODAY + timedelta(2)),
     "on Thu 27 Mar"),
    (Verdict("sow_again", due=TODAY - timedelta(3)), "today"),
    (Verdict("unsure", due=TODAY - timedelta(3), latest=TODAY - timedelta(3)), "look today"),
    (Verdict("do_not_transplant"), "no date"),
    (Verdict("pot_up", latest=TODAY, as_of=date(2025, 3, 3)), "seen Mon 3 Mar: look first"),
])
def test_by_when(verdict, said):
    assert words.by_when(verdict, TODAY) == said


def test_what_sets_the_day():
    ends = (Limit("roots", TODAY, "Roots begin to circle about Tue 25 Mar", assumed=True),
            Limit("touch", TODAY + timedelta(3), "Neighbours touch", assumed=False))
    verdict = Verdict("pot_up", due=TODAY, binding="roots", limits=ends)
    assert words.last_day(verdict) == "Roots begin to circle about Tue 25 Mar (reckoned)"
    assert words.last_day(replace(verdict, action="sow_again")) == "" == words.last_day(Verdict("wait"))


def entry(number, verdict, part=None, rows="AB"):
    cells = tuple(CellMeasurement(f"{row}{column}", plants=1, stem_length_mm=30.0, leaf_spread_mm=50.0)
                  for row in rows for column in range(1, 7))
    return Entry(FlatMeasurement(number, TODAY, 4, 6, cells, "basil"), verdict, part)


def test_a_part_of_a_flat_shows_its_own_cells_only_at_their_places():
    both = [entry(12, Verdict("pot_up", reasons=("ready",), due=TODAY), "rows A-B", "AB"),
            entry(12, Verdict("wait", reasons=("young",)), "rows C-D", "CD")]
    html = page.render_page(both, today=TODAY)
    lower = html.split('id="flat-12-rows-C-D"')[1].split("<section")[0]
    assert "<title>C1: " in lower and "<title>A1: " not in lower
    first = lower.split("<title>C1: ")[1]
    assert 'y="102"' in first[:200], "row C is the third: 26 + 2 x 38"
    assert "Rows C-D" in lower and page.shared_cautions(both) == []


def test_the_list_has_a_heading_for_each_group():
    some = [entry(1, Verdict("pot_up", reasons=("ready",), due=TODAY)),
            entry(2, Verdict("pot_up", reasons=("ready",), due=TODAY + timedelta(20))),
            entry(3, Verdict("wait", reasons=("young",))), entry(4, Verdict("do_not_transplant", reasons=("root",))),
            entry(5, Verdict("pot_up", reasons=("ready",), as_of=date(2025, 3, 1)))]
    html = page.render_page(some, today=TODAY).split('id="flat-')[0]
    places = [html.index(heading) for heading in page.GROUPS.values()]
    assert places == sorted(places)
    assert "Nothing is in a hurry" in page.render_page(some[1:2], today=TODAY)


def test_the_page_of_a_ruler_does_not_speak_of_photos_it_never_had():
    html = page.render_page([entry(1, Verdict("pot_up", reasons=("ready",)))], today=TODAY)
    assert words.LIMITS_BY_HAND in html and words.LIMITS not in html

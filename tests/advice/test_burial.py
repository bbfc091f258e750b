"""How deep, case by case, worked by hand beside each. Figures are invented; the limits are common practice, no source,
unless a source stands beside the case."""

from dataclasses import replace

import pytest
from invented import TODAY, answer, flat

from seedlingcv.advice.burial import plug_size_mm
from seedlingcv.advice.pots import HEADSPACE_MM, Pot
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement


def test_deep_burial_by_hand():
    # Seed leaves at 40 mm, apex at 1.8 x 50 = 90 mm: 40 + 0.25 x 50 - 3 = 49.5 mm wanted; the pot allows
    # 80 - 57 (plug of a 72 cell) - 13 (headspace) = 10 mm. 57 + 49.5 + 13 = 119.5 mm of pot would be needed.
    # Laid: the pot is 0.85 x 90 = 76.5 mm wide at half depth (its diagonal less a plug 39 mm wide is less), less the
    # plug's 57 mm: 19.5 mm to the wall. The surface lies 80 - 13 - 19.5 = 47.5 mm above the plug's middle: a quarter
    # circle of 19.5 mm (30.6 mm long) and 28.0 mm straight up, 58.6 mm in all, more than wanted.
    verdict = answer("tomato", 2, 1.8, hypocotyl=40.0)
    assert verdict.burial == "deep" and verdict.burial_depth_mm == 80 - 57 - HEADSPACE_MM
    assert verdict.reasons[1] == (
        "Upright in a 90 mm pot only 10 mm of the long stem fits: lay the plug on its side and the stem slantwise, "
        "top out, or take a pot 120 mm deep"
    )
    assert verdict.depth.way == "laid" and verdict.depth.laid_mm == pytest.approx(58.6, abs=0.1)
    assert verdict.depth.covered_mm == 49.5 and verdict.depth.above_mm == 90 - 49.5
    assert verdict.depth.mark == "first_true_leaves" and verdict.depth.take_off == ("seed_leaves",)
    assert not any("that takes a pot" in c for c in verdict.cautions), "said once"
    assert any("90 mm pot 80 mm deep" in line for line in verdict.assumed)


def test_a_pot_that_falls_clearly_short_is_said_as_a_reason():
    # Plug of a 50 cell 59 mm, pot 80 mm: room 80 - 59 - 13 = 8 mm. Hypocotyl 80, apex at 2 x 50 = 100 mm:
    # 80 + 0.25 x 20 - 3 = 82 mm wanted, 59 + 82 + 13 = 154 mm of pot needed, 160 in tens. On its side the 59 mm plug,
    # 48 mm wide, leaves 76.5 - 59 = 17.5 mm to the wall: 27.5 mm of curve and 43 - 17.5 = 25.5 mm up are 53 mm.
    # In a 4 in square pot: 0.85 x 102 - 59 = 27.7 mm, 43.5 of curve and 89 - 13 - 24 - 27.7 = 24.3 up are 67.8, within
    # 15 mm of what is wanted.
    stretched = {"hypocotyl": 80.0, "cells": (5, 10)}
    verdict = answer("tomato", 2, 2.0, **stretched)
    assert verdict.burial_depth_mm == 8 and verdict.depth.way == "deeper_pot"
    assert verdict.reasons[1] == (
        "Upright in a 90 mm pot only 8 mm of the long stem fits: take a pot 160 mm deep, such as 1 gallon nursery, "
        "or lay the stem slantwise in one of 4 in square"
    )
    # Nobody has told that a pepper may lie.
    assert answer("pepper", 2, 2.0, **stretched).reasons[1].endswith("160 mm deep, such as 1 gallon nursery")
    late = answer("tomato", 6, 2.0, **stretched)
    assert late.action == "pot_up" and "90 mm pot only 8 mm" in late.reasons[1]
    inches = advise(flat(2, 2.0, **stretched), load_crop("tomato"), TODAY, inch=True).reasons[1]
    assert "3 1/2 in pot only 3/8 in of" in inches and "6 1/4 in deep" in inches  # 90, 8, 160 / 25.4


def test_a_pepper_is_not_laid():
    # Nobody has told that a pepper may lie: it is not said, though the pot would have room for it.
    assert answer("pepper", 2, 1.8, hypocotyl=40.0).depth.way == "deeper_pot"
    assert answer("pepper", 2, 1.8, hypocotyl=40.0).depth.laid_mm is None


def test_the_lowest_leaves_of_a_stretched_tomato_come_off():
    # Five leaves, three stay: two come off and the third stands at 3/5 of 60 mm above the seed leaves:
    # 40 + 36 - 3 = 73 mm. A deep pot takes it upright.
    deep = Pot(150, 165)
    verdict = answer("tomato", 5, 2.0, hypocotyl=40.0, pot=deep)
    assert verdict.burial_depth_mm == 73 and verdict.depth.mark == "lowest_kept_leaves"
    assert verdict.depth.take_off == ("seed_leaves", "lowest_2_leaves")
    sturdy = answer("tomato", 5, 0.9, hypocotyl=40.0, pot=deep)  # apex at 45: 40 + 5/5 - 3, no leaf lost
    assert sturdy.burial_depth_mm == 38 and sturdy.depth.take_off == ("seed_leaves",)
    pepper = answer("pepper", 5, 2.0, hypocotyl=40.0, pot=deep)  # to the first true leaf: 40 + 60/5 - 3
    assert pepper.burial_depth_mm == 49 and "lowest_2_leaves" not in pepper.depth.take_off


def test_the_growers_own_pot_decides():
    own = Pot(110, 160, "round")
    verdict = answer("tomato", 2, 1.8, hypocotyl=40.0, pot=own)  # room 160 - 57 - 13 = 90 mm
    assert (verdict.burial_depth_mm, verdict.depth.way) == (49.5, "upright")
    assert any(line.startswith("your 110 mm pot 160 mm deep") for line in verdict.assumed)
    shallow = answer("tomato", 2, 0.6, hypocotyl=20.0, pot=Pot(90, 60))  # 60 - 13 = 47 mm, the plug is 57
    assert shallow.burial_depth_mm == 0 and not shallow.depth.plug_fits
    assert any("too shallow for a plug of 57 mm" in c for c in shallow.cautions)


def test_without_a_layout_no_depth_is_claimed():
    verdict = advise(replace(flat(2, 0.6, hypocotyl=30.0), rows=0, columns=0), load_crop("tomato"), TODAY)
    assert verdict.action == "pot_up" and verdict.burial_depth_mm is None and verdict.depth.plug_mm is None
    assert any("layout" in m for m in verdict.missing)
    assert verdict.depth.mark == "first_true_leaves"  # what the crew goes by is known all the same
    strawberry = advise(replace(flat(3, 0.3), rows=0, columns=0), load_crop("strawberry"), TODAY)
    assert strawberry.burial_depth_mm == 0.0


def test_a_pot_that_falls_little_or_uselessly_short_is_a_caution_at_most():
    # Room 10 mm in a 72. Epicotyl of the stretched: (90 - 20) / 4 = 17.5: 34.5 mm wanted, 24.5 short.
    assert "only 10 mm" in answer("tomato", 2, 1.8, hypocotyl=20.0).reasons[1]
    # No epicotyl with one leaf: 25 - 3 = 22 mm wanted, 12 short.
    verdict = answer("tomato", 1, 1.8, hypocotyl=25.0)
    assert verdict.reasons[1] == "Deeper potting takes up the long stem"
    assert any("22 mm deeper: that takes a pot 100 mm deep" in c for c in verdict.cautions)  # 57 + 22 + 13 = 92
    # A flat that isn't stretched needs no deep pot: the plug goes to the bottom of the usual one.
    verdict = answer("tomato", 2, 0.8, hypocotyl=40.0)
    assert not any("slantwise" in r for r in verdict.reasons)
    assert (verdict.depth.mark, verdict.depth.way) == ("plug_on_bottom", "upright")
    assert any("37 mm deeper: that takes a pot 110 mm deep" in c for c in verdict.cautions)  # 57 + 37 + 13 = 107
    # A depth nobody knows falls short of nothing.
    assert answer("tomato", 2, 1.8).reasons[1] == "Deeper potting takes up the long stem"


def test_seed_leaf_burial_by_hand():
    # 18 pots: a 150 mm pot, 130 mm deep, on an 80 mm plug: room 37 mm. Hypocotyl 30 - 3 = 27 mm.
    verdict = answer("cabbage", 2, 0.9, hypocotyl=30.0, cells=(3, 6))
    assert (verdict.burial, verdict.burial_depth_mm) == ("to_seed_leaves", 27.0)
    assert verdict.depth.mark == "seed_leaves" and verdict.depth.take_off == ()
    cucumber = answer("cucumber", 1, 0.6, hypocotyl=30.0, cells=(3, 6))
    assert (cucumber.burial_depth_mm, cucumber.depth.mark) == (10, "part_way")


def test_depth_suits_three_of_four_plants():
    # Hypocotyls 10, 20, 30, 40, 50 mm: lower quartile 20 mm, 3 mm of it left bare.
    plants = tuple(
        CellMeasurement("A1", plants=1, true_leaves=2, hypocotyl_length_mm=mm)
        for mm in (10.0, 20.0, 30.0, 40.0, 50.0)
    )
    in_pots = FlatMeasurement(7, TODAY, 3, 6, plants)
    assert advise(in_pots, load_crop("kale"), TODAY).burial_depth_mm == 17.0


def test_depth_is_unknown_without_the_seed_leaves_height():
    verdict = answer("cabbage", 2, 0.9)
    assert verdict.burial_depth_mm is None
    assert any("height of the seed leaves" in m for m in verdict.missing)
    assert verdict.burial == "to_seed_leaves"


@pytest.mark.parametrize("crop", ["strawberry", "lettuce"])
def test_a_crown_is_never_buried(crop):
    verdict = answer(crop, 4, 0.3, hypocotyl=20.0)
    assert (verdict.burial, verdict.burial_depth_mm) == ("crown_above", 0.0)


@pytest.mark.parametrize(("cells", "plug"), [
    # 98 cells: 50.8 mm deep in the same supplier's specification table (seen), which is what a 128 has.
    (98, 51), (50, 59), (72, 57), (128, 51), (200, 45), (288, 40), (18, 80), (32, 59), (0, None),
])
def test_plugs_of_sizes_not_listed_take_the_nearest(cells, plug):
    assert plug_size_mm(cells)[1] == plug

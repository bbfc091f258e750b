"""The rules, case by case. Figures are invented; what they must lead to is common practice, no source, unless
a source stands beside the case."""

import ast
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest

import seedlingcv.advice
from seedlingcv.advice.burial import HEADSPACE_MM
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

TODAY = date(2025, 3, 20)


def flat(
    leaves=None,
    index=None,
    *,
    cover=0.3,
    age=None,
    cells=(6, 12),
    plants=8,
    hypocotyl=None,
    crop="tomato",
    **extra,
):
    """A flat whose first `plants` cells hold one plant each, all alike; `index` is the legginess."""
    spread = 50.0
    had = CellMeasurement(
        cell="A1",
        plants=1,
        canopy_cover=cover,
        leaf_spread_mm=spread,
        true_leaves=leaves,
        stem_length_mm=None if index is None else index * spread,
        stem_from=None if index is None else "side",
        hypocotyl_length_mm=hypocotyl,
    )
    sown = None if age is None else TODAY - timedelta(age)
    return FlatMeasurement(7, TODAY, *cells, cells=(had,) * plants, crop=crop, sown=sown, **extra)


def answer(crop, *args, today=TODAY, own=None, **kwargs):
    return advise(flat(*args, crop=crop, **kwargs), load_crop(crop), today)


@pytest.mark.parametrize(
    ("crop", "leaves", "index", "extra", "action", "says"),
    [
        # Two to four sets of true leaves, seed leaves not counted.
        ("tomato", 2, 0.6, {}, "pot_up", "2 true leaves (pot-up window 2-4)"),
        ("tomato", 1, 0.6, {}, "wait", "1 true leaf (pot-up window 2-4)"),
        ("tomato", 0, 1.4, {}, "wait", "0 true leaves"),
        ("tomato", 6, 0.6, {}, "pot_up", "6 true leaves"),
        ("basil", 3, 0.6, {}, "wait", "window 4-6"),
        ("basil", 4, 0.6, {}, "pot_up", "4 true leaves"),
        # Stretched and buryable.
        (
            "tomato",
            2,
            1.8,
            {},
            "pot_up_early",
            "Stems 1.8 x the leaf spread: leggy above 1.0 (provisional limit)",
        ),
        ("tomato", 1, 1.8, {}, "pot_up_early", "leggy above 1.6"),
        ("tomato", 1, 1.4, {}, "wait", "1 true leaf"),
        ("tomato", 0, 1.8, {}, "wait", "leggy above 1.6"),
        ("tomato", 6, 1.8, {}, "pot_up", "Stems 1.8 x"),
        ("pepper", 2, 1.2, {}, "pot_up_early", "(unproved limit)"),
        ("cabbage", 2, 1.2, {}, "pot_up_early", "(unproved limit)"),
        # Stretched, moved once only, not buryable.
        ("cucumber", 1, 1.5, {}, "sow_again", "Stems 1.5 x"),
        ("melon", 1, 1.5, {}, "sow_again", "Stems 1.5 x"),
        ("beans", 2, 1.5, {}, "sow_again", "Stems 1.5 x"),
        # Stretched, not buryable, but easily moved.
        ("lettuce", 3, 0.7, {}, "pot_up", "3 true leaves"),
        ("lettuce", 2, 0.95, {}, "wait", "2 true leaves"),
        ("marigold", 5, 1.3, {}, "pot_up", "5 true leaves"),
        # Overgrown and moved once only; one leaf past the window is still moved.
        ("cucumber", 4, 0.6, {}, "unsure", "4 true leaves (pot-up window 1-2)"),
        ("cucumber", 5, 0.6, {}, "sow_again", "5 true leaves (pot-up window 1-2)"),
        ("cucumber", 3, 0.6, {}, "pot_up", "3 true leaves"),
        ("squash", 5, 0.6, {}, "sow_again", "5 true leaves"),
        ("peas", 6, 0.6, {}, "sow_again", "6 true leaves"),
        # Crowded before the window.
        ("tomato", 1, 0.6, {"cover": 0.8}, "pot_up_early", "Leaves cover 80 % of the cell: crowded"),
        # Roots surely fill the cell, but the leaves lag; or there is no leaf at all.
        ("tomato", 1, 0.6, {"age": 43}, "pot_up", "43 days in a flat of 72"),
        ("tomato", 1, 0.6, {"age": 41}, "wait", "1 true leaf"),
        ("tomato", 0, 0.9, {"age": 43}, "unsure", "43 days old and no true leaf"),
        # No leaf count: cover and age together, or nothing.
        ("tomato", None, 0.6, {"cover": 0.8, "age": 25}, "pot_up", "Leaves cover 80 %"),
        ("tomato", None, 0.6, {"cover": 0.2, "age": 12}, "wait", "12 days old, usually potted up at 21"),
        ("tomato", None, 0.6, {"cover": 0.2, "age": 30}, "unsure", "age and size disagree"),
        ("tomato", None, 0.6, {"cover": 0.8, "age": 12}, "unsure", "age and size disagree"),
        ("tomato", None, 0.6, {"cover": 0.8}, "unsure", "No leaf count"),
        ("tomato", None, 0.6, {"cover": None, "age": 30}, "unsure", "No leaf count"),
        ("tomato", None, 1.8, {"cover": None}, "pot_up_early", "Stems 1.8 x"),
        ("tomato", None, None, {"cover": None, "age": 60}, "unsure", "look at the flat"),
    ],
)
def test_actions(crop, leaves, index, extra, action, says):
    verdict = answer(crop, leaves, index, **extra)
    assert verdict.action == action
    assert says in verdict.reasons[0]
    assert len(verdict.reasons[0]) <= 90


@pytest.mark.parametrize("crop", ["carrot", "radish", "rutabaga", "beet"])
def test_tap_roots_are_not_transplanted(crop):
    verdict = answer(crop, 3, 0.5, age=40)
    assert (verdict.action, verdict.burial, verdict.urgency) == ("do_not_transplant", None, 0.0)
    assert "tap root" in verdict.reasons[0]


def test_unknown_crop_is_unsure_and_still_tells_what_was_measured():
    verdict = advise(flat(2, 0.6, crop=None), None, TODAY)
    assert verdict.action == "unsure"
    assert "the register doesn't name it" in verdict.reasons[0]
    assert "2 true leaves" in verdict.reasons[1] and "0.6 x the leaf spread" in verdict.reasons[1]
    assert verdict.missing == ("the crop in flat 7's row in the register",)
    assert "'triffid'" in advise(flat(2, crop="triffid"), None, TODAY).reasons[0]


def test_too_few_stems_are_not_asserted():
    verdict = answer("tomato", 2, 2.0, plants=3)
    assert verdict.legginess_band is None and verdict.leggy_share is None
    assert verdict.action == "pot_up"
    assert "stem and spread could be measured on 3 plants only" in verdict.missing


def test_a_flat_of_cells_without_plants_is_unsure():
    empty = FlatMeasurement(7, TODAY, 6, 12, (CellMeasurement("A1", plants=0),) * 72, crop="tomato")
    verdict = advise(empty, load_crop("tomato"), TODAY)
    assert verdict.action == "unsure" and "No seedling" in verdict.reasons[0]


def mixed(indexes, leaves=2):
    cells = tuple(
        CellMeasurement("A1", plants=1, true_leaves=leaves, leaf_spread_mm=50.0, stem_length_mm=50.0 * i)
        for i in indexes
    )
    return FlatMeasurement(7, TODAY, 6, 12, cells)


def test_a_flat_is_not_thrown_away_on_a_chance():
    # Median 1.15 of 6 scattered plants, quartiles 0.95 and 1.375: its 90 % interval reaches under 1.0
    # (1.15 - 1.645 x 1.2533 x (0.425 / 1.349) / sqrt(6) = 0.885).
    verdict = advise(mixed([0.9, 0.9, 1.1, 1.2, 1.4333, 1.7]), load_crop("cucumber"), TODAY)
    assert verdict.action == "unsure" and "Too close" in verdict.reasons[1]
    assert advise(mixed([1.4, 1.5, 1.5, 1.5, 1.6]), load_crop("cucumber"), TODAY).action == "sow_again"


def test_some_leggy_plants_in_a_good_flat():
    verdict = advise(mixed([0.6, 0.6, 0.6, 0.6, 1.4, 1.5]), load_crop("tomato"), TODAY)
    assert (verdict.action, verdict.legginess_band) == ("pot_up", "normal")
    assert verdict.leggy_share == pytest.approx(1 / 3)
    assert any("33 % of the measured plants are leggy" in c for c in verdict.cautions)


@pytest.mark.parametrize(
    ("index", "band"), [(0.4, "compact"), (0.5, "normal"), (0.9, "watch"), (1.0, "watch")]
)
def test_bands(index, band):
    assert answer("tomato", 3, index).legginess_band == band


def test_an_index_just_over_the_limit_shows_on_which_side_it_lies():
    assert "1.04 x the leaf spread: leggy above 1.0" in answer("tomato", 3, 1.04).reasons[0]


# Depth


def test_deep_burial_by_hand():
    # Seed leaves at 40 mm, apex at 1.8 x 50 = 90 mm: 40 + 0.25 x 50 - 3 = 49.5 mm wanted; the pot allows
    # 80 - 57 (plug of a 72 cell) - 13 (headspace) = 10 mm. 57 + 49.5 + 13 = 119.5 mm of pot would be needed.
    verdict = answer("tomato", 2, 1.8, hypocotyl=40.0)
    assert verdict.burial == "deep" and verdict.burial_depth_mm == 80 - 57 - HEADSPACE_MM
    assert verdict.reasons[1] == (
        "In a 90 mm pot only 10 mm of the long stem fits: take a pot 120 mm deep or lay the stem slantwise"
    )
    assert not any("that takes a pot" in c for c in verdict.cautions), "said once"
    assert any("90 mm pot 80 mm deep" in line for line in verdict.assumed)


def test_a_pot_that_falls_clearly_short_is_said_as_a_reason():
    # Plug of a 50 cell 59 mm, pot 80 mm: room 80 - 59 - 13 = 8 mm. Hypocotyl 80, apex at 2 x 50 = 100 mm:
    # 80 + 0.25 x 20 - 3 = 82 mm wanted, 59 + 82 + 13 = 154 mm of pot needed, 160 in tens.
    stretched = {"hypocotyl": 80.0, "cells": (5, 10)}
    verdict = answer("tomato", 2, 2.0, **stretched)
    assert verdict.burial_depth_mm == 8
    assert "90 mm pot only 8 mm" in verdict.reasons[1] and "160 mm deep or lay" in verdict.reasons[1]
    # Nobody has told that a pepper may lie; a late flat is potted up and told the same.
    assert answer("pepper", 2, 2.0, **stretched).reasons[1].endswith("take a pot 160 mm deep")
    late = answer("tomato", 6, 2.0, **stretched)
    assert late.action == "pot_up" and "90 mm pot only 8 mm" in late.reasons[1]
    inches = advise(flat(2, 2.0, **stretched), load_crop("tomato"), TODAY, inch=True).reasons[1]
    assert "3 1/2 in pot only 3/8 in of" in inches and "6 1/4 in deep" in inches  # 90, 8, 160 / 25.4


def test_a_pot_that_falls_little_or_uselessly_short_is_a_caution_at_most():
    # Room 10 mm in a 72. Epicotyl of the stretched: (90 - 20) / 4 = 17.5: 34.5 mm wanted, 24.5 short.
    assert "only 10 mm" in answer("tomato", 2, 1.8, hypocotyl=20.0).reasons[1]
    # No epicotyl with one leaf: 25 - 3 = 22 mm wanted, 12 short.
    verdict = answer("tomato", 1, 1.8, hypocotyl=25.0)
    assert verdict.reasons[1] == "Deeper potting takes up the long stem"
    assert any("22 mm deeper: that takes a pot 100 mm deep" in c for c in verdict.cautions)  # 57 + 22 + 13 = 92
    # A flat that isn't stretched needs no deep pot.
    verdict = answer("tomato", 2, 0.8, hypocotyl=40.0)
    assert not any("slantwise" in r for r in verdict.reasons)
    assert any("37 mm deeper: that takes a pot 110 mm deep" in c for c in verdict.cautions)  # 57 + 37 + 13 = 107
    # A depth nobody knows falls short of nothing.
    assert answer("tomato", 2, 1.8).reasons[1] == "Deeper potting takes up the long stem"


def test_seed_leaf_burial_by_hand():
    # 18 pots: a 150 mm pot, 130 mm deep, on an 80 mm plug: room 37 mm. Hypocotyl 30 - 3 = 27 mm.
    verdict = answer("cabbage", 2, 0.9, hypocotyl=30.0, cells=(3, 6))
    assert (verdict.burial, verdict.burial_depth_mm) == ("to_seed_leaves", 27.0)
    assert answer("cucumber", 1, 0.6, hypocotyl=30.0, cells=(3, 6)).burial_depth_mm == 10


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


# Dates, urgency, wording


def test_dates_by_hand():
    # Tomato: 3 to 4 weeks to the middle of 2-4 leaves, two thirds of it for leaves: 24.5 x 2/3 / 3 = 5.44
    # days a leaf. One leaf now: two in 6 days. Roots of a 72 cell begin to circle at 35 days, 15 from now.
    verdict = answer("tomato", 1, 0.6, age=20)
    assert (verdict.earliest, verdict.latest) == (TODAY + timedelta(6), TODAY + timedelta(15))
    # Three leaves: four in 6 days (5.44 rounded up), sooner than the roots.
    verdict = answer("tomato", 3, 0.6, age=20)
    assert (verdict.earliest, verdict.latest) == (TODAY, TODAY + timedelta(6))
    # Stretched: within three days of the photo.
    assert answer("tomato", 2, 1.8, age=20).latest == TODAY + timedelta(3)
    assert answer("cucumber", 5, 0.6, age=20).latest is None


@pytest.mark.parametrize(
    ("crop", "leaves", "index", "extra", "points"),
    [
        ("tomato", 0, 0.6, {}, 0),  # the window closes in 22 days
        ("tomato", 1, 0.6, {"age": 30}, 14 - 5),  # roots circle in 5 days
        ("tomato", 2, 0.6, {"age": 30}, 14 - 5 + 10),
        ("tomato", 2, 0.6, {"age": 45}, 14 + 10 + 10),  # ten days late
        ("tomato", 2, 0.6, {"age": 300}, 42 + 10),
        ("tomato", 2, 0.9, {"age": 30, "cover": 0.8}, 14 - 5 + 10 + 4 + 3),
        ("tomato", 2, 1.8, {"age": 30}, 14 - 3 + 10 + 4),  # stretched: due in three days
        ("tomato", None, 0.6, {"age": 30}, 14 - 5 + 5),  # unsure
        ("cucumber", 2, 0.9, {}, 14 + 10 + 8),  # at the end of its window today
    ],
)
def test_urgency_by_hand(crop, leaves, index, extra, points):
    assert answer(crop, leaves, index, **extra).urgency == points


def test_a_delay_that_cannot_be_mended_is_more_urgent():
    # A stretched tomato can be buried, a stretched cucumber can't; both have a leaf to go in their window.
    assert answer("cucumber", 1, 0.9).urgency > answer("tomato", 3, 0.9).urgency
    assert answer("tomato", 2, 1.8).urgency > answer("tomato", 2, 0.6).urgency
    assert answer("tomato", 2, 0.6).urgency > answer("tomato", 1, 0.6).urgency


def test_what_is_missing_and_assumed_is_said():
    verdict = advise(flat(2, None, cover=None, crop="pepper"), load_crop("pepper"), TODAY + timedelta(9))
    assert "the sown date in the register" in verdict.missing
    assert "canopy cover: an overhead photo" in verdict.missing
    assert "stem lengths: a side photo of row A" in verdict.missing
    assert "a new photo: this one is 9 days old" in verdict.missing
    assert "tomato's stretch limits hold for pepper (unproved)" in answer("pepper", 3, 0.6).assumed
    assert "row A stands for the whole flat: stems are seen in row A only" in answer("tomato", 3, 0.6).assumed
    future = flat(2, 0.6, age=-5)
    assert "a sown date that isn't in the future" in advise(future, load_crop("tomato"), TODAY).missing
    assert not any("stem lengths" in m for m in answer("onion", 2, None).missing)


def test_cautions_a_helper_needs():
    assert any("circle" in c for c in answer("cucumber", 2, 0.6, age=40).cautions)
    assert any("Look at the flat before" in c for c in answer("cucumber", 1, 1.5).cautions)
    assert any("don't bury" in c for c in answer("lettuce", 3, 0.7).cautions)
    assert "Keep nights at 10 °C or more." in answer("tomato", 2, 0.6).cautions
    warned = advise(flat(2, 0.6, flags=("tilted",)), load_crop("tomato"), TODAY)
    assert any("tilted" in c for c in warned.cautions)


def test_inches_on_request():
    verdict = advise(flat(2, 0.6, hypocotyl=40.0), load_crop("tomato"), TODAY, inch=True)
    text = " ".join(verdict.assumed + verdict.cautions)
    assert " mm" not in text.replace("280 x 540 mm", "") and "50 °F" in text
    assert "3 1/2 in pot" in text


# Layers


def test_rules_look_at_no_pixels():
    folder = Path(seedlingcv.advice.__file__).parent
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert name.split(".")[0] not in {"cv2", "numpy", "PIL", "skimage", "scipy"}, path
                for higher in ("plan", "report", "cli"):
                    assert not name.startswith(f"seedlingcv.{higher}"), path
    code = "import sys, seedlingcv.advice.rules; print(sorted({'cv2', 'numpy'} & set(sys.modules)))"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"

"""The rules, case by case. Figures are invented; what they must lead to is common practice, no source, unless
a source stands beside the case."""

import ast
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from invented import TODAY, answer, flat

import seedlingcv.advice
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement


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
        # A root check overrides what the age would say.
        ("tomato", 1, 0.6, {"age": 43, "roots": "firm"}, "wait", "1 true leaf"),
        ("tomato", 2, 0.6, {"age": 20, "roots": "not_ready"}, "wait", "the plug doesn't hold together yet"),
        ("tomato", 2, 1.8, {"age": 20, "roots": "not_ready"}, "pot_up_early", "Stems 1.8 x"),
        ("pepper", 2, 1.8, {"age": 20, "roots": "not_ready"}, "wait", "the plug doesn't hold together yet"),
        ("tomato", 1, 0.6, {"age": 20, "roots": "root_bound"}, "pot_up", "root-bound, they circle"),
        ("cucumber", 3, 0.6, {"age": 20, "roots": "root_bound"}, "sow_again", "3 true leaves"),
        ("cucumber", 4, 0.6, {"roots": "firm"}, "pot_up", "4 true leaves"),
        # Roots that have room by age forgive one leaf more: 23 days until they circle in a 72.
        ("cucumber", 4, 0.6, {"age": 20}, "pot_up", "4 true leaves"),
        ("cucumber", 4, 0.6, {"age": 24}, "unsure", "4 true leaves"),
        # No leaf count: cover and age together, or nothing.
        ("tomato", None, 0.6, {"cover": 0.8, "age": 25}, "pot_up", "Leaves cover 80 %"),
        ("tomato", None, 0.6, {"cover": 0.2, "age": 12}, "wait", "12 days old, usually potted up at 21"),
        ("tomato", None, 0.6, {"cover": 0.2, "age": 30}, "unsure", "age and size disagree"),
        ("tomato", None, 0.6, {"cover": 0.8, "age": 12}, "unsure", "age and size disagree"),
        ("tomato", None, 0.6, {"cover": 0.8}, "unsure", "No leaf count"),
        ("tomato", None, 0.6, {"cover": None, "age": 30}, "unsure", "No leaf count"),
        # Before the first true leaf potting up is too soon: without a count nobody knows.
        ("tomato", None, 1.8, {"cover": None}, "unsure", "Stems 1.8 x"),
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
    assert (verdict.action, verdict.burial, verdict.due) == ("do_not_transplant", None, None)
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


# Wording


def test_what_is_missing_and_assumed_is_said():
    verdict = advise(flat(2, None, cover=None, crop="pepper"), load_crop("pepper"), TODAY + timedelta(9))
    assert "the sown date in the register" in verdict.missing
    assert "canopy cover: an overhead photo" in verdict.missing
    assert "stem lengths: a side photo of row A" in verdict.missing
    assert "a new photo: this one is 9 days old" in verdict.missing
    assert "tomato's stretch limits hold for pepper (unproved)" in answer("pepper", 3, 0.6).assumed
    assert "row A stands for the whole flat: stems are seen in row A only" in answer("tomato", 3, 0.6).assumed
    future = flat(2, 0.6, age=-5)
    assert any("a sown date that isn't after" in m for m in advise(future, load_crop("tomato"), TODAY).missing)
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

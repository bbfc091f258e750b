"""What the depth drawing shows, against plain geometry. The plants are invented."""

import itertools
from datetime import date
from math import pi

import pytest

from seedlingcv.advice.burial import burial_depth
from seedlingcv.advice.pots import LARGE_POT, SMALL_POT, Pot
from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.report.depth_plan import depth_plan


def flat(crop="tomato", rows=6, columns=12, *, stem=60.0, seed_leaves=30.0, leaves=3, spread=70.0):
    cells = tuple(CellMeasurement(f"{chr(65 + r)}{c + 1}", plants=1, true_leaves=leaves, leaf_spread_mm=spread,
                                  stem_length_mm=stem, hypocotyl_length_mm=seed_leaves)
                  for r in range(rows) for c in range(columns))
    return FlatMeasurement(31, date(2025, 4, 2), rows, columns, cells, crop)


def plan_of(measured, *, pot=None, stretched=False):
    crop = load_crop(measured.crop)
    depth = burial_depth(measured, crop, pot=pot, stretched=stretched)
    return depth_plan(measured, depth, crop), depth


def test_upright_plug_soil_and_headspace_add_up_to_the_pot():
    for crop in ("tomato", "pepper", "cabbage", "cucumber", "basil"):
        plan, depth = plan_of(flat(crop))
        assert plan.plug_foot_mm + plan.plug_mm + plan.covered_mm + 13 == pytest.approx(SMALL_POT.depth_mm)
        assert plan.covered_mm == depth.covered_mm and plan.plug_foot_mm >= 0


def test_the_plant_is_as_measured():
    plan, _ = plan_of(flat(stem=60, seed_leaves=30, leaves=4, spread=70))
    assert (plan.stem_mm, plan.seed_leaves_mm, plan.leaf_mm, plan.measured) == (60, 30, 35, True)
    assert len(plan.leaf_nodes_mm) == 4
    assert plan.leaf_nodes_mm[0] == pytest.approx(30 + 30 / 4) and plan.leaf_nodes_mm[-1] == pytest.approx(60)


def test_what_comes_off_stands_below_the_new_surface_and_what_is_kept_above():
    plan, _ = plan_of(flat(stem=150, seed_leaves=60, leaves=6), stretched=True)
    assert plan.way == "deeper_pot" and plan.taken_seed_leaves
    assert plan.covered_mm > plan.seed_leaves_mm
    assert all(node < plan.covered_mm + 3 for node in plan.leaf_nodes_mm[: plan.taken_leaves])
    assert all(node > plan.covered_mm for node in plan.leaf_nodes_mm[plan.taken_leaves :])
    assert plan.plug_foot_mm >= 0


def test_a_crown_is_never_drawn_under_the_mix():
    plan, _ = plan_of(flat("lettuce", stem=None, seed_leaves=None, leaves=4))
    assert plan.rosette and plan.covered_mm == 0 and plan.surface_mm == plan.plug_foot_mm + plan.plug_mm


def test_a_laid_stem_is_drawn_as_long_as_it_is_buried_and_inside_the_pot():
    """To 3 mm, which is 1 mm on paper at the scales that such pots are drawn in."""
    pots = (LARGE_POT, Pot(130, 115, "round"), Pot(130, 115), Pot(165, 165, "round"))
    laid = 0
    for stem, pot in itertools.product((100, 110, 120, 130, 140), pots):
        plan, depth = plan_of(flat(stem=float(stem), seed_leaves=0.4 * stem, leaves=5), pot=pot, stretched=True)
        if plan.way != "laid":
            continue
        laid += 1
        along, turn, up = plan.laid_path_mm
        assert along + pi / 2 * turn + up == pytest.approx(depth.covered_mm, abs=3.0)
        assert along + turn + plan.plug_mm <= 2 * plan.pot_half_mm(plan.lying_mm) + 0.1
        assert plan.lying_mm - plan.plug_wide_mm / 2 >= 0
        assert plan.lying_mm + plan.plug_wide_mm / 2 < plan.surface_mm
    assert laid >= 10


def test_unmeasured_plants_are_examples_and_say_so():
    plan, depth = plan_of(flat(stem=None, seed_leaves=None))
    assert not plan.measured and depth.covered_mm is None
    assert 0 <= plan.covered_mm <= SMALL_POT.depth_mm - 13 - plan.plug_mm


def test_without_a_layout_or_a_depth_there_is_no_drawing():
    measured = flat()
    crop = load_crop("tomato")
    unknown = FlatMeasurement(31, None, 0, 0, measured.cells, "tomato")
    assert depth_plan(unknown, burial_depth(unknown, crop), crop) is None
    assert depth_plan(measured, None, crop) is None


def test_scale_is_the_largest_usual_one_that_fits():
    plan, _ = plan_of(flat(stem=60, spread=70))
    wide = sum(plan.wide_mm)
    for room in (60, 100, 150, 300):
        scale = plan.scale(room, 75)
        assert wide / scale <= room and plan.tall_mm / scale <= 75
    assert plan.scale(1000, 1000) == 1  # never larger than life
    assert plan.scale(1, 1) == 10

"""Where a stem leaves the soil, and which of the network's points lie on it."""

from types import SimpleNamespace

import numpy as np
import pytest

from seedlingcv.measure.stem_path import BASE_SD_MM, SOIL_SD_MM, StemPath, base_height_mm, soil_point
from seedlingcv.segment.network import Peaks
from seedlingcv.segment.side import PX_PER_MM, SideStrip
from seedlingcv.segment.stem import Trace

SOIL_MM = -5.0
NONE = Peaks(np.empty((0, 2)), np.empty(0))


def peaks(*found):
    places = np.array([(right, up) for right, up, _ in found], float)
    return Peaks(places, np.array([chance for *_, chance in found], float))


def upright(right=0.0, low=-4.0, high=40.0):
    up = np.arange(low, high, 1 / PX_PER_MM)
    return np.column_stack([np.full(len(up), right), up])


def path(right_of, soil=NONE, low=-4.0, high=40.0):
    """A StemPath whose middle lies at `right_of(up)`, of a plant 45 mm above the rim."""
    width, height = 100 * PX_PER_MM, 70 * PX_PER_MM
    blank = np.zeros((height, width), np.uint8)
    strip = SideStrip(blank, blank, blank, np.zeros(width), np.zeros(width), -50.0, 50.0)
    own = np.zeros((height, width), bool)
    own[5 * PX_PER_MM :] = True
    up = np.arange(low, high, 1 / PX_PER_MM)
    points = strip.to_px(np.column_stack([right_of(up), up]))
    return StemPath(strip, SimpleNamespace(soil_up_mm=SOIL_MM), Trace(points, 10.0, 1.0), own, soil)


def test_the_base_lies_between_the_seen_point_and_the_backdrops_soil():
    up, se = base_height_mm(upright(), SOIL_MM, peaks((0.5, -7.0, 0.8)))
    assert -7 < up < SOIL_MM
    assert se == BASE_SD_MM


def test_without_a_soil_point_the_backdrops_soil_holds():
    assert base_height_mm(upright(), SOIL_MM, NONE) == (SOIL_MM, SOIL_SD_MM)


def test_a_neighbours_or_a_high_soil_point_is_not_this_stems():
    assert soil_point(upright(), SOIL_MM, peaks((6.0, -5.0, 0.9), (0.0, 9.0, 0.9))) is None


def test_of_two_soil_points_the_surer_holds():
    """Peaks come surest first."""
    assert soil_point(upright(), SOIL_MM, peaks((0.0, -6.0, 0.9), (0.3, -2.0, 0.4))) == (-6.0, 0.9)


def test_lengths_of_a_slanting_stem_count_from_the_soil():
    """Pythagoras: a stem that leans by 1 in 5 is sqrt(1.04) as long as it is high."""
    stem = path(lambda up: 0.2 * up)
    assert stem.base_mm == SOIL_MM
    assert stem.arc[-1] == pytest.approx((40 - SOIL_MM) * np.sqrt(1.04), abs=0.4)
    assert stem.height_mm == pytest.approx(45 - SOIL_MM, abs=0.3)
    np.testing.assert_allclose(stem.at(10 * np.sqrt(1.04)), [0.2 * (SOIL_MM + 10), SOIL_MM + 10], atol=0.1)


def test_a_tube_that_runs_on_into_the_soil_counts_from_the_soil():
    assert path(lambda up: 0 * up, low=-12.0).arc[-1] == pytest.approx(40 - SOIL_MM, abs=0.4)


def test_points_on_the_stem_and_straight_on_above_it_and_none_beside():
    arc, chance = path(lambda up: 0 * up).along(peaks((1.0, 20.0, 0.9), (0.0, 48.0, 0.7), (9.0, 20.0, 0.8)))
    np.testing.assert_allclose(arc, [25, 53], atol=0.2)
    np.testing.assert_allclose(chance, [0.9, 0.7])


def test_no_points_at_all():
    arc, chance = path(lambda up: 0 * up).along(NONE)
    assert len(arc) == len(chance) == 0

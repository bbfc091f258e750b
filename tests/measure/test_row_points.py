"""Nodes and apices of a row: one plant's places may mislead, the row's votes decide."""

import numpy as np
import pytest

from seedlingcv.measure.row_points import APEX, NODE, SHARES, Places, plant_share, row_points, row_share
from seedlingcv.segment.network import Peaks


def places(*pairs):
    shares, chances = np.array(pairs, float).reshape(-1, 2).T
    return Places(shares, chances)


@pytest.mark.parametrize("share", [0.4, 0.55, 0.75])
def test_the_rows_nodes_are_found(share):
    row = row_share([places((share + off, 0.7)) for off in (-0.04, 0, 0.02, 0.03, -0.01)], NODE)
    assert row.value == pytest.approx(share, abs=0.03)
    plant = plant_share(places((share + 0.05, 0.7)), row, NODE)
    assert plant.value == pytest.approx(share + 0.05, abs=0.015)
    assert plant.unseen < 0.1


def test_a_row_of_one_sure_kind_of_place_is_the_normal_mean():
    """With certain places the vote is a product of Gaussians, whose mean is weighted by inverse variances
    (the conjugate normal prior; any statistics textbook, from memory)."""
    at = [0.46, 0.50, 0.54]
    weight = np.array([1 / NODE.sd**2] + [1 / NODE.plant_sd**2] * 3)
    mean = weight @ np.array([NODE.usual, *at]) / weight.sum()
    row = row_share([places((share, 0.98)) for share in at], NODE)
    assert row.value == pytest.approx(mean, abs=0.01)
    assert row.se == pytest.approx(weight.sum() ** -0.5, abs=0.01)


def test_forks_higher_up_on_all_plants_are_not_the_nodes():
    """A fainter place at another height of each plant: what they have in common wins."""
    rng = np.random.default_rng(1)
    row = [places((0.5 + rng.normal(0, 0.03), 0.6), (rng.uniform(0.65, 0.95), 0.4)) for _ in range(10)]
    shared = row_share(row, NODE)
    assert shared.value == pytest.approx(0.5, abs=0.04)
    for plant in row:
        assert plant_share(plant, shared, NODE).value == pytest.approx(plant.shares[0], abs=0.08)


def test_places_that_disagree_make_the_node_unsure():
    row = row_share([places((0.5, 0.8))] * 8, NODE)
    one, two = places((0.5, 0.6)), places((0.43, 0.6), (0.57, 0.6))
    assert plant_share(two, row, NODE).se > 2 * plant_share(one, row, NODE).se


def test_a_plant_without_places_takes_the_rows_and_says_that_it_was_not_seen():
    row = row_share([places((0.2, 0.8))] * 8, APEX)
    hidden = plant_share(places(), row, APEX)
    assert (hidden.value, hidden.unseen) == (pytest.approx(row.value), 1)
    assert hidden.se > APEX.plant_sd


def test_where_nothing_is_seen_the_usual_share_is_unsure():
    row = row_share([places()] * 8, APEX)
    assert SHARES[0] < row.value < SHARES[-1]
    assert row.value == pytest.approx(APEX.usual, abs=0.05)
    assert row.se > 0.15


class Straight:
    """What `row_points` reads of a StemPath: an upright stem at x = 0."""

    def __init__(self, height_mm):
        self.height_mm = height_mm

    def along(self, peaks):
        return peaks.places_mm[:, 1], peaks.scores


class Reading:
    def __init__(self, node, apex):
        self.node, self.apex = (Peaks(np.column_stack([np.zeros(len(p)), p]), np.full(len(p), 0.8))
                                for p in (node, apex))


def test_points_in_millimetres():
    points = row_points({1: Straight(50.0), 2: Straight(52.0)}, [1, 2], Reading([30.0], [35.0]))
    assert points[1].node_mm == pytest.approx(30, abs=0.5)
    assert 34 < points[1].apex_mm < 38
    assert 0 < points[1].node_se_mm < 3


def test_no_node_no_answer():
    assert row_points({1: Straight(50.0)}, [1], Reading([], [35.0]))[1] is None


def test_an_apex_is_never_above_the_plants_top():
    high = row_points({c: Straight(50.0) for c in range(8)}, list(range(8)), Reading([30.0], [49.5]))
    assert high[0].apex_mm == pytest.approx(50)

"""Splitting plants, and the height of the canopy, against drawn leaves."""

import cv2
import numpy as np
import pytest

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import lift, plane_view
from seedlingcv.segment.canopy import canopy_from_pair, canopy_plane_mm
from seedlingcv.segment.plants import split_plants

VIEW = plane_view((200.0, 120.0), 3.0, margin_mm=10.0)
LAYOUT = FlatLayout(1, 3, (200.0, 120.0), (40.0, 40.0), (30.0, 40.0))  # cell middles at x 50, 90, 130, y 60
EYE = np.array([90.0, 60.0, 5000.0])  # so far away that stems are seen end on


def strokes(*lines, width_mm=5.0):
    mask = np.zeros((VIEW.height, VIEW.width), np.uint8)
    for line in lines:
        points = np.round(VIEW.to_px(line)).astype(np.int32)
        cv2.polylines(mask, [points], False, 255, round(width_mm * VIEW.px_per_mm))
    return mask > 0


def test_a_leaf_that_hangs_over_the_neighbour_stays_with_its_own_stem():
    mask = strokes([(50, 60), (76, 60)], [(90, 70), (90, 95)], [(90, 68), (90, 60)])
    plants = split_plants(mask, VIEW, LAYOUT, EYE)
    row, column = np.round(VIEW.to_px([[74.0, 60.0]])[0][::-1]).astype(int)
    assert plants.labels[row, column] == 1  # nearer to the second stem, but joined to the first
    assert set(np.unique(plants.labels)) == {0, 1, 2}


def test_two_plants_that_touch_are_parted_between_them_and_say_so():
    mask = strokes([(50, 60), (130, 60)], width_mm=30)
    plants = split_plants(mask, VIEW, LAYOUT, EYE)
    rows, columns = np.nonzero(plants.labels == 2)
    assert VIEW.to_mm([[columns.min(), 0]])[0][0] == pytest.approx(70.0, abs=2.0)
    assert VIEW.to_mm([[columns.max(), 0]])[0][0] == pytest.approx(110.0, abs=2.0)
    assert not plants.sure[1]  # both its ends border on others


def test_apart_means_no_contact_and_a_bare_cell_has_no_plant():
    plants = split_plants(strokes([(50, 60), (50, 80)], [(130, 60), (130, 80)]), VIEW, LAYOUT, EYE)
    assert plants.sure.all()
    assert plants.count.tolist() == [1, 0, 1]
    assert 1 not in plants.boxes


def test_a_leaf_tip_in_an_empty_cell_goes_back_to_its_owner():
    """Only a sliver is nearer to the empty cell's middle."""
    mask = strokes([(50, 60), (72, 60)], [(50, 60), (30, 80)], [(50, 60), (40, 40)])
    plants = split_plants(mask, VIEW, LAYOUT, EYE)
    assert set(np.unique(plants.labels)) == {0, 1}


def test_no_vegetation_at_all():
    plants = split_plants(np.zeros((VIEW.height, VIEW.width), bool), VIEW, LAYOUT, EYE)
    assert not plants.labels.any()


@pytest.mark.parametrize("height", [0.0, 30.0, 75.0])
def test_canopy_height_from_two_cameras(height):
    """Leaves drawn on one level plane and carried to the rim plane as two cameras see them."""
    rng = np.random.default_rng(4)
    view = plane_view((546.0, 278.0), 2.0, z_mm=height)
    leaves = np.zeros((view.height, view.width), np.uint8)
    for x, y in rng.uniform([60, 60], [480, 220], (60, 2)):
        u, v = np.round(view.to_px([x, y])).astype(int)
        cv2.ellipse(leaves, (int(u), int(v)), (22, 9), float(rng.uniform(0, 180)), 0, 360, 255, -1)
    eyes = np.array([230.0, 120.0, 520.0]), np.array([340.0, 190.0, 500.0])
    seen = [lift(leaves > 0, view, eye, 0.0) for eye in eyes]
    found = canopy_from_pair((seen[0][0], seen[1][0]), seen[0][1], eyes)
    assert found == pytest.approx(height, abs=2.0)


def test_no_baseline_no_height():
    mask = strokes([(50, 60), (130, 60)])
    eye = np.array([100.0, 60.0, 500.0])
    assert canopy_from_pair((mask, mask), VIEW, (eye, eye)) is None


def test_canopy_plane_of_a_bare_flat_is_the_soil():
    assert canopy_plane_mm(0.0) == -5.0

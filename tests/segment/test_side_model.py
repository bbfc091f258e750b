"""The shipped side network on a drawn side view: the truth is the drawing's own geometry.

The network never saw such drawings. Bounds are well above what was measured, so that they catch a broken file, a wrong
channel or a shifted grid, not a small change of the weights.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from side_scene import SOIL_UP_MM, Plant, Scene, draw

from seedlingcv.flat.backdrop import fit_side
from seedlingcv.flat.white import balance, white_reference
from seedlingcv.segment.network import woven
from seedlingcv.segment.side_model import _peaks, read_side
from seedlingcv.tags.detect import detect_tags

PITCH = 511 / 12
PLANTS = tuple(Plant((6.5 - column) * PITCH, 28, 38, 55, lean=lean, sway_mm=sway)
               for column, lean, sway in ((2, 0.05, 2), (4, -0.1, 0), (7, 0.0, 3), (10, 0.15, 0)))


@pytest.fixture(scope="module")
def view():
    scene = Scene(PLANTS)
    image = draw(scene)
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    return image, fit_side(tags, image.shape[1::-1], scene.focal_px, rows=6, columns=12), white_reference(image, tags)


@pytest.fixture(scope="module")
def reading(view):
    image, pose, white = view
    return read_side(image, pose, 70, white)


def nearest(peaks, place):
    sure = peaks.scores > 0.25
    return np.linalg.norm(peaks.places_mm[sure] - place, axis=1).min()


def test_soil_points_nodes_and_apices(reading):
    for plant in PLANTS:
        assert nearest(reading.soil, plant.stem(0.0)[0] + [0, 0]) < 2.5
        assert nearest(reading.node, plant.stem(plant.node_mm)[-1]) < 1.5
        assert nearest(reading.apex, plant.stem(plant.apex_mm)[-1]) < 3


def test_four_plants_have_four_sure_soil_points_and_nodes(reading):
    for peaks in (reading.soil, reading.node):
        assert np.count_nonzero(peaks.scores > 0.5) == len(PLANTS)
        assert (np.diff(peaks.scores) <= 0).all()


def test_stems_and_the_ways_from_them(reading):
    for plant in PLANTS:
        middle = plant.stem(0.5 * plant.node_mm)[-1]
        column, row = np.round(reading.to_px(middle[None])[0]).astype(int)
        assert reading.vegetation[row, column] > 0.5
        assert reading.hypocotyl[row, column] > 0.5
        assert reading.epicotyl[row, column] < 0.5
        column, row = np.round(reading.to_px(middle[None], 1.0)[0]).astype(int)
        assert reading.home_mm[row, column] == pytest.approx(plant.right_mm - middle[0], abs=2.5)
        np.testing.assert_allclose(reading.node_mm[row, column], plant.stem(plant.node_mm)[-1] - middle, atol=5)
        assert reading.diameter_at(middle) == pytest.approx(plant.thick_mm, abs=0.6)


def test_the_same_photo_gives_the_same_numbers(view, reading):
    image, pose, white = view
    again = read_side(image, pose, 70, white)
    np.testing.assert_array_equal(again.vegetation, reading.vegetation)
    np.testing.assert_array_equal(again.node.places_mm, reading.node.places_mm)


def test_the_network_reads_colours_balanced_by_the_cards_white(view):
    image, pose, _ = view
    cast = np.clip(image * [0.5, 0.8, 0.95], 0, 255).astype(np.uint8)
    white = white_reference(cast, detect_tags(cv2.cvtColor(cast, cv2.COLOR_BGR2GRAY)))
    with_white, without = (read_side(cast, pose, 70, w).vegetation for w in (white, None))
    beforehand = read_side(balance(cast, white), pose, 70).vegetation
    assert np.abs(with_white - beforehand).mean() < 0.1 * np.abs(without - beforehand).mean()


def test_places_and_pixels_are_inverse(reading):
    mm = np.array([[-283.0, reading.top_mm], [0.0, SOIL_UP_MM], [120.25, 33.5]])
    np.testing.assert_allclose(reading.to_mm(reading.to_px(mm)), mm, atol=1e-9)
    np.testing.assert_allclose(reading.to_px(mm[:1]), [[-0.5, -0.5]])
    assert reading.top_mm >= 70
    assert reading.vegetation.shape == tuple(4 * n for n in reading.home_mm.shape)


def test_higher_up_the_lower_part_stays(view, reading):
    image, pose, white = view
    more = read_side(image, pose, 110, white)
    rows = len(reading.vegetation)
    assert np.abs(more.vegetation[-rows:] - reading.vegetation)[40:].mean() < 0.01


def test_woven_pixels_by_hand():
    four = np.arange(8, dtype=np.float32).reshape(4, 1, 2)
    np.testing.assert_array_equal(woven(four), [[0, 2, 1, 3], [4, 6, 5, 7]])


def test_a_peak_between_pixels_is_found():
    """A parabola's top is met exactly; half-resolution pixels are 0.5 mm."""
    y, x = np.mgrid[0:20, 0:30].astype(np.float32)
    heat = 0.9 - 0.01 * ((x - 12.3) ** 2 + (y - 8.6) ** 2)
    peaks = _peaks(np.clip(heat, 0, 1), top_mm=50.0)
    assert len(peaks.scores) == 1
    np.testing.assert_allclose(peaks.places_mm[0], [-283 + 12.8 * 0.5, 50 - 9.1 * 0.5], atol=1e-3)


def test_no_peaks_in_an_even_field():
    assert len(_peaks(np.zeros((10, 10), np.float32), 0.0).scores) == 0


def test_an_empty_row_has_no_sure_soil_point(view):
    _, pose, white = view
    bare = read_side(draw(replace(Scene(PLANTS), plants=())), pose, 40, white)
    assert (bare.soil.scores < 0.5).all()
    assert (bare.vegetation > 0.5).mean() < 0.005

"""The baseline on drawn leaves of known size."""

import numpy as np
import pytest
from skimage.draw import disk, line
from skimage.util import random_noise

from seedlingcv.benchmarks import textbook

SOIL, LEAF = (40, 55, 70), (50, 150, 60)  # BGR


def scene(*discs):
    picture = np.full((120, 200, 3), SOIL, np.uint8)
    truth = np.zeros((120, 200), bool)
    for place, radius in discs:
        truth[disk(place, radius, shape=truth.shape)] = True
    picture[truth] = LEAF
    noisy = random_noise(picture, var=1e-4, rng=0)
    return np.round(noisy * 255).astype(np.uint8), truth


def test_excess_green_of_pure_colours():
    colours = np.array([[[0, 255, 0], [255, 255, 255], [0, 0, 255], [0, 0, 0]]], np.uint8)
    assert textbook.excess_green(colours).tolist() == [[2, 0, -1, 0]]


def test_a_star_of_pure_green():
    # sRGB green is L 87.7, a -86.2, b 83.2 in CIELAB (D65), a value printed in many tables; from memory
    assert textbook.a_star(np.array([[[0, 255, 0]]], np.uint8))[0, 0] == pytest.approx(-86.2, abs=0.1)


@pytest.mark.parametrize("index", textbook.INDICES)
def test_leaves_are_found(index):
    picture, truth = scene(((60, 60), 25), ((60, 140), 15))
    found = textbook.vegetation(picture, index)
    assert (found & truth).sum() / (found | truth).sum() > 0.97


def test_touching_plants_are_split_at_the_neck_and_measured():
    _, truth = scene(((60, 60), 30), ((60, 116), 30))
    labels = textbook.split_by_cell(truth, np.array([[60.0, 60.0], [116.0, 60.0]]))
    assert labels[60, 62] == 1
    assert labels[60, 114] == 2
    boxes = [(slice(20, 100), slice(30, 88)), (slice(20, 100), slice(88, 146))]
    one, two = textbook.figures(truth, labels, boxes, px_per_mm=2.0)
    assert one.leaf_spread_mm == pytest.approx(30.0, abs=1)
    assert one.leaf_area_mm2 + two.leaf_area_mm2 == pytest.approx(truth.sum() / 4)
    assert one.canopy_cover == pytest.approx(truth[boxes[0]].mean())


def test_a_leaf_joined_to_no_seed_belongs_to_no_cell():
    _, truth = scene(((60, 60), 20), ((20, 180), 10))
    labels = textbook.split_by_cell(truth, np.array([[60.0, 60.0], [130.0, 60.0]]))
    assert set(np.unique(labels)) == {0, 1}
    figures = textbook.figures(truth, labels, [(slice(0, 120), slice(30, 95)), (slice(0, 120), slice(95, 165))], 1.0)
    assert figures[1].leaf_spread_mm is None
    assert figures[1].canopy_cover == 0


def test_opening_takes_thin_streaks_away():
    picture, truth = scene(((60, 60), 25))
    picture[line(5, 5, 5, 190)] = LEAF
    assert not textbook.vegetation(picture, "excess_green")[:10].any()

"""Stem diameters on drawn stems of exactly known width: the light of a slab with soft edges is two error functions."""

import cv2
import numpy as np
import pytest
from scipy.special import erf

from seedlingcv.flat.backdrop import SidePose
from seedlingcv.measure.diameter import stem_diameter

PX_PER_MM = 6.0
SIZE = (240, 400)
GREY, BLUE, SOIL = (150, 150, 150), (180, 120, 60), (30, 40, 55)
STEM, PALE, DARK = (70, 140, 110), (190, 215, 200), (45, 90, 70)


def pose():
    """A camera that looks straight at the row, 6 px a mm, its axis at right 0, up 30 mm."""
    return SidePose(np.eye(3), np.array([0.0, 30.0, 500.0]), 500 * PX_PER_MM, 0.0, SIZE, 6, 12, 42.6, np.zeros((4, 3)),
                    0.0, ())


def drawn(width_mm, stem=STEM, left=GREY, right=GREY, lean=0.0, blur_px=0.8, lit=1.0, off_mm=0.0, seed=1):
    """uint8 BGR picture and the stem's middle line (right, up mm). lit : light on the right half against the left."""
    width, height = SIZE
    x, y = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    up = 30 - (y - (height - 1) / 2) / PX_PER_MM
    across = ((x - (width - 1) / 2) / PX_PER_MM - off_mm - lean * up) / np.hypot(1, lean)
    sigma = np.sqrt(2) * blur_px / PX_PER_MM
    inside = (erf((across + width_mm / 2) / sigma) - erf((across - width_mm / 2) / sigma)) / 2
    ground = np.where((across < 0)[..., None], np.array(left, float), np.array(right, float))
    shade = 1 + (lit - 1) * (across / width_mm + 0.5).clip(0, 1)
    picture = ground + inside[..., None] * (np.array(stem, float) * shade[..., None] - ground)
    picture += np.random.default_rng(seed).normal(0, 2, picture.shape)
    line = np.column_stack([lean * np.arange(0, 40.0), np.arange(0, 40.0)])
    return np.clip(picture, 0, 255).astype(np.uint8), line


def measured(picture, line, place=12.0, guess=1.6):
    arc = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return stem_diameter(picture, pose(), line, arc, place, guess)


@pytest.mark.parametrize("width", [1.0, 1.37, 2.0, 3.3])
@pytest.mark.parametrize("colours", [(STEM, GREY, GREY), (PALE, SOIL, SOIL), (DARK, BLUE, BLUE), (STEM, GREY, SOIL)])
def test_a_fraction_of_a_pixel(width, colours):
    stem, left, right = colours
    found, se = measured(*drawn(width, stem, left, right))
    assert found == pytest.approx(width, abs=0.1)  # a pixel is 0.17 mm
    assert 0.05 < se < 0.3


@pytest.mark.parametrize("blur", [0.5, 1.0, 1.5])
def test_blur_does_not_widen_the_stem(blur):
    assert measured(*drawn(2.0, PALE, SOIL, SOIL, blur_px=blur))[0] == pytest.approx(2.0, abs=0.12)


@pytest.mark.parametrize("lean", [-0.3, 0.25])
def test_a_leaning_stem_is_measured_across_itself(lean):
    assert measured(*drawn(2.0, lean=lean))[0] == pytest.approx(2.0, abs=0.1)


def test_a_path_beside_the_stem_and_at_a_slant_to_it():
    """The followed path runs 0.3 mm off and turned by 0.35: the middle is found again and the slant taken out."""
    picture, line = drawn(2.5, off_mm=0.3)
    path = line + np.column_stack([0.35 * (line[:, 1] - 6), 0 * line[:, 1]])
    assert measured(picture, path, place=6.0)[0] == pytest.approx(2.5, abs=0.1)


def test_light_from_one_side():
    assert measured(*drawn(2.0, lit=1.5))[0] == pytest.approx(2.0, abs=0.15)


def test_stored_as_jpeg_with_halved_colour():
    picture, line = drawn(1.8, STEM, BLUE, BLUE)
    _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88, cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
                                             cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420])
    assert measured(cv2.imdecode(data, cv2.IMREAD_COLOR), line)[0] == pytest.approx(1.8, abs=0.15)


def test_a_stem_of_its_surroundings_colour_is_not_answered():
    assert measured(*drawn(2.0, GREY, GREY, GREY))[0] is None

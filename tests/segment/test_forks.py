"""Forks of drawn plants, against the drawing and against scikit-image's skeleton."""

import cv2
import numpy as np
import pytest
from skimage.morphology import skeletonize

from seedlingcv.segment.forks import find_forks

START = (190, 100)  # row, column


def drawn(*strokes, blades=()):
    """bool (200, 200); strokes: (column, row) twice and px thick; blades: (column, row), half axes, degrees."""
    picture = np.zeros((200, 200), np.uint8)
    for a, b, thick in strokes:
        cv2.line(picture, a, b, 255, thick)
    for middle, axes, angle in blades:
        cv2.ellipse(picture, middle, axes, angle, 0, 360, 255, -1)
    return picture > 0


STEM = ((100, 195), (100, 120), 9)


@pytest.mark.parametrize("angle", [20, 30, 50, 80])
def test_a_fork_is_where_the_middle_lines_meet(angle):
    """The V's bottom lies higher, by more the smaller the angle."""
    turn = np.radians(angle)
    tips = [(int(100 + side * 60 * np.sin(turn)), int(120 - 60 * np.cos(turn))) for side in (-1, 1)]
    forks = find_forks(drawn(STEM, *(((100, 120), tip, 9) for tip in tips)), START)
    assert len(forks) == 1
    assert forks[0].place_px == pytest.approx((100, 120), abs=1.5)  # 0.3 mm
    assert forks[0].side_mm == pytest.approx(12, abs=3)


def test_the_skeletons_branch_point_is_a_fork():
    plant = drawn(STEM, ((100, 120), (100, 40), 8), ((100, 120), (150, 70), 6))
    skeleton = skeletonize(plant)
    around = cv2.filter2D(skeleton.astype(np.uint8), -1, np.ones((3, 3)))
    rows, columns = np.nonzero(skeleton & (around >= 4))
    fork, = find_forks(plant, START)
    assert np.hypot(columns - fork.place_px[0], rows - fork.place_px[1]).min() < 6


def test_one_stem_two_forks():
    plant = drawn(STEM, ((100, 120), (100, 30), 7), ((100, 150), (40, 130), 6), ((100, 90), (160, 60), 6))
    rows = sorted(fork.place_px[1] for fork in find_forks(plant, START))
    assert rows == pytest.approx([90, 150], abs=5)


def test_a_stem_that_ends_in_a_blade_does_not_fork():
    assert find_forks(drawn(STEM, blades=[((100, 90), (14, 40), 0)]), START) == []


def test_a_short_stump_is_no_arm():
    assert find_forks(drawn(STEM, ((100, 120), (100, 40), 8), ((100, 120), (108, 116), 6)), START) == []


def test_a_gap_in_a_thin_stalk_is_bridged():
    whole = drawn(STEM, ((100, 120), (100, 40), 7), ((100, 120), (160, 60), 4))
    gap = whole.copy()
    gap[106:112, 105:140] = False  # what is left of it at the stem is no arm
    assert len(find_forks(gap, START)) == len(find_forks(whole, START)) == 1
    gap[80:112, 105:200] = False
    assert find_forks(gap, START) == []


def test_what_lies_far_off_is_not_the_plants():
    plant = drawn(STEM, ((100, 120), (100, 40), 7)) | drawn(((160, 60), (190, 60), 6))
    assert find_forks(plant, START) == []

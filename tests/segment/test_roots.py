"""Roots on faces, against scikit-image's ridge filter and on real washed roots; plugs on the drawn board."""

from functools import cache

import cv2
import numpy as np
import pytest
from root_scene import GRAIN, PURPLE, Plug, RootScene, stored
from skimage.filters import sato
from skimage.morphology import skeletonize

from seedlingcv.segment.roots import PX_PER_MM, find_board, find_plugs, ridge_direction, root_mask
from seedlingcv.tags.detect import detect_tags
from seedlingcv.tags.root_board import BOARD_HEIGHT_MM, BOARD_WIDTH_MM

CROWNS = {"rootball_trial016": (60, 860, 600, 1230), "rootball_trial020": (40, 900, 560, 1260)}  # rows, columns


def board_of(scene):
    image, truth = scene.photo()
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    return find_board(image, tags), truth


@cache
def turned():
    """A photo on its side in warm light, one plug askew, one over a tag, and two that touch."""
    plugs = {1: Plug(0.2, turn_deg=12), 2: Plug(0.3, turn_deg=8, stem=PURPLE, shift_mm=(-3, 3)),
             3: Plug(0.3, turn_deg=-3, shift_mm=(-5, 2)), 5: Plug(0.3, shift_mm=(0, 8)), 6: Plug(0.3, shift_mm=(0, -8))}
    return board_of(RootScene(plugs, turn_deg=90, tilt_deg=10, light=(0.6, 0.85, 1.0), seed=21))


def test_the_board_comes_out_straight_and_white():
    board, _ = turned()
    assert board.picture.shape == (round(BOARD_HEIGHT_MM * PX_PER_MM), round(BOARD_WIDTH_MM * PX_PER_MM), 3)
    assert board.photo_px_per_mm == pytest.approx(9.0, rel=0.02)  # as drawn
    white = board.picture[round(3 * PX_PER_MM), round(3 * PX_PER_MM) : round(39 * PX_PER_MM)].mean(axis=0)
    assert np.ptp(white) < 6  # the warm light is gone
    again = detect_tags(cv2.cvtColor(board.picture, cv2.COLOR_BGR2GRAY))
    corner = next(t for t in again if t.id == 583)
    assert corner.centre / PX_PER_MM == pytest.approx([BOARD_WIDTH_MM - 21, BOARD_HEIGHT_MM - 21], abs=0.15)


def test_plugs_are_found_upright_in_their_places():
    board, _ = turned()
    plugs = {p.place: p for p in find_plugs(board)}
    assert "over the tags" in plugs[1].fault
    for place in (2, 3):
        rows, columns = np.nonzero(plugs[place].mask)
        assert not plugs[place].fault
        assert np.ptp(rows) / PX_PER_MM == pytest.approx(57, abs=1.5)  # the drawn plug's length, plant and stem off
        assert plugs[place].mask.sum() / PX_PER_MM**2 == pytest.approx(57 * (39 + 27) / 2, rel=0.03)
        width = plugs[place].mask.sum(axis=1) / PX_PER_MM
        assert width[rows.min() + 40] > 35 and width[rows.max() - 40] < 31  # the narrow end is down


def test_touching_plugs_are_told_apart_from_sound_ones():
    board, _ = turned()
    faults = [p.fault for p in find_plugs(board) if p.place in (5, 6)]
    assert len(faults) == 1 and "touch" in faults[0]


def test_a_lone_leaf_is_no_plug():
    board, _ = board_of(RootScene({2: Plug(0.3, stem=(0.03, 0.02, 0.09))}, seed=22))
    assert [p.place for p in find_plugs(board)] == [2]


def test_fewer_than_three_tags_give_no_board():
    image, _ = RootScene({}).photo()
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    assert find_board(image, tags) is not None
    assert find_board(image, tags[:3]) is not None
    assert find_board(image, tags[:2]) is None
    assert find_board(image, [*tags[:2], tags[0]]) is None


def test_roots_lie_where_scikit_image_sees_ridges():
    """Sato et al. 1998 as scikit-image has it: lines of the roots' widths, whatever their brightness."""
    board, _ = board_of(RootScene({2: Plug(0.2, grains=0.0)}, seed=23))
    plug = find_plugs(board)[0]
    roots = root_mask(plug.picture, plug.mask)
    grey = cv2.cvtColor(plug.picture, cv2.COLOR_BGR2GRAY).astype(float)
    ridges = sato(grey, sigmas=[1.5, 2.5, 3.5], black_ridges=False)
    inside = cv2.erode(plug.mask.astype(np.uint8), np.ones((9, 9))) > 0
    middle = skeletonize(roots) & inside
    strong = np.percentile(ridges[inside], 80)  # a fifth of the face is root
    assert (ridges[middle] > strong).mean() > 0.8
    assert (ridges[inside & ~cv2.dilate(roots.astype(np.uint8), np.ones((5, 5))).astype(bool)] > strong).mean() < 0.05


def test_perlite_is_not_root():
    picture = np.full((300, 300, 3), stored(np.float32(0.03)), np.float32)
    dice = np.random.default_rng(5)
    for x, y in dice.uniform(20, 280, (40, 2)):
        axes = tuple(int(v) for v in dice.uniform(6, 14, 2))  # grains of 1.5 to 3.5 mm
        cv2.ellipse(picture, (int(x), int(y)), axes, float(dice.uniform(0, 180)), 0, 360,
                    stored(np.array(GRAIN)).tolist(), -1, cv2.LINE_AA)
    face = np.ones((300, 300), bool)
    white = picture[..., 1] > 150
    roots = root_mask(picture.astype(np.uint8), face)
    assert white.mean() > 0.08
    assert roots.mean() < 0.25 * white.mean()  # grains that touch one another are the remainder


def test_a_speckled_dry_mix_gives_no_answer_rather_than_roots():
    dice = np.random.default_rng(3)
    speckle = cv2.GaussianBlur(dice.normal(0, 1, (400, 400)), (0, 0), 4)
    picture = np.clip(110 + 30 * speckle / speckle.std(), 0, 255).astype(np.uint8)
    assert root_mask(np.dstack([picture] * 3), np.ones((400, 400), bool)) is None


def test_a_dark_face_without_anything_pale_has_no_roots():
    dark = np.random.default_rng(4).normal(35, 6, (200, 200, 3)).clip(0, 255).astype(np.uint8)
    assert root_mask(dark, np.ones((200, 200), bool)).sum() == 0


@pytest.mark.parametrize("angle", [-80, -45, -20, 0, 30, 70, 90])
def test_direction_of_drawn_lines(angle):
    picture = np.zeros((200, 200, 3), np.uint8)
    step = 300 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    for aside in range(-90, 91, 18):
        middle = np.array([100, 100]) + aside * np.array([-step[1], step[0]]) / 300
        cv2.line(picture, *(tuple(np.round(p).astype(int).tolist()) for p in (middle - step, middle + step)),
                 (200, 210, 215), 4, cv2.LINE_AA)
    found = ridge_direction(picture)[picture[..., 1] > 150]
    off = np.abs((found - angle + 90) % 180 - 90)
    assert np.median(off) < 3


@pytest.mark.parametrize("name", CROWNS)
def test_washed_roots_on_black_cloth(name, evaluation):
    """Two real photos of washed maize root crowns. Their scale is unknown: 4 px a mm is assumed.

    What can be checked there: nothing of the cloth becomes root, and most of what is plainly paler than the cloth
    (L* over 45) does; what is left out are the dim, thin ends.
    """
    image = cv2.imread(str(evaluation / "real" / "side_backdrop" / f"{name}_rgb.jpg"))
    if image is None:
        pytest.skip("no photos of washed roots at ../shared/eval/real/side_backdrop")
    top, bottom, left, right = CROWNS[name]
    face = np.zeros(image.shape[:2], bool)
    face[top:bottom, left:right] = True
    roots = root_mask(image, face, 4.0)
    lightness = cv2.cvtColor(image.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)[..., 0]
    cloth, pale = face & (lightness < 35), face & (lightness > 45)
    assert (roots & cloth).sum() < 0.005 * roots.sum()
    assert (roots & pale).sum() > 0.75 * pale.sum()
    assert 0.05 < roots[face].mean() < 0.2

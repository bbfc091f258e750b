"""Vegetation against drawn leaves, scikit-image and, where they are, real field photos with masks."""

import cv2
import numpy as np
import pytest

from seedlingcv.segment.vegetation import excess_green, find_vegetation


def drawn(leaf=(60, 150, 75), ground=(38, 52, 66), size=400, noise=4.0, seed=3):
    """A soil picture with round leaves of 20-60 px, and the true mask."""
    rng = np.random.default_rng(seed)
    mask = np.zeros((size, size), np.uint8)
    for x, y, r in rng.integers((40, 40, 10), (size - 40, size - 40, 30), (14, 3)).tolist():
        cv2.circle(mask, (x, y), r, 255, -1, cv2.LINE_AA)
    share = mask[..., None] / 255
    image = np.array(leaf) * share + np.array(ground) * (1 - share) + rng.normal(0, noise, (size, size, 3))
    return np.clip(cv2.GaussianBlur(image, (0, 0), 0.7), 0, 255).astype(np.uint8), mask > 127


def iou(a, b):
    return (a & b).sum() / (a | b).sum()


def test_excess_green_is_the_textbook_index_away_from_edges():
    image = np.full((40, 40, 3), (30, 120, 50), np.uint8)
    assert np.allclose(excess_green(image), 2 * 120 - 30 - 50)  # Woebbecke et al. 1995, by hand


@pytest.mark.parametrize(("leaf", "ground"), [
    ((60, 150, 75), (38, 52, 66)),  # on peat
    ((60, 150, 75), (120, 150, 170)),  # on pale vermiculite
    ((40, 120, 60), (30, 30, 30)),  # dull leaf, wet peat
    ((70, 190, 180), (38, 52, 66)),  # yellowing
])
def test_leaves_are_found_on_every_ground(leaf, ground):
    image, true = drawn(leaf, ground)
    assert iou(find_vegetation(image).mask, true) > 0.95


def test_agrees_with_otsus_threshold_where_that_works():
    """On two clear classes a halfway threshold and scikit-image's Otsu should part the same pixels."""
    from skimage.filters import threshold_otsu

    image, _ = drawn()
    found = find_vegetation(image)
    assert iou(found.mask, found.index > threshold_otsu(found.index)) > 0.97


def test_brighter_picture_same_leaves():
    image, _ = drawn()
    brighter = np.clip(image.astype(float) * 1.3, 0, 255).astype(np.uint8)
    assert iou(find_vegetation(image).mask, find_vegetation(brighter).mask) > 0.97


def test_nothing_is_found_where_nothing_grows():
    rng = np.random.default_rng(1)
    soil = np.clip(rng.normal(60, 12, (300, 300, 1)) + [0, 6, 14] + rng.normal(0, 4, (300, 300, 3)), 0, 255)
    assert find_vegetation(soil.astype(np.uint8), px_per_mm=3.0).mask.mean() < 0.001


def test_a_green_tray_is_not_a_leaf():
    image, true = drawn()
    tray = np.zeros(true.shape, bool)
    tray[:25] = True
    image[:25] = (50, 108, 60)  # two thirds as green as the leaves
    true[:25] = False
    assert find_vegetation(image).mask[:25].mean() > 0.9
    found = find_vegetation(image, tray=tray).mask
    assert found[:25].mean() < 0.01
    assert iou(found, true) > 0.88  # the nearer tray and leaf are in colour, the more of the edge is lost


def test_moss_specks_are_left_out_when_the_scale_is_known():
    image, true = drawn()
    rng = np.random.default_rng(5)
    moss = (cv2.GaussianBlur(rng.normal(0, 1, true.shape), (0, 0), 1.2) > 0.22) & ~cv2.dilate(
        true.astype(np.uint8), np.ones((15, 15))).astype(bool)
    moss[:, 200:] = False
    image[moss] = (45, 95, 60)
    found = find_vegetation(image, px_per_mm=3.0).mask
    assert (found & moss).sum() < 0.1 * moss.sum()
    assert iou(found & ~moss, true) > 0.9


@pytest.mark.parametrize(("folder", "least"), [("peanut_field", 0.82), ("carrot_weed", 0.90)])
def test_real_field_photos(evaluation, folder, least):
    """Mean IoU against the authors' masks; sources and licences stand in the folder's README.

    peanut_field: Tran & Phan 2023, IEEE Access 11:82640. carrot_weed: Lameski et al. 2017, ICT Innovations.
    """
    scores = []
    for path in sorted((evaluation / "real" / folder).glob("*_rgb.*")):
        mask = cv2.imread(str(path).replace("_rgb.jpg", "_mask.png").replace("_rgb.png", "_mask.png"), 0) > 0
        scores.append(iou(find_vegetation(cv2.imread(str(path))).mask, mask))
    assert len(scores) >= 10
    assert np.mean(scores) >= least

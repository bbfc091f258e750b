"""Counting leaves in close-ups: drawn seedlings, circles worked out by hand, and real photos where they are."""

import csv

import cv2
import numpy as np
import pytest

from seedlingcv.segment.leaves import NECK, count_all_leaves, widest_places

LEAF, GROUND = (60, 150, 75), (70, 95, 120)


def seedling(leaves, *, size=600, long=0.16, wide=0.07, petiole=0.008, turn=10.0, centre=(0.5, 0.5)):
    """A drawn seedling with `leaves` oval leaves on thin petioles around its middle; shares of the picture's side."""
    image = np.full((size, size, 3), GROUND, np.float32)
    middle = np.array(centre) * size
    for angle in turn + np.arange(leaves) * 360 / leaves:
        way = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
        far = tuple(np.round(middle + way * 0.27 * size).astype(int).tolist())
        cv2.line(image, tuple(np.round(middle).astype(int).tolist()), far, LEAF, round(2 * petiole * size))
        cv2.ellipse(image, far, (round(long * size), round(wide * size)), angle, 0, 360, LEAF, -1)
    noise = np.random.default_rng(leaves).normal(0, 4, image.shape)
    return np.clip(cv2.GaussianBlur(image, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("leaves", [2, 3, 4, 5])
@pytest.mark.parametrize("size", [150, 600, 1600])
def test_drawn_leaves_are_counted_at_every_size(leaves, size):
    found = count_all_leaves(seedling(leaves, size=size))
    assert (found.count, found.why) == (leaves, None)
    assert found.least == leaves
    assert found.most <= leaves + 1  # where many petioles meet they are as wide as a small leaf
    assert found.sure == (found.most == leaves)


def test_places_and_widths_are_those_drawn():
    found = count_all_leaves(seedling(4, size=800, turn=0.0))
    drawn = 400 + 0.27 * 800 * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
    off = np.linalg.norm(found.places_px[:, None] - drawn, axis=2)
    assert sorted(off.argmin(axis=1)) == [0, 1, 2, 3]
    assert off.min(axis=1).max() < 0.04 * 800  # an oval is nearly as wide a little beside its middle
    assert np.allclose(found.widths_px, 2 * 0.07 * 800, rtol=0.06)


def test_a_small_seedling_in_a_large_picture_is_looked_at_closely():
    image = np.full((2400, 3200, 3), GROUND, np.uint8)
    image[1000:1500, 1800:2300] = seedling(5, size=500)
    found = count_all_leaves(image)
    assert found.count == 5
    assert np.abs(found.places_px - [2050, 1250]).max() < 0.3 * 500


def two_circles(radius, apart):
    picture = np.zeros((300, 500), np.uint8)
    for x in (250 - apart / 2, 250 + apart / 2):
        cv2.circle(picture, (round(x), 150), radius, 255, -1)
    return picture > 0


@pytest.mark.parametrize("share", [0.4, 0.5, 0.7, 0.8])
def test_the_neck_of_two_equal_circles_is_known_by_hand(share):
    """Circles of radius r whose middles lie d apart meet in a neck of half-width sqrt(r^2 - (d/2)^2) (Pythagoras)."""
    radius = 80
    apart = 2 * radius * np.sqrt(1 - share**2)
    assert len(widest_places(two_circles(radius, apart), NECK, 0.2)[1]) == (2 if share < NECK else 1)


def test_distances_agree_with_scipy():
    """The widest place's half width is the largest exact Euclidean distance to the outline (SciPy)."""
    from scipy.ndimage import distance_transform_edt

    shape = two_circles(80, 150)
    _, radii = widest_places(shape, NECK, 0.2)
    assert len(radii) == 2
    assert np.allclose(radii, distance_transform_edt(shape).max(), rtol=0.03)


def test_a_neighbours_leaf_that_the_edge_cuts_is_not_counted():
    image = seedling(4)
    cv2.circle(image, (599, 40), 60, LEAF, -1)
    assert count_all_leaves(image).count == 4


def test_white_rim_and_barcode_are_not_leaves():
    """As in the real photos: bars of black and white with the colour fringes of a JPEG."""
    image = seedling(3)
    image[520:] = 235
    for x in range(0, 600, 23):
        image[530:, x : x + 9] = 25
    image = cv2.imdecode(cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 75])[1], cv2.IMREAD_COLOR)
    assert count_all_leaves(image).count == 3


def test_no_plant_no_count():
    ground = np.clip(np.random.default_rng(2).normal(GROUND, 6, (300, 300, 3)), 0, 255).astype(np.uint8)
    found = count_all_leaves(ground)
    assert (found.count, found.why, found.sure) == (None, "nothing_green", False)
    assert found.places_px.shape == (0, 2)


def test_a_plant_that_fills_the_picture_is_not_counted():
    leaf = np.full((300, 300, 3), LEAF, np.uint8)
    leaf[120:180, 120:180] = GROUND
    assert count_all_leaves(leaf).why == "plant_cut"


def test_no_count_where_limits_disagree_widely():
    """Noise of 30 grey levels in each pixel: the outline is too rough to tell."""
    image = seedling(4, size=150)
    noise = np.random.default_rng(1).normal(0, 30, image.shape)
    found = count_all_leaves(np.clip(image + noise, 0, 255).astype(np.uint8))
    assert (found.count, found.why) == (None, "leaves_unsure")
    assert found.most - found.least > 3


@pytest.mark.parametrize("wrong", [np.zeros((50, 50), np.uint8), np.zeros((50, 50, 3), np.float32),
                                   np.zeros((0, 5, 3), np.uint8)])
def test_another_kind_of_picture_is_refused(wrong):
    with pytest.raises(ValueError, match="uint8"):
        count_all_leaves(wrong)


@pytest.fixture(scope="module")
def closeups(evaluation):
    """(image, low, high) of 33 seedlings: images from Giselsson et al. 2017, arXiv:1711.05458 (CC BY-SA 4.0);
    leaves counted by eye, see the folder's README."""
    folder = evaluation / "real" / "seedling_closeup"
    with open(folder / "truth.csv", encoding="utf-8") as file:
        return [(cv2.imread(str(folder / f"{row['name']}_rgb.png")), int(row["leaf_count_low"]),
                 int(row["leaf_count_high"])) for row in csv.DictReader(file)]


def off_by(found, closeups):
    """Leaves outside the counted range, per photo; nan where no count is given."""
    return np.array([np.nan if f.count is None else max(low - f.count, f.count - high, 0)
                     for f, (_, low, high) in zip(found, closeups, strict=True)])


@pytest.fixture(scope="module")
def counted(closeups):
    return [count_all_leaves(image) for image, _, _ in closeups]


def test_real_closeups(closeups, counted):
    """Always answering 4 would be within the range on 0.73 of these photos, so 0.7 alone proves little."""
    off = off_by(counted, closeups)
    assert len(off) >= 30
    assert np.mean(off == 0) >= 0.93
    assert np.nanmean(off) <= 0.1


def test_real_closeups_whose_count_is_called_sure(closeups, counted):
    off = off_by(counted, closeups)[[f.sure for f in counted]]
    assert len(off) >= 0.6 * len(closeups)
    assert np.mean(off == 0) >= 0.95


@pytest.mark.parametrize("changed", [
    lambda image: cv2.resize(image, (75, 75), interpolation=cv2.INTER_AREA),
    lambda image: cv2.resize(image, (150, 105), interpolation=cv2.INTER_AREA),
    lambda image: (image * 0.6).astype(np.uint8),
], ids=["half", "squeezed", "dark"])
def test_changes_that_leave_the_leaves_alone_leave_the_count_alone(closeups, changed):
    found = [count_all_leaves(changed(image)) for image, _, _ in closeups]
    assert np.mean(off_by(found, closeups) == 0) >= 0.9

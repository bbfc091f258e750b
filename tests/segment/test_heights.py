"""Heights from two drawn photos of discs at known heights, against the drawing and OpenCV's own triangulation."""

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
import pytest
from scenes import Camera, Disc, Scene, linear

from seedlingcv.flat.grid import GridFit
from seedlingcv.flat.layout import standard_layout
from seedlingcv.flat.pose import fit_overhead
from seedlingcv.flat.rectify import lift, plane_view, rectify
from seedlingcv.measure.reading import OverheadReading
from seedlingcv.segment.canopy import SOIL_BELOW_RIM_MM
from seedlingcv.segment.heights import HeightMap, HeightPair, NoHeights, height_maps, orthorectify
from seedlingcv.segment.vegetation import find_vegetation
from seedlingcv.tags.detect import detect_tags

LAYOUT = standard_layout(6, 12)
LEVELS = (0.0, 30.0, 60.0, 90.0)
SMALL = {"size": (1344, 1008), "focal_px": 1010.0}  # about 2 px a mm: enough, and quick to draw
FIRST = Camera(eye_mm=(230.0, 150.0, 520.0), **SMALL)
SECOND = Camera(eye_mm=(350.0, 90.0, 505.0), target_mm=(290.0, 130.0), roll_deg=7.0, **SMALL)


def discs(levels=LEVELS):
    """A disc over every second cell, columns taking turns in height."""
    return tuple(Disc(*cell.centre_mm, 26.0, levels[(cell.column // 2 + cell.row) % len(levels)])
                 for cell in LAYOUT.cells if (cell.row + cell.column) % 2 == 0 and 1 < cell.column < 12)


@lru_cache(maxsize=8)
def photo(scene, camera, seed=1):
    return scene.photo(camera, seed)


@lru_cache(maxsize=8)
def read(scene, camera, seed=1) -> OverheadReading:
    image = photo(scene, camera, seed)
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    pose = fit_overhead(tags, camera.size, camera.focal_px, LAYOUT.outer_mm)
    view = plane_view(LAYOUT.outer_mm, 3.0)
    picture = rectify(image, pose, view)
    return OverheadReading(GridFit(LAYOUT, pose, 1.0), view, picture, find_vegetation(picture, px_per_mm=3.0).mask)


SCENE = Scene(discs=discs())


@lru_cache(maxsize=1)
def pair() -> HeightPair:
    found = height_maps(read(SCENE, FIRST), read(SCENE, SECOND))
    assert isinstance(found, HeightPair)
    return found


def above_soil(seen, disc):
    """Heights over the inner half of a disc where this camera sees it. The drawn soil lies at the rim's level."""
    eye = seen.eye_mm
    middle = eye[:2] + (np.array([disc.x_mm, disc.y_mm]) - eye[:2]) * eye[2] / (eye[2] - disc.z_mm)
    u, v = np.round(seen.view.to_px(middle)).astype(int)
    half = round(disc.diameter_mm / 4 * seen.view.px_per_mm)
    return seen.z_mm[v - half : v + half, u - half : u + half] + SOIL_BELOW_RIM_MM


@pytest.mark.parametrize("level", LEVELS[1:])
def test_each_disc_is_found_at_its_height(level):
    for seen in (pair().first, pair().second):
        for disc in SCENE.discs:
            if disc.z_mm == level:
                z = above_soil(seen, disc)
                assert np.isfinite(z).mean() > 0.8
                assert np.nanmedian(z) == pytest.approx(level, abs=3.0)


def test_a_disc_on_the_soil_has_no_height():
    for disc in SCENE.discs:
        if disc.z_mm == 0:
            assert np.nanmedian(above_soil(pair().first, disc)) == pytest.approx(0.0, abs=2.0)


def test_only_vegetation_has_heights_and_unknown_is_nan():
    seen = pair().first
    assert seen.z_mm.shape == seen.confidence.shape == (seen.view.height, seen.view.width)
    assert not np.isfinite(seen.z_mm[~seen.vegetation]).any()
    assert not seen.confidence[~np.isfinite(seen.z_mm)].any()
    assert (seen.confidence[np.isfinite(seen.z_mm)] > 0).all()


def test_swapped_photos_give_the_same_heights():
    swapped = height_maps(read(SCENE, SECOND), read(SCENE, FIRST))
    for disc in SCENE.discs:
        assert np.nanmedian(above_soil(swapped.second, disc)) == pytest.approx(
            float(np.nanmedian(above_soil(pair().first, disc))), abs=1.5)


@lru_cache(maxsize=2)
def green_spots(camera):
    image = linear(photo(SCENE, camera))
    _, spots, _, middles = cv2.connectedComponentsWithStats((image[..., 1] > 1.6 * image[..., 2]).astype(np.uint8))
    return spots, middles


def leaf_middle(camera, disc):
    """Where a disc's middle is seen, from the photo: the mean of the green spot around the place to look at."""
    spots, middles = green_spots(camera)
    u, v = np.round(camera.project([(disc.x_mm, disc.y_mm, disc.z_mm)])[0]).astype(int)
    return middles[spots[v, u]]


def test_agrees_with_opencv_triangulation():
    """cv2.triangulatePoints on spots found in the photos themselves, with the drawing's cameras."""
    cameras = (FIRST, SECOND)
    matrices = [c.matrix @ np.column_stack([c.rotation, c.translation]) for c in cameras]
    for disc in SCENE.discs[::3]:
        seen = [leaf_middle(c, disc).reshape(2, 1) for c in cameras]
        point = np.ravel(cv2.triangulatePoints(*matrices, *seen))
        assert np.nanmedian(above_soil(pair().first, disc)) == pytest.approx(-point[2] / point[3], abs=3.0)


def test_one_photo_twice_says_no_baseline():
    reading = read(SCENE, FIRST)
    assert height_maps(reading, reading) == NoHeights("no_baseline")


def test_photos_that_lie_a_little_off_each_other_are_settled_on_the_soil():
    """The second picture is pushed 3 mm across the line of cameras, where no height can push it."""
    second = read(SCENE, SECOND)
    shift = np.array([[1, 0, 4.0], [0, 1, 8.0]])
    size = second.picture.shape[1::-1]
    pushed = replace(second, picture=cv2.warpAffine(second.picture, shift, size),
                     vegetation=cv2.warpAffine(second.vegetation.astype(np.uint8), shift, size) > 0)
    found = height_maps(read(SCENE, FIRST), pushed)
    for disc in SCENE.discs:
        assert np.nanmedian(above_soil(found.first, disc)) == pytest.approx(disc.z_mm, abs=2.0)
    assert np.isfinite(found.first.z_mm[found.first.vegetation]).mean() > 0.95


def moved(reading, by_mm):
    """The same photo as if its camera had stood elsewhere; `by_mm` is (x, y, down)."""
    pose = reading.fit.pose
    pose = replace(pose, translation=pose.translation - pose.rotation @ np.array(by_mm))
    return replace(reading, fit=replace(reading.fit, pose=pose))


@pytest.mark.parametrize(("by_mm", "reason"), [((20.0, 20.0, 0.0), "no_baseline"), ((60.0, 0.0, -200.0), "no_baseline"),
                                               ((400.0, 0.0, 0.0), "baseline_too_large")])
def test_cameras_that_stood_too_near_one_above_the_other_or_too_far_apart(by_mm, reason):
    reading = read(SCENE, FIRST)
    assert height_maps(reading, moved(reading, by_mm)) == NoHeights(reason)


def test_a_bare_flat_has_maps_without_heights():
    bare = [replace(r, vegetation=np.zeros_like(r.vegetation)) for r in (read(SCENE, FIRST), read(SCENE, SECOND))]
    found = height_maps(*bare)
    assert not np.isfinite(found.first.z_mm).any()
    assert not orthorectify(bare[0].vegetation, bare[0].view, found.first).any()


def test_another_flats_soil_is_noticed():
    assert height_maps(read(SCENE, FIRST), read(SCENE, SECOND, seed=9)) == NoHeights("flat_moved")


def test_every_pixel_goes_to_its_true_place():
    """Discs of all heights at once land on their own middles with their own size."""
    reading = read(SCENE, FIRST)
    seen = pair().first
    seen = replace(seen, z_mm=seen.z_mm + np.float32(SOIL_BELOW_RIM_MM))  # the drawn soil lies at the rim's level
    flat = orthorectify(reading.vegetation, reading.view, seen)
    assert flat.dtype == bool
    _, spots, stats, middles = cv2.connectedComponentsWithStats(flat.astype(np.uint8))
    for disc in SCENE.discs:
        u, v = np.round(reading.view.to_px([disc.x_mm, disc.y_mm])).astype(int)
        spot = spots[v, u]
        assert spot > 0
        assert reading.view.to_mm(middles[spot]) == pytest.approx([disc.x_mm, disc.y_mm], abs=1.0)
        diameter = np.sqrt(4 / np.pi * stats[spot, cv2.CC_STAT_AREA]) / reading.view.px_per_mm
        assert diameter == pytest.approx(disc.diameter_mm, abs=1.5)


def test_on_one_level_it_is_the_plain_scaling():
    reading = read(SCENE, FIRST)
    seen = pair().first
    level = replace(seen, z_mm=np.where(seen.vegetation, np.float32(40.0), np.float32(np.nan)))
    expected, _ = lift(reading.vegetation, reading.view, reading.eye_mm, 40.0)
    found = orthorectify(reading.vegetation, reading.view, level)
    assert (found & expected).sum() / (found | expected).sum() > 0.97


def test_the_higher_leaf_covers_the_lower():
    view = plane_view(LAYOUT.outer_mm, 1.5)
    eye = np.array([273.0, 139.0, 500.0])
    labels = np.zeros((view.height, view.width), np.uint16)
    z = np.full(labels.shape, np.nan, np.float32)
    for label, x, height in ((2, 373.0, 0.0), (1, 398.0, 100.0), (4, 173.0, 0.0), (3, 148.0, 100.0)):
        at = view.box((x - 10, 129, x + 10, 149))  # 125 mm from the point below the camera is 100 mm at 100 mm height
        labels[at], z[at] = label, height
    known = labels > 0
    flat = orthorectify(labels, view, HeightMap(z, known.astype(np.float32), known, view, eye, 0.1))
    for x, label in ((373.0, 1), (173.0, 3)):
        u, v = np.round(view.to_px([x, 139.0])).astype(int)
        assert flat[v, u] == label
    assert set(np.unique(flat)) == {0, 1, 2, 3, 4}  # the lower one, a little larger, still shows around

"""Is a picture fit for measuring? On drawn scenes made worse by a known amount, and on the evaluation photos.

Outside checks: blur by `scipy.ndimage` (a Gaussian in linear light), the area under Phi (1 - Phi), which is
sigma / sqrt(pi), and the slope of a blurred step, 1 / (sigma sqrt(2 pi)) of its height (normal distribution).
"""

import json

import cv2
import numpy as np
import pytest
from scenes import Camera, Disc, Scene, linear, stored
from scipy import ndimage

from seedlingcv.photo.quality import check_picture, frame_edge_width_px, tag_blur_mm
from seedlingcv.photo.read import read_photo
from seedlingcv.tags.detect import detect_tags

LEAVES = tuple(Disc(30 + 42.6 * c, 30 + 42.6 * r, 20 + 2 * ((r * 5 + c * 3) % 8)) for r in range(6) for c in range(12))


@pytest.fixture(scope="module")
def flat() -> np.ndarray:
    """A sharp overhead photo, 2016 x 1512, about 2.9 px a mm."""
    return Scene(discs=LEAVES).photo(Camera())


def found(image):
    return detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))


def codes(image, tags=None):
    return [p.code for p in check_picture(image, found(image) if tags is None else tags)]


def in_light(image, change):
    """Change the light that fell on the sensor, then store it again."""
    return np.clip(np.round(stored(change(linear(image)))), 0, 255).astype(np.uint8)


def defocused(image, sigma_px):
    return in_light(image, lambda light: ndimage.gaussian_filter(light, (sigma_px, sigma_px, 0)))


def shaken(image, length_px, angle_deg):
    steps = np.linspace(-length_px / 2, length_px / 2, 4 * length_px)
    kernel = np.zeros((length_px + 3, length_px + 3), np.float32)
    middle = (length_px + 2) / 2
    for s in steps:
        x, y = middle + s * np.cos(np.radians(angle_deg)), middle + s * np.sin(np.radians(angle_deg))
        kernel[round(y), round(x)] += 1
    return in_light(image, lambda light: cv2.filter2D(light, -1, kernel / kernel.sum()))


def noisy(image, sigma, seed=3):
    noise = np.random.default_rng(seed).normal(0, sigma, image.shape)
    return np.clip(image + noise, 0, 255).astype(np.uint8)


def test_a_sharp_picture_passes(flat):
    assert codes(flat) == []


@pytest.mark.parametrize("sigma_px", [1.5, 2.5])
def test_blur_at_a_tag_is_the_sigma_it_was_blurred_by(flat, sigma_px):
    tags = found(flat)
    before = np.array([tag_blur_mm(flat, t.corners) for t in tags])
    after = np.array([tag_blur_mm(defocused(flat, sigma_px), t.corners) for t in tags])
    px_per_mm = np.array([np.linalg.norm(t.corners[1] - t.corners[0]) / 30 for t in tags])
    # variances add
    np.testing.assert_allclose(np.sqrt(after**2 - before**2) * px_per_mm, sigma_px, rtol=0.12)


def test_noise_does_not_change_the_blur_at_a_tag(flat):
    tags = found(flat)
    change = [tag_blur_mm(noisy(flat, 12), t.corners) - tag_blur_mm(flat, t.corners) for t in tags]
    assert np.abs(np.median(change)) < 0.06


@pytest.mark.parametrize("sigma_px", [2.5, 4.0])
def test_out_of_focus_with_tags_still_read(flat, sigma_px):
    assert codes(defocused(flat, sigma_px), found(flat)) == ["blurred"]


@pytest.mark.parametrize("angle_deg", [0, 25, 90, 135])
def test_a_shaken_picture_is_blurred_though_half_the_edges_are_sharp(flat, angle_deg):
    assert codes(shaken(flat, 12, angle_deg), found(flat)) == ["blurred"]


@pytest.mark.parametrize("change", [lambda i: defocused(i, 5), lambda i: noisy(defocused(i, 5), 6),
                                    lambda i: shaken(i, 20, 20), lambda i: shaken(i, 20, 100)])
def test_blurred_beyond_reading_is_named_blurred(flat, change):
    image = change(flat)
    assert codes(image, []) == ["blurred"]


def test_small_blur_noise_and_fewer_pixels_are_no_blur(flat):
    assert codes(defocused(flat, 0.8)) == []
    assert codes(noisy(flat, 15)) == []
    assert codes(cv2.resize(flat, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), []) == []


def test_a_sharp_picture_without_tags_passes(flat):
    image = Scene(discs=LEAVES, cards=(), flat_tag=None).photo(Camera())
    assert found(image) == []
    assert codes(image) == []
    assert codes(noisy(image, 15)) == []


def test_a_plain_picture_says_nothing_about_blur():
    wall = noisy(np.full((756, 1008, 3), 140, np.uint8), 4)
    assert codes(wall, []) == []
    assert frame_edge_width_px(np.full((40, 40), 90, np.uint8)) is None


@pytest.mark.parametrize("sigma_px", [1.0, 2.0, 3.0])
def test_width_of_the_frames_edges(sigma_px):
    """Rise over slope of a step blurred by sigma is sigma sqrt(2 pi). The search adds a blur of 1 px itself, and the
    slope taken over two pixels adds a variance of 1/3 (of a box 2 px wide)."""
    steps = np.tile((np.arange(800) // 50 % 2) * 120.0 + 60, (600, 1))
    grey = np.round(ndimage.gaussian_filter1d(steps, sigma_px, axis=1)).astype(np.uint8)
    assert frame_edge_width_px(grey) == pytest.approx(np.sqrt(2 * np.pi * (sigma_px**2 + 1 + 1 / 3)), rel=0.06)


@pytest.mark.parametrize("times", [5, 8])
def test_burnt_out_with_tags_still_read(flat, times):
    assert codes(in_light(flat, lambda light: light * times), found(flat)) == ["overexposed"]


def test_a_white_bench_in_good_light_is_no_fault(flat):
    bench = (np.abs(flat.astype(int) - (150, 155, 158)).max(axis=2) < 14)[..., None]
    image = np.where(bench, 255, flat).astype(np.uint8)
    assert (image.min(axis=2) == 255).mean() > 0.25
    assert codes(image, found(flat)) == []


def test_cards_burnt_white_are_no_fault(flat):
    image = np.where(flat.min(axis=2, keepdims=True) > 200, 255, flat).astype(np.uint8)
    assert codes(image, found(flat)) == []


def test_magenta_light_is_no_fault(flat):
    assert codes(in_light(flat, lambda light: light * np.array([1.6, 0.35, 1.6], np.float32)), found(flat)) == []


@pytest.mark.parametrize("times, wanted", [(1 / 3, []), (1 / 30, ["underexposed"])])
def test_too_dark_with_tags_still_read(flat, times, wanted):
    assert codes(in_light(flat, lambda light: light * times), found(flat)) == wanted


def test_against_the_light_the_flat_is_too_dark_whatever_the_frame(flat):
    image = in_light(flat, lambda light: light / 40)
    image[:400, :1000] = 255
    assert "underexposed" in codes(image, found(flat)[1:])


def test_without_tags_the_whole_frame_counts(flat):
    assert codes(np.full((756, 1008, 3), 255, np.uint8), []) == ["overexposed"]
    assert codes(np.full((756, 1008, 3), 12, np.uint8), []) == ["underexposed"]


def test_every_problem_is_fatal_and_has_its_words(flat):
    for problem in check_picture(defocused(flat, 5), []):
        assert problem.fatal
        assert problem.text
        assert problem.advice


def good_photos(evaluation):
    return sorted((evaluation / "flats").glob("d*/*.jpg"))


def test_all_good_evaluation_photos_pass(evaluation):
    paths = good_photos(evaluation)
    assert len(paths) >= 24
    for path in paths:
        image = read_photo(path).image
        assert codes(image) == [], path


def test_bad_evaluation_photos_are_named(evaluation):
    named = {"blurred", "overexposed", "underexposed"}
    for answer in json.loads((evaluation / "flats/bad/answers.json").read_text()):
        image = read_photo(evaluation / "flats/bad" / answer["file"]).image
        assert codes(image) == [c for c in answer["codes"] if c in named], answer


def test_evaluation_photos_made_worse(evaluation):
    """Three flats at full size, on either side of the limits."""
    for path in good_photos(evaluation)[1::8]:
        image = read_photo(path).image
        tags = found(image)
        assert codes(cv2.GaussianBlur(image, (0, 0), 1.5), tags) == [], path
        assert codes(cv2.GaussianBlur(image, (0, 0), 5), tags) == ["blurred"], path
        assert codes(cv2.GaussianBlur(image, (0, 0), 11), []) == ["blurred"], path
        assert codes(in_light(image, lambda light: light / 60), tags) == ["underexposed"], path

"""Plant or backdrop, and stems followed, on drawn side views."""

import cv2
import numpy as np
import pytest
from side_scene import Plant, Scene, draw

from seedlingcv.flat.backdrop import fit_side
from seedlingcv.flat.white import white_reference
from seedlingcv.segment.plant_top import chroma_distance
from seedlingcv.segment.row_plane import WIDTH_MM, row_plane
from seedlingcv.segment.side import PX_PER_MM, side_strip
from seedlingcv.segment.side_model import read_side
from seedlingcv.segment.stem import find_traces, tube_reward
from seedlingcv.tags.detect import detect_tags

PITCH = 511 / 12
PLANTS = tuple(Plant((6.5 - column) * PITCH, 28, 38, 55, lean=lean, sway_mm=sway)
               for column, lean, sway in ((2, 0.05, 2), (4, -0.1, 0), (7, 0.0, 3), (10, 0.15, 0)))
BLUE = (190, 120, 60)


def pose_of(scene, image):
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    return fit_side(tags, image.shape[1::-1], scene.focal_px, rows=scene.rows, columns=scene.columns)


def strip_of(scene, image=None):
    image = draw(scene) if image is None else image
    pose = pose_of(scene, image)
    return side_strip(image, pose, read_side(image, pose, 80))


@pytest.fixture(scope="module")
def scene():
    return Scene(PLANTS)


@pytest.fixture(scope="module")
def image(scene):
    return draw(scene)


@pytest.fixture(scope="module")
def strip(scene, image):
    return strip_of(scene, image)


def above(strip):
    return np.arange(strip.plant.shape[0])[:, None] < strip.line[None, :] - 2 * PX_PER_MM


def test_stems_before_the_backdrop_are_plant(strip):
    for plant in PLANTS:
        middle = np.array([p for p in plant.stem(plant.node_mm) if p[1] > 10])
        px = np.round(strip.to_px(middle)).astype(int)
        assert (strip.plant[px[:, 1], px[:, 0]] > 0).mean() > 0.95


def test_an_empty_row_has_no_plant_and_no_stem():
    strip = strip_of(Scene(()))
    assert np.count_nonzero((strip.plant > 0) & above(strip)) == 0
    assert find_traces(strip) == []


@pytest.mark.parametrize("backdrop", [(150, 150, 150), BLUE])
def test_a_shadow_on_the_backdrop_is_not_plant(backdrop):
    scene = Scene(PLANTS, backdrop_bgr=backdrop)
    light = draw(scene)
    across = np.linspace(0, 1, light.shape[1])[None, :, None]
    shaded = np.where((across > 0.46) & (across < 0.49), light * 0.55, light).astype(np.uint8)  # an upright band
    plain, banded = strip_of(scene, light), strip_of(scene, shaded)
    more = ((banded.plant > 0) & above(banded)).sum() - ((plain.plant > 0) & above(plain)).sum()
    assert more < 0.05 * ((plain.plant > 0) & above(plain)).sum()


def test_every_stem_is_followed_to_its_node_and_from_its_soil(strip):
    traces = find_traces(strip)
    assert len(traces) == len(PLANTS)
    for trace, plant in zip(traces, sorted(PLANTS, key=lambda p: p.right_mm), strict=True):
        points = strip.to_mm(trace.points)
        assert points[0, 1] == pytest.approx(-5, abs=3.5)
        true = plant.stem(plant.node_mm)
        x = np.interp(true[:, 1], points[:, 1], points[:, 0])
        low = true[:, 1] > 5
        assert np.abs(x - true[:, 0])[low].max() < 2.2  # the pose's own shift along the row is in it
        assert np.ptp((x - true[:, 0])[low]) < 1.0


def test_the_traces_do_not_depend_on_how_bright_the_photo_is(scene, image, strip):
    darker = strip_of(scene, (image * 0.7).astype(np.uint8))
    for a, b in zip(find_traces(strip), find_traces(darker), strict=True):
        below_node = a.points[5 : 22 * PX_PER_MM]
        other = np.interp(-below_node[:, 1], -b.points[:, 1], b.points[:, 0])
        assert np.abs(below_node[:, 0] - other).max() < 6  # the stem is 10 px thick


def test_tube_reward_is_1_on_a_tube_of_its_width_and_less_on_a_wall():
    mask = np.zeros((3, 80), np.float32)
    mask[0, 35:45] = 1
    mask[1, 20:60] = 1
    paid = tube_reward(mask, 10)
    assert paid[0, 39] == pytest.approx(1)
    assert paid[1, 39] == pytest.approx(0)
    assert paid[2].max() == 0


def test_plants_turn_the_colour_and_shadows_do_not():
    """log light against the backdrop, BGR: a leaf takes blue away, a shadow takes all alike."""
    leaf, shadow, sky = np.array([[[-1.2, -0.2, -0.6]], [[-0.7, -0.7, -0.7]], [[-0.5, -0.6, -0.75]]], np.float32)
    turned = chroma_distance(np.array([leaf, shadow, sky]))[:, 0]
    assert turned[0] > 0.9
    assert turned[1] < 1e-6
    assert turned[2] < 0.1


def test_evaluation_photo_mask(evaluation):
    """At least 0.8 of plant and mask together are common (intersection over union)."""
    import json

    from seedlingcv.photo.exif import focal_length_px
    from seedlingcv.photo.read import read_photo

    folder = evaluation / "flats" / "d02_pepper72"
    layout = json.loads((folder / "truth.json").read_text())["layout"]
    photo = read_photo(folder / "side.jpg")
    height, width = photo.image.shape[:2]
    tags = detect_tags(cv2.cvtColor(photo.image, cv2.COLOR_BGR2GRAY))
    pose = fit_side(tags, (width, height), focal_length_px(photo.exif, width, height), rows=layout["rows"],
                    columns=layout["columns"])
    strip = side_strip(photo.image, pose, read_side(photo.image, pose, 100, white_reference(photo.image, tags)))
    mask = cv2.imread(str(folder / "side_plants.png"), cv2.IMREAD_UNCHANGED)
    bottom = strip.top_mm - strip.plant.shape[0] / PX_PER_MM
    true = row_plane(((mask > 0) * 255).astype(np.uint8), pose, PX_PER_MM, strip.left_mm, strip.left_mm + WIDTH_MM,
                     bottom, strip.top_mm) > 127
    assert (true & (strip.plant > 0)).sum() / (true | (strip.plant > 0)).sum() > 0.8

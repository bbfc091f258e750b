"""The scene generator's truth against pinhole geometry worked out here, and its promises about labels."""

import cv2
import numpy as np
import pytest

from seedlingcv.flat.rectify import plane_view
from seedlingcv.training.forms import STEM, Mesh, Surface, add_blade, add_tube, random_kind, stem_path
from seedlingcv.training.ground import seen_at
from seedlingcv.training.samples import sample
from seedlingcv.training.scenes import MARGIN_MM, PX_PER_MM, _paint, make_scene

EYE = np.array([250.0, 100.0, 520.0])


def pinhole_on_rim(point):
    """Where the line from the camera through a point meets z = 0, by solving the line's equation."""
    point = np.asarray(point, float)
    step = point - EYE
    return (EYE + step * (-EYE[2] / step[2]))[:2]


@pytest.mark.parametrize("height", [-8.0, 0.0, 25.0, 140.0])
def test_a_point_lands_where_the_ray_meets_the_rim_plane(height):
    point = np.array([90.0, 230.0, height])
    assert seen_at(point, EYE) == pytest.approx(pinhole_on_rim(point), abs=1e-9)


def test_an_upright_stem_is_painted_from_its_base_to_its_top_as_the_pinhole_says():
    base, length = np.array([120.0, 200.0, -5.0]), 80.0
    path = stem_path(base, length, np.zeros(2), np.zeros(2))
    assert path[-1] == pytest.approx(base + [0, 0, length])
    mesh = Mesh()
    add_tube(mesh, path, 1.2, np.array([0.3, 0.6, 0.4]), np.array([0.3, 0.6, 0.4]), EYE, (0, -1, STEM))
    view = plane_view((546.0, 278.0), PX_PER_MM, margin_mm=MARGIN_MM)
    soil = np.full((view.height, view.width, 3), 0.2, np.float32)
    _, owner, kind, blade, _ = _paint(soil, mesh.arrays(), view, EYE, -5.0, np.random.default_rng(1))
    rows, columns = np.nonzero(owner)
    at = view.to_mm(np.column_stack([columns, rows]))
    low, high = pinhole_on_rim(base), pinhole_on_rim(base + [0, 0, length])
    along = (high - low) / np.linalg.norm(high - low)
    reach = (at - low) @ along
    across = (at - low) @ np.array([-along[1], along[0]])
    assert reach.min() == pytest.approx(0, abs=1.0)
    assert reach.max() == pytest.approx(np.linalg.norm(high - low), abs=1.0)
    assert np.abs(across).max() < 2.5  # half the stem's width, enlarged by its nearness, and a pixel
    assert set(kind[owner > 0]) == {STEM}
    assert not blade.any()


def test_a_leaning_stem_keeps_its_length():
    path = stem_path([0, 0, 0], 60.0, np.array([0.1, 0.0]), np.array([0.8, 0.3]), 40)
    assert np.linalg.norm(np.diff(path, axis=0), axis=1).sum() == pytest.approx(60.0)


def test_a_flat_blade_has_its_length_and_a_risen_one_looks_shorter():
    kind = random_kind(np.random.default_rng(3), 42.0)
    seen = []
    for rise in (0.0, 1.0):
        mesh = Mesh()
        sheet = Surface(np.zeros(3), 0.0, rise, 0.0, 0.0, 0.0, 0.0, 0.0, 30.0)
        add_blade(mesh, sheet, "oval", 0.25, 0.0, kind.green, kind, (0, 0, 3), np.random.default_rng(3), veins=False)
        x = mesh.arrays()["corners"][..., 0]
        seen.append(x.max() - x.min())
    assert seen[0] == pytest.approx(30.0, abs=0.1)
    assert seen[1] == pytest.approx(30.0 * np.cos(1.0), abs=0.1)


@pytest.fixture(scope="module")
def scene():
    return make_scene(12)


def test_a_scene_is_the_same_each_time_and_its_labels_hold_together(scene):
    assert (make_scene(12).image == scene.image).all()
    close = scene.view.at_scale(4.0)
    assert scene.image.shape == (close.height, close.width, 3)
    assert scene.vegetation.shape == (close.height, close.width)
    # the share of each close pixel, gathered into the view's pixels, is where owners are
    share = cv2.resize(scene.vegetation, (scene.view.width, scene.view.height), interpolation=cv2.INTER_AREA)
    assert ((share > 127) == (scene.owner > 0)).mean() > 0.99
    assert scene.owner.max() <= len(scene.plants)
    assert ((scene.owner > 0) == (scene.kind > 0)).all()
    assert (scene.kind[scene.blade > 0] != STEM).all()
    crop = [p.cell for p in scene.plants if not p.weed and p.cell >= 0]
    assert np.bincount(crop, minlength=len(scene.count)) == pytest.approx(scene.count)
    whose = scene.blades[scene.blade[scene.blade > 0] - 1, 3]
    assert (whose == scene.owner[scene.blade > 0] - 1).all()


def test_plants_stand_in_their_cells_on_the_soil(scene):
    for plant, seen in zip(scene.plants, scene.bases_mm, strict=True):
        if plant.cell < 0:
            continue
        x0, y0, x1, y1 = scene.layout.cells[plant.cell].rect_mm
        assert x0 < plant.base_mm[0] < x1 and y0 < plant.base_mm[1] < y1
        assert plant.base_mm[2] < 0 < plant.height_mm
        assert np.linalg.norm(seen - plant.base_mm[:2]) < 15  # some mm below the rim: nearly no shift


def test_a_samples_base_peaks_lie_on_the_bases():
    one = sample(12)
    x0, y0 = one["place"][:2]
    crop = one["bases"][(one["bases"][:, 0] != 0) & (one["bases"][:, 4] == 0)]
    columns, rows = (np.round((crop[:, k] - o) * PX_PER_MM / 2 - 0.25).astype(int) for k, o in ((0, x0), (1, y0)))
    height, width = one["heat"].shape[1:]
    inside = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    assert inside.sum() > 10
    assert (one["heat"][0][rows[inside], columns[inside]] == 255).all()

"""Invented side views: the arrays that training reads agree with the scenes' own geometry."""

import numpy as np
import pytest

from seedlingcv.training.side_samples import sample
from seedlingcv.training.side_scenes import PX_PER_MM, SIDE_MM, make_side_scene

SEEDS = [4, 11]


@pytest.fixture(scope="module", params=SEEDS)
def scene_and_sample(request):
    return make_side_scene(request.param), sample(request.param)


def test_shapes(scene_and_sample):
    _, arrays = scene_and_sample
    size = round(SIDE_MM * PX_PER_MM)
    assert arrays["image"].shape == (size, size, 3)
    assert arrays["share"].shape == (4, size, size)
    assert arrays["heat"].shape == (3, size // 2, size // 2)
    assert arrays["owner"].shape == arrays["stem_owner"].shape == (size // 4, size // 4)


def test_a_seed_gives_the_same_scene():
    one, two = sample(SEEDS[0]), sample(SEEDS[0])
    assert all(np.array_equal(one[key], two[key]) for key in one)


def test_peaks_lie_on_soil_points_nodes_and_apices(scene_and_sample):
    """The brightest pixel within 3 px of each point inside the picture is the one nearest to it."""
    _, arrays = scene_and_sample
    heat, plants = arrays["heat"], arrays["plants"]
    seen = 0
    for plant in plants[plants[:, 6] > 0]:
        for kind, (x, y) in enumerate(plant[:6].reshape(3, 2)):
            column, row = round((x + 0.5) / 2 - 0.5), round((y + 0.5) / 2 - 0.5)
            if 0 <= row < heat.shape[1] and 0 <= column < heat.shape[2]:
                assert heat[kind, row, column] == 255
                seen += 1
    assert seen >= 3


def test_soil_points_lie_at_the_lower_ends_of_hypocotyls(scene_and_sample):
    """Half-way from soil point to node the whole stem is drawn, also where something hides it."""
    scene, arrays = scene_and_sample
    hypocotyl = arrays["share"][2]
    height, width = hypocotyl.shape
    hits = []
    for soil, node, _ in scene.points[np.isfinite(scene.points).all(axis=(1, 2))]:
        assert soil[1] > node[1]
        x, y = np.round(soil + 0.1 * (node - soil)).astype(int)
        if 5 <= x < width - 5 and 5 <= y < height - 5:
            hits.append(hypocotyl[y - 5 : y + 6, x - 5 : x + 6].max() > 128)
    assert not hits or np.mean(hits) > 0.8


def test_petioles_are_vegetation_too(scene_and_sample):
    _, arrays = scene_and_sample
    vegetation, petiole = arrays["share"][:2].astype(int)
    assert (petiole <= vegetation + 1).all()
    assert (vegetation > 128).any()

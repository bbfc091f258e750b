"""The shipped networks on invented scenes that were not among those they learnt from (their seeds start at a million).

The truth comes from the scenes' geometry. Bounds are well below what was measured, so that they catch a broken
file, a wrong channel or a shifted grid, not a small change of the weights.
"""

import cv2
import numpy as np
import pytest

from seedlingcv.segment.edges import vegetation_chance
from seedlingcv.segment.model import fill_input, read_flat, reading_view
from seedlingcv.segment.owners import owners_from_reading
from seedlingcv.training.ground import seen_at, tray
from seedlingcv.training.light import photograph
from seedlingcv.training.scenes import make_scene


def halved(image):
    """The close picture at the overhead network's scale."""
    return cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


@pytest.fixture(scope="module", params=[30, 37])
def scene_and_reading(request):
    scene = make_scene(request.param)
    return scene, read_flat(halved(scene.image), scene.layout, scene.eye_mm)


def test_vegetation_is_found(scene_and_reading):
    scene, reading = scene_and_reading
    found, truth = reading.vegetation > 0.5, scene.owner > 0
    assert (found & truth).sum() / (found | truth).sum() > 0.75


def test_leaves_vote_for_their_own_stem_base(scene_and_reading):
    scene, reading = scene_and_reading
    owner = scene.owner[::2, ::2].astype(int)
    rows, columns = np.nonzero(owner)
    at = scene.view.to_mm(np.column_stack([columns, rows]) * 2 + 0.5)
    bases = seen_at(np.array([p.base_mm for p in scene.plants]), scene.eye_mm)
    miss = np.linalg.norm(at + reading.way_mm[rows, columns] - bases[owner[rows, columns] - 1], axis=1)
    before = np.linalg.norm(at - bases[owner[rows, columns] - 1], axis=1)
    assert np.median(miss) < 0.5 * np.median(before)


def test_empty_cells_and_owners(scene_and_reading):
    scene, reading = scene_and_reading
    owners = owners_from_reading(reading, scene.layout)
    assert owners.labels.shape == scene.owner.shape
    assert owners.labels.dtype == np.uint16
    assert ((owners.plants > 0) == (scene.count > 0)).mean() > 0.9
    cell = np.array([-1] + [p.cell for p in scene.plants])[scene.owner] + 1
    both = (cell > 0) & (owners.labels > 0)
    assert (cell == owners.labels)[both].mean() > 0.85
    empty = np.flatnonzero(owners.plants == 0) + 1
    assert not np.isin(owners.labels, empty).any()  # a neighbour's leaf over an empty cell is the neighbour's


def test_the_same_picture_gives_the_same_reading(scene_and_reading):
    scene, reading = scene_and_reading
    again = read_flat(halved(scene.image), scene.layout, scene.eye_mm)
    assert (again.owner == reading.owner).all() and (again.count == reading.count).all()


def told(reading, size):
    """What the first network thinks of each pixel of the close picture."""
    chances = (np.clip(cv2.resize(v, size), 1e-4, 1 - 1e-4) for v in (reading.vegetation, reading.stem))
    return np.array([np.log(c / (1 - c)) for c in chances])


def test_bare_potting_mix_is_no_vegetation():
    scene, rng = make_scene(41), np.random.default_rng(41)
    close = scene.view.at_scale(4.0)
    picture = photograph(tray(scene.layout, close, scene.eye_mm, -5.0, rng)[0], rng)
    reading = read_flat(halved(picture), scene.layout, scene.eye_mm)
    assert (owners_from_reading(reading, scene.layout).labels > 0).mean() < 0.005
    green = vegetation_chance(picture, told(reading, (close.width, close.height))) > 153
    assert green.mean() < 0.002
    planted = [green[close.box(cell.rect_mm)].sum() / 16 > 2.0 for cell in scene.layout.cells]  # mm2
    assert np.mean(planted) < 0.1


def test_grid_planes_are_zero_at_cells_centres():
    scene = make_scene(30)
    planes = np.zeros((8, scene.view.height, scene.view.width), np.float32)
    fill_input(planes, halved(scene.image), scene.view, scene.layout, scene.eye_mm)
    for cell in scene.layout.cells[::7]:
        column, row = np.round(scene.view.to_px(cell.centre_mm)).astype(int)
        assert np.abs(planes[3:5, row, column]).max() < 0.51 / 2 / min(scene.layout.pitch_mm)
    column, row = np.round(scene.view.to_px([scene.eye_mm[:2]])[0]).astype(int)
    if 0 <= column < scene.view.width and 0 <= row < scene.view.height:
        assert np.abs(planes[6:8, row, column]).max() < 0.001


def test_a_picture_of_another_size_is_refused():
    scene = make_scene(30)
    assert reading_view(scene.layout) == scene.view
    with pytest.raises(ValueError, match="view"):
        read_flat(halved(scene.image)[:-2], scene.layout, scene.eye_mm)


def overlap(found, truth):
    return (found & truth).sum() / (found | truth).sum()


def test_edges_are_found_closer_by_the_second_network(scene_and_reading):
    scene, reading = scene_and_reading
    size, truth = scene.vegetation.shape[::-1], scene.vegetation > 127
    closer = overlap(vegetation_chance(scene.image, told(reading, size)) > 153, truth)
    assert closer > 0.85
    assert closer > overlap(cv2.resize(reading.vegetation, size) > 0.5, truth)


def test_tiles_leave_no_seam(scene_and_reading):
    """What lies across the tiles of a large picture is read as in a picture that fits into one."""
    scene, _ = scene_and_reading
    whole, part = vegetation_chance(scene.image), vegetation_chance(scene.image[400:1100, 900:1700])
    inner = np.s_[200:-200, 200:-200]
    assert ((whole[400:1100, 900:1700][inner] > 153) != (part[inner] > 153)).mean() < 0.02


def test_a_picture_smaller_than_a_tile_keeps_its_size():
    assert vegetation_chance(np.full((150, 90, 3), 128, np.uint8)).shape == (150, 90)

"""The side camera against drawn scenes whose camera is known, and against OpenCV's own projection."""

import cv2
import numpy as np
import pytest
from side_scene import Scene, draw

from seedlingcv.errors import PhotoError
from seedlingcv.flat.backdrop import fit_side
from seedlingcv.tags.detect import detect_tags

PLACES = np.array([[right, up] for right in (-220.0, 0.0, 220.0) for up in (-5.0, 40.0, 110.0)])


def tags_of(image):
    return detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))


def fit(image, scene, focal="exif", tags=None):
    return fit_side(tags_of(image) if tags is None else tags, image.shape[1::-1],
                    scene.focal_px if focal == "exif" else focal, rows=scene.rows, columns=scene.columns)


def misread_mm(pose, scene, turn=0):
    """Row-plane places read back from where the scene's own camera sees them, against the truth."""
    px = scene.project(np.column_stack([PLACES, np.zeros(len(PLACES))]))
    width, height = scene.size
    for _ in range(turn):  # np.rot90 turns the picture to the left: (x, y) -> (y, width - 1 - x)
        px = np.column_stack([px[:, 1], width - 1 - px[:, 0]])
        width, height = height, width
    return pose.to_row(px) - PLACES


@pytest.fixture(scope="module")
def scene():
    return Scene(())


@pytest.fixture(scope="module")
def image(scene):
    return draw(scene)


def test_places_on_the_row_plane_are_read_to_a_millimetre(scene, image):
    pose = fit(image, scene)
    assert pose.residual_px < 0.4
    assert np.abs(misread_mm(pose, scene)).max() < 1.5
    assert pose.soil_up_mm == pytest.approx(-5, abs=0.7)


def test_lengths_are_read_to_half_a_percent(scene, image):
    read = misread_mm(fit(image, scene), scene) + PLACES
    assert np.linalg.norm(read[-1] - read[0]) == pytest.approx(np.linalg.norm(PLACES[-1] - PLACES[0]), rel=0.005)


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_any_turn_of_the_stored_picture(scene, image, turn):
    pose = fit(np.ascontiguousarray(np.rot90(image, turn)), scene)
    assert np.abs(misread_mm(pose, scene, turn)).max() < 1.5


def test_half_the_resolution_keeps_the_millimetres(scene, image):
    small = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    pose = fit(small, scene, focal=scene.focal_px / 2)
    full = fit(image, scene)
    assert pose.px_per_mm == pytest.approx(full.px_per_mm / 2, rel=0.005)
    assert pose.soil_up_mm == pytest.approx(full.soil_up_mm, abs=0.7)


def test_projection_is_opencvs(scene, image):
    """Against cv2.projectPoints (OpenCV's pinhole and radial model)."""
    pose = fit(image, scene)
    points = np.column_stack([PLACES[:, 0], -PLACES[:, 1], np.linspace(-20, 30, len(PLACES))])
    matrix = np.array([[pose.focal_px, 0, (pose.size[0] - 1) / 2], [0, pose.focal_px, (pose.size[1] - 1) / 2],
                       [0, 0, 1]])
    want, _ = cv2.projectPoints(points, cv2.Rodrigues(pose.rotation)[0], pose.translation, matrix,
                                np.array([pose.k1, 0, 0, 0]))
    assert np.abs(pose.project(points) - want.reshape(-1, 2)).max() < 1e-6


def test_pixels_and_millimetres_are_inverse(scene, image):
    pose = fit(image, scene)
    on = pose.to_row(pose.project(np.column_stack([PLACES[:, 0], -PLACES[:, 1], np.full(len(PLACES), 12.0)])), 12.0)
    assert np.abs(on - PLACES).max() < 1e-3


def test_one_backdrop_tag_and_no_exif_still_serve_roughly(scene, image):
    tags = [t for t in tags_of(image) if t.id != 5]
    assert {t.id for t in tags} == {4, 42}
    assert np.abs(misread_mm(fit(image, scene, tags=tags), scene)).max() < 6
    assert np.abs(misread_mm(fit(image, scene, focal=None), scene)).max() < 4


def test_without_the_backdrop_there_is_no_pose(scene, image):
    tags = [t for t in tags_of(image) if t.id not in (4, 5)]
    with pytest.raises(PhotoError, match="backdrop"):
        fit(image, scene, tags=tags)


def test_column_1_is_at_the_right(scene, image):
    pose = fit(image, scene)
    assert pose.column_at(240.0) == 1
    assert pose.column_at(-240.0) == scene.columns
    assert pose.column_at(290.0) is None
    assert pose.with_shift(20.0).column_at(240.0 - 511 / 12 + 20) == 2
    assert np.allclose(np.diff(pose.column_bounds_mm()), -511 / 12)
    assert pose.column_right_mm(1) == pytest.approx(511 / 2 - 511 / 24)


def test_evaluation_photos(evaluation):
    """The row-A plane of rendered photos against their exact cameras: scale to 1 %, soil to 2 mm."""
    import json

    from seedlingcv.photo.exif import focal_length_px
    from seedlingcv.photo.read import read_photo

    for folder in sorted((evaluation / "flats").glob("d0[15]*")):
        truth = json.loads((folder / "truth.json").read_text())
        photo = read_photo(folder / "side.jpg")
        height, width = photo.image.shape[:2]
        layout, camera = truth["layout"], truth["photos"]["side"]["camera"]
        pose = fit_side(tags_of(photo.image), (width, height), focal_length_px(photo.exif, width, height),
                        rows=layout["rows"], columns=layout["columns"])
        row_y = layout["first_cell_corner_mm"][1] + layout["pitch_mm"] / 2
        points = np.column_stack([273 - PLACES[:, 0], np.full(len(PLACES), row_y), PLACES[:, 1]])
        seen = points @ np.array(camera["R_flat_to_camera"]).T + camera["t_mm"]
        at = seen[:, :2] / seen[:, 2:]
        r2 = (at**2).sum(axis=1, keepdims=True)
        px = at * (1 + camera["k1"] * r2 + camera["k2"] * r2**2) * [camera["fx"], camera["fy"]] + [camera["cx"],
                                                                                                  camera["cy"]]
        read = pose.to_row(px)
        assert np.ptp(read[:, 0]) == pytest.approx(440, rel=0.01)
        assert np.abs(read[:, 1] - PLACES[:, 1]).max() < 2
        assert pose.soil_up_mm == pytest.approx(truth["mean_soil_z_mm"], abs=2)

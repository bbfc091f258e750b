"""Geometry against exactly drawn views: where is each cell, within how many mm?"""

import cv2
import numpy as np
import pytest
from scenes import Camera, Scene, tag_corners_mm

from seedlingcv.flat.grid import guess_layout, settle_grid
from seedlingcv.flat.layout import cell_name, known_layouts, standard_layout
from seedlingcv.flat.pose import fit_overhead
from seedlingcv.flat.rectify import lift, lift_points, plane_view, rectify, unrectify
from seedlingcv.tags.detect import detect_tags

TILTED = Camera(eye_mm=(330, 230, 540), target_mm=(270, 140), roll_deg=7)
BY_HAND = {"card_shifts_mm": ((2.5, -1.5), (-1.5, 2.0), (1.0, 1.0), (-2.0, 0.5)),
           "card_turns_deg": (5.0, -4.0, 2.0, -7.0)}


def cell_error_mm(scene: Scene, camera: Camera, image: np.ndarray, *, focal: float | None) -> float:
    """Largest distance between where cells are and where the package finds them."""
    size = image.shape[1], image.shape[0]
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    pose = fit_overhead(tags, size, focal, scene.layout.outer_mm)
    fit = settle_grid(image, pose, standard_layout(scene.layout.rows, scene.layout.columns))
    assert fit.found
    true = np.array([[*c.centre_mm, 0.0] for c in scene.layout.cells])
    pixels = camera.project(true)
    found = fit.pose.to_plane(pixels)
    return float(np.linalg.norm(found - [c.centre_mm for c in fit.layout.cells], axis=1).max())


def test_tag_corners_are_found_to_a_fifth_of_a_pixel():
    scene, camera = Scene(**BY_HAND), TILTED
    tags = {t.id: t for t in detect_tags(cv2.cvtColor(scene.photo(camera), cv2.COLOR_BGR2GRAY))}
    assert set(tags) == {0, 1, 2, 3, 31}
    true = camera.project(np.column_stack([tag_corners_mm(np.array([-5.0, -15.5]), 5.0), np.full(4, 1.5)]))
    assert np.abs(tags[0].corners - true).max() < 0.2


@pytest.mark.parametrize(("camera", "focal"), [
    (Camera(), 1515.0),
    (TILTED, 1515.0),
    (TILTED, None),  # no EXIF
    (Camera(eye_mm=(240, 110, 500), k1=0.03), 1515.0),
    (Camera(roll_deg=180), 1515.0),
    (Camera(roll_deg=90, eye_mm=(273, 139, 760)), 1515.0),
])
def test_cells_are_found_within_a_millimetre_or_so(camera, focal):
    scene = Scene(**BY_HAND)
    assert cell_error_mm(scene, camera, scene.photo(camera), focal=focal) < 1.2


def test_three_cards_are_enough():
    scene = Scene(cards=(0, 1, 3), **BY_HAND)
    assert cell_error_mm(scene, TILTED, scene.photo(TILTED), focal=1515.0) < 1.5


def test_cards_may_lie_turned_by_a_quarter():
    scene = Scene(card_turns_deg=(90.0, 182.0, -88.0, 3.0))
    assert cell_error_mm(scene, TILTED, scene.photo(TILTED), focal=1515.0) < 1.2


def test_fewer_than_three_cards_are_refused():
    tags = detect_tags(cv2.cvtColor(Scene(cards=(0, 2)).photo(Camera()), cv2.COLOR_BGR2GRAY))
    with pytest.raises(ValueError, match="three corner cards"):
        fit_overhead(tags, Camera().size, 1515.0, (546.0, 278.0))


@pytest.mark.parametrize("layout", [(3, 6), (5, 10), (6, 12), (8, 16), (10, 20), (12, 24)])
def test_a_layout_is_recognised_without_a_register(layout):
    scene = Scene(layout=standard_layout(*layout), **BY_HAND)
    image = scene.photo(TILTED)
    pose = fit_overhead(detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)), TILTED.size, 1515.0,
                        scene.layout.outer_mm)
    fit = guess_layout(image, pose, [standard_layout(*k) for k in known_layouts()])
    assert fit is not None
    assert (fit.layout.rows, fit.layout.columns) == layout


def test_no_grid_is_claimed_on_a_bare_board():
    camera = Camera()
    scene = Scene(layout=standard_layout(1, 1))
    image = scene.photo(camera)
    pose = fit_overhead(detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)), camera.size, 1515.0, (546.0, 278.0))
    assert not settle_grid(image, pose, standard_layout(8, 16)).found


@pytest.mark.parametrize("change", ["brighter", "half size"])
def test_millimetres_stay(change):
    scene, camera = Scene(**BY_HAND), Camera(size=(3000, 2250), focal_px=2254.0)
    image = scene.photo(camera)
    pose = fit_overhead(detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)), camera.size, camera.focal_px, (546, 278))
    if change == "brighter":
        other = np.clip(image.astype(float) * 1.25, 0, 255).astype(np.uint8)
        focal = camera.focal_px
    else:
        other = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        focal = camera.focal_px / 2
    size = (other.shape[1], other.shape[0])
    same = fit_overhead(detect_tags(cv2.cvtColor(other, cv2.COLOR_BGR2GRAY)), size, focal, (546, 278))
    assert np.linalg.norm(pose.eye_mm - same.eye_mm) < 3.0


def test_rectified_pixels_lie_where_they_say():
    scene, camera = Scene(), TILTED
    image = scene.photo(camera)
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    pose = fit_overhead(tags, camera.size, 1515.0, scene.layout.outer_mm)
    view = plane_view(scene.layout.outer_mm, 3.0, z_mm=1.5)
    flat = rectify(image, pose, view)
    again = detect_tags(cv2.cvtColor(flat, cv2.COLOR_BGR2GRAY))
    true = tag_corners_mm(np.array([-7.5, -14.0]), 0.0)
    found = view.to_mm(next(t for t in again if t.id == 0).corners)
    assert np.abs(found - true).max() < 0.5  # the photo has 2.3 px per mm; one pixel is 0.4 mm


def test_labels_go_back_to_the_photo():
    scene, camera = Scene(), TILTED
    image = scene.photo(camera)
    pose = fit_overhead(detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)), camera.size, 1515.0, (546, 278))
    view = plane_view((546.0, 278.0), 3.0)
    labels = np.zeros((view.height, view.width), np.uint16)
    labels[view.box((100, 100, 130, 140))] = 7
    back = unrectify(labels, pose, view, camera.size)
    rows, columns = np.nonzero(back == 7)
    true = camera.project(np.array([[115.0, 120.0, 0.0]]))[0]
    assert abs(columns.mean() - true[0]) < 2.5
    assert abs(rows.mean() - true[1]) < 2.5


def test_lifting_is_the_pinhole_camera_between_level_planes():
    camera = TILTED
    eye = np.array(camera.eye_mm)
    leaf = np.array([[60.0, 250.0, 80.0]])
    pixel = camera.project(leaf)
    on_rim = np.array([[0.0, 0.0]])
    # the rim place seen at the same pixel, by intersecting the ray from the eye by hand
    on_rim = eye[:2] + (leaf[:, :2] - eye[:2]) * eye[2] / (eye[2] - 80.0)
    assert np.allclose(camera.project(np.column_stack([on_rim, [[0.0]]])), pixel, atol=1e-6)
    assert np.allclose(lift_points(on_rim, eye, 0.0, 80.0), leaf[:, :2])


def test_lifted_picture_agrees_with_lifted_points():
    view = plane_view((546.0, 278.0), 2.0)
    mask = np.zeros((view.height, view.width), bool)
    mask[view.box((300, 100, 320, 120))] = True
    eye = np.array([200.0, 150.0, 500.0])
    moved, moved_view = lift(mask, view, eye, 60.0)
    rows, columns = np.nonzero(moved)
    centre = moved_view.to_mm([[columns.mean(), rows.mean()]])
    assert np.allclose(centre, lift_points([[310.0, 110.0]], eye, 0.0, 60.0), atol=0.6)


def test_cells_are_named_row_by_row():
    names = [c.name for c in standard_layout(6, 12).cells]
    assert (names[0], names[11], names[12], names[-1]) == ("A1", "A12", "B1", "F12")
    assert cell_name(2, 7) == "C7"


@pytest.mark.parametrize("layout", [(1, 1), (1, 12), (6, 1)])
def test_a_layout_without_inner_lines_both_ways_does_no_harm(layout):
    scene, camera = Scene(), Camera(size=(1512, 1134), focal_px=1136.0)
    image = scene.photo(camera)
    pose = fit_overhead(detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)), camera.size, 1136.0, (546.0, 278.0))
    fit = settle_grid(image, pose, standard_layout(*layout))
    assert (fit.layout.rows, fit.layout.columns) == layout

"""Figures of drawn flats against exact truth and scikit-image."""

import cv2
import numpy as np
import pytest
from scenes import Camera, Disc, Scene

from seedlingcv.flags import Problem
from seedlingcv.flat.grid import GridFit
from seedlingcv.flat.layout import standard_layout
from seedlingcv.flat.pose import fit_overhead
from seedlingcv.measure.overhead import feret_px, green_leaf_index, measure_overhead
from seedlingcv.measure.reading import ask_networks, read_overhead, settle_layout
from seedlingcv.tags.detect import detect_tags

LAYOUT = standard_layout(6, 12)
EMPTY = {"A3", "C7", "F12"}


def discs(z_mm=0.0):
    return tuple(Disc(*cell.centre_mm, 12.0 + (k % 12) * 1.5, z_mm)
                 for k, cell in enumerate(LAYOUT.cells) if cell.name not in EMPTY)


def read(scene, camera):
    image = scene.photo(camera)
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    pose = fit_overhead(tags, camera.size, camera.focal_px, (546.0, 278.0))
    fit = settle_layout(image, pose, (6, 12))
    return read_overhead(image, tags, fit)


def check(cells, tolerance_mm=1.6):
    true = {c.name: d for c, d in zip((c for c in LAYOUT.cells if c.name not in EMPTY), discs(), strict=True)}
    area = LAYOUT.pitch_mm[0] * LAYOUT.pitch_mm[1]
    for cell in cells:
        if cell.cell in EMPTY:
            assert cell.plants == 0
            assert cell.leaf_spread_mm is None
            assert cell.canopy_cover < 0.01
            continue
        size = true[cell.cell].diameter_mm
        assert cell.plants == 1
        assert cell.leaf_spread_mm == pytest.approx(size, abs=tolerance_mm)
        assert cell.canopy_cover == pytest.approx(np.pi / 4 * size**2 / area, abs=0.04)


@pytest.mark.parametrize("camera", [Camera(), Camera(eye_mm=(340, 220, 530), roll_deg=93, focal_px=1200.0),
                                    Camera(roll_deg=180)])
def test_discs_of_known_size(camera):
    check(measure_overhead(read(Scene(discs=discs()), camera), 0.0).cells)


@pytest.mark.parametrize("light", [(0.35, 1.0, 0.9), (1.0, 0.35, 0.95), (0.5, 0.5, 0.5)])
def test_discs_under_warm_magenta_and_dim_light(light):
    check(measure_overhead(read(Scene(discs=discs(), light=light), Camera()), 0.0).cells)


def test_leaves_above_the_rim_are_measured_in_their_true_place_and_size():
    """At 60 mm a disc looks 13 % too large and up to 35 mm displaced; on the canopy plane it is right."""
    camera = Camera(eye_mm=(300, 170, 520))
    reading = read(Scene(discs=discs(60.0)), camera)
    check(measure_overhead(reading, 60.0).cells)
    uncorrected = measure_overhead(reading, 0.0).cells
    assert np.mean([c.leaf_area_mm2 for c in uncorrected if c.leaf_area_mm2]) > 1.2 * np.mean(
        [c.leaf_area_mm2 for c in measure_overhead(reading, 60.0).cells if c.leaf_area_mm2])


def test_feret_agrees_with_scikit_image():
    from skimage.measure import label, regionprops

    rng = np.random.default_rng(2)
    for _ in range(5):
        mask = np.zeros((120, 120), np.uint8)
        cv2.ellipse(mask, (60, 60), tuple(int(a) for a in rng.integers(8, 45, 2)), float(rng.uniform(0, 180)), 0, 360,
                    1, -1)
        expected = regionprops(label(mask))[0].feret_diameter_max
        assert feret_px(mask > 0) == pytest.approx(expected, abs=1.0)


def test_feret_of_nothing_and_of_one_pixel():
    assert feret_px(np.zeros((5, 5), bool)) == 0.0
    one = np.zeros((5, 5), bool)
    one[2, 2] = True
    assert feret_px(one) == pytest.approx(1.0)


def test_green_leaf_index_by_hand():
    """(2G - R - B) / (2G + R + B): Louhaichi, Borman & Johnson 2001 (from memory)."""
    assert green_leaf_index(np.array([[50, 100, 50]])) == pytest.approx(100 / 300)
    assert green_leaf_index(np.array([[80, 80, 80]])) == 0.0


def test_the_network_counts_drawn_plants_and_empty_cells():
    """Rosettes of five leaves, drawn unlike anything the network was trained on; empty cells are bare soil."""
    leaves = []
    for cell in (c for c in LAYOUT.cells if c.name not in EMPTY):
        x, y = cell.centre_mm
        leaves += [Disc(x + 7 * np.cos(a), y + 7 * np.sin(a), 9.0, 12.0) for a in np.arange(5) * 2 * np.pi / 5]
    reading = ask_networks(read(Scene(discs=tuple(leaves)), Camera()))
    assert reading.network is not None
    cells = measure_overhead(reading, 12.0).cells
    assert {c.cell for c in cells if c.plants == 0} == EMPTY
    spreads = [c.leaf_spread_mm for c in cells if c.leaf_spread_mm is not None]
    assert len(spreads) > 60
    assert np.median(spreads) == pytest.approx(2 * 7 * np.cos(np.pi / 10) + 9, abs=1.5)  # of a regular pentagon


def test_a_network_out_of_its_depth_is_not_believed(monkeypatch):
    """Where colour and network disagree on what is vegetation, plants are split without it and leaves not counted."""
    import seedlingcv.measure.reading as reading_step

    monkeypatch.setattr(reading_step, "LEAST_AGREEMENT", 1.01)
    reading = ask_networks(read(Scene(discs=discs()), Camera()))
    assert reading.network is None
    cells = measure_overhead(reading, 0.0).cells
    check(cells)
    assert all(c.true_leaves is None for c in cells)
    assert all("leaves_unsure" in c.flags for c in cells if c.plants)


def test_four_cards_hold_the_frame_where_leaves_hide_the_grid():
    """A closed canopy: one leaf over all cells. Three cards alone are then not believed."""
    camera = Camera()
    for cards, usable in (((0, 1, 2, 3), True), ((0, 1, 3), False)):
        image = Scene(discs=tuple(Disc(x, 139.0, 250.0) for x in range(110, 440, 30)), cards=cards).photo(camera)
        tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
        fit = settle_layout(image, fit_overhead(tags, camera.size, camera.focal_px, (546.0, 278.0)), (6, 12))
        if usable:
            assert isinstance(fit, GridFit)
            assert not fit.found
            true = camera.project(np.array([[*c.centre_mm, 0.0] for c in LAYOUT.cells]))
            off = fit.pose.to_plane(true) - [c.centre_mm for c in fit.layout.cells]
            assert np.abs(off).max() < 2.0
        else:
            assert fit == Problem("grid_unsure")

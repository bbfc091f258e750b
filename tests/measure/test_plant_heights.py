"""Plants' heights and stems from height maps made by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import lift, plane_view
from seedlingcv.measure.heights import (
    TIP_MM,
    USUAL_RATIO,
    PlantHeight,
    labels_on,
    plant_heights,
    stem_from_height,
)
from seedlingcv.measure.side import StemMeasurement
from seedlingcv.segment.canopy import SOIL_BELOW_RIM_MM
from seedlingcv.segment.heights import HeightMap, HeightPair
from seedlingcv.segment.plants import Plants

LAYOUT = FlatLayout(1, 3, (200.0, 120.0), (40.0, 40.0), (30.0, 40.0))  # cell middles at x 50, 90, 130, y 60
FINE = plane_view(LAYOUT.outer_mm, 3.0)
COARSE = plane_view(LAYOUT.outer_mm, 1.5)
EYE = np.array([100.0, 60.0, 500.0])
TRUE = (30.0, 60.0)  # heights above the soil in A1 and A2; A3 has no plant


def made(view, values, blank):
    """A picture on `view` with one value on each plant's 24 mm square."""
    picture = np.full((view.height, view.width), blank)
    for cell, value in zip(LAYOUT.cells, values, strict=False):
        x, y = cell.centre_mm
        picture[view.box((x - 12, y - 12, x + 12, y + 12))] = value
    return picture


def seen(tops):
    """Two photos show a plant's top TIP_MM too low."""
    z = made(COARSE, [t - TIP_MM - SOIL_BELOW_RIM_MM for t in tops], np.nan).astype(np.float32)
    known = np.isfinite(z)
    return HeightMap(z, known.astype(np.float32), known, COARSE, EYE, 0.1)


def plants(sure=(True, True, True)):
    labels = made(FINE, (1, 2), 0).astype(np.uint16)
    return Plants(labels, FINE, np.array([1, 1, 0]), np.array(sure))


def heights(first=TRUE, second=TRUE, **kwargs):
    p = plants(**kwargs)
    return plant_heights(HeightPair(seen(first), seen(second)), (p, p), LAYOUT)


def test_heights_of_level_plants():
    found = heights()
    assert [h.cell for h in found] == ["A1", "A2", "A3"]
    for h, true in zip(found, TRUE, strict=False):
        assert h.height_mm == pytest.approx(true, abs=0.1)
        assert h.crown_mm == pytest.approx(true - TIP_MM, abs=0.1)
        assert h.height_se > 0
        assert h.crown_se > 0


def test_no_plant_no_height():
    assert heights()[2] == PlantHeight("A3")


def test_one_leaf_reaches_higher_than_the_rest():
    """A tenth of the plant stands 20 mm above its other leaves: that is its top."""
    pair = HeightPair(seen(TRUE), seen(TRUE))
    x, y = LAYOUT.cells[0].centre_mm
    for one in (pair.first, pair.second):
        one.z_mm[COARSE.box((x - 12, y - 12, x + 12, y - 9.5))] += 20
    found = plant_heights(pair, (plants(), plants()), LAYOUT)[0]
    assert found.height_mm == pytest.approx(50.0, abs=0.2)
    assert found.crown_mm == pytest.approx(30.0 - TIP_MM + 2 + 0.2 * (20 - 2), abs=0.4)  # stems are reckoned from it


def test_a_plant_just_out_of_the_soil_is_not_all_tip():
    """A tenth at most is added to what is seen."""
    low = seen((4.0 + TIP_MM, 60.0))
    assert plant_heights(HeightPair(low, low), (plants(), plants()), LAYOUT)[0].height_mm == pytest.approx(4.4, abs=0.1)


def test_tops_and_crowns_agree_with_scipy():
    """On heights that vary over each plant: scipy.ndimage's mean, and NumPy's percentile of the labelled pixels."""
    rng = np.random.default_rng(5)
    maps = seen(TRUE)
    rough = replace(maps, z_mm=(maps.z_mm + rng.normal(0, 4, maps.z_mm.shape)).astype(np.float32))
    labels = labels_on(COARSE, plants(), EYE) * maps.vegetation
    means = ndimage.mean(rough.z_mm, labels, [1, 2]) + SOIL_BELOW_RIM_MM
    found = plant_heights(HeightPair(rough, rough), (plants(), plants()), LAYOUT)
    for number, (h, mean) in enumerate(zip(found, means, strict=False), 1):
        top = np.percentile(rough.z_mm[labels == number], 99) + SOIL_BELOW_RIM_MM
        assert h.crown_mm == pytest.approx(0.8 * mean + 0.2 * top, abs=1e-3)
        assert h.height_mm == pytest.approx(top + TIP_MM, abs=1e-3)


def test_one_wrong_pixel_is_not_the_top():
    pair = HeightPair(seen(TRUE), seen(TRUE))
    u, v = np.round(COARSE.to_px(LAYOUT.cells[0].centre_mm)).astype(int)
    pair.first.z_mm[v, u] = 150.0
    assert plant_heights(pair, (plants(), plants()), LAYOUT)[0].height_mm == pytest.approx(30.0, abs=0.2)


def test_where_the_photos_differ_there_is_no_answer():
    found = heights(second=(30.0, 85.0))
    assert found[0].height_mm is not None
    assert (found[1].height_mm, found[1].height_se, found[1].crown_mm, found[1].crown_se) == (None,) * 4


def test_tops_may_differ_where_the_crowns_agree():
    """One photo takes a neighbour's leaf tip for the plant's: no height, but a crown's height all the same."""
    pair = HeightPair(seen(TRUE), seen(TRUE))
    x, y = LAYOUT.cells[0].centre_mm
    pair.second.z_mm[COARSE.box((x - 12, y - 12, x + 12, y - 11))] += 10
    found = plant_heights(pair, (plants(), plants()), LAYOUT)[0]
    assert found.height_mm is None
    assert found.crown_mm == pytest.approx(30.0 - TIP_MM + 0.2 * 10 / 2, abs=0.4)


def test_a_small_difference_widens_the_error():
    assert heights(second=(30.0, 66.0))[1].height_se > heights()[1].height_se


def test_unsure_leaves_widen_the_error():
    assert heights(sure=(False, True, True))[0].height_se > heights()[0].height_se


def test_a_plant_mostly_of_unknown_height_has_no_answer():
    half = seen(TRUE)
    z = half.z_mm.copy()
    x, y = LAYOUT.cells[1].centre_mm
    z[COARSE.box((x - 12, y - 12, x + 12, y + 6))] = np.nan
    found = plant_heights(HeightPair(replace(half, z_mm=z), seen(TRUE)), (plants(), plants()), LAYOUT)
    assert found[1].height_mm is None


def test_labels_of_the_canopy_plane_are_carried_back_along_the_rays():
    labels = plants().labels
    lifted, view = lift(labels, FINE, EYE, 60.0)
    back = labels_on(FINE, Plants(lifted, view, np.zeros(3), np.zeros(3)), EYE)
    some = (labels > 0).sum()
    assert (back != labels).sum() < 0.05 * some
    assert (lifted != labels).sum() > 0.15 * some


def front_row(ratio, count=6, se=2.0):
    return [StemMeasurement(f"A{n}", n, 1, stem_length_mm=ratio * 50.0, height_mm=70.0, se={"stem_length_mm": se})
            for n in range(1, count + 1)]


def all_cells(crown=50.0):
    return [PlantHeight(f"{row}{n}", 70.0, 3.0, crown, 2.0) for row in "AB" for n in range(1, 7)] + [PlantHeight("C1")]


def test_the_front_rows_ratio_is_the_flats():
    found = {s.cell: s for s in stem_from_height(all_cells(), front_row(0.6))}
    assert found["B3"].stem_length_mm == pytest.approx(30.0)
    assert "C1" not in found


def test_a_few_odd_stems_do_not_move_the_ratio():
    odd = front_row(0.6)[:4] + front_row(0.95)[4:]
    assert stem_from_height(all_cells(), odd)[0].stem_length_mm == pytest.approx(30.0)


def test_cells_with_two_plants_do_not_make_the_ratio():
    two = [replace(s, stems=2, stem_length_mm=50.0) for s in front_row(0.6)[:3]]
    assert stem_from_height(all_cells(), two + front_row(0.6)[3:])[0].stem_length_mm == pytest.approx(USUAL_RATIO * 50)
    enough = [StemMeasurement(f"A{n}", n, 1, stem_length_mm=30.0) for n in (4, 5, 6, 7)]
    cells = [*all_cells(), PlantHeight("A7", 70.0, 3.0, 50.0, 2.0)]
    assert stem_from_height(cells, two + enough)[0].stem_length_mm == pytest.approx(30.0)


def test_an_unsure_side_photo_makes_all_stems_unsure():
    sure, unsure = (stem_from_height(all_cells(), front_row(0.6, se=se))[0].stem_length_se for se in (1.0, 6.0))
    assert unsure > 2 * sure


def test_without_a_side_photo_the_usual_ratio_is_much_less_sure():
    with_row, without = (stem_from_height(all_cells(), row)[0] for row in (front_row(USUAL_RATIO), []))
    assert without.stem_length_mm == pytest.approx(with_row.stem_length_mm)
    assert without.stem_length_se > 1.5 * with_row.stem_length_se
    assert stem_from_height(all_cells(), front_row(0.5, count=3))[0] == without  # too few to go by

"""Two overhead photos through the whole chain: what heights may and may not change with."""

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from seedlingcv.assess.folder import assess_folder
from seedlingcv.measure.overhead import COVER_SE_ONE_PLANE
from seedlingcv.records.register import read_register

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
FIRST, SECOND = SAMPLES / "tomato_overhead_a.jpg", SAMPLES / "tomato_overhead_b.jpg"


def measured(folder: Path):
    (entry,) = assess_folder(folder, read_register(SAMPLES / "flats.csv")).entries
    return entry.measurement


def heights(measurement):
    return {c.cell: c.height_mm for c in measurement.cells if c.height_mm is not None}


def changed(source: Path, target: Path, change) -> None:
    """A changed copy with the EXIF of the original."""
    image = cv2.imread(str(source), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    with Image.open(source) as photo:
        exif = photo.getexif()
    Image.fromarray(cv2.cvtColor(change(image), cv2.COLOR_BGR2RGB)).save(target, quality=95, exif=exif.tobytes())


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain")
    for photo in (FIRST, SECOND):
        shutil.copy(photo, folder)
    return measured(folder)


def test_most_cells_have_a_height_and_a_stem(plain):
    assert len(heights(plain)) > 0.85 * len(plain.singles)
    assert {c.stem_from for c in plain.cells if c.stem_length_mm} == {"parallax"}
    assert all(c.se["height_mm"] > 0 for c in plain.cells if c.height_mm)


def test_names_don_t_matter(plain, tmp_path):
    shutil.copy(FIRST, tmp_path / "z.jpg")
    shutil.copy(SECOND, tmp_path / "a.jpg")
    assert heights(measured(tmp_path)) == heights(plain)


@pytest.mark.parametrize(("change", "within_mm"), [
    (lambda image: np.ascontiguousarray(image[::-1, ::-1]), 2.0),  # stored upside down
    (lambda image: np.clip(image.astype(float) * 1.15, 0, 255).astype(np.uint8), 2.0),
])
def test_millimetres_stay(plain, tmp_path, change, within_mm):
    for photo in (FIRST, SECOND):
        changed(photo, tmp_path / photo.name, change)
    again = heights(measured(tmp_path))
    both = sorted(set(again) & set(heights(plain)))
    assert len(both) > 0.85 * len(heights(plain))
    assert np.median([abs(again[c] - heights(plain)[c]) for c in both]) < within_mm


def test_half_size_same_millimetres(plain, evaluation, tmp_path):
    """The sample photos are the evaluation flat's at half size; here are those at full size."""
    for name in ("overhead_a.jpg", "overhead_b.jpg"):
        shutil.copy(evaluation / "flats" / "d01_tomato72" / name, tmp_path)
    full = heights(measured(tmp_path))
    both = sorted(set(full) & set(heights(plain)))
    assert len(both) > 0.85 * len(full)
    assert np.median([abs(full[c] - heights(plain)[c]) for c in both]) < 2.5


def test_identical_photos_have_no_baseline(tmp_path):
    shutil.copy(FIRST, tmp_path / "one.jpg")
    shutil.copy(FIRST, tmp_path / "two.jpg")
    found = measured(tmp_path)
    assert "no_baseline" in found.flags
    assert not heights(found)


def test_one_photo_alone_is_less_sure_and_says_why(plain, tmp_path):
    shutil.copy(FIRST, tmp_path)
    alone = measured(tmp_path)
    assert "height_from_crop" in alone.flags
    assert all(cell.se["canopy_cover"] > COVER_SE_ONE_PLANE for cell in alone.cells)
    both = [(one, two) for one, two in zip(alone.cells, plain.cells, strict=True)
            if one.leaf_spread_mm and two.leaf_spread_mm]
    one, two = (min(cell.se["leaf_spread_mm"] / cell.leaf_spread_mm for cell in cells)  # of a plant that stands alone
                for cells in zip(*both, strict=True))
    assert one > 1.1 * two


def test_legginess_carries_the_errors_of_stem_and_spread(plain):
    cell = next(c for c in plain.cells if c.legginess is not None)
    parts = ("stem_length_mm", "leaf_spread_mm")
    relative = np.hypot(*(cell.se[part] / getattr(cell, part) for part in parts))
    assert cell.se["legginess"] == pytest.approx(cell.legginess * relative)


def test_a_flat_that_moved_is_told(tmp_path):
    """The second photo shows another flat's soil and plants under the same cards and tag."""
    first = cv2.imread(str(FIRST))
    other = cv2.imread(str(SAMPLES / "lettuce_overhead_b.jpg"), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert first.shape == other.shape
    shutil.copy(FIRST, tmp_path)

    def with_strangers(image):
        out = image.copy()
        tags = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
        quads, ids, _ = tags.detectMarkers(image)
        corners = {int(i): q.reshape(4, 2).mean(0) for q, i in zip(quads, np.ravel(ids), strict=True)}
        theirs, their_ids, _ = tags.detectMarkers(other)
        their_corners = {int(i): q.reshape(4, 2).mean(0) for q, i in zip(theirs, np.ravel(their_ids), strict=True)}
        to, of = (np.float32([c[i] for i in range(4)]) for c in (corners, their_corners))
        warped = cv2.warpPerspective(other, cv2.getPerspectiveTransform(of, to), (image.shape[1], image.shape[0]))
        inside = np.zeros(image.shape[:2], np.uint8)
        middle = to.mean(0)
        cv2.fillConvexPoly(inside, np.int32(middle + (to - middle) * 0.9), 1)
        out[inside > 0] = warped[inside > 0]
        return out

    changed(SECOND, tmp_path / SECOND.name, with_strangers)
    found = measured(tmp_path)
    assert "flat_moved" in found.flags
    assert not heights(found)

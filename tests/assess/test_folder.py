"""The main job on the sample photos, and on the evaluation photos where they are."""

import json
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest

from seedlingcv.assess.folder import assess_folder, photo_files
from seedlingcv.errors import PhotoError
from seedlingcv.records.register import read_register

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    masks = tmp_path_factory.mktemp("masks")
    found = assess_folder(SAMPLES, read_register(SAMPLES / "flats.csv"), masks=masks)
    return found, masks


def test_every_sample_photo_is_used(done):
    found, _ = done
    assert len(found.photos) == 9
    assert all(p.usable for p in found.photos)
    assert {p.flat for p in found.photos} == {31, 163, 201}
    assert not found.needs_attention
    assert found.today == date(2025, 3, 20)


def test_the_stretched_tomatoes_go_first_and_deep(done):
    """Common practice, no source: a stretched tomato is saved by burying its stem."""
    first = done[0].entries[0]
    assert first.measurement.flat == 201
    assert first.verdict.action == "pot_up_early"
    assert first.verdict.burial == "deep"
    assert first.verdict.legginess_band == "leggy"


def test_a_lettuce_is_never_buried(done):
    lettuce = next(e for e in done[0].entries if e.measurement.flat == 163)
    assert lettuce.verdict.burial in ("crown_above", None)


def test_stems_say_where_they_are_from_and_every_gap_is_explained(done):
    for entry in done[0].entries:
        for cell in entry.measurement.cells:
            if cell.stem_length_mm is not None:
                assert cell.stem_from in ("side", "parallax")
                assert cell.stem_from == "parallax" or cell.cell.startswith("A")
            if cell.plants == 1 and (cell.stem_length_mm is None or cell.leaf_spread_mm is None):
                assert cell.flags


def test_pictures_come_with_outlines_and_stems_inside_them(done):
    found, _ = done
    for entry in found.entries:
        pictures = found.pictures[entry.measurement.flat]
        width, height = pictures.overhead_size
        image = cv2.imdecode(np.frombuffer(pictures.overhead_jpeg, np.uint8), cv2.IMREAD_COLOR)
        assert image.shape[:2] == (height, width)
        assert set(pictures.cells) == {c.cell for c in entry.measurement.cells}
        assert pictures.stems
        side_width, side_height = pictures.side_size
        for stem in pictures.stems.values():
            assert all(-5 < x < side_width + 5 and -5 < y < side_height + 5 for x, y in stem)


def test_masks_lie_on_the_photos_own_pixels(done):
    """Label images have the photo's stored size, and green is where they say plants are."""
    _, masks = done
    for path in sorted(SAMPLES.glob("*.jpg")):
        photo = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
        labels = cv2.imread(str(masks / f"{path.stem}_plants.png"), cv2.IMREAD_UNCHANGED)
        assert labels.dtype == np.uint16
        assert labels.shape == photo.shape[:2]
        assert (labels > 0).any()
        excess = 2 * photo[..., 1].astype(int) - photo[..., 0] - photo[..., 2]
        assert excess[labels > 0].mean() > excess[labels == 0].mean() + 15


def test_photos_are_not_changed(done):
    tracked = subprocess.run(["git", "status", "--porcelain", "sample_images"], cwd=SAMPLES.parent,
                             capture_output=True, text=True, check=False)
    if tracked.returncode != 0:
        pytest.skip("not a git checkout")
    assert tracked.stdout == ""


def test_a_flat_without_a_register_row_is_measured_and_its_verdict_says_what_is_missing(tmp_path):
    for name in ("tomato_stretched_overhead_a.jpg", "tomato_stretched_side.jpg"):
        shutil.copy(SAMPLES / name, tmp_path / f"IMG_{len(name)}.jpg")
    (entry,) = assess_folder(tmp_path).entries
    assert entry.measurement.layout == "5x10"  # found in the picture
    assert entry.verdict.action == "unsure"
    assert entry.measurement.summary("stem_length_mm").plants >= 5
    assert "height_from_side" in entry.measurement.flags
    assert "register" in " ".join((*entry.verdict.reasons, *entry.verdict.missing)).lower()


@pytest.mark.parametrize("layout", ["8x16", "6x11", "6x13", "5x12", "7x12", "12x24"])
def test_a_wrong_layout_is_told_not_measured(tmp_path, layout):
    shutil.copy(SAMPLES / "tomato_overhead_a.jpg", tmp_path)
    (tmp_path / "flats.csv").write_text(f"flat,crop,layout\n31,tomato,{layout}\n")
    found = assess_folder(tmp_path, read_register(tmp_path / "flats.csv"))
    (photo,) = found.photos
    (problem,) = photo.problems
    assert problem.code in ("grid_unsure", "layout_wrong")
    if problem.code == "layout_wrong":
        assert problem.facts == {"said": layout, "seen": "6x12"}
    assert not photo.usable
    assert not found.entries[0].measurement.cells


def test_a_side_photo_from_the_wrong_place_is_refused_and_the_rest_goes_on(tmp_path):
    from side_scene import Scene, draw

    shutil.copy(SAMPLES / "lettuce_overhead_a.jpg", tmp_path)
    cv2.imwrite(str(tmp_path / "low.png"), draw(Scene((), flat_tag=31, eye_mm=(6, -15, -450))))
    found = assess_folder(tmp_path, read_register(SAMPLES / "flats.csv"))
    low = next(p for p in found.photos if p.file == "low.png")
    assert not low.usable
    assert low.problems
    assert any(e.measurement.flat == 163 and e.measurement.cells for e in found.entries)


def test_a_side_photo_alone_without_a_layout_says_what_to_do(tmp_path):
    shutil.copy(SAMPLES / "tomato_side.jpg", tmp_path)
    (photo,) = assess_folder(tmp_path).photos
    assert [p.code for p in photo.problems] == ["layout_unknown"]
    assert not photo.usable


def test_a_folder_without_photos_is_told():
    with pytest.raises(PhotoError, match="no such folder"):
        photo_files(SAMPLES / "nowhere")


def test_label_images_are_not_taken_for_photos(tmp_path):
    cv2.imwrite(str(tmp_path / "a_plants.png"), np.zeros((80, 80), np.uint16))
    with pytest.raises(PhotoError, match="no photos"):
        photo_files(tmp_path)


def test_evaluation_flats_reach_the_figures_promised(evaluation, tmp_path):
    """The judge beside the photos compares with exact truth; it shares no code with this project."""
    found = assess_folder(evaluation / "flats", read_register(evaluation / "flats" / "flats.csv"))
    from seedlingcv.report.export import write_json

    write_json(tmp_path / "r.json", found.entries, found.photos, today=found.today)
    subprocess.run([sys.executable, str(evaluation / "score.py"), str(tmp_path / "r.json"),
                    "--json", str(tmp_path / "score.json")], check=True, capture_output=True)
    score = json.loads((tmp_path / "score.json").read_text())
    photos, cells = score["photos"], score["all"]
    assert photos["good_photos_used"] == 24
    assert photos["bad_photos_refused_for_the_right_reason"] == 4
    assert cells["empty_cells_f1"] >= 0.85
    assert cells["canopy_cover"]["mae"] <= 0.035
    assert cells["leaf_spread_mm"]["mae"] <= 12
    assert cells["leaf_spread_mm"]["n"] >= 0.85 * cells["single_plant_cells"]
    assert cells["stem_side"]["mae"] <= 7
    assert cells["stem_side"]["n"] >= 0.75 * cells["of_them_in_the_front_row"]
    assert cells["flats_with_legginess"] == 8
    assert cells["flat_median_legginess_rel"] <= 0.20


def test_a_folder_below_with_a_register_of_its_own_is_left_alone(tmp_path):
    for name in ("a.jpg", "monday/b.jpg", "other/c.jpg", "other/deep/d.jpg"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "flats.csv").write_text("flat\n")
    (tmp_path / "other" / "Flats.CSV").write_text("flat\n")
    assert [p.name for p in photo_files(tmp_path)] == ["a.jpg", "b.jpg"]
    assert [p.name for p in photo_files(tmp_path / "other")] == ["c.jpg", "d.jpg"]

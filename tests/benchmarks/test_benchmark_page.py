"""The page and its pictures on a made-up flat."""

import re
from dataclasses import replace
from datetime import date

import cv2
import numpy as np
import pytest
from made_up import level_camera, measured, result, write_flat

from seedlingcv.benchmarks import accuracy, published, worst
from seedlingcv.benchmarks.calibrate import calibrate
from seedlingcv.benchmarks.closeups import closeups
from seedlingcv.benchmarks.evaluation import read_evaluation
from seedlingcv.benchmarks.page import Measured, write_page
from seedlingcv.benchmarks.program import run_program
from seedlingcv.benchmarks.scores import MEASURES, answers, count_scores, photo_scores
from seedlingcv.benchmarks.tables import NAMES, caption, value
from seedlingcv.benchmarks.ways import WAYS, Comparison, OnFieldPhoto, OnFlat

NAME = "x01_tomato"


@pytest.fixture
def flat(tmp_path):
    write_flat(tmp_path)
    return read_evaluation(tmp_path)


@pytest.fixture
def said():
    return result(measured("A1"), measured("A2", plants=0), measured("A3", plants=0), measured("A4", true_leaves=5))


def page(flat, said, **changes):
    found = answers(said, flat)
    ways = tuple(OnFlat(way, NAME, 0.9 - 0.1 * n, 0.5, tuple(found)) for n, way in enumerate(WAYS))
    field = tuple(OnFieldPhoto(way, "carrot_weed", "one", 0.8, -0.1) for way in WAYS)
    measured_all = Measured(flat, found, count_scores(said, flat.flats), photo_scores(said, flat),
                            {NAME: (0.9, 0.8, 0.7)}, Comparison(ways, field, None), calibrate(found), {},
                            date(2025, 3, 20), "0")
    return write_page(replace(measured_all, **changes))


def test_every_table_is_whole(flat, said):
    text = page(flat, said)
    for block in re.findall(r"(?:^\|.*\n)+", text, flags=re.M):
        assert len({line.count(" | ") for line in block.splitlines()}) == 1
    assert "None" not in text
    assert "nan" not in text


def test_every_figure_has_a_name_and_every_source_a_number(flat, said):
    assert set(MEASURES) == set(NAMES)
    assert set(published.GOALS) <= set(MEASURES)
    assert {number for _, number in published.PUBLISHED.values()} == set(range(1, len(published.SOURCES) + 1))


def test_a_goal_missed_is_said(flat, said):
    rows = {line.split(" | ")[0].lstrip("| "): line for line in page(flat, said).splitlines() if line.startswith("|")}
    assert "6.0 mm, yes" in rows["leaf spread"]  # 3 mm off, both answered
    assert "0.50 leaves, **no**" in rows["true leaves"]  # off by 1 and 3
    assert "3.0 mm for 85 %, **no**" in rows["plant height"]  # 4 mm off
    both = page(flat, result(measured("A1", height_mm=49.0), measured("A4", height_mm=49.0)))
    assert "3.0 mm for 85 %, yes" in both
    fewer = page(flat, result(measured("A1", height_mm=None), measured("A4", height_mm=49.0)))
    assert "3.0 mm for 85 %, **no**" in fewer  # half of the plants answered is too few


def test_a_better_way_is_named(flat, said):
    text = page(flat, said)
    assert f"Clearly better than the program (by more than 0.01): {WAYS[0]} on tomato" in text
    same = Comparison(tuple(OnFlat(w, NAME, 0.9, 0.5, ()) for w in WAYS), (), None)
    assert "No other way is clearly better" in page(flat, said, comparison=same)


def test_a_flat_without_a_figure_leaves_a_dash(flat):
    assert "–" in page(flat, result())


def test_numbers_as_words():
    assert value("lean_deg", -2.24, signed=True) == "−2.2°"
    assert value("height_mm", -0.01, signed=True) == "0.0 mm"
    assert value("height_mm", 0.34, signed=True) == "+0.3 mm"
    assert caption("true_leaves", 5, 2) == "true leaves: measured 5, in truth 2"


def test_the_worst_cells_are_shown(flat, said):
    shown = {bad.measure: bad for bad in worst.worst_cells(answers(said, flat), said, flat)}
    assert (shown["true_leaves"].cell, shown["true_leaves"].view) == ("A4", "overhead_a")
    assert shown["plants"].cell == "A3"
    assert "measured 0, in truth two or more" in shown["plants"].what


def test_pictures_are_small_and_old_ones_go(flat, said, tmp_path):
    own = np.zeros((120, 400), np.uint16)
    own[30:70, 85:140] = 1
    masks, pictures = tmp_path / "masks", tmp_path / "pictures"
    (masks / NAME).mkdir(parents=True)
    pictures.mkdir()
    (pictures / "old.jpg").write_bytes(b"")
    cv2.imwrite(str(masks / NAME / "overhead_a_plants.png"), own)
    cells = worst.worst_cells(answers(said, flat), said, flat)
    paths = worst.write_pictures(cells, flat, masks, pictures)
    assert set(pictures.iterdir()) == set(paths.values())
    assert len(cells) <= 8
    for path in paths.values():
        assert path.stat().st_size < 60_000
        assert max(cv2.imread(str(path)).shape) <= worst.LONGEST_PX + 2


@pytest.mark.parametrize("turns", range(4))
def test_row_a_runs_to_the_right_however_the_phone_was_held(turns):
    camera = level_camera()
    angle = np.radians(90 * turns)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    camera["R_flat_to_camera"] = (turn @ camera["R_flat_to_camera"]).tolist()
    # x now points `turns` quarter turns clockwise from right, so the picture is turned back counter-clockwise
    assert worst._quarter_turns(camera, {"centre_mm": [0.0, 0.0, 0.0]}, "overhead_a") == turns


def test_projection_as_opencv():
    camera = level_camera() | {"k1": 0.02, "k2": -0.01, "cx": 5.0, "cy": 7.0}
    points = np.array([[100.0, 50.0, 0.0], [-30.0, 80.0, 40.0]])
    matrix = np.array([[camera["fx"], 0, 5.0], [0, camera["fy"], 7.0], [0, 0, 1]])
    flipped = points * [1, 1, -1]  # right-handed, as OpenCV wants it
    distortion = np.array([0.02, -0.01, 0, 0])
    expected, _ = cv2.projectPoints(flipped, np.zeros(3), np.array(camera["t_mm"]), matrix, distortion)
    assert np.allclose(worst._project(camera, points), expected.reshape(-1, 2), atol=1e-6)


def test_the_program_runs_on_a_folder_of_useless_photos(flat, tmp_path):
    got = run_program(flat, tmp_path)
    assert [p["usable"] for p in got["photos"]] == [False] * 3
    assert got["flats"] == []


def test_all_of_it_writes_a_page_with_pictures_that_are_there(flat, said, tmp_path, monkeypatch):
    pytest.importorskip("sklearn", reason="scikit-learn is needed only for the comparison")
    monkeypatch.setattr(accuracy, "run_program", lambda evaluation, masks, say, left_out: said | {"photos": []})
    monkeypatch.setattr(accuracy, "compare", lambda *args: Comparison(
        tuple(OnFlat(way, NAME, 0.9, 0.5, ()) for way in WAYS), (), None))
    (tmp_path / "sub").mkdir()
    accuracy.write_accuracy(flat.folder, tmp_path / "sub" / "page.md", tmp_path / "pictures")
    links = re.findall(r"!\[.*?\]\((.*?)\)", (tmp_path / "sub" / "page.md").read_text(encoding="utf-8"))
    assert links
    assert all((tmp_path / "sub" / link).is_file() for link in links)


def test_a_wrong_folder_is_one_line_and_writes_nothing(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(accuracy, "PAGE", tmp_path / "page.md")
    assert accuracy.main([str(tmp_path)]) == 1
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "page.md").exists()


def test_closeups_are_counted_against_their_ranges(tmp_path):
    """Three drawn crosses of four leaves; a person gave 4, 3 to 5, and (wrongly) 2."""
    folder = tmp_path / "real" / "seedling_closeup"
    folder.mkdir(parents=True)
    picture = np.full((300, 300, 3), (60, 75, 90), np.uint8)
    for angle in range(0, 360, 90):
        centre = (150 + 65 * np.cos(np.radians(angle)), 150 + 65 * np.sin(np.radians(angle)))
        cv2.ellipse(picture, (centre, (85, 40), angle), (60, 170, 70), -1)
        cv2.line(picture, (150, 150), tuple(int(c) for c in centre), (60, 170, 70), 7)
    lines = ["name,species,width_px,height_px,leaf_count_low,leaf_count_high"]
    for name, low, high in (("a", 4, 4), ("b", 3, 5), ("c", 2, 2)):
        cv2.imwrite(str(folder / f"{name}_rgb.png"), picture)
        lines.append(f"{name},x,300,300,{low},{high}")
    (folder / "truth.csv").write_text("\n".join(lines), encoding="utf-8")
    found = closeups(tmp_path)
    assert (found.photos, found.answered, found.within) == (3, 3, 2)
    assert (found.usual, found.usual_within) == (4, 2)
    assert closeups(tmp_path / "real") is None

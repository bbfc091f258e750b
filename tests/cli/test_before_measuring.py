"""Slips that are told before any measuring, exit codes, and outputs that can't be written."""

import hashlib
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest

from seedlingcv.advice.verdict import Verdict
from seedlingcv.assess.masks import mask_path, write_mask
from seedlingcv.cli import assess as command
from seedlingcv.cli.results import Results, Targets, write
from seedlingcv.errors import CropError, OutputError, PhotoError
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import Entry

ROOT = Path(__file__).resolve().parents[2]
TODAY = date(2025, 3, 25)


def call(*arguments, cwd=None, **options):
    return subprocess.run([sys.executable, "-m", "seedlingcv", *map(str, arguments)], cwd=cwd, text=True,
                          env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False,
                          **({"capture_output": True} | options))


@pytest.fixture
def folder(tmp_path):
    """An invented folder: one picture of a grey wall and a register."""
    folder = tmp_path / "photos"
    folder.mkdir()
    cv2.imwrite(str(folder / "wall.jpg"), np.full((900, 1200, 3), 90, np.uint8))
    (folder / "flats.csv").write_text("flat,crop\n31,tomato\n")
    return folder


@pytest.fixture
def no_measuring(monkeypatch):
    def fail(*_, **__):
        raise AssertionError("measuring began")

    monkeypatch.setattr("seedlingcv.assess.folder.assess_folder", fail)


def digests(folder):
    return {p: hashlib.sha256(p.read_bytes()).digest() for p in folder.rglob("*") if p.is_file()}


def test_no_flat_measured_ends_with_1_and_the_files_are_there(folder, tmp_path):
    done = call("assess", folder, "--json", "r.json", cwd=tmp_path)
    assert done.returncode == 1
    assert "No flat could be measured." in done.stdout and "wall.jpg" in done.stdout
    assert (tmp_path / "r.json").exists() and (tmp_path / "pot-up-list.html").exists()
    quiet = call("assess", folder, "--quiet", cwd=tmp_path)
    assert (quiet.returncode, quiet.stdout) == (1, "")
    said = quiet.stderr.splitlines()
    assert len(said) == 2 and said[0].startswith("wall.jpg: ") and said[1] == "No flat could be measured."


@pytest.mark.parametrize(("target", "said"), [
    ("photos/wall.jpg", "This is a photo"),
    ("photos/flats.csv", "This file is read"),
    ("own.toml", "This file is read"),
    ("photos", "This is a folder"),
    ("no/such/r.html", "not there"),
    ("photos/wall.jpg/r.html", "not there"),
    ("/dev/null", "not an ordinary file"),
])
def test_bad_targets_are_told_before_measuring(folder, tmp_path, no_measuring, monkeypatch, target, said):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_text("[tomato]\nusual_height_mm = 150\n")
    before = digests(tmp_path)
    with pytest.raises(OutputError, match=said) as told:
        command.run(folder, crops=Path("own.toml"), targets=[Path("good.html"), Path(target)])
    assert told.value.where == target and told.value.next_step
    assert digests(tmp_path) == before


def test_two_results_in_one_file_are_told(folder, tmp_path, no_measuring):
    with pytest.raises(OutputError, match="Two results"):
        command.run(folder, targets=[tmp_path / "r.txt", tmp_path / "photos" / ".." / "r.txt"])


def test_a_photo_given_as_report_stays_as_it_is(folder, tmp_path):
    before = digests(folder)
    done = call("assess", folder, "--report", folder / "wall.jpg", cwd=tmp_path)
    assert done.returncode == 1 and "wall.jpg" in done.stderr and "Traceback" not in done.stderr
    assert digests(folder) == before


def test_mask_folders_are_looked_at_before_measuring(folder, no_measuring):
    with pytest.raises(OutputError, match="masks can't be put there"):
        command.run(folder, masks=folder / "wall.jpg" / "masks")
    (folder / "wall_plants.png").write_bytes((folder / "wall.jpg").read_bytes())
    with pytest.raises(OutputError, match="no mask"):
        command.run(folder, masks=folder)


def test_masks_are_written_over_masks_only(tmp_path):
    labels = np.arange(12, dtype=np.uint16).reshape(3, 4)
    path = mask_path(tmp_path, "a/b.jpg")
    write_mask(tmp_path, "a/b.jpg", labels)
    write_mask(tmp_path, "a/b.jpg", labels + 1000)
    assert np.array_equal(cv2.imread(str(path), cv2.IMREAD_UNCHANGED), labels + 1000)
    for picture in (np.zeros((3, 4), np.uint8), np.zeros((3, 4, 3), np.uint16), np.zeros((3, 4, 3), np.uint8)):
        cv2.imwrite(str(path), picture)
        before = path.read_bytes()
        with pytest.raises(OutputError, match="no mask"):
            write_mask(tmp_path, "a/b.jpg", labels)
        assert path.read_bytes() == before


@pytest.mark.parametrize(("text", "said"), [
    (None, "can't be read"),
    ("[tomato", "not valid TOML"),
    ("[tomato]\nburial = 'sideways'\n", "sideways"),
])
def test_a_faulty_crop_file_is_told_once(folder, tmp_path, no_measuring, text, said):
    own = tmp_path / "own.toml"
    if text:
        own.write_text(text)
    with pytest.raises(CropError, match=said):
        command.run(folder, crops=own)
    done = call("assess", folder, "--crops", own, cwd=tmp_path)
    assert done.returncode == 1 and done.stdout == "" and done.stderr.count("own.toml") == 1


def test_a_photo_given_as_folder(folder):
    with pytest.raises(PhotoError, match="This is a file, not a folder"):
        command.run(folder / "wall.jpg")


def test_one_file_that_fails_does_not_keep_back_the_others(tmp_path, capsys):
    cells = (CellMeasurement("A1"),)
    done = Results([Entry(FlatMeasurement(31, None, 1, 1, cells), Verdict("unsure"))], TODAY)
    gone = tmp_path / "gone"
    with pytest.raises(OutputError) as told:
        write(done, Targets(tmp_path / "r.html", gone / "r.json", gone / "r.csv", gone / "c.pdf", tmp_path / "l.csv"))
    assert told.value.where.endswith("r.json")
    assert (tmp_path / "r.html").exists() and (tmp_path / "l.csv").exists()
    assert "Pot-up list" in capsys.readouterr().out


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_full_output_is_no_traceback(folder, tmp_path):
    with open("/dev/full", "w") as full:
        done = call("assess", folder, cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, capture_output=False)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr
    assert "No space left" in done.stderr
    assert (tmp_path / "pot-up-list.html").exists()


def test_a_closed_pipe_is_no_traceback(folder, tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    done = call("assess", folder, "--crew", "crew.pdf", "--labels", "labels.csv", cwd=tmp_path, stdout=writing,
                stderr=subprocess.PIPE, capture_output=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (1, "")
    assert all((tmp_path / name).exists() for name in ("pot-up-list.html", "crew.pdf", "labels.csv"))


def test_a_compact_crew_sheet_wants_a_crew_sheet(folder, tmp_path):
    done = call("assess", folder, "--compact", cwd=tmp_path)
    assert done.returncode == 2 and "--crew FILE.pdf" in done.stderr
    done = call("assess", folder, "--crew", folder / "wall.jpg", cwd=tmp_path)
    assert done.returncode == 1 and "This is a photo" in done.stderr

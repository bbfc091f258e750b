"""The commands as a grower types them: what is printed, written and returned, also for bad input."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from seedlingcv.cli.app import app
from seedlingcv.crops.crop import crop_names

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_images"


def run(*arguments, cwd=None):
    """The real program in a process of its own, as installed."""
    return subprocess.run([sys.executable, "-m", "seedlingcv", *map(str, arguments)], cwd=cwd, capture_output=True,
                          text=True, env={**os.environ, "COLUMNS": "100", "PYTHONPATH": str(ROOT)}, check=False)


def test_demo_outside_the_checkout(tmp_path):
    done = run("demo", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Pot-up list for Thursday 20 March 2025" in done.stdout
    assert "rendered by computer, not photographed" in done.stdout
    page = (tmp_path / "pot-up-list.html").read_text(encoding="utf-8")
    assert str(tmp_path / "pot-up-list.html") in done.stdout
    assert str(tmp_path / "crew-sheet.pdf") in done.stdout
    assert (tmp_path / "crew-sheet.pdf").read_bytes().startswith(b"%PDF")
    assert "Harbor Lantern" in page


@pytest.fixture(scope="module")
def mixed(tmp_path_factory):
    """One good photo among everything that goes wrong."""
    folder = tmp_path_factory.mktemp("photos")
    good = SAMPLES / "lettuce_overhead_a.jpg"
    shutil.copy(good, folder / "good.jpg")
    (folder / "letter.jpg").write_text("Dear grower, this is no photo.")
    (folder / "cut.jpg").write_bytes(good.read_bytes()[:60_000])
    (folder / "empty.png").write_bytes(b"")
    Image.fromarray(np.zeros((1, 1, 3), np.uint8)).save(folder / "dot.png")
    Image.fromarray(np.full((900, 1200, 3), 90, np.uint8)).save(folder / "wall.jpg")
    (folder / "flats.csv").write_text("flat,crop,variety,layout,sown\n163,lettice,Quiet Pond,6x12,2025-01-28\n"
                                      "none,tomato,,6x12,2025-02-01\n31,tomato,,6x12,last week\n")
    return folder


def test_bad_input_gets_one_line_each_and_good_photos_are_assessed(mixed, tmp_path):
    done = run("assess", mixed, "--json", tmp_path / "r.json", "--csv", tmp_path / "r.csv",
               "--report", tmp_path / "r.html")
    assert done.returncode == 3
    assert "Traceback" not in done.stdout + done.stderr
    assert done.stderr == ""
    for name in ("letter.jpg", "cut.jpg", "empty.png", "dot.png", "wall.jpg"):
        assert len(re.findall(re.escape(name), done.stdout)) == 1
    assert "good.jpg" not in done.stdout
    assert "lettice" in done.stdout
    assert "lettuce" in done.stdout  # the near match
    written = json.loads((tmp_path / "r.json").read_text())
    (flat,) = written["flats"]
    assert flat["flat"] == 163
    assert len(flat["cells"]) == 72
    assert (tmp_path / "r.csv").read_text().count("\n") == 73
    assert (tmp_path / "r.html").stat().st_size > 10_000


def test_quiet_is_one_line_a_flat(mixed, tmp_path):
    done = run("assess", mixed, "--quiet", "--report", tmp_path / "r.html")
    assert done.returncode == 3
    assert len(done.stdout.splitlines()) == 1
    assert done.stdout.startswith("163 ")
    said = done.stderr.splitlines()
    for name in ("letter.jpg", "cut.jpg", "empty.png", "dot.png", "wall.jpg", "flats.csv row 3", "flats.csv row 4"):
        assert sum(line.startswith(name) for line in said) == 1, name
    assert len(said) == 8  # and the crop that is not known
    assert not any(".." in line for line in said)


@pytest.mark.parametrize(("arguments", "code", "said"), [
    (["assess", "nowhere"], 1, "no such folder"),
    (["assess", "."], 1, "no photos in this folder"),
    (["assess", SAMPLES, "--flats", "missing.csv"], 1, "missing.csv"),
    (["assess", SAMPLES, "--today", "tomorrow"], 2, "tomorrow"),
    (["polish"], 2, "polish"),
])
def test_mistakes_are_told_in_a_line(arguments, code, said, tmp_path):
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == code
    assert said in done.stdout + done.stderr
    assert "Traceback" not in done.stdout + done.stderr


def test_a_report_that_cannot_be_written_is_told(mixed, tmp_path):
    done = run("assess", mixed, "--report", tmp_path / "no" / "such" / "folder" / "r.html")
    assert done.returncode == 1
    assert "r.html" in done.stderr
    assert "Traceback" not in done.stderr


def test_every_command_and_option_is_in_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"{len(crop_names())} crops come along" in readme
    commands = [([c.name], c) for c in app.registered_commands]
    commands += [([group.name, c.name or c.callback.__name__], c) for group in app.registered_groups
                 for c in group.typer_instance.registered_commands]
    assert len(commands) > len(app.registered_commands)
    for words, command in commands:
        name = " ".join(words)
        assert command.callback.__doc__, f"{name} has no help"
        assert f"seedlingcv {name}" in readme, name
        shown = CliRunner().invoke(app, [*words, "--help"], env={"COLUMNS": "200", "NO_COLOR": "1"}).output
        for option in set(re.findall(r"--[a-z-]+", shown)) - {"--help", "--board"}:  # --board is how it is anyway
            assert option in readme, f"{name} {option}"


def test_the_overview_of_commands_is_whole():
    """What each command is for fits its line on 80 columns."""
    shown = CliRunner().invoke(app, ["--help"], env={"COLUMNS": "80", "NO_COLOR": "1"}).output
    commands = shown.partition("Commands:")[2].strip().splitlines()
    assert len(commands) == len(app.registered_commands) + len(app.registered_groups)
    inside = CliRunner().invoke(app, ["records", "--help"], env={"COLUMNS": "80", "NO_COLOR": "1"}).output
    commands += inside.partition("Commands:")[2].strip().splitlines()
    assert not [line for line in commands if line.endswith("...")]


def test_set_up_command_of_the_readme_is_what_ci_runs():
    block = next(b for b in re.findall(r"```\n(.*?)\n```", (ROOT / "README.md").read_text(), re.S) if "pytest" in b)
    assert block in (ROOT / ".ci" / "run").read_text()


def test_help_is_quick_to_load():
    """Heavy libraries are loaded by the steps that need them, not by the command line."""
    code = ("import sys, seedlingcv.cli.app as a; "
            "print([m for m in ('cv2', 'scipy', 'skimage', 'reportlab', 'jinja2') if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                          env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert done.stdout.strip() == "[]"

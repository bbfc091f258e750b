"""The sample season as a user meets it: `demo --season`, then what the README shows of `stretch` and `compare`."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from seedlingcv.cli.app import app

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
ENV = {"COLUMNS": "80", "NO_COLOR": "1"}


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """A folder in which the demo was run twice; what each run printed, and the records after each."""
    folder = tmp_path_factory.mktemp("season")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        runs = []
        for _ in range(2):
            done = CliRunner().invoke(app, ["demo", "--season"], env=ENV)
            shown = CliRunner().invoke(app, ["records", "show", "--records", "season.db"], env=ENV)
            runs.append((done, shown.output))
    return folder, runs


def run(season, *arguments):
    done = CliRunner().invoke(app, [*arguments, "--records", str(season[0] / "season.db")], env=ENV)
    assert done.exit_code == 0, done.output
    return done.output


def test_it_makes_records_a_list_and_says_what_next(season):
    folder, runs = season
    assert [done.exit_code for done, _ in runs] == [0, 0]
    assert {p.name for p in folder.iterdir()} == {"season.db", "pot-up-list.html", "crew-sheet.pdf"}
    assert "invented" in runs[0][0].output and "seedlingcv stretch --records season.db" in runs[0][0].output


def test_a_second_run_adds_nothing(season):
    (_, first), (_, second) = season[1]
    assert first == second and "2 flat-days from photos, 80 flat-days by ruler" in first


def test_the_list_holds_every_flat_but_the_potted_one(season):
    lines = run(season, "list", "--today", "2025-03-20", "--quiet").splitlines()
    assert {int(line.split()[0]) for line in lines} == set(range(301, 317)) - {305}
    assert any("left its band on 19 March: legginess" in line for line in lines if line.startswith("302"))


def test_the_report_shows_the_season_of_a_flat(season):
    page = (season[0] / "pot-up-list.html").read_text(encoding="utf-8")
    assert "Through the season" in page and "left its band" in page.lower()


@pytest.mark.parametrize("command", ["stretch", "compare"])
def test_the_readme_shows_what_is_printed(season, command):
    blocks = re.findall(r"^```\w*\n(.*?)\n```$", README, re.S | re.M)
    block = next(b for b in blocks if b.startswith(f"$ seedlingcv {command} "))
    shown = [line.rstrip() for line in block.splitlines()[1:] if line.strip() not in ("", "…")]
    printed = [line.rstrip() for line in run(season, command).splitlines()]
    assert len(shown) > 10 and [line for line in shown if line not in printed] == []


def test_what_is_exported_makes_the_same_records_again(season, tmp_path):
    run(season, "records", "export", str(tmp_path / "tables"))
    again = CliRunner().invoke(app, ["records", "add", str(tmp_path / "tables"), "--records", str(tmp_path / "b.db")],
                               env=ENV)
    assert again.exit_code == 0, again.output
    shown = CliRunner().invoke(app, ["records", "show", "--records", str(tmp_path / "b.db")], env=ENV).output
    assert "2 corrections, 3 root checks, 1 potting" in shown and "white panel    212  16.0  12.2" in shown


def test_invented_flats_never_go_into_records_that_hold_others(tmp_path, monkeypatch):
    from seedlingcv.errors import RecordsError

    monkeypatch.chdir(tmp_path)
    Path("flats.csv").write_text("flat,crop,sown\n31,tomato,2025-02-23\n")
    assert CliRunner().invoke(app, ["records", "add", "flats.csv", "--records", "season.db"], env=ENV).exit_code == 0
    before = Path("season.db").read_bytes()
    done = CliRunner().invoke(app, ["demo", "--season"], env=ENV)
    assert isinstance(done.exception, RecordsError) and "records of your own" in str(done.exception)
    assert Path("season.db").read_bytes() == before


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii"])
def test_output_into_a_file_of_an_old_code_page(season, encoding):
    """What Windows writes a redirected output in."""
    done = subprocess.run([sys.executable, "-m", "seedlingcv", "stretch", "--records", season[0] / "season.db"],
                          capture_output=True, env=os.environ | ENV | {"PYTHONIOENCODING": encoding})
    assert done.returncode == 0 and not done.stderr
    assert "dim bulbs -> white panel" in done.stdout.decode(encoding)

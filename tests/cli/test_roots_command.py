"""`seedlingcv roots` on drawn plugs (tests/root_scene.py): invented, no photographs."""

import json
from functools import cache

import cv2
import pytest
import typer
from root_scene import Plug, RootScene
from typer.testing import CliRunner

from seedlingcv.cli.roots import roots
from seedlingcv.errors import OutputError

app = typer.Typer()
app.command()(roots)


@app.callback()
def group() -> None:
    """Keeps `roots` a subcommand, as in the real program."""


@cache
def drawn():
    return RootScene({1: Plug(0.3), 2: Plug(0.35), 5: Plug(0.0)}, flat_tag=57, seed=61).photo()[0]


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "plugs 57.jpg"
    path.write_bytes(cv2.imencode(".jpg", drawn(), [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes())
    return path


def test_says_the_flat_each_plug_and_what_to_write_down(photo):
    done = CliRunner().invoke(app, ["roots", str(photo)])
    assert done.exit_code == 0, done.output
    assert "(flat 57): FIRM: 2 firm, 1 not ready, of 3 plugs" in done.output
    assert "place 1: firm: roots cover" in done.output and "place 5: not ready: roots cover" in done.output
    assert "column roots of flat 57: firm" in done.output


def test_json_holds_all_figures(photo, tmp_path):
    out = tmp_path / "roots.json"
    assert CliRunner().invoke(app, ["roots", str(photo), "--json", str(out)]).exit_code == 0
    read = json.loads(out.read_text(encoding="utf-8"))["photos"][0]
    assert (read["flat"], read["roots"], len(read["plugs"])) == (57, "firm", 3)
    first = read["plugs"][0]
    assert first["place"] == 1 and first["roots"] == "firm"
    assert first["root_share"] == pytest.approx(0.3, abs=0.05) and first["solidity"] > 0.95


def test_exit_codes_tell_how_many_were_answered(photo, tmp_path):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"no photo")
    both = CliRunner().invoke(app, ["roots", str(photo), str(bad)])
    assert both.exit_code == 3 and "LOOK AT IT" in both.output
    assert CliRunner().invoke(app, ["roots", str(bad)]).exit_code == 1
    assert CliRunner().invoke(app, ["roots", str(tmp_path / "missing.jpg")]).exit_code == 1
    assert CliRunner().invoke(app, ["roots"]).exit_code == 2


def test_a_photo_is_never_written_over(photo):
    before = photo.read_bytes()
    done = CliRunner().invoke(app, ["roots", str(photo), "--json", str(photo)])
    assert isinstance(done.exception, OutputError) and photo.read_bytes() == before

"""`seedlingcv crop`: what it prints, in a terminal application of its own."""

import pytest
import typer
from typer.testing import CliRunner

from seedlingcv.cli.crop import crop, rows
from seedlingcv.crops.crop import crop_names, load_crop
from seedlingcv.crops.marks import with_marks
from seedlingcv.errors import CropError
from seedlingcv.records.marks import Mark

app = typer.Typer()
app.command()(crop)


def run(*arguments):
    done = CliRunner(env={"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"}).invoke(app, [*map(str, arguments)])
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0
    return done.stdout


def test_all_crops_in_groups():
    text = run()
    for group in ("Vegetables (", "Herbs (", "Flowers ("):
        assert group in text
    assert "Your own" not in text
    said = " ".join(text.split())
    assert all(name in said for name in crop_names())


def test_a_crop_with_its_sources():
    text = run("Sweet Basil")
    assert text.startswith("Basil")
    assert "2-3 pairs of true leaves (4-6 single leaves)" in text
    assert "25 mm at most" in text and "60-65 °F" in text, "notes keep both units"
    assert "leggy above 1.1" in text and "from tomato's tables" in text and "UNPROVED" in text
    assert "common practice, no source" in text
    assert "Iowa State Univ. Extension 2017, Seed germination guide (seen)" in text
    assert "(iowa_guide)" not in text, "entries named in notes are numbers here"


def test_every_value_of_every_crop_is_shown_with_its_source():
    for name in crop_names():
        known = load_crop(name)
        shown = {key for _, _, key in rows(known)}
        empty = {key for key in ("cautions", "hazards", "aliases") if not getattr(known, key)}
        if not known.cautions[: len(known.cautions) - len(known.hazards)]:
            empty.add("cautions")
        assert shown == set(known.sources) - empty, name


def test_numbers_lead_to_the_sources():
    lines = run("pepper").splitlines()
    depth = next(line for line in lines if line.startswith("Depth"))
    number = depth.split()[-1]
    footnote = next(line for line in lines if line.strip().startswith(f"{number}  "))
    assert "Vavrina" in footnote


def test_inches_and_fahrenheit():
    text = run("tomato", "--inches")
    assert "2 3/8 - 3 7/8 in" in text  # 60-100 mm / 25.4 = 2.36, 3.94
    assert "64-75 °F" in text and "50 °F" in text  # 18-24 and 10 °C
    assert "60-100 mm" not in text and "18-24 °C" not in text


def test_what_is_not_transplanted_says_so():
    text = run("carrot")
    assert "not transplanted: sow it where it is to grow" in text and "Pot up at" not in text
    assert "young plant" in text


def test_own_file(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('[tomato]\nmin_night_c = 8\n[rocket]\nfamily = "Brassicaceae"\naliases = []\ncotyledons = 2\n'
                   'leaf_arrangement = "alternate"\ntransplant_tolerance = "avoid"\nmin_night_c = 0\ncautions = []\n'
                   "usual_height_mm = 40\n")
    text = run("tomato", "--crops", own)
    assert "8 °C" in text and "own file own.toml" in text
    listed = run("--crops", own)
    assert "Your own (1)" in listed and "rocket" in listed
    assert "40 mm" in run("rocket", "--crops", own)


def test_own_marks_are_told():
    known = with_marks(load_crop("pepper"), [Mark(31, True, legginess=0.8, true_leaves=4)] * 12)
    stretch = next(value for what, value, _ in rows(known) if what == "Stretch")
    assert "own marks (12), starting from tomato's tables" in stretch


def test_errors_are_plain(tmp_path):
    with pytest.raises(CropError, match="Did you mean cabbage"):
        run("cabage")
    with pytest.raises(CropError, match="can't be read"):
        run("tomato", "--crops", tmp_path / "none.toml")

"""`seedlingcv compare` from records to answer, page and JSON, on the invented sample season."""

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from seedlingcv.cli.compare import By, Measure, compare
from seedlingcv.errors import SeedlingError
from seedlingcv.trials.design import BY
from seedlingcv.trials.figures import FIGURES

app = typer.Typer()
app.command()(compare)
SEASON = Path(__file__).resolve().parents[2] / "sample_images" / "season"


def run(*args: object):
    return CliRunner().invoke(app, [str(arg) for arg in args])


@pytest.fixture(scope="module")
def records(tmp_path_factory) -> Path:
    from seedlingcv.records.adding import add_tables
    from seedlingcv.records.database import open_records

    path = tmp_path_factory.mktemp("season") / "season.db"
    with open_records(path) as opened:
        add_tables(opened, sorted(SEASON.glob("*.csv")))
    return path


def test_names_are_those_of_the_trials():
    assert [by.value for by in By] == list(BY)
    assert [figure.value for figure in Measure] == list(FIGURES)


def test_lights_of_the_sample_season(records, tmp_path):
    """Built in: bulbs at twice the panel's legginess, tubes at a tenth more; two shelves a light."""
    page, tree = tmp_path / "lights.html", tmp_path / "lights.json"
    result = run("--records", records, "--report", page, "--json", tree, "--age", 30)
    assert result.exit_code == 0, result.output
    found = json.loads(tree.read_text())
    real = {frozenset((d["one"], d["other"])): d["low"] > 0 or d["high"] < 0 for d in found["differences"]}
    assert real == {frozenset(("old tubes", "white panel")): False, frozenset(("old tubes", "dim bulbs")): True,
                    frozenset(("white panel", "dim bulbs")): True}
    assert found["unit"] == "shelf" and {g["name"]: g["units"] for g in found["groups"]} == {
        "old tubes": 2, "white panel": 2, "dim bulbs": 2}
    assert [out["place"] for out in found["left_out"]] == ["flat 313", "flat 314", "flat 315", "flat 316"]
    assert "Report:" in result.output and "<svg" in page.read_text()


def test_against_one_and_chosen_pairs(records, tmp_path):
    tree = tmp_path / "c.json"
    run("--records", records, "--against", "Old Tubes", "--json", tree)  # whatever the capitals
    found = json.loads(tree.read_text())
    assert {d["other"] for d in found["differences"]} == {"old tubes"} and "Dunnett" in found["method"]
    run("--records", records, "--pair", "white panel / dim bulbs", "--pair", "old tubes/white panel", "--json", tree)
    found = json.loads(tree.read_text())
    assert [(d["one"], d["other"]) for d in found["differences"]] == [("white panel", "dim bulbs"),
                                                                      ("old tubes", "white panel")]
    assert "Holm" in found["method"]


def test_a_difference_is_in_the_units_shown(records, tmp_path):
    tree = tmp_path / "c.json"
    for args, size in ((("--figure", "stem_length_mm", "--difference", 5), 5.0),
                       (("--figure", "stem_length_mm", "--difference", 0.5, "--inches"), 12.7),
                       (("--figure", "canopy_cover", "--difference", 8), 0.08)):
        assert run("--records", records, "--json", tree, *args).exit_code == 0
        assert json.loads(tree.read_text())["matters_from"]["size"] == pytest.approx(size)


def test_leaf_stage_flats_and_days(records):
    result = run("--records", records, "--leaves", 1, "--flats", "301-312", "--until", "2025-03-14")
    assert result.exit_code == 0 and "1 true leaves" in result.output and "flat 313" not in result.output


@pytest.mark.parametrize("args,said", [
    (("--age", 20, "--leaves", 2), "not both"), (("--against", "a", "--pair", "a/b"), "not both"),
    (("--pair", "old tubes"), "two names"), (("--difference", 0), "more than 0"),
    (("--since", "2025-03-20", "--until", "2025-03-01"), "is before"),
])  # fmt: skip
def test_what_can_not_be_asked(records, args, said):
    result = run("--records", records, *args)
    assert result.exit_code == 2 and said in " ".join(result.output.split()).replace("│ ", "")


def test_mistakes_are_told(records, tmp_path):
    assert run().exit_code == 2
    for args, said in ((("--records", tmp_path / "none.db"), "no records"),
                       (("--records", records, "--flats", "500"), "No such flat"),
                       (("--records", records, "--crop", "basil"), "no flats of basil"),
                       (("--records", records, "--figure", "height_mm"), "height measured"),
                       (("--records", records, "--against", "sun"), "'sun'"),
                       (("--records", records, "--age", 3), "No flat can be compared"),
                       (("--records", records, "--report", records), "won't be written over")):
        result = run(*args)
        assert isinstance(result.exception, SeedlingError) and said in str(result.exception), result.output


def test_canopy_cover_is_named_in_percent(records):
    refused = run("--records", records, "--figure", "canopy_cover", "--difference", "0.05")
    assert refused.exit_code == 2 and "write 5 for 5 %" in " ".join(refused.output.replace("│", " ").split())
    assert run("--records", records, "--figure", "canopy_cover", "--difference", "5").exit_code == 0

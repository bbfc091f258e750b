"""`stretch` as a grower types it, on records of invented flats."""

import json
from datetime import timedelta

import invented_flats as made_up
import pytest
import typer
from typer.testing import CliRunner

from seedlingcv.cli.stretch import stretch
from seedlingcv.errors import CropError, OutputError, RecordsError, SeedlingError
from seedlingcv.records.database import open_records
from seedlingcv.records.history import Lighting
from seedlingcv.records.keep import keep_day, keep_lightings, keep_moves, keep_register
from seedlingcv.records.lights import Move
from seedlingcv.records.register import read_register

app = typer.Typer()
app.command()(stretch)

AGES = (14, 18, 22, 26, 30)
REGISTER = "flat,crop,layout,sown,shelf\n" + "".join(f"{flat},tomato,6x12,2025-02-20,top\n" for flat in range(31, 37))
TURN = made_up.SOWN + timedelta(22)


def fill(path, ages=AGES):
    """Flats 31-33 stay on the top shelf, 34-36 leave it at 22 days."""
    with open_records(path) as records:
        (path.parent / "flats.csv").write_text(REGISTER)
        keep_register(records, read_register(path.parent / "flats.csv"))
        keep_lightings(records, [Lighting("top", "bulb"), Lighting("low", "panel")])
        keep_moves(records, [Move(flat, TURN, "low") for flat in (34, 35, 36)])
        for i in range(6):
            last = (42 + i, 46 + i + i % 2) if i >= 3 else (50 + 1.3 * i, 64 + i * i)
            means = [20 + i, 28 + 1.1 * i, 37 + i, *last]
            flat = made_up.course(31 + i, ages, means[:len(ages)], plants=24)
            for seen in flat.days:
                keep_day(records, seen.measurement, source="photo", keys=[f"{31 + i} {seen.day}"], version="1")
    return path


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("season") / "season.db")


def call(*arguments):
    done = CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80", "NO_COLOR": "1"})
    assert done.exception is None or isinstance(done.exception, (SystemExit, SeedlingError)), done.exception
    return done


def test_answers_on_the_screen(season):
    done = call("--records", season)
    text = " ".join(done.output.split())
    assert done.exit_code == 0, done.output
    assert "Flat 31, tomato: left its band on 22 March: legginess" in text
    assert "bulb → panel: flats 34, 35 and 36 (tomato), on 14 March" in text
    assert "Stem length: in these flats, all on one shelf, growth slowed by" in text
    assert "one shelf can't show that the light did it" in text and "3 flats beside 3 that stayed" in text
    assert "Bulb, then panel, tomato" in text


def test_files_are_written(season, tmp_path):
    page, figures = tmp_path / "stretch.html", tmp_path / "stretch.json"
    done = call("--records", season, "--report", page, "--json", figures, "--by", "shelf")
    assert done.exit_code == 0 and "stretch.html" in done.output
    assert "Top, then low" in page.read_text()
    tree = json.loads(figures.read_text())
    assert tree["days"][0] == "2025-03-06" and len(tree["flats"]) == 6
    effect = next(e for e in tree["changes"] if e["figure"] == "stem_length_mm")
    assert (effect["before"], effect["after"], len(effect["stayed"])) == ("bulb", "panel", 3)
    assert effect["effect"]["low"] < effect["effect"]["mean"] < effect["effect"]["high"] < 0
    assert {g["name"] for g in tree["groups"]} == {"top", "top, then low"}
    looks = [k for k in tree["flats"][0]["looks"] if k["figure"] == "stem_length_mm"]
    assert looks[0]["median"] == 20 and looks[0]["plants"] == 24 and looks[0]["age_days"] == 14
    assert tree["left_band"][0]["flat"] in (31, 32, 33)


def test_some_flats_some_days(season):
    one = call("--records", season, "--flats", "32", "--by", "flat", "--until", "2025-03-14")
    assert one.exit_code == 0 and "Flat 32, tomato" in one.output and "Flat 31" not in one.output
    assert "1 flat on 3 days" in one.output
    none = call("--records", season, "--crop", "basil")
    assert isinstance(none.exception, RecordsError) and "Leave out --flats" in str(none.exception)
    assert call("--records", season, "--crop", "Cherry tomato").exit_code == 0, "an alias will do"
    assert call("--records", season, "--since", "2025-03-20", "--until", "2025-03-01").exit_code == 2
    assert call("--records", season, "--flats", "abc").exit_code == 2


def test_one_day_only(tmp_path):
    done = call("--records", fill(tmp_path / "one.db", ages=AGES[:1]))
    text = " ".join(done.output.split())
    assert done.exit_code == 0 and "Photograph the same flats again" in text and "No flat can be judged yet" in text


def test_no_records_or_empty_ones(tmp_path):
    missing = call("--records", tmp_path / "none.db")
    assert isinstance(missing.exception, RecordsError) and not (tmp_path / "none.db").exists()
    with open_records(tmp_path / "empty.db"):
        pass
    empty = call("--records", tmp_path / "empty.db")
    assert "No flat was measured yet." in str(empty.exception) and "assess FOLDER --records" in str(empty.exception)


def test_slips_are_told_before_any_work(season, tmp_path):
    assert isinstance(call("--records", season, "--report", season).exception, OutputError)
    assert isinstance(call("--records", season, "--crops", tmp_path / "none.toml").exception, CropError)
    assert call().exit_code == 2


def test_own_limits_move_the_band(season, tmp_path):
    """A grower's own file says that this tomato may have three times the stem; then none is beyond."""
    own = tmp_path / "own.toml"
    own.write_text("[tomato.legginess]\nnormal_below = 2.0\nleggy_above = 3.0\nyoung_leggy_above = 3.0\n")
    assert "left its band on" not in call("--records", season, "--crops", own).output

"""What a grower mistypes in the records' commands and tables, and what is said. All figures and flats are invented."""

from datetime import date, timedelta

import pytest
from typer.testing import CliRunner

from seedlingcv.cli.app import app
from seedlingcv.errors import SeedlingError
from seedlingcv.records.database import open_records
from seedlingcv.records.recall import read_history

HEADER = "flat,cell,date,true_leaves,stem_length_mm,leaf_spread_mm\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SEEDLINGCV_RECORDS", '"season.db"')  # as `set` on Windows leaves it
    (tmp_path / "flats.csv").write_text("flat,crop,layout,sown\n" + "".join(
        f"{flat},tomato,6x12,2026-02-23\n" for flat in (31, 32, 33)))
    (tmp_path / "figures.csv").write_text(HEADER + "31,A1,2026-03-20,2,38,59\n32,A1,2026-03-20,2,38,59\n")
    call("records", "add", "flats.csv", "figures.csv")
    return tmp_path


def call(*words, code=0, width=80):
    done = CliRunner().invoke(app, [str(w) for w in words], env={"COLUMNS": str(width), "NO_COLOR": "1"})
    assert done.exception is None or isinstance(done.exception, (SystemExit, SeedlingError)), done.exception
    assert done.exit_code == code, done.output
    said = done.output + (str(done.exception) if isinstance(done.exception, SeedlingError) else "")
    return said if width < 80 else " ".join(said.split())


def added(folder, name, text, code=0):
    (folder / name).write_text(text)
    return call("records", "add", name, code=code)


def test_quotation_marks_around_the_records(folder):
    assert (folder / "season.db").exists()
    assert "Records: season.db" in call("records", "show", "--records", "'season.db'")


def test_ranges_and_the_word_flat(folder):
    assert call("records", "potted", "31-32", "#33", "--date", "21.03.2026") == (
        "Potted up on 2026-03-21: flat 31, flat 32, flat 33.")
    said = call("records", "roots", "Flat 32", "firm", "--date", "2026/3/20")
    assert said == "Flat 32 on 2026-03-20: roots firm."
    assert "write the lower number first" in call("records", "potted", "31", "32-31", code=2)
    assert "write the number on the flat's tag" in call("records", "potted", "31-x", code=2)


def test_a_flat_that_was_potted_before(folder):
    call("records", "potted", 31, "--date", "2026-03-21")
    said = call("records", "potted", 31, 32, "--date", "2026-03-23")
    assert "Note: flat 31 was already written down as potted up on 2026-03-21." in said and "flat 32 was" not in said
    call("records", "potted", 33, "--cells", "A-C", "--date", "2026-03-21")
    assert "already" not in call("records", "potted", 33, "--date", "2026-03-22"), "a part is not the flat"


def test_cells_that_the_flat_has_not_got(folder):
    assert "Flat 31 has 6x12 cells, so no rows Q-Z" in call("records", "potted", 31, "--cells", "Q-Z", code=1)
    said = added(folder, "potted.csv", "flat,cells,date\n31,Q-Z,2026-03-21\n32,A-C,2026-03-21\n", code=3)
    assert "potted.csv: 1 row of potted, 1 of them new" in said and "potted.csv: Flat 31 has 6x12 cells" in said
    said = added(folder, "corrections.csv", "flat,date,cell,figure,value,who,when,why\n"
                                            "31,2026-03-20,Z9,stem_length_mm,33,Ada,,slip\n", code=3)
    assert "0 rows of corrections" in said and "Flat 31 has 6x12 cells, so no cell Z9" in said


def test_figures_of_days_and_flats_that_can_not_be(folder):
    later = date.today() + timedelta(9)
    said = added(folder, "more.csv", f"{HEADER}31,A1,2026-02-01,1,9,9\n44,A1,2026-03-20,2,38,59\n"
                                     f"32,A1,{later},2,38,59\n", code=3)
    assert "Note: more.csv: flat 31 was sown on 2026-02-23, after 2026-02-01; check the date." in said
    assert "Note: more.csv: flat 44 is in no register; check the number." in said
    assert f"the date {later} is still to come" in said
    with open_records("season.db") as opened:
        assert not any(day.day == later for flat in read_history(opened).flats for day in flat.days)


def test_a_misspelt_crop(folder):
    said = added(folder, "flats.csv", "flat,crop\n34,tomatoe\n35,tomatoe\n36,my own weed\n")
    assert "Note: flats 34, 35: no crop is called 'tomatoe'. Did you mean" in said and "weed" not in said


def test_a_figure_below_zero_is_no_option(folder):
    words = ("records", "correct", 31, "A1", "stem_length_mm", "-5", "--date", "20.03.2026", "--who", "Ada",
             "--why", "x")
    assert "stem_length_mm can't be \"-5\"" in call(*words, code=1)
    assert "No such option" in call(*words[:5], 5, "--whom", "Ada", code=2)
    said = call(*words[:4], "stem_lenght_mm", 5, *words[6:], code=1)
    assert said.endswith("did you mean stem_length_mm?")


@pytest.mark.parametrize("command", [("list", "--today"), ("stretch", "--since"), ("compare", "--until"),
                                     ("advise", "figures.csv", "--today"), ("records", "potted", 31, "--date")])
def test_a_day_is_read_and_refused_alike(folder, command):
    said = call(*command, "3/4/2026", code=2)
    assert "since 3/4 is one day here and another elsewhere; please write year-month-day" in said
    done = CliRunner().invoke(app, [*map(str, command), "20.03.2026"])
    assert "please write" not in done.output


def test_a_list_with_nothing_on_it_says_why(folder):
    assert "Nothing was measured up to 2026-03-01." in call("list", "--today", "2026-03-01", code=1)
    assert "nothing was judged yet: run `seedlingcv advise`" in call("list", "--today", "2026-03-21", code=1)
    call("advise", "figures.csv")
    call("list", "--today", "2026-03-21")
    call("records", "potted", "31-32", "--date", "2026-03-21")
    said = call("list", "--today", "2026-03-22", code=1)
    assert "All flats that were measured up to 2026-03-22 are potted up" in said
    assert "are potted up" in call("list", "--today", "2026-03-22", "--quiet", code=1)


def test_a_bad_sheet_is_told_of_once(folder):
    (folder / "figures.csv").write_text(HEADER + "31,A1,2026-03-20,2,tall,59\n31,Z9,2026-03-20,2,38,59\n")
    said = call("advise", "figures.csv", code=3)
    assert said.count('"tall" is no number') == 1 and said.count("Z9 lies outside") == 1


@pytest.mark.parametrize("width", [60, 79])
def test_a_narrow_window_cuts_no_flats_number(folder, width):
    (folder / "flats.csv").write_text("flat,crop,layout,sown\n301,tomato,6x12,2026-02-23\n")
    (folder / "figures.csv").write_text(f"{HEADER}301,A1,2026-03-20,2,38,59\n")
    call("advise", "figures.csv")
    lines = call("list", "--today", "2026-03-21", width=width).splitlines()
    assert {line.split()[0] for line in lines if "Tomato" in line} == {"301"}
    assert not any("…" in line for line in lines)

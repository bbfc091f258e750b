"""`list`, `records potted` and what a terminal sends, as a grower types it. Flats and people are invented."""

from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from seedlingcv.cli.app import app
from seedlingcv.errors import SeedlingError
from seedlingcv.records.database import open_records
from seedlingcv.records.recall import newest_root_check, read_history, recall_day

FIGURES = "flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover\n"


def sheet(day, stem_mm=30, leaves=2, rows="ABCDEF"):
    cells = [f"{row}{n}" for row in rows for n in range(1, 6)]
    return FIGURES + "".join(f"31,{cell},2025-{day},1,{leaves},{stem_mm},50,0.2\n" for cell in cells)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SEEDLINGCV_RECORDS", "season.db")
    Path("flats.csv").write_text("flat,crop,layout,sown\n31,tomato,6x12,2025-02-23\n")
    Path("sheet.csv").write_text(sheet("03-20"))
    return tmp_path


def call(*words, code=0):
    done = CliRunner().invoke(app, [str(w) for w in words], env={"COLUMNS": "80", "NO_COLOR": "1"})
    assert done.exception is None or isinstance(done.exception, (SystemExit, SeedlingError)), done.exception
    assert done.exit_code == code, done.output
    return " ".join(done.output.split())


def advise(today="2025-03-20"):
    return call("advise", "sheet.csv", "--today", today, "-q")


def listed(today, code=0):
    return call("list", "--today", today, "-q", code=code)


def test_newer_figures_that_nobody_judged_are_told_of(folder):
    said = advise()
    Path("newer.csv").write_text(sheet("03-27", 95, 4))
    call("records", "add", "newer.csv")
    assert listed("2025-03-20") == said, "as it was then"
    assert "Figures of Thu 27 Mar are in the records: assess or advise again to judge by them" in listed("2025-03-27")
    assert "Figures of Thu 27 Mar" in call("list", "--today", "2025-03-27")
    call("advise", "newer.csv", "--today", "2025-03-27", "-q")
    assert "Figures of" not in listed("2025-03-27")


def test_corrections_that_nobody_judged_are_told_of(folder):
    advise()
    call("records", "correct", 31, "A1", "stem_length_mm", 90, "--date", "2025-03-20", "--who", "Ada", "--why", "slip")
    assert "figures were corrected since: assess or advise again to judge by them" in listed("2025-03-20")
    advise()
    assert "corrected since" not in listed("2025-03-20")


def test_a_list_for_a_day_knows_nothing_of_later_days(folder):
    said = advise()
    call("records", "roots", 31, "root_bound", "--date", "2025-03-25")
    call("records", "potted", 31, "--date", "2025-04-05")
    assert advise() == said and listed("2025-03-20") == said
    assert "pot up, now" not in advise("2025-03-24") and "pot up, now" in advise("2025-03-25"), "root-bound by then"
    call("advise", "sheet.csv", "--today", "2025-04-05", "-q", code=1)


@pytest.mark.parametrize(("cells", "left"), [
    ("A, B, C", ["rows D-F"]), ("A1-C12", ["rows D-F"]), ("D1-F12", ["rows A-C"]), ("1-12", []), ("A-F", [])])
def test_cells_that_are_a_part_of_the_register_however_they_are_written(folder, cells, left):
    Path("flats.csv").write_text("flat,crop,layout,sown,cells\n31,tomato,6x12,2025-02-23,A-C\n"
                                 "31,tomato,,2025-02-23,D-F\n")
    advise()
    assert "Note" not in call("records", "potted", 31, "--cells", cells, "--date", "2025-03-21")
    said = listed("2025-03-22", code=0 if left else 1)
    assert [part for part in ("rows A-C", "rows D-F") if part in said] == left
    if not left:
        assert "1 (1 of them potted up)" in call("records", "show")


def test_some_cells_are_told_to_be_no_part(folder):
    advise()
    said = call("records", "potted", 31, "--cells", "A-C", "--date", "2025-03-21")
    assert said == ("Potted up on 2025-03-21: flat 31 rows A-C. Note: that is not all of flat 31, so it stays on the "
                    "list.")
    assert "31 Tomato" in listed("2025-03-22")
    assert "Note" not in call("records", "potted", 31, "--cells", "D-F", "--date", "2025-03-21")
    listed("2025-03-22", code=1)


def test_bytes_and_blanks_in_words(folder):
    """A Latin-1 terminal's é is the byte E9, which Python hands on as U+DCE9 (PEP 383)."""
    advise()
    on = ("--date", "2025-03-20")
    call("records", "roots", 31, "firm", *on, "--who", " Ren\udce9  Moss\n")
    call("records", "potted", 31, *on, "--who", "Ren\udce9", "--pot", " 9   cm", "--note", "two\nlines")
    call("records", "correct", 31, "A1", "stem_length_mm", 38, *on, "--who", "R\udce9", "--why", "a\n b")
    with open_records("season.db") as opened:
        assert newest_root_check(opened, 31).who == "René Moss"
    call("records", "export", "out")
    told = {path.stem: path.read_text(encoding="utf-8") for path in Path("out").glob("*.csv")}
    assert "9 cm,René,two lines" in told["potted"] and "Ré" in told["corrections"] and "a b" in told["corrections"]
    again = call("records", "add", "out")
    assert "potted.csv: 1 row of potted, 0 of them new" in again
    assert "corrections.csv: 1 row of corrections, 0 of them new" in again


def test_an_end_in_9999_is_none(folder):
    Path("flats.csv").write_text("flat,crop,sown,shelf\n31,tomato,2025-02-23,rack 1\n")
    Path("lights.csv").write_text("shelf,light,ppfd,hours,from,to\nrack 1,panel,200,16,2025-02-01,9999-12-31\n"
                                  "rack 1,tube,200,16,2025-03-01,9999-12-31\n")
    assert "Could not" not in call("records", "add", "lights.csv")
    advise()
    call("records", "export", "out")
    with open_records("season.db") as opened:
        history = read_history(opened)
    assert [(x.light, x.until) for x in history.lightings] == [("panel", None), ("tube", None)]
    assert history.flats[0].days[0].light == "tube"


def test_a_sheet_of_last_season_is_not_cut_to_this_seasons_flat(folder):
    """The number is used again for a smaller flat; an old sheet is added after that."""
    Path("flats.csv").write_text("flat,crop,layout,sown\n31,pepper,2x3,2026-02-20\n")
    assert "lie outside" not in call("records", "add", "flats.csv", "sheet.csv")
    with open_records("season.db") as opened:
        assert len(recall_day(opened, 31, date(2025, 3, 20)).cells) == 30

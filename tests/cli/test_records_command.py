"""`records` as a grower types it. Flats, lights and people are invented, also those of the sample season."""

from datetime import date, timedelta
from pathlib import Path

import pytest
import typer
from openpyxl import Workbook
from typer.testing import CliRunner

from seedlingcv.cli.app import app as every_command
from seedlingcv.cli.records import records
from seedlingcv.cli.records_overview import ranges
from seedlingcv.errors import SeedlingError
from seedlingcv.records.database import open_records
from seedlingcv.records.recall import read_history, recall_day, register_rows

SEASON = Path(__file__).resolve().parents[2] / "sample_images" / "season"
TABLES = {
    "flats.csv": "flat,crop,variety,layout,sown,seed_lot,shelf\n31,tomato,Harbor Lantern,6x12,2025-02-23,T-24,rack 1\n"
                 "32,pepper,,6x12,2025-02-10,,rack 2\n33,pepper,,,,,\n",
    "lights.csv": "shelf,light,ppfd,hours\nrack 1,panel,200,16\nrack 2,tubes,,\n",
    "moves.csv": "flat,date,shelf\n32,2025-03-15,rack 1\n",
    "ruler.csv": "flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm\n31,A1,2025-03-10,1,1,20,30\n"
                 "31,A1,2025-03-20,1,2,83,59\n31,A2,2025-03-20,1,2,36,60\n32,A1,2025-03-20,1,3,35,62\n",
    "root_checks.csv": "flat,date,roots,who\n31,2025-03-20,firm,Ada\n",
    "potted.csv": "flat,date,plants,pot\n32,2025-03-21,60,9 cm\n",
    "corrections.csv": "flat,date,cell,figure,value,who,when,why\n"
                       "31,2025-03-20,A1,stem_length_mm,38,Ada,2025-03-20,digits swapped\n",
}

app = typer.Typer(rich_markup_mode=None)
app.add_typer(records, name="records")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name, text in TABLES.items():
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SEEDLINGCV_RECORDS", raising=False)
    return tmp_path


def call(*arguments, db="season.db", env=None):
    words = ["records", *(str(a) for a in arguments), *(["--records", db] if db else [])]
    done = CliRunner().invoke(app, words, env={"COLUMNS": "80", "NO_COLOR": "1", **(env or {})})
    assert done.exception is None or isinstance(done.exception, (SystemExit, SeedlingError)), done.exception
    return done


def test_tables_are_added_in_any_order_and_once(folder):
    names = sorted(TABLES, reverse=True)
    done = call("add", *names)
    assert done.exit_code == 0, done.output
    assert done.output.splitlines() == [
        "flats.csv: 3 rows of flats, 3 of them new or changed.",
        "lights.csv: 2 rows of lights, 2 of them new or changed.",
        "moves.csv: 1 row of moves, 1 of them new or changed.",
        "ruler.csv: 3 flat-days of figures, 3 of them new.",
        "root_checks.csv: 1 row of root_checks, 1 of them new or changed.",
        "potted.csv: 1 row of potted, 1 of them new or changed.",
        "corrections.csv: 1 row of corrections, 1 of them new or changed."]
    with open_records("season.db") as opened:
        (tomato, pepper) = read_history(opened).flats
    assert [(d.day, [c.stem_length_mm for c in d.measurement.cells]) for d in tomato.days] == [
        (date(2025, 3, 10), [20]), (date(2025, 3, 20), [38, 36])]
    assert tomato.seed_lot == "T-24" and tomato.days[0].lighting.dli_mol == pytest.approx(200 * 3600 * 16 / 1e6)
    assert tomato.days[0].measurement.layout == "6x12" and tomato.days[0].source == "ruler"
    assert pepper.potted == date(2025, 3, 21) and pepper.days[0].shelf == "rack 1"
    again = call("add", ".", "ruler.csv")
    assert again.exit_code == 0 and all(" 0 of them new" in line for line in again.output.splitlines())
    assert len(again.output.splitlines()) == len(TABLES)
    (folder / "flats.csv").write_text(TABLES["flats.csv"].replace("Harbor", "Quiet"))
    assert "flats.csv: 3 rows of flats, 1 of them new or changed." in call("add", "flats.csv").output


def test_a_workbook_is_as_good(folder):
    book = Workbook()
    book.active.append(["Tray", "Crop", "Date sown"])
    book.active.append([41, "kale", date(2025, 3, 1)])
    book.save("my flats.xlsx")
    assert call("add", "my flats.xlsx").exit_code == 0
    with open_records("season.db") as opened:
        assert register_rows(opened)[41][0].sown == date(2025, 3, 1)


def test_what_could_not_be_used_is_said_and_the_rest_is_kept(folder):
    Path("flats.csv").write_text("flat,crop,varity\n31,tomato,x\n5,kale,x\n")
    Path("ruler.csv").write_text("flat,cell,true_leaves\n31,A1,2\n77,A1,2\n")
    done = call("add", "flats.csv", "ruler.csv")
    assert done.exit_code == 3
    text = " ".join(done.output.split())
    assert "flats.csv: 1 row of flats, 1 of them new or changed." in text
    assert 'did you mean variety?' in text and '"5" is no flat number' in text
    assert "ruler.csv flat 31: figures without a date can't be kept" in text
    assert all(len(line) <= 80 for line in done.output.splitlines())
    with open_records("season.db") as opened:
        assert set(register_rows(opened)) == {31}


def test_a_sheet_says_what_no_register_says(folder):
    Path("all.csv").write_text("flat,date,crop,variety,sown,layout,shelf,lot,true_leaves,roots\n"
                               "31,2025-03-20,kale,Other,2025-01-01,,,,2,\n"
                               "51,2025-03-20,kale,Low Hedge,2025-02-23,6x12,rack 1,K-1,2,root-bound\n")
    assert call("add", "flats.csv", "lights.csv").exit_code == 0
    assert call("add", "all.csv").exit_code == 0
    with open_records("season.db") as opened:
        rows, flats = register_rows(opened), {f.flat: f for f in read_history(opened).flats}
    assert rows[31][0].variety == "Harbor Lantern", "the register goes before"
    assert (rows[51][0].crop, rows[51][0].seed_lot, rows[51][0].rows) == ("kale", "K-1", 6)
    assert flats[51].days[0].light == "panel"
    assert "1 root check" in call("show").output


def test_figures_of_a_day_that_was_photographed(folder):
    from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
    from seedlingcv.records.keep import keep_day

    seen = FlatMeasurement(31, date(2025, 3, 20), 6, 12, (CellMeasurement("A1", plants=1, stem_length_mm=40.0),))
    with open_records("season.db") as opened:
        keep_day(opened, seen, source="photo", keys=["a" * 64], version="1")
    done = call("add", "ruler.csv")
    assert done.exit_code == 0
    assert "Note: flat 31 was measured from photos on 2025-03-20 too" in " ".join(done.output.split())
    with open_records("season.db") as opened:
        assert [c.stem_length_mm for c in recall_day(opened, 31, date(2025, 3, 20)).cells] == [40]
    assert "1 flat-days from photos, 3 flat-days by ruler" in call("show").output, "nothing is lost"


def test_show(folder):
    call("add", *TABLES)
    done = call("show")
    assert done.exit_code == 0
    lines = done.output.splitlines()
    assert all(len(line) <= 80 for line in lines)
    text = "\n".join(lines)
    assert "Flats         3 (1 of them potted up)" in lines and "              pepper 2, tomato 1" in lines
    assert "Measured      3 flat-days by ruler, 2025-03-10 to 2025-03-20" in lines
    assert "By hand       1 correction, 1 root check, 1 potting" in lines
    assert "rack 1         panel          200  16.0  11.5" in text
    assert "Where the flats stand on 2025-03-21" in lines and "  rack 1, under panel: 31" in lines
    assert "  shelf unknown, light unknown: 33" in lines
    assert "  The PPFD of tubes (rack 2)." in lines and "  The hours of light of tubes (rack 2)." in lines
    assert "The sowing date of flat 33" in text and "The light over flat 33" in text


def test_show_of_records_with_nothing_in_them(folder):
    open_records("season.db").engine.dispose()
    assert "Nothing is in them yet" in call("show").output


def test_show_in_inches_and_names_that_are_too_long(folder):
    Path("lights.csv").write_text("shelf,light,distance_in\nthe long shelf behind the door,a panel of four lamps,12\n")
    call("add", "lights.csv")
    done = call("show", "--inches")
    assert "12 in" in done.output and all(len(line) <= 80 for line in done.output.splitlines())
    assert "behind the" in done.output


def test_correct(folder):
    call("add", "flats.csv", "ruler.csv")
    who = ("--who", "Ada", "--why", "digits swapped", "--date", "2025-03-20")
    done = call("correct", 31, "a1", "stem length (mm)", "38", *who)
    assert (done.exit_code, done.output) == (
        0, "Flat 31 cell A1 on 2025-03-20, stem_length_mm: 83 (measured), now 38.\n")
    done = call("correct", 31, "A1", "stem_length_in", "1 1/2", *who)
    assert "38 (corrected before), now 38.1." in done.output
    assert "now nothing." in call("correct", 31, "A2", "stem_length_mm", "none", *who).output
    with open_records("season.db") as opened:
        cells = recall_day(opened, 31, date(2025, 3, 20)).cells
    assert [c.stem_length_mm for c in cells] == [pytest.approx(38.1), None]


@pytest.mark.parametrize(("words", "said"), [
    (("31", "A1", "stem_length", "38"), "name it stem_length_mm"), (("31", "Z9", "stem_length_mm", "38"), "No cell Z9"),
    (("31", "left", "stem_length_mm", "38"), "no cell"), (("31", "A1", "legginess", "1"), "reckoned from others"),
    (("31", "A1", "stem_length_mm", "tall"), "is no number"), (("31", "A1", "stem_cm", "380"), "check the unit"),
    (("32", "A1", "stem_length_mm", "38", "--date", "2025-03-19"), "It has figures of 2025-03-20"),
    (("99", "A1", "stem_length_mm", "38"), "Check the number"),
    (("31", "A1", "stem_length_mm", "38", "--why", " "), "why is missing"),
])
def test_what_cannot_be_corrected_is_told(folder, words, said):
    call("add", "flats.csv", "ruler.csv")
    done = call("correct", "--who", "Ada", "--why", "x", "--date", "2025-03-20", *words)
    assert done.exit_code == 1 and said in str(done.exception)
    assert "0 corrections" in call("show").output


def test_potted(folder):
    call("add", "flats.csv", "ruler.csv")
    done = call("potted", 31, 32, 31, "--date", "2025-03-21", "--plants", 60, "--pot", "9 cm", "--who", "Ada")
    assert (done.exit_code, done.output) == (0, "Potted up on 2025-03-21: flat 31, flat 32.\n")
    assert "2 pottings" in call("show").output and "3 (2 of them potted up)" in call("show").output
    done = call("potted", 33, "--cells", "A-C")
    assert f"Potted up on {date.today()}: flat 33 rows A-C." in done.output
    assert "3 (2 of them potted up)" in call("show").output, "a part is not the flat"


def test_a_potting_is_taken_back(folder):
    call("add", "flats.csv", "ruler.csv")
    call("potted", 31, "--date", "2025-03-21")
    call("potted", 31, 32, "--date", "2025-03-22", "--plants", 60, "--who", "Ada")
    done = call("potted", 31, "--undo")
    assert done.exit_code == 0
    assert done.output.splitlines()[0] == "Taken back: flat 31, potted up on 2025-03-22 (60 plants, Ada)."
    done = call("potted", 31, 33, "--undo")
    assert done.exit_code == 1 and "flat 33: No such potting" in str(done.exception)
    assert "2 pottings" in call("show").output, "all or nothing"
    assert call("potted", 31, "--undo", "--date", "2025-03-22").exit_code == 1
    call("potted", 33, "--cells", "A-C")
    assert "flat 33 rows A-C" in call("potted", 33, "--cells", "rows A-C", "--undo").output
    assert call("potted", 31, "--undo", "--plants", 3).exit_code == 2
    assert "2 pottings" in call("show").output


def test_a_date_that_can_not_be_makes_no_flat(folder):
    call("add", "flats.csv", "ruler.csv")
    for words in (("potted", 31), ("roots", 31, "firm")):
        done = call(*words, "--date", "2024-03-21")
        assert done.exit_code == 1 and "It was sown on 2025-02-23, after 2024-03-21" in str(done.exception)
        assert call(*words, "--date", date.today() + timedelta(1)).exit_code == 2
    done = call("potted", 31, "--date", "2025-03-19")
    assert "flat 31 was measured after that, on 2025-03-20, so it stays on the list" in " ".join(done.output.split())
    assert "Flats         3 (" in call("show").output and "1 potting" in call("show").output


def test_slips_in_numbers_and_dates_are_told_and_make_no_flat(folder):
    Path("moves.csv").write_text("flat,date,shelf\n310,2025-03-15,rack 1\n32,2024-03-15,rack 1\n")
    Path("corrections.csv").write_text(TABLES["corrections.csv"].replace("2025-03-20,A1", "2025-03-19,A1"))
    done = call("add", ".", "ruler.csv")
    text = " ".join(done.output.split())
    assert done.exit_code == 0
    assert "moves.csv: flat 310 is in no register and was not measured so far; check the number." in text
    assert "moves.csv: flat 32 was sown on 2025-02-10, after 2024-03-15; check the date." in text
    assert "corrections.csv: flat 31 has no figures of 2025-03-19, so a correction waits for them" in text
    assert "Flats         3 (1 of them potted up)" in call("show").output


def test_shelves_are_one_whatever_the_capitals(folder):
    Path("moves.csv").write_text("flat,date,shelf\n32,2025-03-15,Rack  1\n")
    Path("potted.csv").unlink()
    call("add", ".", "ruler.csv")
    assert "  rack 1, under panel: 31, 32" in call("show").output.splitlines()


def test_a_sowing_date_still_to_come_was_a_slip(folder):
    Path("flats.csv").write_text(f"flat,crop,sown\n31,tomato,{date.today() + timedelta(90)}\n")
    done = call("add", "flats.csv", "ruler.csv")
    assert "is still to come; check it" in " ".join(done.output.split())
    Path("flats.csv").write_text("flat,crop,sown\n31,tomato,2025-02-23\n")
    call("add", "flats.csv")
    with open_records("season.db") as opened:
        assert register_rows(opened)[31][0].sown == date(2025, 2, 23)
        assert [f.sown for f in read_history(opened).flats if f.flat == 31] == [date(2025, 2, 23)]
    assert "Flats         2 (" in call("show").output


def test_an_export_never_takes_the_place_of_a_growers_tables(folder):
    call("add", *TABLES)
    done = call("export", ".")
    assert done.exit_code == 1 and "is there already, and is not of an export" in str(done.exception)
    assert Path("flats.csv").read_text() == TABLES["flats.csv"] and not Path("measurements.csv").exists()
    assert call("export", "out").exit_code == 0 and call("export", "out").exit_code == 0


def test_roots(folder):
    call("add", "flats.csv")
    done = call("roots", 31, "Root-Bound", "--date", "2025-03-21")
    assert (done.exit_code, done.output) == (0, "Flat 31 on 2025-03-21: roots root_bound.\n")


@pytest.mark.parametrize(("words", "code", "said"), [
    (("potted", "399"), 1, "There is no flat 399 in the records"), (("roots", "399", "firm"), 1, "no flat 399"),
    (("potted", "5"), 2, ""), (("potted", "many"), 2, ""), (("potted",), 2, ""), (("roots", "31", "white"), 2, ""),
    (("potted", "31", "--cells", "left"), 2, ""), (("potted", "31", "--date", "soon"), 2, ""),
    (("potted", "31", "--plants", "-1"), 2, ""), (("correct", "31", "A1", "plants", "1"), 2, ""),
    (("add", "none.csv"), 1, "can't be opened"), (("add",), 2, ""), (("export", "x", "--as", "yaml"), 2, ""),
    (("export", "flats.csv"), 1, "can't be made"),
])
def test_mistakes_are_told_and_change_nothing(folder, words, code, said):
    call("add", "flats.csv")
    before = call("show").output
    done = call(*words)
    assert done.exit_code == code and (code == 2 or said in str(done.exception))
    assert call("show").output == before


def test_files_that_are_no_table_and_folders_without_any(folder):
    Path("notes.csv").write_text("a,b\n1,2\n")
    (folder / "empty").mkdir()
    for words, said in ((("add", "flats.csv", "notes.csv"), "can't be told what kind"),
                        (("add", "empty"), "no table of a usual name")):
        done = call(*words)
        assert done.exit_code == 1 and said in str(done.exception)
        assert not Path("season.db").exists() or "Nothing is in them yet" in call("show").output, "all or nothing"


def test_where_the_records_are(folder):
    assert call("show", db=None).exit_code == 2
    assert "There are no records yet" in str(call("show").exception), "only `add` makes them"
    assert not Path("season.db").exists()
    assert call("add", "flats.csv", db=None, env={"SEEDLINGCV_RECORDS": "other.db"}).exit_code == 0
    assert Path("other.db").exists()
    Path("junk.db").write_text("not a database")
    done = call("show", db="junk.db")
    assert done.exit_code == 1 and Path("junk.db").read_text() == "not a database"


def test_export_gives_tables_that_can_be_added_again(folder):
    call("add", *TABLES)
    done = call("export", "out")
    assert done.exit_code == 0 and "flats.csv" in done.output
    mine = [f"out/{name}.csv" for name in ("flats", "lights", "moves", "root_checks", "potted", "corrections")]
    again = call("add", *mine, "ruler.csv", db="again.db")
    assert again.exit_code == 0, again.output
    call("export", "back", db="again.db")
    for path in map(Path, mine):
        assert Path("back", path.name).read_text() == path.read_text()
    assert call("export", "out", "--as", "parquet").exit_code == 0


def test_an_exported_folder_alone_makes_the_same_season(folder):
    assert call("add", SEASON).exit_code == 0
    call("export", "out")
    whole = call("add", "out", db="again.db")
    assert whole.exit_code == 0 and "80 flat-days of figures, 80 of them new" in whole.output
    assert "count as by ruler" in " ".join(whole.output.split())
    for command in ("stretch", "compare"):
        said = [CliRunner().invoke(every_command, [command, "--records", f"{name}.db"]).output
                for name in ("season", "again")]
        assert said[0] == said[1] and "dim bulbs" in said[0]


def test_the_sample_season(folder):
    if not (SEASON / "flats.csv").exists():
        pytest.skip("the sample season does not come along here")
    done = call("add", SEASON)
    assert done.exit_code == 0, done.output
    shown = call("show").output
    assert all(len(line) <= 80 for line in shown.splitlines())
    assert "Missing" not in shown


@pytest.mark.parametrize("command", ["add", "show", "correct", "potted", "roots", "export", None])
def test_help_fits_a_terminal(command):
    words = ["records", *([command] if command else []), "--help"]
    done = CliRunner().invoke(app, words, env={"COLUMNS": "80", "TERMINAL_WIDTH": "80"})
    assert done.exit_code == 0
    assert all(len(line) <= 80 for line in done.output.splitlines())
    assert "..." not in done.output.partition("Commands:")[2], "a line that was cut"


def test_runs_of_numbers():
    assert ranges([301, 302, 303, 307, 309, 310]) == "301-303, 307, 309, 310"

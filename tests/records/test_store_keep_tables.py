"""Tables that are read again, edited, or of another folder: each replaces its own words alone. All is invented."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from season_store import DAY, SOWN, VERSION, key, measured, register

from seedlingcv.records.adding import add_tables
from seedlingcv.records.history import Lighting
from seedlingcv.records.keep import keep_day, keep_lightings, keep_moves, keep_register
from seedlingcv.records.lights import Move
from seedlingcv.records.parts import read_part
from seedlingcv.records.recall import read_history, recall_day, register_rows
from seedlingcv.records.register import FlatRow

LIGHTS, MOVES = "shelf,light,ppfd,hours,from\n", "flat,date,shelf\n"
MARCH = {"lights.csv": LIGHTS + "rack 1,tube,100,16,2025-02-01\n", "moves.csv": MOVES + "31,2025-03-05,rack 1\n"}
APRIL = {"lights.csv": LIGHTS + "rack 1,panel,200,16,2025-04-01\n", "moves.csv": MOVES + "31,2025-04-02,rack 2\n"}


@pytest.fixture
def told(records, tmp_path):
    """Writes tables into a folder, reads them, and gives the lines and notes that tell of it."""

    def tell(folder, **tables):
        place = tmp_path / folder
        place.mkdir(exist_ok=True)
        files = []
        for name, text in tables.items():
            files.append(place / f"{name}.csv")
            files[-1].write_text(text)
        done = add_tables(records, files or [place])
        assert done.complaints == []
        return done.lines, done.notes

    keep_day(records, measured(31, date(2025, 4, 20)), source="photo", keys=[key("a")], version=VERSION)
    return tell


def lights(records):
    return [(x.light, x.since) for x in read_history(records).lightings]


def stands(records):
    return [(s.since.isoformat(), s.shelf) for s in read_history(records, flats=[31]).flats[0].stands]


@pytest.mark.parametrize("order", ["march april", "april march", "march april march", "april march april"])
def test_an_older_folders_tables_take_nothing_back(records, tmp_path, order):
    for name, tables in (("march", MARCH), ("april", APRIL)):
        (tmp_path / name).mkdir()
        for file, text in tables.items():
            (tmp_path / name / file).write_text(text)
    keep_day(records, measured(31, date(2025, 4, 20)), source="photo", keys=[key("a")], version=VERSION)
    for name in order.split():
        add_tables(records, [tmp_path / name])
    assert lights(records) == [("tube", date(2025, 2, 1)), ("panel", date(2025, 4, 1))]
    assert stands(records) == [("2025-03-05", "rack 1"), ("2025-04-02", "rack 2")]


def test_last_seasons_lights_without_a_first_day_take_nothing_from_this_season(records, told):
    told("last", lights="shelf,light,ppfd,hours,from,to\nrack 1,tube,100,16,,2024-12-31\n")
    told("this", lights=LIGHTS + "rack 1,panel,200,16,2025-01-01\n")
    told("last")
    assert [light for light, _ in lights(records)] == ["tube", "panel"]


def test_a_table_replaces_what_it_said_itself_and_tells_of_what_it_takes_out(records, told):
    told("a", moves=MOVES + "31,2025-03-05,rack 1\n31,2025-03-20,rack 2\n32,2025-03-20,rack 2\n")
    assert told("a")[0] == ["moves.csv: 3 rows of moves, 0 of them new or changed."]
    (line,), _ = told("a", moves=MOVES + "31,2025-03-05,rack 3\n")
    assert line == "moves.csv: 1 row of moves, 1 of them new or changed; 2 taken out that it doesn't say any more."
    assert stands(records) == [("2025-03-05", "rack 3")]


def test_the_table_is_the_same_from_wherever_it_is_named(records, told, tmp_path, monkeypatch):
    told("a", moves=MOVES + "31,2025-03-05,rack 1\n31,2025-03-20,rack 2\n")
    (tmp_path / "a" / "moves.csv").write_text(MOVES + "31,2025-03-05,rack 1\n")
    monkeypatch.chdir(tmp_path / "a")
    from pathlib import Path

    add_tables(records, [Path("moves.csv")])
    assert stands(records) == [("2025-03-05", "rack 1")]


def test_a_table_that_starts_anew_leaves_what_it_said_of_days_before(records, told):
    told("a", moves=MOVES + "31,2025-03-05,rack 1\n", lights=LIGHTS + "rack 1,tube,100,16,2025-02-01\n")
    told("a", moves=MOVES + "31,2025-03-20,rack 2\n", lights=LIGHTS + "rack 1,panel,200,16,2025-03-01\n")
    assert stands(records) == [("2025-03-05", "rack 1"), ("2025-03-20", "rack 2")]
    assert [light for light, _ in lights(records)] == ["tube", "panel"]


def test_a_date_put_right_to_a_later_day_leaves_nothing_wrong_behind(records, told):
    told("a", moves=MOVES + "31,2025-03-01,rack 2\n", lights=LIGHTS + "rack 2,tube,100,16,2025-02-01\n")
    lines, _ = told("a", moves=MOVES + "31,2025-03-10,rack 2\n", lights=LIGHTS + "rack 2,tube,100,16,2025-02-20\n")
    assert all("1 taken out" in line for line in lines)
    assert stands(records) == [("2025-03-10", "rack 2")]
    assert lights(records) == [("tube", date(2025, 2, 20))]


@pytest.mark.parametrize(("before", "now"), [
    ("31,2025-03-10,rack 2\n31,2025-03-25,rack 2\n", "31,2025-03-25,rack 2\n"),
    ("31,2025-03-10,rack 2\n31,2025-03-15,rack 1\n", "31,2025-03-25,rack 2\n"),
    ("31,2025-03-10,rack 2\n", "31,2025-03-25,rack 3\n")])
def test_a_later_move_is_no_date_put_right(records, told, before, now):
    """Both days were told before, or the flat stood elsewhere in between, or it goes elsewhere."""
    told("a", moves=MOVES + before)
    was = stands(records)
    told("a", moves=MOVES + now)
    assert stands(records)[: len(was)] == was and stands(records)[-1][0] == "2025-03-25"


def test_of_one_day_the_last_word_counts_whoever_said_it(records, told):
    told("a", moves=MOVES + "31,2025-03-05,rack 1\n")
    told("b", moves=MOVES + "31,2025-03-05,rack 2\n")
    assert stands(records) == [("2025-03-05", "rack 2")]
    told("a")
    assert stands(records) == [("2025-03-05", "rack 1")]


def test_rows_of_which_nobody_knows_the_table_are_replaced_from_their_owners_first_day_on(records, told):
    for _ in range(2):
        keep_moves(records, [Move(31, DAY - timedelta(9), "S1"), Move(31, DAY, "S2"), Move(32, DAY, "S2")])
        keep_lightings(records, [Lighting("rack 1", "old"), Lighting("rack 2", "old")])
    (first, second), _ = told("a", moves=MOVES + "31,2025-03-18,rack 1\n", lights=LIGHTS + "rack 1,tube,100,16,\n")
    assert "taken out" not in first and "1 taken out" in second
    assert stands(records) == [("2025-03-11", "S1"), ("2025-03-18", "rack 1")]
    assert lights(records) == [("tube", None), ("old", None)]
    assert keep_moves(records, [Move(31, DAY, "S5")]) == 0
    assert stands(records)[1:] == [("2025-03-18", "rack 1"), ("2025-03-20", "S5")], "a table's word stays"


SHEET = "flat,cell,date,stem_length_mm\n"


def stems(records, flat=31):
    return [(c.cell, c.stem_length_mm) for c in recall_day(records, flat, DAY).cells]


def test_a_sheet_edited_and_put_back(records, told):
    for figure in (38, 83, 38):
        told("a", sheet=SHEET + f"31,A1,2025-03-20,{figure}\n")
        assert stems(records) == [("A1", figure)]


def test_a_second_sheet_of_a_day_says_which_cells_it_hides(records, told):
    told("a", front=SHEET + "32,A1,2025-03-20,38\n32,A2,2025-03-20,40\n")
    for _ in range(2):
        _, notes = told("a", back=SHEET + "32,A2,2025-03-20,39\n32,B1,2025-03-20,41\n")
        assert any("flat 32" in note and "(A1)" in note and "one sheet" in note for note in notes)
        assert stems(records, 32) == [("A2", 39), ("B1", 41)]
        _, notes = told("a", front=SHEET + "32,A1,2025-03-20,38\n32,A2,2025-03-20,40\n")
        assert any("(B1)" in note for note in notes) and stems(records, 32) == [("A1", 38), ("A2", 40)]
    _, notes = told("a", front=SHEET + "32,A1,2025-03-20,38\n32,A2,2025-03-20,40\n")
    assert not any("one sheet" in note for note in notes), "it hides nothing any more"


PARTS = (FlatRow(31, "tomato", "Harbor Lantern", 6, 12, SOWN, part=read_part("A-C"), seed_lot="T-24", shelf="rack 1"),
         FlatRow(31, "tomato", "Quiet Lantern", 6, 12, SOWN, part=read_part("D-F"), seed_lot="T-25"))


@pytest.mark.parametrize("sown", ["", "2025-02-23", "2025-02-20", "2024-02-23"])
def test_a_sheet_of_a_day_before_the_sowing_changes_nothing_that_a_register_said(records, told, sown):
    """Last year's sheet, or a year typed wrong."""
    keep_register(records, register(*PARTS))
    told("a", sheet="flat,cell,date,crop,variety,layout,stem_length_mm,sown\n"
                    f"31,A1,2024-03-20,tomato,Old One,5x10,30,{sown}\n")
    assert register_rows(records)[31] == PARTS
    old = next(h for h in read_history(records).flats if h.days[0].day == date(2024, 3, 20))
    assert (old.variety, old.sown) == ("Old One", date(2024, 2, 23) if sown == "2024-02-23" else None)
    assert old.days[0].measurement.layout == "5x10"


@pytest.mark.parametrize(("sown", "seen_before"), [("2025-03-28", False), ("2025-04-10", False), ("2025-03-28", True)])
def test_a_sheet_is_no_register_that_puts_a_date_right(records, told, sown, seen_before):
    """Sown some weeks before the register's date, by a sheet of a day before it: another flat, or a slip."""
    row = FlatRow(32, "tomato", "Harbor Lantern", sown=date(2025, 4, 25), seed_lot="T-24")
    keep_register(records, register(row))
    if seen_before:
        keep_day(records, measured(32, date(2024, 4, 1)), source="photo", keys=[key("b")], version=VERSION)
    told("a", sheet=f"flat,cell,date,crop,stem_length_mm,sown\n32,A1,2025-04-12,tomato,30,{sown}\n")
    assert register_rows(records)[32] == (row,)


def test_a_flat_that_was_measured_before_its_sheet_says_it_was_sown(records):
    """The crop is kept of the flat that was measured; the date can't be right."""
    said = replace(measured(32), crop="tomato", sown=DAY + timedelta(5))
    keep_day(records, said, source="ruler", keys=["k"], version="ruler")
    (flat,) = read_history(records).flats
    assert (flat.crop, flat.sown, flat.days[0].day) == ("tomato", None, DAY)

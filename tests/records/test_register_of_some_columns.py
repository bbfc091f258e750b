"""A register with some of the columns, and what a register takes out. Crops and lots are invented."""

from seedlingcv.records.adding import add_tables
from seedlingcv.records.recall import register_rows

FULL = ("flat,crop,variety,layout,sown,light,cells,seed_lot,batch,shelf,bought\n"
        "31,tomato,Harbor Lantern,6x12,2026-02-23,LED,,T-24,3,rack 1,here\n"
        "32,basil,Mill Lane,6x12,2026-02-10,LED,A-C,B-1,,,\n32,parsley,,,2026-02-03,LED,D-F,P-1,,,\n")


def add(records, folder, text):
    (folder / "flats.csv").write_text(text)
    done = add_tables(records, [folder / "flats.csv"])
    assert not done.complaints
    return register_rows(records), done.notes


def test_a_column_that_is_not_there_says_nothing(records, tmp_path):
    before, _ = add(records, tmp_path, FULL)
    now, notes = add(records, tmp_path, "flat,roots\n31,firm\n32,not_ready\n")
    assert not notes
    (row,), (was,) = now[31], before[31]
    assert (row.crop, row.variety, row.sown, row.light, row.seed_lot, row.batch, row.shelf, row.extra) == (
        was.crop, was.variety, was.sown, was.light, was.seed_lot, was.batch, was.shelf, {"bought": "here"})
    assert row.crop == "tomato" and row.roots == "firm"
    assert [(r.part.label, r.crop, r.seed_lot, r.sown.day, r.roots) for r in now[32]] == [
        ("rows A-C", "basil", "B-1", 10, "not_ready"), ("rows D-F", "parsley", "P-1", 3, "not_ready")]


def test_an_empty_cell_takes_out_and_is_told(records, tmp_path):
    add(records, tmp_path, FULL)
    now, notes = add(records, tmp_path, "flat,crop,seed_lot,sown,cells\n31,,,,\n32,basil,,,A-C\n32,parsley,P-1,,D-F\n")
    assert notes == ["Flat 31: crop was tomato, seed lot was T-24, now empty.",
                     "Flat 32 rows A-C: seed lot was B-1, now empty."]
    (row,) = now[31]
    assert (row.crop, row.seed_lot, row.variety, row.shelf) == (None, None, "Harbor Lantern", "rack 1")
    assert row.sown.day == 23, "silence takes back no date"
    assert add(records, tmp_path, "flat,crop,seed_lot\n31,,\n")[1] == [], "told once"

"""Tables as growers write them: dates, misspelt columns, sheets of a workbook, rows without a date. All is invented."""

from datetime import date, timedelta

import pytest
from openpyxl import Workbook

from seedlingcv.errors import RegisterError
from seedlingcv.records.columns import name_columns
from seedlingcv.records.files import read_table_of_any_kind
from seedlingcv.records.lights import read_moves
from seedlingcv.records.log import correction, read_pottings
from seedlingcv.records.register import KIND, read_register
from seedlingcv.records.ruler import read_ruler
from seedlingcv.records.sheet import read_day

DAY = date(2026, 3, 14)


def table(folder, name, text):
    (folder / name).write_text(text)
    return folder / name


@pytest.mark.parametrize("text", ["2026-03-14", "2026/3/14", "2026.03.14", "14.03.2026", "14/3/2026", "3/14/2026",
                                  "2026-03-14 08:30", "2026-03-14T08:30:12.5", "14.3.2026 8:30 am"])
def test_a_date_with_one_reading(text):
    assert read_day(text) == DAY


@pytest.mark.parametrize("text", ["3/4/2026", "04.03.2026", "14.3.26", "30.02.2026", "2026-14-03", "20260314",
                                  "1999-03-14", "Saturday", ""])
def test_a_date_with_none_or_two(text):
    assert read_day(text) is None


def test_rows_without_a_date_are_not_filed_under_another(tmp_path):
    found = read_ruler(table(tmp_path, "ruler.csv", "flat,cell,date,true_leaves\n31,A1,2026-03-14,1\n31,A1,soon,2\n"
                                                    "31,A2,,3\n31,A3,,3\n32,A1,,4\n31,A1,20.03.2026,5\n"))
    assert [(m.flat, m.day, [c.true_leaves for c in m.cells]) for f in found.flats for m in f.days] == [
        (31, DAY, [1]), (31, date(2026, 3, 20), [5])]
    unread, without = found.complaints
    assert 'row 3: the date "soon" is left out' in unread
    assert without.startswith("ruler.csv rows 3-6: no date") and "write in every row the day" in without


def test_a_sheet_of_no_date_at_all_is_one_day(tmp_path):
    found = read_ruler(table(tmp_path, "ruler.csv", "flat,cell,date,true_leaves\n31,A1,,1\n31,A2,,2\n"))
    assert found.complaints == () and len(found.flats[0].measurement.cells) == 2


def test_what_is_still_to_come_was_not_done(tmp_path):
    later = date.today() + timedelta(3)
    found, said = read_moves(table(tmp_path, "moves.csv", f"flat,date,shelf\n31,{later},top\n32,2026-03-14,top\n"))
    assert [m.flat for m in found] == [32] and f"the date {later} is still to come" in said[0]
    found, said = read_pottings(table(tmp_path, "potted.csv", f"flat,date\n31,{later}\n"))
    assert not found and "is still to come" in said[0]
    sheet = read_ruler(table(tmp_path, "r.csv", f"flat,date,true_leaves\n31,{later},2\n32,2026-03-14,2\n"))
    assert [f.row.flat for f in sheet.flats] == [32] and "is still to come" in sheet.complaints[0]


@pytest.mark.parametrize(("name", "meant"), [("corp", "crop"), ("flt", "flat"), ("ligth", "light"), ("sown", None),
                                             ("sowed", None), ("bacth", "batch"), ("shelv", "shelf"), ("plot", None)])
def test_a_column_that_is_close_to_a_known_one(name, meant):
    _, wrong = name_columns([name], KIND)
    assert [said.rpartition("did you mean ")[2] for said in wrong] == ([f"{meant}?"] if meant else [])


def test_a_column_is_not_close_to_one_that_is_there():
    """A grower's own column `form` beside `from`, `flag` or `flt` beside `flat`."""
    assert name_columns(["flat", "flt", "crop", "corp"], KIND)[1] == []


@pytest.mark.parametrize(("name", "text", "words"), [
    ("flats.csv", "flt,crop\n31,kale\n", 'The register has no column named flat (the column "flt"'),
    ("moves.csv", "flat,dat,shelf\n31,2026-03-14,top\n", "no column named date (the column"),
    ("lights.csv", "ligth,ppfd\nLED,200\n", "did you mean light?"),
    ("corrections.csv", "flat,date,cell,figure,value,who\n", "The corrections file has no column named why"),
    ("figures.csv", "flat,cell,stem length\n31,A1,3\n", "name it stem_length_mm or stem_length_cm or stem_length_in"),
    ("other.csv", "flat,cell,stem length\n31,A1,3\n", "name it stem_length_mm or stem_length_cm or stem_length_in"),
    ("flats.csv", "", "The file is empty."), ("other.csv", " \n;;\n", "The file is empty."),
])
def test_a_table_that_lacks_a_column_says_which(tmp_path, name, text, words):
    with pytest.raises(RegisterError) as caught:
        read_table_of_any_kind(table(tmp_path, name, text))
    assert words in str(caught.value)


@pytest.mark.parametrize(("figure", "meant"), [
    ("stem_lenght_mm", "stem_length_mm"), ("stem lenght (in)", "stem_length_in"), ("true_laeves", "true_leaves"),
    ("leaf_spraed", "leaf_spread_mm")])
def test_a_misspelt_figure_is_given_its_unit(figure, meant):
    wrong = []
    assert correction(31, DAY, "A1", figure, "2", "Ada", DAY, "slip", wrong) is None
    assert wrong[0].endswith(f"did you mean {meant}?")


@pytest.mark.parametrize(("titles", "read"), [(("Notes", "flats", "old"), "flats"), (("first", "second"), "first")])
def test_a_workbook_of_several_sheets_says_which_is_read(tmp_path, titles, read):
    book = Workbook()
    book.remove(book.active)
    for title in (*titles, "empty", "hidden"):
        page = book.create_sheet(title)
        if title != "empty":
            page.append(["flat", "crop"])
            page.append([31, title])
    book["hidden"].sheet_state = "hidden"
    book.save(tmp_path / "flats.xlsx")
    found = read_register(tmp_path / "flats.xlsx")
    assert found.get(31).crop == read.lower()
    (said,) = found.complaints
    assert f'only the sheet "{read}" is read' in said and "hidden" not in said and "empty" not in said
    assert all(f'"{title}"' in said for title in titles)

"""Workbooks as growers keep them: what is read from them, and what is refused in words.

Outside check: openpyxl writes the workbooks, as ECMA-376 has them; what it can't write is made by hand from that
standard's parts (Part 1, 18.3: `c`, `f` and `v` elements; from memory). Flats and varieties are invented.
"""

import io
import zipfile
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from openpyxl.styles import Font

from seedlingcv.errors import RegisterError
from seedlingcv.records.lights import read_lights
from seedlingcv.records.register import FlatRow, find_register, read_register
from seedlingcv.records.ruler import read_ruler
from seedlingcv.records.sheet import read_table

HEADER = ["Flat", "Crop", "Variety", "Layout", "Sown", "Light"]


def save(path, *pages, hidden=()):
    book = Workbook()
    book.remove(book.active)
    for turn, rows in enumerate(pages):
        page = book.create_sheet(f"Page {turn}")
        page.sheet_state = "hidden" if turn in hidden else "visible"
        for row in rows:
            page.append(row)
    book.save(path)
    return path


def with_sheet(xml: str) -> bytes:
    """A workbook whose first page holds these rows as XML."""
    stream = io.BytesIO()
    book = Workbook()
    book.active["A1"] = "flat"
    book.save(stream)
    out = io.BytesIO()
    with zipfile.ZipFile(stream) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
                data = f'<worksheet xmlns="{space}"><sheetData>{xml}</sheetData></worksheet>'.encode()
            new.writestr(name, data)
    return out.getvalue()


def text(cell: str, words: str) -> str:
    return f'<c r="{cell}" t="inlineStr"><is><t>{words}</t></is></c>'


def test_cells_merged_downwards_speak_for_every_row(tmp_path):
    """As a spreadsheet shows them: the crop once, over three flats; nothing is said of rows without a flat."""
    book = Workbook()
    for row in ([None, "Spring"], ["Flat", "Crop", "Sown", "Cells"], [31, "tomato", date(2025, 2, 23)], [32],
                [33, None, None, "A-C"], [None, None, None, "D-F"], [], [40, "kale"]):
        book.active.append(row)
    for cells in ("B1:D1", "B3:B7", "C3:C5", "A5:A6"):
        book.active.merge_cells(cells)
    book.save(tmp_path / "flats.xlsx")
    found = read_register(tmp_path / "flats.xlsx")
    assert found.complaints == ()
    assert {n: (r.crop, r.sown) for n, r in found.flats.items()} == {
        31: ("tomato", date(2025, 2, 23)), 32: ("tomato", date(2025, 2, 23)), 33: ("tomato", date(2025, 2, 23)),
        40: ("kale", None)}
    assert [(r.part.label, r.crop) for r in found.rows(33)] == [("rows A-C", "tomato"), ("rows D-F", "tomato")]


def test_a_register_as_a_workbook(tmp_path):
    rows = [HEADER, [31, "Tomato", "Harbor Lantern", "6x12", datetime(2025, 2, 23), "LED panel"],
            [None, None], [58.0, "pepper", None, 72, date(2025, 2, 3), None]]
    register = read_register(save(tmp_path / "flats.xlsx", rows))
    assert register.complaints == ()
    assert register.get(31) == FlatRow(31, "tomato", "Harbor Lantern", 6, 12, date(2025, 2, 23), "LED panel")
    assert register.get(58) == FlatRow(58, "pepper", None, 6, 12, date(2025, 2, 3))


def test_a_workbook_with_macros_and_one_called_csv(tmp_path):
    rows = [HEADER, [31, "kale"]]
    for name in ("flats.xlsm", "flats.csv"):
        assert read_register(save(tmp_path / name, rows)).get(31).crop == "kale"


def test_rows_in_complaints_are_numbered_as_the_spreadsheet_shows_them(tmp_path):
    rows = [["Spring on the upper benches"], [], HEADER, [31, "tomato"], [], [], ["many"], [59, "", "", "73"]]
    assert read_register(save(tmp_path / "flats.xlsx", rows)).complaints == (
        'flats.xlsx row 7: "many" is no flat number, so the row is left out; write the number on the flat\'s tag, '
        "10 to 580.",
        "flats.xlsx row 8: the layout \"73\" isn't known, so it is left out; write rows x columns, such as 6x12.")


def test_a_title_merged_over_the_table_is_no_header(tmp_path):
    book = Workbook()
    page = book.active
    page["A1"] = "Flats"  # looks like a column of that name
    page.merge_cells("A1:F1")
    page.append(HEADER)
    page.append([31, "tomato"])
    book.save(tmp_path / "flats.xlsx")
    register = read_register(tmp_path / "flats.xlsx")
    assert register.complaints == () and register.get(31).crop == "tomato"


def test_the_first_page_that_has_content_and_is_shown(tmp_path):
    pages = [], [["flat", "crop"], [31, "hidden"]], [["flat", "crop"], [31, "tomato"]], [["flat"], [58]]
    path = save(tmp_path / "flats.xlsx", *pages, hidden={1})
    book = load_workbook(path)
    book.worksheets[0]["B2"].font = Font(bold=True)  # a cell that was made to look like something is still empty
    book.save(path)
    register = read_register(path)
    assert {n: row.crop for n, row in register.flats.items()} == {31: "tomato"}


def test_numbers_percentages_times_and_remarks(tmp_path):
    book = Workbook()
    page = book.active
    page.append(["flat", "cell", "date", "canopy_cover_pct", "stem_length_in", "true leaves", "remarks"])
    page.append(["# as measured on the bench"])
    page.append([31, "A1", date(2025, 3, 20), 0.19, 1.5, 2.0, "=not a formula"])
    page.append([31, "A2", date(2025, 3, 20), 19, "1 1/2", True, time(16, 30)])
    page["D3"].number_format = "0.0%"
    page["G3"].data_type = "s"
    book.save(tmp_path / "r.xlsx")
    found = read_ruler(tmp_path / "r.xlsx")
    one, other = found.flats[0].measurement.cells
    assert one.canopy_cover == other.canopy_cover == pytest.approx(0.19), "a cell that shows 19 % holds 0.19"
    assert one.stem_length_mm == other.stem_length_mm == pytest.approx(38.1)
    assert one.true_leaves == 2 and other.true_leaves is None
    assert found.complaints == ('r.xlsx row 4: "TRUE" is no number for true_leaves, so it is left out.',)


def test_hours_of_light_written_as_a_time(tmp_path):
    rows = [["shelf", "lamp", "photoperiod"], ["rack 1", "a", time(16, 0)],
            ["rack 2", "b", timedelta(hours=14, minutes=30)], ["rack 3", "c", 12]]
    lights, said = read_lights(save(tmp_path / "lights.xlsx", rows))
    assert said == [] and [x.hours for x in lights] == [16, 14.5, 12]


def test_a_grid_of_readings_in_a_cell_of_several_lines(tmp_path):
    rows = [["shelf", "light", "PPFD"], ["rack 1", "panel", "180 210 190\n170 200 185"]]
    lights, said = read_lights(save(tmp_path / "lights.xlsx", rows))
    assert said == [] and lights[0].ppfd_umol == ((180, 210, 190), (170, 200, 185))


def test_values_beside_the_named_columns_are_the_growers_own(tmp_path):
    rows = [["flat", "crop"], [31, "tomato", None, "near the door"]]
    assert read_register(save(tmp_path / "flats.xlsx", rows)).complaints == ()


def test_formulas_with_results_are_read_and_those_without_are_told_of(tmp_path):
    path = tmp_path / "flats.xlsx"
    head = f'<row r="1">{text("A1", "flat")}{text("B1", "crop")}{text("C1", "variety")}</row>'
    row = (f'<row r="2"><c r="A2"><f>30+1</f><v>31</v></c>{text("B2", "kale")}'
           '<c r="C2" t="str"><f>""</f><v></v></c></row>')
    path.write_bytes(with_sheet(head + row))
    register = read_register(path)
    assert register.complaints == () and register.get(31).crop == "kale", "an empty text is a result"
    path.write_bytes(with_sheet(head + row + '<row r="3"><c r="A3"><f>A2+1</f></c></row>'))
    register = read_register(path)
    assert register.complaints == (
        "flats.xlsx: a formula has no result, in cell A3; they count as empty. Open the file in a spreadsheet program, "
        "save it, and use it again.",) and list(register.flats) == [31]
    path.write_bytes(with_sheet(head + '<row r="2"><c r="A2"><f>1</f></c><c r="B2"><f>2</f></c></row>'))
    assert "2 formulas have no results, the first in cell A2" in read_register(path).complaints[0]


def test_a_broken_formula_is_no_remark(tmp_path):
    path = tmp_path / "flats.xlsx"
    path.write_bytes(with_sheet(f'<row r="1">{text("A1", "flat")}</row>'
                                '<row r="2"><c r="A2" t="e"><v>#REF!</v></c></row>'))
    assert '"#REF!" is no flat number' in read_register(path).complaints[0]


def test_what_a_file_says_of_its_size_is_not_believed(tmp_path):
    path = tmp_path / "flats.xlsx"
    cells = f'<row r="1">{text("A1", "flat")}</row><row r="2"><c r="A2"><v>31</v></c></row><row r="900000">' \
            '<c r="A900000"><v>58</v></c></row>'
    path.write_bytes(with_sheet(cells))
    assert list(read_register(path).flats) == [31, 58]


def test_a_date_that_a_spreadsheet_made_of_columns_is_told_of(tmp_path):
    rows = [["flat", "crop", "cells"], [31, "basil", date(2025, 6, 1)]]
    register = read_register(save(tmp_path / "flats.xlsx", rows))
    assert register.flats == {}
    assert "a spreadsheet makes a date of 1-6" in register.complaints[0]


OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def zipped(*names):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name in names:
            archive.writestr(name, "x")
    return stream.getvalue()


@pytest.mark.parametrize(("data", "what", "step"), [
    (OLE + bytes(600), "old kind", "save it again as .xlsx"),
    # a locked workbook is an OLE file with a stream of this name ([MS-OFFCRYPTO] 2.3.4.4, from memory)
    (OLE + bytes(500) + "EncryptedPackage".encode("utf-16-le") + bytes(100), "locked with a password", "without the"),
    (b"PK\x03\x04" + bytes(100), "damaged", "save it again"),
    (zipped("mimetype", "content.xml"), "of another kind", "save it again"),
    (zipped("[Content_Types].xml", "xl/workbook.xml"), "damaged", "save it again"),
    (with_sheet(""), "is empty", "Write the register"),
])
def test_workbooks_that_cannot_be_read_are_refused_in_words(tmp_path, data, what, step):
    path = tmp_path / "flats.xlsx"
    path.write_bytes(data)
    with pytest.raises(RegisterError, match=what) as caught:
        read_register(path)
    assert caught.value.where == "flats.xlsx" and step in caught.value.next_step


def test_a_small_file_that_unpacks_to_a_huge_one_is_not_unpacked(tmp_path):
    path = tmp_path / "flats.xlsx"
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "x")
        archive.writestr("xl/worksheets/sheet1.xml", bytes(40_000_000))
    path.write_bytes(stream.getvalue())
    assert path.stat().st_size < 100_000
    with pytest.raises(RegisterError, match="too large"):
        read_register(path)


def test_finding_the_register(tmp_path):
    assert find_register(tmp_path) is None
    book = save(tmp_path / "Flats.XLSX", [["flat"], [31]])
    (tmp_path / "~$Flats.XLSX").write_bytes(b"")  # what a spreadsheet program leaves there while it is open
    assert find_register(tmp_path) == book
    (tmp_path / "flats.csv").write_text("flat\n58\n")
    found = find_register(tmp_path)
    assert found.name == "flats.csv"
    assert read_register(found).complaints == ("flats.csv: Flats.XLSX beside it is not read; keep one of them.",)


def test_another_register_has_no_rival(tmp_path):
    save(tmp_path / "flats.xlsx", [["flat"], [31]])
    (tmp_path / "spring.csv").write_text("flat\n58\n")
    assert read_register(tmp_path / "spring.csv").complaints == ()


values = st.one_of(st.none(), st.booleans(), st.integers(-10**6, 10**6),
                   st.floats(allow_nan=False, allow_infinity=False), st.dates(date(1990, 1, 1)),
                   st.datetimes(datetime(1990, 1, 1)), st.times(),
                   st.text(st.characters(min_codepoint=32, exclude_categories=["Cs", "Cc"]), max_size=12))


@given(st.lists(st.lists(values, max_size=7), max_size=6))
@settings(max_examples=60, deadline=None)
def test_any_cells_end_in_a_register_or_a_register_error(tmp_path_factory, rows):
    path = save(tmp_path_factory.getbasetemp() / "flats.xlsx", [HEADER, *rows])
    register = read_register(path)
    assert all("\n" not in c for c in register.complaints)
    assert all(n == row.flat for n, row in register.flats.items())


whole = save(io.BytesIO(), [HEADER, [31, "tomato", None, "6x12", date(2025, 2, 23)]]).getvalue()


@given(st.lists(st.tuples(st.integers(0, len(whole) - 1), st.integers(0, 255)), min_size=1, max_size=8),
       st.integers(0, len(whole)))
@settings(max_examples=150, deadline=None)
def test_any_damage_ends_in_a_table_or_a_register_error(tmp_path_factory, changes, length):
    data = bytearray(whole)
    for at, byte in changes:
        data[at] = byte
    path = tmp_path_factory.getbasetemp() / "damaged.xlsx"
    path.write_bytes(data if length % 3 else data[:length])
    try:
        read_table(path, "register")
    except RegisterError as error:
        assert error.next_step

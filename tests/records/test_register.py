"""The register of flats: what is read, what is complained of, and that nothing else ever happens.

Outside check: Python's own csv writer for the tables. Flats and varieties here are invented.
"""

import csv
import io
import os
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.errors import RegisterError
from seedlingcv.records.register import FlatRow, find_register, read_register

HEADER = "flat,crop,variety,layout,sown,light\n"


def read(folder: Path, text: str | bytes):
    path = folder / "flats.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_register(path)


def row(folder, line):
    """The only row's FlatRow (None if left out) and what is said of it."""
    register = read(folder, HEADER + line + "\n")
    assert len(register.complaints) <= 1
    return next(iter(register.flats.values()), None), "".join(register.complaints)


def test_a_plain_register(tmp_path):
    register = read(tmp_path, HEADER + '31,Tomato,Harbor Lantern,6x12,2025-02-23,"LED panel, 0.8 m"\n58,,,,,\n')
    assert register.complaints == ()
    assert register.get(31) == FlatRow(31, "tomato", "Harbor Lantern", 6, 12, date(2025, 2, 23), "LED panel, 0.8 m")
    assert register.get(58) == FlatRow(58)
    assert register.get(59) is None


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_as_spreadsheets_save_it(tmp_path, separator, encoding, newline):
    lines = ["FLAT,Crop, Variety ,LAYOUT,Sown,Light,Bench,Seen by", "",
             "31,tomato,Crème,6x12,2025-02-23,tubes,3,two", ",,,,,,,"]
    register = read(tmp_path, newline.join(lines).replace(",", separator).encode(encoding))
    assert register.complaints == ()
    assert register.flats == {31: FlatRow(31, "tomato", "Crème", 6, 12, date(2025, 2, 23), "tubes", {"Seen by": "two"},
                                           shelf="3")}


def test_a_separator_named_on_the_first_line(tmp_path):
    assert read(tmp_path, "sep=;\nflat;crop\n31;tomato\n").get(31).crop == "tomato"


def test_columns_in_any_order_and_only_flat_needed(tmp_path):
    assert read(tmp_path, "sown,note,flat\n2025-02-23,by the door,31\n").get(31) == FlatRow(
        31, sown=date(2025, 2, 23), extra={"note": "by the door"})
    assert read(tmp_path, "flat\n31\n58\n").flats == {31: FlatRow(31), 58: FlatRow(58)}


@pytest.mark.parametrize("text, layout", [
    ("6x12", (6, 12)), ("6 X 12", (6, 12)), ("6×12", (6, 12)), ("6*12", (6, 12)), ("06x12", (6, 12)),
    # cell counts of usual trays: common practice, no source
    ("18", (3, 6)), ("50", (5, 10)), ("72", (6, 12)), ("72.0", (6, 12)), ("128", (8, 16)), ("200", (10, 20)),
    ("288", (12, 24)), ("", (None, None)),
])
def test_layouts(tmp_path, text, layout):
    got, said = row(tmp_path, f"31,tomato,,{text},,")
    assert (got.rows, got.columns) == layout
    assert said == ""


@pytest.mark.parametrize("text", ["6", "73", "six", "6x", "x12", "0x12", "6x999", "6x12x2", "-6x12", "60x60", "6/12"])
def test_a_layout_that_is_none(tmp_path, text):
    got, said = row(tmp_path, f"31,tomato,,{text},2025-02-23,")
    assert (got.rows, got.columns, got.sown) == (None, None, date(2025, 2, 23))
    assert said == (f'flats.csv row 2: the layout "{text}" isn\'t known, so it is left out; write rows x columns, '
                    "such as 6x12.")


def test_rows_and_columns_the_wrong_way_round_are_not_guessed(tmp_path):
    got, said = row(tmp_path, "31,,,12x6,,")
    assert (got.rows, got.columns) == (None, None)
    assert "more rows than columns" in said
    assert "6x12" in said


@pytest.mark.parametrize("text", ["2025-02-23", "2025-02-23 00:00:00", "2025-02-23T00:00", "2025-02-23 08:30",
                                  "2025/2/23",
                                  "23/02/2025", "23.02.2025", "2/23/2025", "2025.02.23", "2025-2-23"])
def test_dates_with_one_reading(tmp_path, text):
    got, said = row(tmp_path, f"31,,,,{text},")
    assert (got.sown, said) == (date(2025, 2, 23), "")


@pytest.mark.parametrize("text", ["2/3/2025", "2/3/25", "03.02.2025", "31.02.2025", "2025-02-30", "20250223",
                                  "0025-02-23", "last week", "45711"])
def test_other_dates_are_kindly_refused(tmp_path, text):
    got, said = row(tmp_path, f"31,tomato,,6x12,{text},")
    assert got == FlatRow(31, "tomato", None, 6, 12)
    assert f'the sowing date "{text}"' in said
    assert "please write year-month-day, such as 2025-02-23" in said


@pytest.mark.parametrize("text, flat", [("31", 31), ("031", 31), ("#31", 31), ("Flat 31", 31),
                                        ("tray #31", 31), ("flat no. 31", 31), ("31.0", 31),
                                        (" 31 ", 31), ("580", 580), ("10", 10)])
def test_flat_numbers(tmp_path, text, flat):
    assert row(tmp_path, f"{text},tomato,,,,") == (FlatRow(flat, "tomato"), "")


@pytest.mark.parametrize("text", ["9", "581", "3", "-31", "31.5", "3l", "flat", "1e2", "³", "31 58", "999999999999"])
def test_a_number_that_is_no_flats(tmp_path, text):
    got, said = row(tmp_path, f"{text},tomato,,6x12,,")
    assert got is None
    assert said == (f'flats.csv row 2: "{text}" is no flat number, so the row is left out; write the number on the '
                    "flat's tag, 10 to 580.")


def test_a_missing_flat_number(tmp_path):
    got, said = row(tmp_path, ",tomato,,6x12,,")
    assert got is None
    assert "row 2: the flat's number is missing" in said


def test_a_flat_that_stands_twice(tmp_path):
    register = read(tmp_path, HEADER + "31,tomato,,6x12,,\n\n31,pepper,,5x10,,\n58,basil,,,,\n")
    assert register.get(31).crop == "tomato"
    assert register.get(58).crop == "basil"
    assert register.complaints == (
        "flats.csv row 4: flat 31 stands in row 2 already; that one counts, so delete one of the two.",)


@pytest.mark.parametrize("header", [
    "flat,crop,variety,layout,sown,light,seed_lot,batch,shelf",
    "TRAY,Crop,Cultivar,Cells per flat,Sowing date,Lamp,Lot number,Batch no,Bench",
    "Tray #,species,variety name,tray-size,Date sown,fixture,seed lot,batch,rack",
    "flats,crops,varieties,layouts,seeded on,lights,SeedLot,batches,shelves",
    "Flat No.,crop,cv,number of cells,Seeded,luminaire,lot,succession,location",
])
def test_columns_as_growers_name_them(tmp_path, header):
    register = read(tmp_path, header + "\n31,Tomato,Harbor Lantern,72,2025-02-23,panel,T-24,3,rack 2\n")
    assert register.complaints == ()
    assert register.get(31) == FlatRow(31, "tomato", "Harbor Lantern", 6, 12, date(2025, 2, 23), "panel",
                                       seed_lot="T-24", batch="3", shelf="rack 2")


@pytest.mark.parametrize(("name", "meant"), [("varity", "variety"), ("Culitvar", "cultivar"), ("Layuot", "layout"),
                                             ("Seedlng date", "seeding_date"), ("sowinng-date", "sowing_date")])
def test_a_misspelt_column_is_told_of_and_not_used(tmp_path, name, meant):
    register = read(tmp_path, f"flat,{name}\n31,6x12\n")
    assert register.get(31) == FlatRow(31, extra={name: "6x12"}), "kept, not guessed"
    assert register.complaints == (
        f'flats.csv row 1: the column "{name}" isn\'t known, so it is left out; did you mean {meant}?',)


@pytest.mark.parametrize("name", ["note", "price", "sown_by", "light_2", "plot", "weight", "slot", "crop_id",
                                  "tag colour", "shelf life", "best by", "rows", "room", "Größe", "品種", "%", "_"])
def test_columns_of_the_growers_own_are_no_trouble(tmp_path, name):
    register = read(tmp_path, f"flat,{name}\n31,x\n")
    assert register.complaints == () and register.get(31) == FlatRow(31, extra={name: "x"})


def test_two_columns_that_mean_the_same(tmp_path):
    register = read(tmp_path, "flat,variety,cultivar,lamp,light,light\n31,Mill Lane,Low Hedge,a,b,c\n")
    assert register.get(31) == FlatRow(31, variety="Mill Lane", light="b"), "the first, or the plain name"
    assert register.complaints == (
        'flats.csv row 1: the column "cultivar" means the same as "variety", which counts.',
        'flats.csv row 1: the column "lamp" means the same as "light", which counts.',
        'flats.csv row 1: the column "light" stands twice; the first counts.')


def test_remarks_and_a_title_above_the_header(tmp_path):
    register = read(tmp_path, "Our flats\n# kept by Ada, since March\nflat;crop\n# 58;pepper\n31;tomato\n#REF!;kale\n")
    assert list(register.flats) == [31]
    assert len(register.complaints) == 1 and register.complaints[0].startswith('flats.csv row 6: "#REF!" is no flat')


def test_what_was_written_against_formulas_is_taken_off(tmp_path):
    assert read(tmp_path, "flat,variety,light\n31,'=Crimson,'tis\n").get(31) == FlatRow(
        31, variety="=Crimson", light="'tis")


def test_several_faults_of_a_row_make_one_line(tmp_path):
    got, said = row(tmp_path, "31,tomato,,big,soon,")
    assert got == FlatRow(31, "tomato")
    assert said.count("flats.csv row 2") == 1
    assert '"big"' in said
    assert '"soon"' in said


def test_a_comma_without_quotation_marks(tmp_path):
    got, said = row(tmp_path, "31,tomato,,6x12,2025-02-23,LED panel, 0.8 m")
    assert got.light == "LED panel"
    assert "more values than columns" in said


@pytest.mark.parametrize("cell", ['"tubes', 'tu"bes', '"tu"bes', '24" tubes'])
def test_a_stray_quotation_mark_swallows_no_row(tmp_path, cell):
    register = read(tmp_path, HEADER + f"31,tomato,,,,{cell}\n58,pepper,,,,sun\n77,kale,,,,\"sun, late\"\n")
    assert [register.get(n).crop for n in (31, 58, 77)] == ["tomato", "pepper", "kale"]
    assert register.get(77).light == "sun, late"


def test_a_cell_of_two_lines(tmp_path):
    register = read(tmp_path, HEADER + '31,tomato,,,,"tubes\nabove"\n58,pepper,,bad,,\n')
    assert register.get(31).light == "tubes above"
    assert register.complaints[0].startswith("flats.csv row 3:")  # as a spreadsheet counts


def test_long_cells_are_shortened_in_complaints(tmp_path):
    assert len(row(tmp_path, "31,,,," + "9" * 5000 + ",")[1]) < 200


@pytest.mark.parametrize("data, words", [
    (b"", "is empty"), (b"\n\n", "is empty"), (b";;\n", "is empty"),
    (b"crop,layout\ntomato,6x12\n", "no column named flat"),
    (b"PK\x03\x04" + bytes(50), "workbook"), (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(50), "workbook"),
    (b"\xff\xd8\xff\xe0" + bytes(range(256)), "no column named flat"),
    (b"flat\n" + b"31\n" * 7_000_000, "too large"),
])
def test_what_is_no_register(tmp_path, data, words):
    with pytest.raises(RegisterError, match=words) as caught:
        read(tmp_path, data)
    assert caught.value.where == "flats.csv"
    assert caught.value.next_step


def test_unreadable_files(tmp_path):
    for path in (tmp_path / "gone.csv", tmp_path):
        with pytest.raises(RegisterError, match="can't be opened"):
            read_register(path)
    with pytest.raises(RegisterError, match="can't be looked through"):
        find_register(tmp_path / "gone")


def test_finding_the_register(tmp_path):
    assert find_register(tmp_path) is None
    (tmp_path / "flats.csv.bak").write_text("flat\n")
    (tmp_path / "photos").mkdir()
    assert find_register(tmp_path) is None
    (tmp_path / "Flats.CSV").write_text("flat\n")
    assert find_register(tmp_path).name == "Flats.CSV"
    (tmp_path / "flats.csv").write_text("flat\n")
    assert find_register(tmp_path).name == "flats.csv"


def test_a_folder_named_like_the_register_is_none(tmp_path):
    (tmp_path / "flats.csv").mkdir()
    assert find_register(tmp_path) is None


def test_the_file_is_left_as_it_was(tmp_path):
    read(tmp_path, HEADER + "31,tomato,,bad,,\n")
    path = tmp_path / "flats.csv"
    os.utime(path, ns=(10**18, 10**18))
    before = path.read_bytes()
    read_register(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == (before, 10**18)


words = st.text(st.characters(codec="utf-8", exclude_characters="\0\r\n", exclude_categories=["Cs", "Cc", "Zl", "Zp"]),
                max_size=20).map(lambda s: " ".join(s.split()).lstrip("' "))
flats = st.builds(FlatRow, flat=st.integers(10, 580), crop=words.map(lambda s: s.lower() or None),
                  variety=words.map(lambda s: s or None), rows=st.just(6), columns=st.integers(6, 20),
                  sown=st.dates(date(2000, 1, 1), date(2099, 12, 31)), light=words.map(lambda s: s or None))


@given(st.lists(flats, max_size=6, unique_by=lambda f: f.flat), st.sampled_from([",", ";", "\t"]))
@settings(deadline=None)
def test_what_the_csv_module_writes_comes_back(tmp_path_factory, rows, separator):
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=separator)
    writer.writerow(["flat", "crop", "variety", "layout", "sown", "light"])
    for f in rows:
        writer.writerow([f.flat, f.crop, f.variety, f"{f.rows}x{f.columns}", f.sown, f.light])
    register = read(tmp_path_factory.getbasetemp(), stream.getvalue())
    assert list(register.flats.values()) == rows
    assert register.complaints == ()


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda s: s.encode("utf-8", "ignore")),
                 st.text('flat,;\t"\n\r 0139x-', max_size=200).map(lambda s: b"flat,layout,sown\n" + s.encode())))
@settings(max_examples=300, deadline=None)
def test_any_bytes_end_in_a_register_or_a_register_error(tmp_path_factory, data):
    try:
        register = read(tmp_path_factory.getbasetemp(), data)
    except RegisterError as error:
        assert error.next_step
        return
    assert all(10 <= n <= 580 and r.flat == n for n, r in register.flats.items())
    assert all("\n" not in c for c in register.complaints)


def test_the_evaluation_register(evaluation):
    register = read_register(find_register(evaluation / "flats"))
    assert register.complaints == ()
    assert {n: (r.crop, r.rows, r.columns) for n, r in register.flats.items()} == {
        31: ("tomato", 6, 12), 58: ("pepper", 6, 12), 77: ("cabbage", 8, 16), 104: ("basil", 6, 12),
        163: ("lettuce", 6, 12), 201: ("tomato", 5, 10), 240: ("cucumber", 3, 6), 289: ("cabbage", 6, 12)}

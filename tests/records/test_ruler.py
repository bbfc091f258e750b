"""The sheet of figures measured by hand. Figures are invented; 1 in = 25.4 mm exactly (1959 agreement)."""

import csv
import io
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.errors import RegisterError
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.records.ruler import BY_HAND, FIGURES, WHOLE_FLAT, read_number, read_ruler, template


def read(folder, text):
    path = folder / "ruler.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_ruler(path)


def one(folder, header, line):
    """The only cell, and what is said of its row."""
    found = read(folder, f"flat,cell,{header}\n31,A1,{line}\n")
    return found.flats[0].measurement.cells[0], " ".join(found.complaints)


def test_a_line_a_cell(tmp_path):
    found = read(tmp_path, "flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover\n"
                           "31,B2,2025-03-20,1,2,38,59,0.19\n31,a1,2025-03-20,2,,,,0.5\n31,A3,2025-03-20,0,,,,\n")
    assert found.complaints == ()
    measured = found.flats[0].measurement
    assert (measured.flat, measured.day) == (31, date(2025, 3, 20))
    assert measured.cells == (
        CellMeasurement("A1", plants=2, canopy_cover=0.5), CellMeasurement("A3", plants=0),
        CellMeasurement("B2", plants=1, canopy_cover=0.19, leaf_spread_mm=59, true_leaves=2, stem_length_mm=38,
                        stem_from=BY_HAND))


def test_a_line_without_a_cell_stands_for_the_whole_flat(tmp_path):
    found = read(tmp_path, "flat,true_leaves,stem_mm,plants\n58,2.5,35,70\n")
    (cell,) = found.flats[0].measurement.cells
    assert (cell.cell, cell.plants, cell.true_leaves, cell.stem_length_mm) == (WHOLE_FLAT, 1, 2.5, 35)
    assert found.complaints == ()


def test_what_the_sheet_says_of_the_flat_itself(tmp_path):
    found = read(tmp_path, "flat,cell,crop,variety,layout,sown,light,roots,true_leaves\n"
                           "31,A1,Tomato,Harbor Lantern,6x12,2025-02-23,LED,firm,2\n31,A2,,,,,,,3\n")
    row, measured = found.flats[0].row, found.flats[0].measurement
    assert (row.crop, row.variety, row.rows, row.columns, row.sown) == (
        "tomato", "Harbor Lantern", 6, 12, date(2025, 2, 23))
    assert (row.light, row.roots) == ("LED", "firm")
    assert (measured.crop, measured.layout, measured.sown) == ("tomato", "6x12", date(2025, 2, 23))


def test_the_newest_day_counts_and_the_one_before_tells_growth(tmp_path):
    found = read(tmp_path, "flat,cell,date,true_leaves,roots\n31,A1,2025-03-10,1,not_ready\n31,A2,,1,\n"
                           "31,A1,2025-03-20,2,firm\n31,A1,2025-03-01,0,\n")
    flat = found.flats[0]
    assert (flat.measurement.day, [c.true_leaves for c in flat.measurement.cells]) == (date(2025, 3, 20), [2])
    assert flat.earlier.day == date(2025, 3, 10)
    assert [c.cell for c in flat.earlier.cells] == ["A1"], "a blank date isn't guessed"
    assert flat.row.roots == "firm"


def test_all_days_of_a_sheet(tmp_path):
    rows = "".join(f"31,A1,2025-03-{day},{leaves}\n" for day, leaves in ((20, 3), (10, 1), (15, 2), (10, 5)))
    found = read(tmp_path, f"flat,cell,date,true_leaves\n58,A1,2025-03-02,2\n{rows}31,B1,2025-03-20,4\n")
    other, flat = found.flats
    assert [(m.day and m.day.day, [c.true_leaves for c in m.cells]) for m in flat.days] == [
        (10, [1]), (15, [2]), (20, [3, 4])]
    assert flat.days[-1] is flat.measurement and flat.days[-2] is flat.earlier
    assert (other.measurement.day, other.earlier) == (date(2025, 3, 2), None)
    assert found.complaints == (), "the list looks at two days alone"
    assert found.of_other_days == ("ruler.csv row 6: cell A1 of flat 31 stands above already; that row counts.",)


def test_a_flat_without_any_date_has_one_day(tmp_path):
    (flat,) = read(tmp_path, "flat,cell,true_leaves\n31,A1,1\n31,A1,2\n").flats
    assert flat.days == (flat.measurement,) and flat.measurement.day is None


def test_where_a_flat_stands_and_what_was_sown(tmp_path):
    row = read(tmp_path, "Tray,Bench,Lot no,Batch,true leaves\n31,rack 2,T-24,3,2\n31,,,,2\n").flats[0].row
    assert (row.shelf, row.seed_lot, row.batch) == ("rack 2", "T-24", "3")


def test_shares_written_with_their_sign(tmp_path):
    for header in ("canopy_cover", "canopy cover %", "cover_fraction"):
        cell, said = one(tmp_path, header, "19 %")
        assert (cell.canopy_cover, said) == (pytest.approx(0.19), "")


@pytest.mark.parametrize(("header", "value", "field", "want"), [
    ("stem_length_mm", "38", "stem_length_mm", 38),
    ("Stem length (mm)", "38.5", "stem_length_mm", 38.5),
    ("stem length in", "1 1/2", "stem_length_mm", 38.1),
    ("stem_length_inches", "1-1/2", "stem_length_mm", 38.1),
    ("STEM (IN)", "1.5", "stem_length_mm", 38.1),
    ("stem_cm", "3,8", "stem_length_mm", 38),
    ("hypocotyl_cm", "2.9", "hypocotyl_length_mm", 29),
    ("leaf spread inch", "2 3/8", "leaf_spread_mm", 60.325),
    ("leaf area (cm²)", "8", "leaf_area_mm2", 800),
    ("leaf_area_sq_in", "2", "leaf_area_mm2", 1290.32),
    ("caliper_mm", "2.1", "stem_diameter_mm", 2.1),
    ("canopy_cover", "0.19", "canopy_cover", 0.19),
    ("canopy cover %", "19", "canopy_cover", 0.19),
    ("cover_pct", "19 %", "canopy_cover", 0.19),
    ("leaves", "3", "true_leaves", 3),
    ("lean_degrees", "12", "lean_deg", 12),
    ("yellow_fraction", "5e-05", "yellow_fraction", 0.00005),
])
def test_columns_and_units_as_growers_write_them(tmp_path, header, value, field, want):
    separator = ";" if "," in value else ","
    found = read(tmp_path, f"flat{separator}cell{separator}{header}\n31{separator}A1{separator}{value}\n")
    assert found.complaints == ()
    assert getattr(found.flats[0].measurement.cells[0], field) == pytest.approx(want)


@pytest.mark.parametrize(("header", "value", "said"), [
    ("stem_length", "38", "names no unit, so it is left out; name it stem_length_mm or stem_length_cm or"),
    ("stem_lenght_mm", "38", "did you mean stem_length_mm?"),
    ("stem_length_mm", "tall", '"tall" is no number for stem_length_mm'),
    ("stem_length_mm", "38000", "check the unit"),
    ("stem_length_mm", "-3", "check the unit"),
    ("canopy_cover", "19", "name the column canopy_cover_pct"),
    ("true_leaves", "2,3", "more values than columns"),
    ("stem_length_mm,hypocotyl_length_mm", "20,38", "longer than the whole stem"),
    ("stem_length_mm,stem_length_mm", "20,38", "stands twice"),
])
def test_what_is_wrong_is_said_with_its_row(tmp_path, header, value, said):
    found = read(tmp_path, f"flat,cell,true_leaves,{header}\n31,A1,2,{value}\n" if header != "true_leaves" else
                 f"flat,cell,true_leaves\n31,A1,{value}\n")
    assert len(found.complaints) == 1 and said in found.complaints[0]
    assert found.complaints[0].startswith("ruler.csv row 2:" if "column \"" not in found.complaints[0] else
                                          "ruler.csv row 1:")
    assert found.flats[0].measurement.cells[0].true_leaves == 2, "the rest stays"


@pytest.mark.parametrize(("rows", "said", "left"), [
    ("5,A1,2\n31,A1,2\n", 'row 2: "5" is no flat number', 1),
    ("31,left,2\n31,A1,2\n", 'row 2: "LEFT" is no cell', 1),
    ("31,A1,2\n31,A1,3\n", "row 3: cell A1 of flat 31 stands above already", 1),
    ("31,A1,2\n31,,3\n", "its row without a cell is left aside", 1),
    ("31,,2\n31,,3\n", "row 3: the whole flat of flat 31 stands above", 1),
])
def test_rows_that_cannot_be_used(tmp_path, rows, said, left):
    found = read(tmp_path, f"flat,cell,true_leaves\n{rows}")
    assert len(found.complaints) == 1 and said in found.complaints[0]
    assert sum(len(f.measurement.cells) for f in found.flats) == left
    assert found.flats[0].measurement.cells[0].true_leaves == 2


def test_cells_outside_the_layout_are_left_out(tmp_path):
    found = read(tmp_path, "flat,cell,layout,true_leaves\n31,A1,3x6,2\n31,D1,,2\n31,A7,,2\n")
    assert [c.cell for c in found.flats[0].measurement.cells] == ["A1"]
    assert "D1" in found.complaints[0] and "A7" in found.complaints[0] and "outside 3x6" in found.complaints[0]


def test_columns_of_the_growers_own_are_no_trouble(tmp_path):
    found = read(tmp_path, "flat,cell,true_leaves,bench,remarks,legginess\n31,A1,2,3,by the door,0.6\n")
    assert found.complaints == ()


@pytest.mark.parametrize(("data", "words"), [
    ("", "is empty"), ("cell,true_leaves\nA1,2\n", "no column named flat"),
    ("flat,cell\n31,A1\n", "no column with a figure"), (b"PK\x03\x04" + bytes(50), "workbook"),
])
def test_what_is_no_sheet(tmp_path, data, words):
    with pytest.raises(RegisterError, match=words) as caught:
        read(tmp_path, data)
    assert caught.value.where == "ruler.csv" and caught.value.next_step


@pytest.mark.parametrize("inch", [False, True])
def test_the_template_reads_as_empty_and_its_example_as_written(tmp_path, inch):
    text = template(inch=inch)
    empty = read(tmp_path, text)
    assert empty.flats == () and empty.complaints == ()
    example = "\n".join(line.removeprefix("# ") for line in text.splitlines() if not line.startswith("# ") or
                        line[2:4].isdecimal())
    found = read(tmp_path, example)
    assert found.complaints == () and [f.row.flat for f in found.flats] == [31, 58]
    tomato = found.flats[0].measurement.cells[0]
    assert tomato.stem_length_mm == pytest.approx(38, abs=0.2) and tomato.canopy_cover == pytest.approx(0.19)
    assert found.flats[1].row.roots == "firm" and found.flats[1].measurement.cells[0].cell == WHOLE_FLAT


units = [(f, unit, factor) for f in FIGURES for unit, factor in f.units.items() if f.field != "plants"]


@given(st.sampled_from(units), st.floats(0, 1))
@settings(max_examples=200, deadline=None)
def test_units_there_and_back(tmp_path_factory, column, share):
    figure, unit, factor = column
    want = figure.least + share * (figure.most - figure.least)
    written = f"{want / factor:.9f}"
    name = f"{figure.names[0]}_{unit}".strip("_")
    found = read(tmp_path_factory.getbasetemp(), f"flat,cell,{name}\n31,A1,{written}\n")
    if found.complaints:  # rounded over the edge of what is possible
        assert share in (0, 1) or "check the unit" in found.complaints[0]
        return
    assert getattr(found.flats[0].measurement.cells[0], figure.field) == pytest.approx(want, abs=1e-4)


@given(st.integers(0, 200), st.integers(0, 15))
def test_sixteenths_of_an_inch(whole, part):
    assert read_number(f"{whole} {part}/16") == pytest.approx(whole + part / 16)
    assert read_number(f"{whole + part / 16}") == pytest.approx(whole + part / 16)


@given(st.one_of(st.binary(max_size=200), st.text('flat,cell;\t"\n A1x-/ 09.%', max_size=200)
                 .map(lambda s: b"flat,cell,true_leaves,stem_mm,date,roots\n" + s.encode())))
@settings(max_examples=300, deadline=None)
def test_any_bytes_end_in_a_sheet_or_a_register_error(tmp_path_factory, data):
    try:
        found = read(tmp_path_factory.getbasetemp(), data)
    except RegisterError as error:
        assert error.next_step
        return
    assert all("\n" not in c for c in found.complaints)
    for flat in found.flats:
        for cell in flat.measurement.cells:
            assert cell.plants is None or cell.plants >= 0
            assert cell.stem_length_mm is None or cell.stem_length_mm > 0


def test_the_true_measures_of_the_evaluation_flats(evaluation):
    path = evaluation / "truth_measurements.csv"
    found = read_ruler(path)
    assert found.complaints == ()
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(io.StringIO(file.read())))
    cells = {(f.row.flat, c.cell): c for f in found.flats for c in f.measurement.cells}
    assert len(cells) == len(rows)
    for row in rows:
        cell = cells[int(row["flat"]), row["cell"]]
        assert cell.plants == int(row["plants"])
        for key in ("canopy_cover", "leaf_spread_mm", "stem_length_mm", "hypocotyl_length_mm", "height_mm"):
            assert getattr(cell, key) == (float(row[key]) if row[key] else None)


def test_a_number_of_plants_that_is_none(tmp_path):
    found = read(tmp_path, "flat,cell,plants,stem_length_mm\n31,A1,1.9,38\n31,A2,2.0,38\n")
    assert [c.plants for c in found.flats[0].measurement.cells] == [1, 2] and len(found.complaints) == 1
    assert '"1.9" is no number of plants, so it is left out' in found.complaints[0]

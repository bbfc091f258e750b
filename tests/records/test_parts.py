"""Flats with several crops: how cells are written, and that each cell belongs to one part. Flats are invented."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.parts import REST, cell_place, covered, read_part, share_cells, split
from seedlingcv.records.register import read_register


@pytest.mark.parametrize(("text", "label", "inside", "outside"), [
    ("A-C", "rows A-C", ["A1", "C12", "B6"], ["D1"]),
    ("a - c", "rows A-C", ["A1"], ["D1"]),
    ("rows A to C", "rows A-C", ["C1"], ["D1"]),
    ("A–C", "rows A-C", ["B2"], ["D1"]),
    ("A", "row A", ["A1"], ["B1"]),
    ("A, C", "rows A, C", ["A1", "C3"], ["B1"]),
    ("1-6", "columns 1-6", ["A1", "F6"], ["A7"]),
    ("column 3", "column 3", ["A3"], ["A4"]),
    ("A1-B6", "cells A1-B6", ["A1", "B6", "A6", "B1"], ["C1", "A7"]),
    ("B6-A1", "cells B6-A1", ["A1", "B6"], ["C1"]),
    ("A1", "cell A1", ["A1"], ["A2", "A11"]),
    ("A-B; D1-D6", "cells A-B, D1-D6", ["A12", "D6"], ["C1", "D7"]),
])
def test_cells_as_written(text, label, inside, outside):
    part = read_part(text)
    assert part.label == label
    assert all(part.holds(cell) for cell in inside) and not any(part.holds(cell) for cell in outside)


@pytest.mark.parametrize("text", ["", "  ", "C-A", "6-1", "A-3", "first half", "A1-", "0", "99", "AA", "rows"])
def test_what_names_no_cells(text):
    with pytest.raises(ValueError, match="write rows as A-C"):
        read_part(text)


def test_cell_names_there_and_back():
    assert all(cell_place(cell_name(row, column)) == (row, column) for row in range(26) for column in range(1, 61))
    assert cell_place("A0") is None and cell_place("1A") is None and cell_place("A61") is None


def flat(rows=4, columns=6, plants=1):
    names = [cell_name(r, c) for r in range(rows) for c in range(1, columns + 1)]
    return FlatMeasurement(12, None, rows, columns, tuple(CellMeasurement(n, plants=plants) for n in names))


blocks = st.sampled_from(["A-B", "C", "C-D", "1-3", "4-6", "A1-B2", "D6", "A4-B6, D1"])


@given(st.lists(blocks, max_size=4))
def test_every_cell_belongs_to_one_part(texts):
    parts = []
    for text in texts:
        part = read_part(text)
        if not any(part.overlaps(other) for other in parts):
            parts.append(part)
    whole = flat()
    found = split(whole, [*parts, None])
    assert sorted(c.cell for _, part, _ in found for c in part.cells) == sorted(c.cell for c in whole.cells)
    assert all((part.rows, part.columns) == (4, 6) for _, part, _ in found)


@given(blocks, blocks)
def test_overlap_is_a_shared_cell(one, other):
    a, b = read_part(one), read_part(other)
    shared = any(a.holds(cell_name(r, c)) and b.holds(cell_name(r, c)) for r in range(26) for c in range(1, 61))
    assert a.overlaps(b) == b.overlaps(a) == shared


def test_cells_of_nobody_come_only_with_a_plant_in_them():
    part = [read_part("A-B")]
    assert [(which, label) for which, _, label in split(flat(), part)] == [(0, "rows A-B"), (-1, REST)]
    assert [label for *_, label in split(flat(plants=0), part)] == ["rows A-B"]
    assert split(flat(), [None]) == [(0, flat(), None)]


HEADER = "flat,crop,variety,layout,sown,light,cells,roots\n"


def read(folder, text):
    path = folder / "flats.csv"
    path.write_text(HEADER + text, encoding="utf-8")
    return read_register(path)


def test_a_flat_with_two_crops_in_the_register(tmp_path):
    register = read(tmp_path, "32,basil,Mill Lane,4x6,2025-02-10,,A-B,firm\n32,parsley,Low Hedge,,2025-02-03,,C-D,\n"
                              "33,kale,,6x12,,,,\n")
    assert register.complaints == ()
    basil, parsley = register.rows(32)
    assert (basil.crop, basil.part.label, basil.roots) == ("basil", "rows A-B", "firm")
    assert (parsley.crop, parsley.rows, parsley.columns) == ("parsley", 4, 6), "one layout for one flat"
    assert register.get(32) == basil and len(register.rows(33)) == 1 and register.rows(34) == ()


def test_a_row_without_cells_is_for_the_rest(tmp_path):
    register = read(tmp_path, "32,basil,,4x6,,,A,\n32,sage,,,,,,\n")
    assert register.complaints == ()
    found = split(flat(), [row.part for row in register.rows(32)])
    assert [(label, len(part.cells)) for _, part, label in found] == [("row A", 6), (REST, 18)]


@pytest.mark.parametrize(("rows", "said"), [
    ("32,basil,,,,,A-C,\n32,sage,,,,,C-D,\n", "row 2 has some of flat 32's row"),
    ("32,basil,,,,,,\n32,sage,,,,,,\n", "flat 32 stands in row 2 already"),
    ("32,basil,,,,,left half,\n", "can't be told, so the row is left out"),
    ("32,basil,,4x6,,,A-F,\n", "lie outside 4x6 cells"),
    ("32,basil,,4x6,,,5-9,\n", "lie outside 4x6 cells"),
    ("32,basil,,4x6,,,A,\n32,sage,,6x12,,,B,\n", "different layouts"),
    ("32,basil,,6x12,,,72,\n", "name the column layout"),
    ("32,basil,,6x12,,,,soft\n", "write not_ready, firm or root_bound"),
])
def test_what_cannot_be_told_is_complained_of(tmp_path, rows, said):
    register = read(tmp_path, rows)
    assert len(register.complaints) == 1 and said in register.complaints[0]


@pytest.mark.parametrize("text", ["root_bound", "Root bound", "ROOT-BOUND", "rootbound", "bound"])
def test_root_checks_as_written(tmp_path, text):
    assert read(tmp_path, f"32,basil,,,,,,{text}\n").get(32).roots == "root_bound"


@pytest.mark.parametrize(("said", "taken"), [
    (["rows A, B, C"], {"rows A-C"}), (["cells D1-F12"], {"rows D-F"}), (["row A", "rows B-C"], {"rows A-C"}),
    (["rows A-B"], set()), (["cells D1-F11"], set()), (["columns 1-12"], {"rows A-C", "rows D-F", REST}),
    ([""], {"rows A-C", "rows D-F", REST}), (["rows G-H"], {REST}), ([REST], {REST}), ([], set()), (["left"], set()),
])
def test_cells_that_take_in_a_part(said, taken):
    named = ["rows A-C", "rows D-F"]
    assert {part for part in (*named, REST) if covered(part, said, named, 8, 12)} == taken
    assert covered(None, said, named, 8, 12) == (taken == {*named, REST})


def test_a_part_that_a_flat_has_not_is_covered_by_its_own_name_alone():
    assert not covered(REST, ["row A"], ["rows A-F"], 6, 12) and covered("rows G-H", ["rows G-H"], [], 6, 12)
    assert not covered("rows G-H", ["row A"], [], 6, 12)


def test_cells_in_common():
    assert share_cells("rows A-C", "columns 1-2", [], 6, 12) and not share_cells("rows A-C", "row D", [], 6, 12)
    assert share_cells(REST, None, ["rows A-C"], 6, 12) and not share_cells(REST, "", ["rows A-F"], 6, 12)

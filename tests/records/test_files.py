"""Which kind of table a file is. Flats and lights are invented; headers are those the records write and ask for."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.errors import RegisterError
from seedlingcv.records.files import FIGURES, KINDS, find_tables, kind_of, read_table_of_any_kind
from seedlingcv.records.lights import Move
from seedlingcv.records.log import RootCheck

DAY = date(2025, 3, 1)
HEADERS = [
    ("flats", "flat,crop,variety,layout,sown,light,cells,roots"),
    ("flats", "Tray,Cultivar,Date seeded"),
    ("flats", "flat,layout,cells,crop,variety,sown,light,roots,seed_lot,batch,shelf,note"),
    ("flats", "flat,crop,plants"),
    ("lights", "shelf,light,type,spectrum,ppfd,hours,distance_mm,red_far_red,window_side,from,to"),
    ("lights", "Lamp,Photoperiod"),
    ("lights", "shelf,light,type,spectrum,ppfd,hours,distance_mm,red_far_red,window_side,from,to,dli_mol"),
    ("moves", "flat,date,shelf,light"), ("moves", "Flat,Moved on,Bench"),
    ("figures", "flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover"),
    ("figures", "flat,crop,sown,layout,true_leaves,stem_length_in,roots,shelf"),
    ("figures", "flat,date,cell,part,crop,variety,sown,age_days,shelf,light,source,stem_length_mm,flags"),
    ("root_checks", "flat,date,roots,who"),
    ("potted", "flat,date,plants,pot,who,note"), ("potted", "flat,date,cells,plants,pot,who,note"),
    ("corrections", "flat,date,cell,figure,value,who,when,why,measured"),
]


@pytest.mark.parametrize(("kind", "header"), HEADERS)
def test_told_by_its_columns(tmp_path, kind, header):
    path = tmp_path / "table.csv"
    path.write_text(f"# a remark\n{header}\n")
    assert kind_of(path) == kind


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != FIGURES])
def test_a_kinds_own_header_is_told(tmp_path, kind):
    path = tmp_path / "table.csv"
    path.write_text(KINDS[kind].header)
    assert kind_of(path) == kind


@pytest.mark.parametrize(("name", "header", "kind"), [
    ("potted.csv", "flat,date,plants", "potted"), ("flats.csv", "flat,shelf", "flats"),
    ("flats_before_2.csv", "flat,shelf", "flats"), ("potted 2025.csv", "flat,date", "potted"),
    ("flats.csv", "flat,crop,height_mm", "flats"), ("Lights.csv", "light,shelf", "lights"),
    ("flats_march.csv", "flat,cell,stem_length_mm", "figures"), ("moves.csv", "flat,date,shelf,crop", "moves"),
    ("moves.csv", "flat,crop,sown", "flats"),
])
def test_a_usual_name_decides_where_the_columns_allow_it(tmp_path, name, header, kind):
    path = tmp_path / name
    path.write_text(f"{header}\n")
    assert kind_of(path) == kind


@pytest.mark.parametrize("header", ["flat,date,plants", "flat", "crop,sown", "flat,date,crop", "flat,date,roots,crop",
                                    "file,taken,view,flat,usable,problems,sha256", "shelf,light"])
def test_nobody_guesses(tmp_path, header):
    path = tmp_path / "table.csv"
    path.write_text(f"{header}\n")
    with pytest.raises(RegisterError, match="can't be told what kind") as caught:
        kind_of(path)
    assert caught.value.where == "table.csv"
    assert all(f"{kind}: " in caught.value.next_step for kind in KINDS)


def test_marks_are_sent_where_they_belong(tmp_path):
    path = tmp_path / "marks.csv"
    path.write_text("flat,date,mark\n")
    with pytest.raises(RegisterError, match="which the records don't keep"):
        kind_of(path)


def test_reading_each_kind(tmp_path):
    def read(name, text):
        (tmp_path / name).write_text(text)
        return read_table_of_any_kind(tmp_path / name)

    flats = read("a.csv", "flat,crop\n31,kale\nx,kale\n")
    assert flats.content.get(31).crop == "kale" and len(flats.complaints) == 1
    assert read("b.csv", "light,hours\npanel,16\n").content[0].hours == 16
    assert read("c.csv", "flat,date,shelf\n31,2025-03-01,r1\n").content[0] == Move(31, DAY, "r1")
    assert read("d.csv", "flat,date,roots\n31,2025-03-01,firm\n").content == [RootCheck(31, DAY, "firm")]
    assert read("e.csv", "flat,date,pot\n31,2025-03-01,9 cm\n").content[0].pot == "9 cm"
    assert read("f.csv", KINDS["corrections"].header + "\n31,2025-03-01,A1,stem_mm,3,Ada,,x\n").content[0].value == 3
    sheet = read("g.csv", "flat,true_leaves\n31,2\n")
    assert sheet.content.flats[0].measurement.flat == 31 and sheet.kind == FIGURES


def test_the_tables_of_a_folder(tmp_path):
    for name in ("potted.csv", "Flats.csv", "flats.xlsx", "lights.xlsx", "notes.csv", "moves.txt", "flats.csv.bak"):
        (tmp_path / name).write_text("")
    (tmp_path / "moves.csv").mkdir()
    assert [path.name for path in find_tables(tmp_path)] == ["Flats.csv", "lights.xlsx", "potted.csv"]
    with pytest.raises(RegisterError, match="can't be looked through"):
        find_tables(tmp_path / "gone")


names = st.sampled_from(sorted({name for _, header in HEADERS for name in header.split(",")} | {"", "x", "lux"}))


@given(st.one_of(st.binary(max_size=200), st.lists(names, max_size=8).map(
    lambda header: (",".join(header) + "\n31,2025-03-01,A1,38,x,,\n").encode())))
@settings(max_examples=200, deadline=None)
def test_any_table_is_told_or_refused_in_words(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        found = read_table_of_any_kind(path)
    except RegisterError as error:
        assert error.next_step
        return
    assert found.kind in KINDS and all("\n" not in c for c in found.complaints)

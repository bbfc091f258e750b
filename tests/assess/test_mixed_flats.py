"""A flat with two crops through the whole chain: one measuring, a line for each part."""

import shutil
from pathlib import Path

import pytest

from seedlingcv.advice.pots import read_pot
from seedlingcv.assess.folder import assess_folder
from seedlingcv.records.marks import read_marks
from seedlingcv.records.register import read_register

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mixed")
    shutil.copy(SAMPLES / "lettuce_overhead_a.jpg", folder)
    (folder / "flats.csv").write_text(
        "flat,crop,variety,layout,sown,cells,roots\n163,lettuce,Quiet Pond,6x12,2025-02-26,A-C,firm\n"
        "163,endive,Low Hedge,,2025-02-26,D-F,\n")
    (folder / "marks.csv").write_text(
        "flat,date,mark,legginess,crop\n163,2025-03-20,fine,,\n163,2025-03-19,leggy,0.5,lettuce\n")
    return assess_folder(folder, read_register(folder / "flats.csv"), pot=read_pot("4 in round"),
                         marks=read_marks(folder / "marks.csv"))


def test_each_part_has_its_own_cells_and_verdict(done):
    parts = {e.part: e for e in done.entries}
    assert set(parts) == {"rows A-C", "rows D-F"}
    assert {c.cell[0] for c in parts["rows A-C"].measurement.cells} == set("ABC")
    assert {c.cell[0] for c in parts["rows D-F"].measurement.cells} == set("DEF")
    assert (parts["rows A-C"].measurement.crop, parts["rows D-F"].measurement.variety) == ("lettuce", "Low Hedge")
    assert any("Roots checked by hand" in r for r in parts["rows A-C"].verdict.reasons)
    assert not any("Roots checked" in r for r in parts["rows D-F"].verdict.reasons)
    assert len(done.pictures) == 1, "measured once"


def test_a_mark_on_a_mixed_flat_wants_its_crop(done):
    assert [c for c in done.complaints if "mark on flat 163" in c]


def test_the_named_pot_is_used(done):
    depths = [e.verdict.depth for e in done.entries if e.verdict.depth]
    assert all(depth.pot.name == "4 in round" for depth in depths)

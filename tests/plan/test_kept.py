"""A line of the list, kept as plain trees and read back, prints as it did."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.entries import entries_of
from seedlingcv.plan.kept import entry_of, entry_tree
from seedlingcv.records.parts import read_part
from seedlingcv.records.register import FlatRow
from seedlingcv.report.terminal import one_line
from seedlingcv.report.words import middle, plant_count

SEEN = date(2025, 3, 20)


def entries(crop="tomato", leaves=3, stem_mm=75.0, part=None):
    cells = tuple(CellMeasurement(f"{row}{column}", 0 if column == 1 else 1, 0.3, 55.0 + column, 900.0,
                                  None if column == 1 else leaves, stem_length_mm=stem_mm + column)
                  for row in "ABCDEF" for column in range(1, 13))
    measured = FlatMeasurement(31, SEEN, 6, 12, cells)
    row = FlatRow(31, crop=crop, variety="Harbor Lantern", rows=6, columns=12, sown=date(2025, 2, 23), part=part)
    return entries_of(measured, [row], lambda r: load_crop(r.crop) if r.crop else None, today=SEEN)


@pytest.mark.parametrize("crop", ["tomato", "cabbage", "lettuce", "cucumber", "carrot"])
@pytest.mark.parametrize("leaves", [1, 3, 6])
@pytest.mark.parametrize("stem_mm", [20.0, 75.0])
def test_there_and_back_the_same_line(crop, leaves, stem_mm):
    for entry in entries(crop, leaves, stem_mm):
        tree = json.loads(json.dumps(entry_tree(entry)))
        back = entry_of(31, entry.part, SEEN, tree, SEEN)
        assert back.verdict == entry.verdict
        assert one_line(back, SEEN) == one_line(entry, SEEN)
        assert plant_count(back.measurement) == plant_count(entry.measurement) == "66"
        for field, kind in (("true_leaves", "count"), ("legginess", "ratio"), ("canopy_cover", "share")):
            assert middle(back.measurement, field, kind) == middle(entry.measurement, field, kind)


def test_a_part_keeps_its_name_and_what_the_records_said_of_its_stretch():
    entry = next(e for e in entries(part=read_part("A-C")) if e.part)
    tree = entry_tree(entry) | {"left_band": "left its band on 18 March"}
    back = entry_of(31, entry.part, SEEN, tree, SEEN)
    assert back.part == "rows A-C" and back.left_band == "left its band on 18 March"
    assert "left its band" in one_line(back, SEEN)


def test_after_ten_days_the_verdict_is_of_its_day():
    entry = entries()[0]
    assert entry_of(31, None, SEEN, entry_tree(entry), SEEN + timedelta(11)).verdict.as_of == SEEN


def test_what_a_newer_version_added_is_left_aside():
    (entry,) = entries()
    assert entry.verdict.depth and entry.verdict.limits
    tree = entry_tree(entry)
    verdict = tree["verdict"]
    for part in (tree, verdict, verdict["depth"], verdict["depth"]["pot"], *verdict["limits"]):
        part["of_tomorrow"] = 1
    assert entry_of(31, None, SEEN, tree, SEEN).verdict == entry.verdict


def test_a_flat_without_leaf_spread_gets_none():
    tree = entry_tree(entries()[0])
    tree["medians"] = {"true_leaves": 2, "canopy_cover": 0.2}
    measured = entry_of(31, None, SEEN, tree, SEEN).measurement
    assert measured.summary("leaf_spread_mm") is None and measured.summary("legginess") is None


def test_newer_figures_are_told_of():
    (entry,) = entries()
    back = entry_of(31, None, SEEN, entry_tree(entry), SEEN + timedelta(7), SEEN + timedelta(7))
    assert "Figures of Thu 27 Mar are in the records: assess or advise again" in one_line(back, SEEN)
    assert back.verdict.due == entry.verdict.due and back.verdict.reasons[1:] == entry.verdict.reasons[1:]
    assert entry.verdict.reasons[0] in back.verdict.reasons[0]


def test_corrections_made_after_the_verdict_are_told_of():
    (entry,) = entries()
    cells = entry.measurement.cells
    one = replace(cells[1], stem_length_mm=40.0, plants=None, flags=("corrected",))
    judged = replace(entry, measurement=replace(entry.measurement, cells=(cells[0], one, *cells[2:])))
    tree = json.loads(json.dumps(entry_tree(judged)))

    def told(corrections, tree=tree):
        back = entry_of(31, None, SEEN, tree, SEEN, None, corrections)
        return "were corrected since" in one_line(back, SEEN)

    assert not told({one.cell: {"stem_length_mm": 40, "plants": None}}) and not told({})
    assert told({one.cell: {"stem_length_mm": 41.0}}) and told({cells[2].cell: {"stem_length_mm": None}})
    assert told({one.cell: {"stem_length_mm": None}})
    assert not told({"Z9": {"stem_length_mm": 1.0}}), "another part's cell"
    assert not told({one.cell: {"stem_length_mm": 1.0}}, {k: v for k, v in tree.items() if k != "corrected"}), "unknown"

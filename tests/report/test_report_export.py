"""JSON and CSV: the documented schema, every figure there and back, and files written whole or not at all."""

from __future__ import annotations

import csv
import importlib.util
import json
import os
from dataclasses import fields, replace
from datetime import date
from pathlib import Path

import pytest

from seedlingcv.advice.verdict import Verdict
from seedlingcv.errors import OutputError
from seedlingcv.files import write_whole
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import Entry
from seedlingcv.report import export

JUDGE = Path(__file__).resolve().parents[3] / "shared" / "eval" / "score.py"
ACTIONS = {"pot_up", "pot_up_early", "wait", "sow_again", "do_not_transplant", "unsure"}
BURIALS = {"deep", "to_seed_leaves", "same_depth", "crown_above", None}


@pytest.fixture
def tree(nursery, tmp_path):
    path = tmp_path / "result.json"
    export.write_json(path, nursery.entries, nursery.photos, today=nursery.today,
                      complaints=nursery.complaints)
    return json.loads(path.read_text(encoding="utf-8"))


def test_photos_follow_the_schema(tree, nursery):
    assert len(tree["photos"]) == len(nursery.photos)
    for got, photo in zip(tree["photos"], nursery.photos, strict=True):
        assert got["file"] == photo.file and "\\" not in got["file"]
        assert got["view"] in ("overhead", "side", None)
        assert got["flat"] == photo.flat and got["usable"] is photo.usable
        assert got["problems"] == [p.code for p in photo.problems]
        assert got["px_per_mm"] == photo.px_per_mm
        assert {"residual_px", "residual_mm", "taken"} <= got.keys()


def test_flats_follow_the_schema(tree, nursery):
    assert [f["flat"] for f in tree["flats"]] == [e.measurement.flat for e in nursery.entries]
    for got, entry in zip(tree["flats"], nursery.entries, strict=True):
        rows, columns = map(int, got["layout"].split("x"))
        assert len(got["cells"]) == rows * columns
        assert got["verdict"]["action"] in ACTIONS and got["verdict"]["burial"] in BURIALS
        for key in ("earliest", "latest"):
            day = got["verdict"][key]
            assert day is None or date.fromisoformat(day) == getattr(entry.verdict, key)
        told = {f.name for f in fields(Verdict)}
        assert told == got["verdict"].keys()
        assert got["variety"] == entry.measurement.variety
    assert tree["program"]["name"] == "seedlingcv" and tree["complaints"] == nursery.complaints


def test_every_figure_comes_back_unrounded(tree, nursery):
    names = {f.name for f in fields(CellMeasurement)} - {"se", "flags"} | {"legginess", "sturdiness_quotient"}
    assert set(export.CELL_KEYS) == names  # a new figure must not be forgotten here
    seen = 0
    for flat, entry in zip(tree["flats"], nursery.entries, strict=True):
        for got, cell in zip(flat["cells"], entry.measurement.cells, strict=True):
            for name in names:
                assert got[name] == getattr(cell, name), (cell.cell, name)
            errors = {key.removesuffix("_se"): v for key, v in got.items() if key.endswith("_se")}
            assert errors == cell.se
            assert got["flags"] == list(cell.flags)
            seen += sum(got[n] is not None for n in names)
    assert seen > 500


def test_summaries_are_those_of_the_flat(tree, nursery):
    for flat, entry in zip(tree["flats"], nursery.entries, strict=True):
        had = entry.measurement.summary("legginess")
        if had is None:
            assert flat["summary"]["legginess"] is None
        else:
            assert flat["summary"]["legginess"] == {
                "median": had.median, "quartile_low": had.quartile_low, "quartile_high": had.quartile_high,
                "plants": had.plants}


def test_csv_has_a_line_a_cell_and_nothing_is_zero_by_default(nursery, tmp_path):
    path = tmp_path / "cells.csv"
    export.write_csv(path, nursery.entries)
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows = list(reader)
    assert tuple(reader.fieldnames) == export.CSV_COLUMNS
    assert reader.fieldnames[:3] == ["flat", "cell", "date"]
    assert set(export.CELL_KEYS) < set(reader.fieldnames)
    cells = [(e.measurement, c) for e in nursery.entries for c in e.measurement.cells]
    assert len(rows) == len(cells)
    for row, (measured, cell) in zip(rows, cells, strict=True):
        assert row["flat"] == str(measured.flat) and row["cell"] == cell.cell
        assert row["date"] == (measured.day.isoformat() if measured.day else "")
        for key in export.CELL_KEYS[1:]:
            value = getattr(cell, key)
            if value is None:
                assert row[key] == ""
            else:
                assert row[key] == value if isinstance(value, str) else float(row[key]) == value
        for key, se in cell.se.items():
            assert float(row[f"{key}_se"]) == se
        assert row["flags"].split() == list(cell.flags)


def test_a_missing_folder_is_told_with_place_and_next_step(nursery, tmp_path):
    path = tmp_path / "nowhere" / "result.json"
    with pytest.raises(OutputError) as caught:
        export.write_json(path, nursery.entries, nursery.photos, today=nursery.today)
    assert caught.value.where == str(path) and caught.value.what and caught.value.next_step


def test_a_failed_write_leaves_the_old_file_whole(tmp_path, monkeypatch):
    path = tmp_path / "result.json"
    path.write_text("old")

    def full_disk(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full_disk)
    with pytest.raises(OutputError, match="No space left"):
        write_whole(path, "new")
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["result.json"]


def test_a_figure_that_is_no_number_is_refused(nursery, tmp_path):
    first = nursery.entries[0]
    cell = CellMeasurement("A1", plants=1, canopy_cover=float("nan"))
    broken = replace(first, measurement=replace(first.measurement, cells=(cell,)))
    with pytest.raises(OutputError):
        export.write_json(tmp_path / "r.json", [broken], [], today=nursery.today)
    assert os.listdir(tmp_path) == []


@pytest.mark.skipif(not JUDGE.exists(), reason="the evaluation set is not beside this checkout")
def test_the_judge_reads_true_measures_as_perfect(tmp_path):
    """The evaluation flats' own truth, sent through the JSON, must be scored as free of error."""
    spec = importlib.util.spec_from_file_location("judge", JUDGE)
    judge = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(judge)
    truth = judge.load_truth(JUDGE.parent)
    entries = [_true_entry(tag, flat) for tag, flat in truth.items()]
    path = tmp_path / "truth.json"
    export.write_json(path, entries, [], today=date(2025, 3, 25))
    total, _ = judge.score_cells(json.loads(path.read_text(encoding="utf-8")), truth)
    assert total["empty_cells_f1"] == total["double_cells_f1"] == 1.0
    for key in ("canopy_cover", "stem_side", "stem_parallax", "legginess_side", "legginess_parallax",
                *judge.MEASURES):
        assert total[key]["n"] > 10 and total[key]["mae"] == pytest.approx(0, abs=1e-9), key
    assert total["flats_with_legginess"] == len(truth)


def _true_entry(tag: int, flat: dict) -> Entry:
    cells = []
    for cell in flat["cells"]:
        plants = cell["plants"]
        figures = {}
        if len(plants) == 1:
            plant = plants[0]
            figures = {
                "leaf_spread_mm": plant["leaf_spread_mm"], "leaf_area_mm2": plant["projected_leaf_area_mm2"],
                "true_leaves": plant["true_leaf_count"], "stem_length_mm": plant["stem_length_mm"],
                "stem_from": "side" if cell["row"] == 0 else "parallax",
                "hypocotyl_length_mm": plant["hypocotyl_length_mm"],
                "stem_diameter_mm": plant["stem_diameter_mm"], "height_mm": plant["plant_height_mm"],
            }
        cells.append(CellMeasurement(cell["name"], len(plants), cell["canopy_cover"], **figures))
    layout = flat["layout"]
    return Entry(FlatMeasurement(tag, None, layout["rows"], layout["columns"], tuple(cells), flat["crop"]),
                 Verdict("unsure"))

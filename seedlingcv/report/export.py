"""The figures for other programs: JSON and CSV.

Nothing is rounded; a figure not had is null or an empty field.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

from seedlingcv import __version__
from seedlingcv.advice.burial import Depth
from seedlingcv.advice.verdict import Verdict
from seedlingcv.errors import OutputError
from seedlingcv.files import write_whole
from seedlingcv.flags import Problem
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.potup import Entry
from seedlingcv.report.words import FIGURES

CELL_KEYS = (
    "cell", "plants", "canopy_cover", "leaf_spread_mm", "leaf_area_mm2", "true_leaves", "stem_length_mm",
    "stem_from", "hypocotyl_length_mm", "stem_diameter_mm", "height_mm", "legginess", "sturdiness_quotient",
    "row_spread_mm", "lean_deg", "greenness", "yellow_fraction",
)
SE_KEYS = tuple(f"{key}_se" for key in CELL_KEYS if key not in ("cell", "plants", "stem_from"))
CSV_COLUMNS = ("flat", "cell", "date", *CELL_KEYS[1:], *SE_KEYS, "flags")


def to_json(entries: Sequence[Entry], photos: Sequence[PhotoResult], *, today: date,
            complaints: Sequence[str] = ()) -> dict:
    """Everything as plain dicts, lists, numbers and strings, flats in the order given. Dates are ISO 8601."""
    return {
        "program": {"name": "seedlingcv", "version": __version__},
        "today": today.isoformat(),
        "complaints": list(complaints),
        "photos": [_photo(p) for p in photos],
        "flats": [_flat(e) for e in entries],
    }


def _photo(photo: PhotoResult) -> dict:
    return {
        "file": photo.file, "view": photo.view, "flat": photo.flat, "usable": photo.usable,
        "problems": [p.code for p in photo.problems],
        "problem_texts": [_sentence(p) for p in photo.problems],
        "taken": photo.taken.isoformat() if photo.taken else None,
        "px_per_mm": photo.px_per_mm, "residual_px": photo.residual_px, "residual_mm": photo.residual_mm,
        "note": photo.note,
    }


def _sentence(problem: Problem) -> str:
    return f"{problem.text}. {problem.advice}"


def _flat(entry: Entry) -> dict:
    measured = entry.measurement
    return {
        "flat": measured.flat, "part": entry.part, "crop": measured.crop, "layout": measured.layout,
        "variety": measured.variety, "sown": _iso(measured.sown), "light": measured.light, "day": _iso(measured.day),
        "flags": list(measured.flags),
        "verdict": _verdict(entry.verdict), "left_band": entry.left_band,
        "summary": {f.field: _summary(measured, f.field) for f in FIGURES},
        "cells": [_cell(c) for c in measured.cells],
    }


def _verdict(verdict: Verdict) -> dict:
    return {
        "action": verdict.action, "burial": verdict.burial, "burial_depth_mm": verdict.burial_depth_mm,
        "earliest": _iso(verdict.earliest), "latest": _iso(verdict.latest), "due": _iso(verdict.due),
        "binding": verdict.binding, "delay_mends": verdict.delay_mends, "as_of": _iso(verdict.as_of),
        "reasons": list(verdict.reasons), "cautions": list(verdict.cautions),
        "legginess_band": verdict.legginess_band, "leggy_share": verdict.leggy_share,
        "bands_from": verdict.bands_from, "assumed": list(verdict.assumed), "missing": list(verdict.missing),
        "would_change": list(verdict.would_change),
        "limits": [{"kind": end.kind, "day": _iso(end.day), "text": end.text, "assumed": end.assumed}
                   for end in verdict.limits],
        "depth": _depth(verdict.depth) if verdict.depth else None,
    }


def _depth(depth: Depth) -> dict:
    """Lengths in mm; what is reckoned from the others too."""
    return asdict(depth) | {
        "take_off": list(depth.take_off), "pot_needed_mm": depth.pot_needed_mm,
        "pot_suggested": asdict(depth.pot_suggested) if depth.pot_suggested else None,
    }


def _summary(measured: FlatMeasurement, field: str) -> dict | None:
    had = measured.summary(field)
    if had is None:
        return None
    return {"median": had.median, "quartile_low": had.quartile_low, "quartile_high": had.quartile_high,
            "plants": had.plants}


def _cell(cell: CellMeasurement) -> dict:
    out = {key: getattr(cell, key) for key in CELL_KEYS}
    out |= {f"{key}_se": se for key, se in cell.se.items()}
    return out | {"flags": list(cell.flags)}


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def write_json(path: Path, entries: Sequence[Entry], photos: Sequence[PhotoResult], *, today: date,
               complaints: Sequence[str] = ()) -> None:
    """Raises OutputError where the file can't be written or a figure is not a number."""
    tree = to_json(entries, photos, today=today, complaints=complaints)
    try:
        text = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False, default=_plain)
    except ValueError as error:
        raise OutputError("a figure is infinite or not a number, so no JSON was written.", where=str(path),
                          next_step="Please report the photos that led here.") from error
    write_whole(path, text + "\n")


def _plain(number: object) -> int | float:
    """NumPy's numbers, where one slipped in."""
    if hasattr(number, "item"):
        return number.item()
    raise TypeError(f"{type(number).__name__} has no place in JSON")


def write_csv(path: Path, entries: Sequence[Entry]) -> None:
    """One line a cell, columns `CSV_COLUMNS`; flags separated by blanks. Raises OutputError."""
    out = io.StringIO()
    writer = csv.DictWriter(out, CSV_COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for entry in entries:
        first = {"flat": entry.measurement.flat, "date": _iso(entry.measurement.day)}
        for cell in entry.measurement.cells:
            row = _cell(cell)
            writer.writerow(first | row | {"flags": " ".join(row["flags"])})
    write_whole(path, out.getvalue())

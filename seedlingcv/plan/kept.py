"""A line of the list as the records keep it, and back: the list without its photos.

Kept are the verdict, the flat's middle figures and each cell's count; the cells' own figures stand in the records by
themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date
from typing import Any, TypeVar

from seedlingcv.advice.burial import Depth
from seedlingcv.advice.later import outdated, read_on
from seedlingcv.advice.pots import Pot
from seedlingcv.advice.verdict import Limit, Verdict
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import Entry

DAYS = ("earliest", "latest", "due", "as_of")  # the verdict's fields that are dates
LISTED = ("true_leaves", "canopy_cover", "leaf_spread_mm", "legginess")
T = TypeVar("T")


def entry_tree(entry: Entry) -> dict[str, Any]:
    """All that the list prints of an entry, of numbers, texts, lists and trees only."""
    measured = entry.measurement
    return {
        "crop": measured.crop, "variety": measured.variety, "rows": measured.rows, "columns": measured.columns,
        "sown": _text(measured.sown), "light": measured.light,
        "plants": [[c.cell, c.plants] for c in measured.cells],
        "medians": {name: had.median for name in LISTED if (had := measured.summary(name))},
        "corrected": {c.cell: _figures(c) for c in measured.cells if "corrected" in c.flags},
        "verdict": _tree(entry.verdict), "left_band": entry.left_band,
    }


def entry_of(flat: int, part: str | None, seen: date, tree: dict[str, Any], today: date, newer: date | None = None,
             corrections: Mapping[str, Mapping[str, Any]] | None = None) -> Entry:
    """The entry as it reads on `today`; every single plant has the flat's middle figures. seen : their day.

    newer : a later day with figures that the verdict doesn't rest on; corrections : all of the day `seen`, by cell
    """
    medians = dict(tree["medians"])
    legginess, spread = medians.pop("legginess", None), medians.get("leaf_spread_mm")
    stem = legginess * spread if legginess is not None and spread is not None else None
    cells = tuple(CellMeasurement(cell, plants, **medians, stem_length_mm=stem) if plants == 1 else
                  CellMeasurement(cell, plants) for cell, plants in tree["plants"])
    measured = FlatMeasurement(flat, seen, tree["rows"], tree["columns"], cells, tree["crop"], tree["variety"],
                               _day(tree["sown"]), tree["light"])
    verdict = read_on(_verdict(tree["verdict"]), seen, today)
    if newer or _corrected_since(tree, corrections or {}):
        verdict = outdated(verdict, newer)
    return Entry(measured, verdict, part, tree.get("left_band"))


def _figures(cell: CellMeasurement) -> dict[str, Any]:
    return {f.name: getattr(cell, f.name) for f in fields(cell) if f.name not in ("cell", "flags", "se")}


def _corrected_since(tree: dict[str, Any], corrections: Mapping[str, Mapping[str, Any]]) -> bool:
    """Whether a corrected figure isn't the one that was judged; trees of older versions don't tell."""
    judged = tree.get("corrected")
    if judged is None:
        return False
    return any(name not in judged.get(cell, {}) or judged[cell][name] != value
               for cell, _ in tree["plants"] for name, value in corrections.get(cell, {}).items())


def _tree(verdict: Verdict) -> dict[str, Any]:
    tree = asdict(verdict)
    tree |= {name: _text(tree[name]) for name in DAYS}
    tree["limits"] = [asdict(end) | {"day": _text(end.day)} for end in verdict.limits]
    return tree


def _verdict(tree: dict[str, Any]) -> Verdict:
    given = {name: tuple(value) if isinstance(value, list) else value for name, value in tree.items()}
    given |= {name: _day(tree.get(name)) for name in DAYS}
    given["limits"] = tuple(_made(Limit, end | {"day": _day(end["day"])}) for end in tree["limits"])
    given["depth"] = _depth(tree["depth"]) if tree.get("depth") else None
    return _made(Verdict, given)


def _depth(tree: dict[str, Any]) -> Depth:
    pots = {"pot": _made(Pot, tree["pot"]), "lay_in": _made(Pot, tree["lay_in"]) if tree["lay_in"] else None}
    return _made(Depth, tree | pots | {"take_off": tuple(tree["take_off"])})


def _made(kind: type[T], tree: dict[str, Any]) -> T:
    """Without what only a newer version knows."""
    known = {f.name for f in fields(kind)}
    return kind(**{name: value for name, value in tree.items() if name in known})


def _text(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None

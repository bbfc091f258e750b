"""A line of the list as the records keep it, and back: the list without its photos.

Kept are the verdict, the flat's middle figures and each cell's count; the cells' own figures stand in the records by
themselves.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from datetime import date
from typing import Any

from seedlingcv.advice.burial import Depth
from seedlingcv.advice.later import read_on
from seedlingcv.advice.pots import Pot
from seedlingcv.advice.verdict import Limit, Verdict
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import Entry

DAYS = ("earliest", "latest", "due", "as_of")  # the verdict's fields that are dates
LISTED = ("true_leaves", "canopy_cover", "leaf_spread_mm", "legginess")


def entry_tree(entry: Entry) -> dict[str, Any]:
    """All that the list prints of an entry, of numbers, texts, lists and trees only."""
    measured = entry.measurement
    return {
        "crop": measured.crop, "variety": measured.variety, "rows": measured.rows, "columns": measured.columns,
        "sown": _text(measured.sown), "light": measured.light,
        "plants": [[c.cell, c.plants] for c in measured.cells],
        "medians": {name: had.median for name in LISTED if (had := measured.summary(name))},
        "verdict": _tree(entry.verdict), "left_band": entry.left_band,
    }


def entry_of(flat: int, part: str | None, seen: date, tree: dict[str, Any], today: date) -> Entry:
    """The entry as it reads on `today`; every single plant has the flat's middle figures. seen : their day."""
    medians = dict(tree["medians"])
    legginess, spread = medians.pop("legginess", None), medians.setdefault("leaf_spread_mm", 1.0)
    stem = legginess * spread if legginess is not None else None
    cells = tuple(CellMeasurement(cell, plants, **medians, stem_length_mm=stem) if plants == 1 else
                  CellMeasurement(cell, plants) for cell, plants in tree["plants"])
    measured = FlatMeasurement(flat, seen, tree["rows"], tree["columns"], cells, tree["crop"], tree["variety"],
                               _day(tree["sown"]), tree["light"])
    return Entry(measured, read_on(_verdict(tree["verdict"]), seen, today), part, tree.get("left_band"))


def _tree(verdict: Verdict) -> dict[str, Any]:
    tree = asdict(verdict)
    tree |= {name: _text(tree[name]) for name in DAYS}
    tree["limits"] = [asdict(end) | {"day": _text(end.day)} for end in verdict.limits]
    return tree


def _verdict(tree: dict[str, Any]) -> Verdict:
    known = {f.name for f in fields(Verdict)}
    given = {name: tuple(value) if isinstance(value, list) else value for name, value in tree.items() if name in known}
    given |= {name: _day(tree.get(name)) for name in DAYS}
    given["limits"] = tuple(Limit(**end | {"day": _day(end["day"])}) for end in tree["limits"])
    given["depth"] = _depth(tree["depth"]) if tree.get("depth") else None
    return Verdict(**given)


def _depth(tree: dict[str, Any]) -> Depth:
    lay_in = Pot(**tree["lay_in"]) if tree["lay_in"] else None
    return Depth(**tree | {"pot": Pot(**tree["pot"]), "lay_in": lay_in, "take_off": tuple(tree["take_off"])})


def _text(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None

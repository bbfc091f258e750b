"""From a flat's figures and its rows in the register to its lines in the list: one, or one for each crop in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

from seedlingcv.advice.pots import Pot
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.plan.potup import Entry
from seedlingcv.records.parts import split
from seedlingcv.records.register import FlatRow


def parts_of(measured: FlatMeasurement, rows: Sequence[FlatRow]) -> list[tuple[FlatRow, FlatMeasurement, str | None]]:
    """(row, that row's cells with what the row says of them, the part's label) for each part of the flat.

    rows : the flat's rows in the register, at least one. Cells of no row come with a row that says nothing.
    """
    found = []
    for which, part, label in split(measured, [row.part for row in rows]):
        row = rows[which] if which >= 0 else FlatRow(measured.flat)
        found.append((row, replace(part, crop=row.crop, variety=row.variety, sown=row.sown, light=row.light), label))
    return found


def entries_of(measured: FlatMeasurement, rows: Sequence[FlatRow], crop_of: Callable[[FlatRow], Crop | None], *,
               today: date, inch: bool = False, pot: Pot | None = None, earlier: FlatMeasurement | None = None,
               photo_roots: str | None = None) -> list[Entry]:
    """What to do with a flat, part by part.

    earlier : the flat some days before, to measure growth
    photo_roots : what a photo showed of the roots; a row's own word counts before it
    """
    before = {label: part for _, part, label in parts_of(earlier, rows)} if earlier else {}
    entries = []
    for row, part, label in parts_of(measured, rows):
        roots, by = (row.roots, "hand") if row.roots else (photo_roots, "photo")
        verdict = advise(part, crop_of(row), today, inch=inch, roots=roots, roots_from=by, pot=pot,
                         earlier=before.get(label))
        entries.append(Entry(part, verdict, label))
    return entries

"""From what was measured, by photo or by hand, to the list with what the records say of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from seedlingcv.advice.own_marks import shift_by
from seedlingcv.advice.pots import Pot
from seedlingcv.assess import keeping as book
from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.errors import CropError
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.plan.entries import entries_of, parts_of
from seedlingcv.plan.potup import Entry, pot_up_list
from seedlingcv.records.marks import Marks
from seedlingcv.records.register import FlatRow


@dataclass(frozen=True)
class Seen:
    """A flat's rows in the register, its figures, and those of some days before, if there are any."""

    rows: tuple[FlatRow, ...]
    now: FlatMeasurement
    earlier: FlatMeasurement | None = None


@dataclass(frozen=True)
class Wishes:
    """What the list is made for.

    own_crops : the grower's crop file; marks : the grower's own marks, which shift crops' limits of stretch
    pot : the pot that is used, else the usual one for the cell size
    """

    today: date
    own_crops: Path | None = None
    inch: bool = False
    pot: Pot | None = None
    marks: Marks | None = None


@dataclass(frozen=True)
class Listing:
    """entries in the list's order; complaints, notes that need nothing done; what the records know of the flats."""

    entries: list[Entry]
    complaints: list[str]
    notes: list[str]
    past: book.Past


def make_list(seen: Sequence[Seen], wishes: Wishes, keeping: book.Keeping | None = None,
              photo_roots: dict[int, str] | None = None) -> Listing:
    """photo_roots : what photos of plugs showed of the roots, by flat"""
    parts = [part for s in seen for m in (s.now, s.earlier) if m for _, part, _ in parts_of(m, s.rows)]
    shift, unused = shift_by(wishes.marks, parts, wishes.own_crops)
    complaints = [*(wishes.marks.complaints if wishes.marks else ()), *unused]

    def crop_of(name: str | None, flat: int) -> Crop | None:
        """With the grower's limits; one that isn't known is complained of."""
        try:
            return shift(load_crop(name, wishes.own_crops)) if name else None
        except CropError as error:
            complaints.append(f"Flat {flat}: {error}")
            return None

    entries = [entry for s in seen
               for entry in entries_of(s.now, s.rows, lambda row: crop_of(row.crop, row.flat), today=wishes.today,
                                       inch=wishes.inch, pot=wishes.pot, earlier=s.earlier,
                                       photo_roots=(photo_roots or {}).get(s.now.flat))]
    past, notes = {}, []
    if keeping:
        past = book.pasts(keeping, entries, lambda e: crop_of(e.measurement.crop, e.measurement.flat),
                          wishes.today)
        entries, notes = book.with_past(entries, past)
        book.keep_list(keeping, entries, wishes.today)
        complaints += keeping.complaints
        notes = [*keeping.notes, *notes]
    return Listing(pot_up_list(entries), list(dict.fromkeys(complaints)), notes, past)

"""From a sheet of figures measured by hand to a pot-up list."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from seedlingcv.advice.pots import Pot
from seedlingcv.assess import keeping as book
from seedlingcv.assess.folder import Assessment
from seedlingcv.assess.keeping import Keeping
from seedlingcv.assess.listing import Seen, Wishes, make_list
from seedlingcv.records.marks import Marks
from seedlingcv.records.register import FlatRow, Register
from seedlingcv.records.ruler import RulerFlat, RulerSheet, on_layout


def assess_sheet(sheet: RulerSheet, register: Register | None = None, *, own_crops: Path | None = None,
                 today: date | None = None, inch: bool = False, pot: Pot | None = None, marks: Marks | None = None,
                 keeping: Keeping | None = None) -> Assessment:
    """What to do with each flat of the sheet; arguments as `assess_folder` has them.

    keeping : records to which the sheet was added before
    """
    complaints = [*sheet.complaints, *(register.complaints if register else ())]
    today = today or max((f.measurement.day for f in sheet.flats if f.measurement.day), default=date.today())
    seen = []
    for flat in sheet.flats:
        rows, earlier = _rows(flat, register), flat.earlier
        now = on_layout(flat.measurement, rows[0], sheet.file, complaints)
        if keeping:
            rows = (book.roots_by_hand(keeping, rows[0], now.day, today), *rows[1:]) if len(rows) == 1 else rows
            now, earlier = book.as_corrected(keeping, now), book.day_of_growth(keeping, now) or earlier
        seen.append(Seen(rows, now, earlier))
    listing = make_list(seen, Wishes(today, own_crops, inch, pot, marks), keeping)
    complaints = list(dict.fromkeys([*complaints, *listing.complaints]))  # the records may complain of it too
    return Assessment(listing.entries, [], complaints=complaints, notes=listing.notes,
                      past=listing.past, today=today)


def _rows(flat: RulerFlat, register: Register | None) -> tuple[FlatRow, ...]:
    """The register's rows of the flat; what they leave open, the sheet may tell. The sheet's root check is newer."""
    rows = (register.rows(flat.row.flat) if register else ()) or (flat.row,)
    told = flat.row
    if len(rows) > 1 or rows[0].part is not None:
        return tuple(replace(row, rows=row.rows or told.rows, columns=row.columns or told.columns) for row in rows)
    row = rows[0]
    fill = {name: getattr(row, name) if getattr(row, name) is not None else getattr(told, name)
            for name in ("crop", "variety", "rows", "columns", "sown", "light", "seed_lot", "batch", "shelf")}
    return (replace(row, **fill, roots=told.roots or row.roots),)

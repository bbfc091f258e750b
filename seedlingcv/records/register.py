"""The register of flats: `flats.csv` or `flats.xlsx`, which the grower keeps in a spreadsheet.

    flat,crop,variety,layout,sown,light,cells,roots,seed_lot,batch,shelf
    31,tomato,Harbor Lantern,6x12,2025-02-23,LED panel,,,T-24-3,1,rack 2
    32,basil,Mill Lane,6x12,2025-02-10,LED panel,A-C,firm,,,
    32,parsley,Low Hedge,,2025-02-03,,D-F,,,,

Only `flat` is needed. A flat that holds several crops or varieties has a row for each, with its `cells` (see
parts.py); a row without `cells` is then for the rest. `roots` is a root check by hand: not_ready, firm or root_bound.
`shelf` and `light` say where the flat stands from its sowing until `moves.csv` says otherwise. What can't be understood
is left out and complained of, one line a row; the rest stays.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from seedlingcv.records import sheet
from seedlingcv.records.columns import FLAT, LIGHT, SHELF, Kind, Line, Names, read_lines
from seedlingcv.records.parts import Part, read_part
from seedlingcv.records.sheet import ROOT_STATES as ROOT_STATES  # others look for it here

NAME = "flats"  # of the file
SAID: dict[str, Names] = {  # what a table may say of a flat
    "crop": ("species", "crop_name", "plant_name", "vegetable"),
    "variety": ("cultivar", "cv", "variety_name", "cultivar_name"),
    "layout": ("flat_layout", "tray_layout", "flat_size", "tray_size", "plug_size", "cell_count", "cells_per_flat",
               "cells_per_tray", "number_of_cells", "rows_x_columns"),
    "sown": ("sown_on", "date_sown", "sowing_date", "date_of_sowing", "sow_date", "sowed", "sowed_on", "seeded",
             "seeded_on", "date_seeded", "seeding_date"),
    **LIGHT,
    "roots": ("root_check", "root_state"),
    "seed_lot": ("lot", "lot_number", "lot_no", "lot_nr", "lot_id", "seed_lot_number", "seed_lot_no"),
    "batch": ("batch_number", "batch_no", "batch_nr", "batch_id", "succession"),
    **SHELF,
}
CELLS: dict[str, Names] = {"cells": ("part", "part_of_flat", "which_cells", "cell_range")}
KIND = Kind("register", NAME, "flat,crop,variety,layout,sown,light,cells,roots,seed_lot,batch,shelf",
            FLAT | SAID | CELLS, needs=("flat",))


@dataclass(frozen=True)
class FlatRow:
    """One flat or one part of it. `rows` and `columns` are both known or both None; `extra` holds columns of other
    names."""

    flat: int
    crop: str | None = None  # in small letters
    variety: str | None = None
    rows: int | None = None
    columns: int | None = None
    sown: date | None = None
    light: str | None = None
    extra: dict[str, str] = field(default_factory=dict)
    part: Part | None = None  # None: the whole flat, or the rest of it
    roots: str | None = None  # one of ROOT_STATES
    seed_lot: str | None = None
    batch: str | None = None
    shelf: str | None = None


@dataclass(frozen=True)
class Register:
    """`flats` holds each flat's row, or the first one where it has several; `parts` those flats' rows in full; `said`
    names the known columns that the table has, None for all: of the others it says nothing."""

    path: Path
    flats: dict[int, FlatRow]
    complaints: tuple[str, ...] = ()
    parts: dict[int, tuple[FlatRow, ...]] = field(default_factory=dict)
    said: frozenset[str] | None = None

    def get(self, flat: int) -> FlatRow | None:
        return self.flats.get(flat)

    def rows(self, flat: int) -> tuple[FlatRow, ...]:
        """All rows of a flat; none if it isn't in the register."""
        return self.parts.get(flat) or ((self.flats[flat],) if flat in self.flats else ())


def find_register(folder: Path) -> Path | None:
    """`flats.csv` in the folder, in whatever capitals, else `flats.xlsx`; None if there is neither."""
    return sheet.find_file(folder, NAME)


def read_register(path: Path) -> Register:
    """Raises RegisterError if the file can't be read or has no `flat` column."""
    lines = read_lines(path, KIND)
    rows: dict[int, list[FlatRow]] = {}
    seen_at: dict[int, list[int]] = {}

    def take(line: Line, wrong: list[str]) -> None:
        row = _read_row(line, wrong)
        if row is None:
            return
        before = _row_in_the_way(row, rows.get(row.flat, []))
        if before is not None:
            wrong[:] = [_stands_twice(row, seen_at[row.flat][before])]
        else:
            rows.setdefault(row.flat, []).append(row)
            seen_at.setdefault(row.flat, []).append(line.at)

    lines.read(take)
    flats = {}
    for flat, own in rows.items():
        rows[flat] = _one_layout(own, f"{path.name} flat {flat}", lines.complaints)
        flats[flat] = rows[flat][0]
    parts = {flat: tuple(own) for flat, own in rows.items() if len(own) > 1 or own[0].part is not None}
    said = frozenset(column.key for column in lines.columns if column and column.key)
    return Register(path, flats, tuple(lines.complaints), parts, said)


def _row_in_the_way(row: FlatRow, before: list[FlatRow]) -> int | None:
    """Which of a flat's earlier rows has cells of this one, if any."""
    for index, other in enumerate(before):
        if row.part is None and other.part is None:
            return index
        if row.part and other.part and row.part.overlaps(other.part):
            return index
    return None


def _stands_twice(row: FlatRow, at: int) -> str:
    if row.part is None:
        return f"flat {row.flat} stands in row {at} already; that one counts, so delete one of the two"
    return f"row {at} has some of flat {row.flat}'s {row.part.label} already; that one counts, so part the cells"


def _one_layout(rows: list[FlatRow], where: str, complaints: list[str]) -> list[FlatRow]:
    """A flat has one layout, whichever of its rows names it."""
    named = [(r.rows, r.columns) for r in rows if r.rows]
    if len(set(named)) > 1:
        complaints.append(f"{where}: its rows name different layouts; {named[0][0]}x{named[0][1]} counts.")
    if named:
        rows = [replace(r, rows=named[0][0], columns=named[0][1]) for r in rows]
        outside = [r.part.label for r in rows if r.part and not r.part.fits(*named[0])]
        if outside:
            complaints.append(f"{where}: {', '.join(outside)} lie outside {named[0][0]}x{named[0][1]} cells; "
                              "correct the cells or the layout.")
    return rows


def _read_row(line: Line, wrong: list[str]) -> FlatRow | None:
    """None if the row belongs to no flat. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    if flat is None:
        return None
    part, cells = None, line.text("cells").removesuffix(".0")
    if cells.isdecimal():
        wrong.append(f'the cells "{cells}" name no rows or columns; if that is how many cells the flat has, name the '
                     "column layout")
    elif cells:
        try:
            part = read_part(cells)
        except ValueError as how:
            # as a row for the whole flat it would speak for other crops' cells
            wrong.append(f'the cells "{sheet.short(cells)}" can\'t be told, so the row is left out; {how}'
                         f"{_made_a_date(cells)}")
            return None
    return replace(read_said(flat, line, wrong), extra=line.extra, part=part)


def read_said(flat: int, line: Line, wrong: list[str]) -> FlatRow:
    """What a row says of a flat in the columns SAID. What is wrong is added to `wrong`."""
    rows, columns = sheet.layout(line.text("layout"), wrong)
    return FlatRow(flat=flat, crop=line.text("crop").lower() or None, variety=line.text("variety") or None,
                   rows=rows, columns=columns, sown=sheet.day(line.text("sown"), wrong, "sowing date"),
                   light=line.text("light") or None, roots=sheet.roots(line.text("roots"), wrong),
                   seed_lot=line.text("seed_lot") or None, batch=line.text("batch") or None,
                   shelf=line.text("shelf") or None)


def _made_a_date(cells: str) -> str:
    """What to do where a spreadsheet took `1-6` for the first of June."""
    return "; a spreadsheet makes a date of 1-6: write columns 1-6" if sheet.day(cells, [], "") else ""

"""The register of flats: `flats.csv`, which the grower keeps in a spreadsheet.

    flat,crop,variety,layout,sown,light,cells,roots
    31,tomato,Harbor Lantern,6x12,2025-02-23,LED panel,,
    32,basil,Mill Lane,6x12,2025-02-10,LED panel,A-C,firm
    32,parsley,Low Hedge,,2025-02-03,,D-F,

Only `flat` is needed. A flat that holds several crops or varieties has a row for each, with its `cells` (see
parts.py); a row without `cells` is then for the rest. `roots` is a root check by hand: not_ready, firm or root_bound.
What can't be understood is left out and complained of, one line a row; the rest stays.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.records import sheet
from seedlingcv.records.parts import Part, read_part
from seedlingcv.records.sheet import ROOT_STATES as ROOT_STATES  # others look for it here

FILE_NAME = "flats.csv"
COLUMNS = ("flat", "crop", "variety", "layout", "sown", "light", "cells", "roots")


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


@dataclass(frozen=True)
class Register:
    """`flats` holds each flat's row, or the first one where it has several; `parts` those flats' rows in full."""

    path: Path
    flats: dict[int, FlatRow]
    complaints: tuple[str, ...] = ()
    parts: dict[int, tuple[FlatRow, ...]] = field(default_factory=dict)

    def get(self, flat: int) -> FlatRow | None:
        return self.flats.get(flat)

    def rows(self, flat: int) -> tuple[FlatRow, ...]:
        """All rows of a flat; none if it isn't in the register."""
        return self.parts.get(flat) or ((self.flats[flat],) if flat in self.flats else ())


def find_register(folder: Path) -> Path | None:
    """`flats.csv` in the folder, in whatever capitals; None if there is none."""
    try:
        found = [p for p in folder.iterdir() if p.name.lower() == FILE_NAME and p.is_file()]
    except OSError as error:
        raise RegisterError(f"The folder can't be looked through ({error.strerror}).", where=folder.name,
                            next_step="Check that it is there and may be read.") from error
    return min(found, key=lambda p: (p.name != FILE_NAME, p.name), default=None)


def read_register(path: Path) -> Register:
    """Raises RegisterError if the file can't be read or has no `flat` column."""
    table = sheet.read_table(path, "register")
    number, header = next(((n, row) for n, row in table if any(row)), (0, []))
    names = [name.lower() for name in header]
    if "flat" not in names:
        raise RegisterError("The register has no column named flat.", where=path.name,
                            next_step=f"Its first line must name the columns: {','.join(COLUMNS)}.")
    rows: dict[int, list[FlatRow]] = {}
    seen_at: dict[int, list[int]] = {}
    complaints = []
    for at, values in table:
        if at <= number or not any(values):
            continue
        wrong: list[str] = []
        row = read_row(header, values, wrong)
        if row is not None:
            before = _row_in_the_way(row, rows.get(row.flat, []))
            if before is not None:
                wrong = [_stands_twice(row, seen_at[row.flat][before])]
            else:
                rows.setdefault(row.flat, []).append(row)
                seen_at.setdefault(row.flat, []).append(at)
        if wrong:
            complaints.append(f"{path.name} row {at}: {'; '.join(wrong)}.")
    flats = {}
    for flat, own in rows.items():
        rows[flat] = _one_layout(own, f"{path.name} flat {flat}", complaints)
        flats[flat] = rows[flat][0]
    parts = {flat: tuple(own) for flat, own in rows.items() if len(own) > 1 or own[0].part is not None}
    return Register(path, flats, tuple(complaints), parts)


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


def read_row(header: list[str], values: list[str], wrong: list[str]) -> FlatRow | None:
    """None if the row belongs to no flat. What is wrong is added to `wrong`."""
    cells: dict[str, str] = {}
    extra: dict[str, str] = {}
    for name, value in zip(header, values, strict=False):
        if name.lower() in COLUMNS:
            cells.setdefault(name.lower(), value)
        elif name:
            extra.setdefault(name, value)
    flat = sheet.flat_number(cells.get("flat", ""), wrong)
    if flat is None:
        return None
    if any(values[len(header):]):
        wrong.append("there are more values than columns: put text with a comma in it between quotation marks")
    part, number = None, cells.get("cells", "").removesuffix(".0")
    if number.isdecimal():
        wrong.append(f'the cells "{number}" name no rows or columns; if that is how many cells the flat has, name the '
                     "column layout")
    elif number:
        try:
            part = read_part(number)
        except ValueError as how:
            # as a row for the whole flat it would speak for other crops' cells
            wrong.append(f'the cells "{sheet.short(cells["cells"])}" can\'t be told, so the row is left out; {how}')
            return None
    rows, columns = sheet.layout(cells.get("layout", ""), wrong)
    return FlatRow(flat=flat, crop=cells.get("crop", "").lower() or None, variety=cells.get("variety") or None,
                   rows=rows, columns=columns, sown=sheet.day(cells.get("sown", ""), wrong, "sowing date"),
                   light=cells.get("light") or None, extra=extra, part=part,
                   roots=sheet.roots(cells.get("roots", ""), wrong))

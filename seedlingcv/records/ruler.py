"""Figures measured by hand: a table with one line a cell, or one line for a whole flat.

    flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover
    31,A1,2025-03-20,1,2,38,59,0.19
    58,,2025-03-20,,3,35,62,0.31        (no cell: the line stands for all plants of flat 58)

A figure's unit stands in its column's name: `stem_length_mm`, `stem_length_cm`, `stem length (in)`; cover is a fraction
or `canopy_cover_pct`. What `seedlingcv assess --csv` writes can be read back. The register's columns (crop, variety,
layout, sown, light, roots, seed_lot, batch, shelf) may stand in the sheet too. Lines that begin with # are not read.
What can't be understood is left out and complained of, one line a row; the rest stays. If one row has a date, all need
one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.flags import CELL
from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records import sheet
from seedlingcv.records.columns import (
    AREA,
    FLAT,
    LENGTH,
    NUMBER,
    SHARE,
    Column,
    Figure,
    Kind,
    Line,
    Names,
    no_number,
    read_figure,
    read_lines,
)
from seedlingcv.records.parts import cell_place
from seedlingcv.records.register import SAID, FlatRow, read_said
from seedlingcv.records.sheet import read_number as read_number

WHOLE_FLAT = "all"  # the cell's name where one line stands for the whole flat
BY_HAND = "ruler"  # where a stem is from
FIGURES = (
    Figure("plants", ("plants", "plant", "number_of_plants"), NUMBER, 0, 3000),
    Figure("true_leaves", ("true_leaves", "leaves", "leaf_count", "true_leaf_count"), NUMBER, 0, 50),
    Figure("canopy_cover", ("canopy_cover", "cover", "canopy"), SHARE, 0, 1),
    Figure("leaf_spread_mm", ("leaf_spread", "spread", "leaf_span"), LENGTH, 1, 1500),
    Figure("leaf_area_mm2", ("leaf_area", "area"), AREA, 1, 2_000_000),
    Figure("stem_length_mm", ("stem_length", "stem", "stem_len"), LENGTH, 0.5, 1000),
    Figure("hypocotyl_length_mm", ("hypocotyl_length", "hypocotyl", "stem_to_seed_leaves", "seed_leaf_height"), LENGTH,
           0.5, 500),
    Figure("stem_diameter_mm", ("stem_diameter", "diameter", "caliper", "stem_thickness"), LENGTH, 0.1, 40),
    Figure("height_mm", ("height", "plant_height"), LENGTH, 0.5, 1500),
    Figure("row_spread_mm", ("row_spread",), LENGTH, 1, 1500),
    Figure("lean_deg", ("lean",), {"deg": 1.0}, 0, 90),
    Figure("greenness", ("greenness",), NUMBER, -1, 1),
    Figure("yellow_fraction", ("yellow", "yellowing", "yellow_fraction"), SHARE, 0, 1),
)
KEYS: dict[str, Names] = {
    **FLAT, "cell": ("plug", "cell_name"),
    "date": ("day", "measured", "measured_on", "date_measured", "measuring_date", "measurement_date"),
    **SAID, "stem_from": (), "flags": (),
}
KIND = Kind("sheet", "", "flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover", KEYS,
            needs=("flat",), figures=FIGURES,
            unread=("legginess", "sturdiness_quotient"))  # reckoned again from what they are made of


@dataclass(frozen=True)
class RulerFlat:
    """A flat as measured on its newest day, and on the newest day before that where the sheet has one.

    row : what the sheet itself says of the flat, as a register's row would
    days : every day of the sheet, oldest first; figures without a date before all others
    """

    measurement: FlatMeasurement
    row: FlatRow
    earlier: FlatMeasurement | None = None
    days: tuple[FlatMeasurement, ...] = ()


@dataclass(frozen=True)
class RulerSheet:
    """`of_other_days` is what is wrong with days before each flat's newest two; `file` is what the sheet is called."""

    flats: tuple[RulerFlat, ...]
    complaints: tuple[str, ...] = ()
    of_other_days: tuple[str, ...] = ()
    file: str = "the sheet"


@dataclass(frozen=True)
class _Entry:
    at: int
    flat: int
    cell: CellMeasurement
    day: date | None
    row: FlatRow


def read_ruler(path: Path) -> RulerSheet:
    """Raises RegisterError if the file can't be read or has no `flat` column or no figures."""
    lines = read_lines(path, KIND)
    if not any(c and c.figure for c in lines.columns):
        said = f" {' '.join(lines.complaints)}" if lines.complaints else ""
        raise RegisterError(f"The sheet has no column with a figure.{said}", where=path.name,
                            next_step="Name one with its unit, such as stem_length_mm, or true_leaves.")
    by_flat: dict[int, list[_Entry]] = {}
    for entry in _of_known_days(lines.read(_entry), path.name, lines.complaints):
        by_flat.setdefault(entry.flat, []).append(entry)
    other_days: list[str] = []
    flats = tuple(_flat(flat, entries, path.name, lines.complaints, other_days) for flat, entries in by_flat.items())
    return RulerSheet(flats, tuple(lines.complaints), tuple(other_days), path.name)


def _of_known_days(entries: list[_Entry], name: str, complaints: list[str]) -> list[_Entry]:
    """Where any row has a date, those without one are left out: nobody knows whether theirs is the same."""
    undated = [entry.at for entry in entries if entry.day is None]
    if not undated or len(undated) == len(entries):
        return entries
    rows = f"row{'s' if len(undated) > 1 else ''} {sheet.ranges(undated)}"
    complaints.append(f"{name} {rows}: no date that can be read, and other rows have one, so what stands there is left "
                      "out; write in every row the day it was measured, such as 2025-03-20.")
    return [entry for entry in entries if entry.day is not None]


def _entry(line: Line, wrong: list[str]) -> _Entry | None:
    """None if the row belongs to no flat or no cell. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    if flat is None:
        return None
    name = line.text("cell").upper()
    place, known = read_cell(name)
    if not known:
        wrong.append(f'"{sheet.short(name)}" is no cell, so the row is left out; write A1, or nothing for the whole '
                     "flat")
        return None
    figures, errors = _figures(line.figures, wrong)
    stem_from = line.text("stem_from") or BY_HAND
    plants = figures.pop("plants", None)
    if plants is None or place is None:
        plants = 1 if figures or place is None else None
    cell = CellMeasurement(
        cell_name(*place) if place else WHOLE_FLAT, plants=int(plants) if plants is not None else None, se=errors,
        stem_from=stem_from if "stem_length_mm" in figures else None,
        flags=tuple(flag for flag in line.text("flags").split() if flag in CELL), **figures)
    return _Entry(line.at, flat, cell, sheet.past_day(line.text("date"), wrong, "date"), read_said(flat, line, wrong))


def read_cell(text: str) -> tuple[tuple[int, int] | None, bool]:
    """A cell's place, None for the whole flat (nothing written, or `all`); and whether it could be told."""
    name = text.replace(" ", "")
    place = cell_place(name)
    return place, place is not None or name.lower() in ("", WHOLE_FLAT)


def _figures(columns: Sequence[tuple[Column, str]], wrong: list[str]) -> tuple[dict[str, float], dict[str, float]]:
    """The figures in their fields' own units, and standard errors."""
    figures: dict[str, float] = {}
    errors: dict[str, float] = {}
    for column, text in columns:
        if column.figure is None or not text:
            continue
        what = column.figure.field
        if not column.is_se:
            value = read_figure(column, text, wrong)
            if value is not None:
                figures[what] = int(value) if value == int(value) and what in ("plants", "true_leaves") else value
        elif (error := read_number(text)) is not None:
            errors[what] = error * column.factor
        else:
            wrong.append(no_number(text, what))
    stem, hypocotyl = figures.get("stem_length_mm"), figures.get("hypocotyl_length_mm")
    if stem is not None and hypocotyl is not None and hypocotyl > 1.1 * stem:
        wrong.append("the stem to the seed leaves is longer than the whole stem, so it is left out; check both")
        del figures["hypocotyl_length_mm"]
    return figures, errors


def _flat(flat: int, lines: list[_Entry], name: str, complaints: list[str], other_days: list[str]) -> RulerFlat:
    row = _row(flat, lines)
    days: list[date | None] = [*sorted({line.day for line in lines if line.day}, reverse=True)]
    if any(line.day is None for line in lines):
        days.append(None)
    measured = [_measurement(row, [line for line in lines if line.day == day], day, name,
                             complaints if turn == 0 or (turn == 1 and day) else other_days)
                for turn, day in enumerate(days)]
    earlier = measured[1] if len(days) > 1 and days[1] else None
    return RulerFlat(measured[0], row, earlier, tuple(reversed(measured)))


def _row(flat: int, lines: list[_Entry]) -> FlatRow:
    """What the flat's lines say of it, the first that says something; of the roots, the newest day's."""
    told = FlatRow(flat)
    for name in ("crop", "variety", "rows", "columns", "sown", "light", "seed_lot", "batch", "shelf"):
        value = next((getattr(line.row, name) for line in lines if getattr(line.row, name) is not None), None)
        told = replace(told, **{name: value})
    newest = max((line.day for line in lines if line.day), default=None)
    return replace(told, roots=next((line.row.roots for line in lines if line.row.roots and line.day == newest), None))


def _measurement(row: FlatRow, lines: list[_Entry], day: date | None, name: str,
                 complaints: list[str]) -> FlatMeasurement:
    cells: dict[str, CellMeasurement] = {}
    for line in lines:
        if line.cell.cell in cells:
            which = f"cell {line.cell.cell}" if line.cell.cell != WHOLE_FLAT else "the whole flat"
            complaints.append(f"{name} row {line.at}: {which} of flat {row.flat} stands above already; that row "
                              "counts.")
        else:
            cells[line.cell.cell] = line.cell
    if len(cells) > 1 and cells.pop(WHOLE_FLAT, None):
        complaints.append(f"{name} flat {row.flat}: it has rows for its cells as well, so its row without a cell is "
                          "left aside.")
    ordered = sorted(cells.values(), key=lambda c: cell_place(c.cell) or (-1, 0))
    return on_layout(FlatMeasurement(row.flat, day, 0, 0, tuple(ordered)), row, name, complaints)


def on_layout(measured: FlatMeasurement, row: FlatRow, name: str, complaints: list[str]) -> FlatMeasurement:
    """The measurement with what a row says of the flat; cells outside its layout are left out and complained of."""
    measured = replace(measured, crop=row.crop, variety=row.variety, sown=row.sown, light=row.light)
    if not row.rows or not row.columns:
        return measured
    inside, outside = [], []
    for cell in measured.cells:
        place = cell_place(cell.cell)
        fits = place is None or (place[0] < row.rows and place[1] <= row.columns)
        (inside if fits else outside).append(cell)
    if outside:
        lie, are = ("lie", "they are") if len(outside) > 1 else ("lies", "it is")
        complaints.append(f"{name} flat {row.flat}: {', '.join(c.cell for c in outside)} {lie} outside "
                          f"{row.rows}x{row.columns} cells, so {are} left out.")
    return replace(measured, rows=row.rows, columns=row.columns, cells=tuple(inside))


def template(*, inch: bool = False) -> str:
    """An empty sheet with a commented example; its figures are invented."""
    unit, stem, seed, spread = ("in", "1 1/2", "1 1/8", "2 3/8") if inch else ("mm", "38", "29", "59")
    return f"""\
flat,cell,date,plants,true_leaves,stem_length_{unit},hypocotyl_length_{unit},leaf_spread_{unit},canopy_cover_pct,roots,crop,sown,layout
# Lines that begin with # are not read. One line a cell, or one line for a whole flat with the cell left empty.
# stem_length: soil to shoot tip. hypocotyl_length: soil to seed leaves. leaf_spread: largest width seen from above.
# canopy_cover_pct: how much of the cell leaves cover. roots of a tipped-out plug: not_ready, firm or root_bound.
# crop, sown and layout may stand in the register instead (--flats). An invented example:
# 31,A1,2025-03-20,1,2,{stem},{seed},{spread},19,,tomato,2025-02-23,6x12
# 58,,2025-03-20,,3,{stem},{seed},{spread},31,firm,pepper,2025-02-03,6x12
"""



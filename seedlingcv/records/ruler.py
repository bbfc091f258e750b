"""Figures measured by hand: a CSV with one line a cell, or one line for a whole flat.

    flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover
    31,A1,2025-03-20,1,2,38,59,0.19
    58,,2025-03-20,,3,35,62,0.31        (no cell: the line stands for all plants of flat 58)

A figure's unit stands in its column's name: `stem_length_mm`, `stem_length_cm`, `stem length (in)`; cover is a fraction
or `canopy_cover_pct`. What `seedlingcv assess --csv` writes can be read back. The register's columns (crop, variety,
layout, sown, light, roots) may stand in the sheet too. Lines that begin with # are not read. What can't be understood
is left out and complained of, one line a row; the rest stays.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.flags import CELL
from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records import sheet
from seedlingcv.records.parts import cell_place
from seedlingcv.records.register import FlatRow
from seedlingcv.units import MM_PER_INCH

WHOLE_FLAT = "all"  # the cell's name where one line stands for the whole flat
BY_HAND = "ruler"  # where a stem is from


@dataclass(frozen=True)
class Figure:
    """A column: the field it fills, other names for it, the units it may be in, and what a plant can have."""

    field: str
    names: tuple[str, ...]
    units: dict[str, float]  # unit in the column's name -> factor to the field's own unit; "" where none is needed
    least: float
    most: float


LENGTH = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}
AREA = {"mm2": 1.0, "cm2": 100.0, "in2": MM_PER_INCH**2}
SHARE = {"": 1.0, "fraction": 1.0, "pct": 0.01}
NUMBER = {"": 1.0}
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
UNITS = {"inch": "in", "inches": "in", "millimetres": "mm", "millimeters": "mm", "centimetres": "cm", "percent": "pct",
         "percentage": "pct", "sq_in": "in2", "sq_cm": "cm2", "sq_mm": "mm2", "degrees": "deg"}
OTHER = {"tray": "flat", "flat_number": "flat", "day": "date", "measured": "date", "measured_on": "date",
         "root_check": "roots", "sown_on": "sown", "sowing_date": "sown"}
KEYS = ("flat", "cell", "date", "crop", "variety", "layout", "sown", "light", "roots", "stem_from", "flags")
COMPUTED = ("legginess", "sturdiness_quotient")  # reckoned again from what they are made of


@dataclass(frozen=True)
class RulerFlat:
    """A flat as measured on its newest day, and on the newest day before that where the sheet has one.

    row : what the sheet itself says of the flat, as a register's row would
    """

    measurement: FlatMeasurement
    row: FlatRow
    earlier: FlatMeasurement | None = None


@dataclass(frozen=True)
class RulerSheet:
    flats: tuple[RulerFlat, ...]
    complaints: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Line:
    at: int
    flat: int
    cell: CellMeasurement
    day: date | None
    row: FlatRow


@dataclass(frozen=True)
class _Column:
    """`key` for one of KEYS, else a figure with its factor; `is_se` for its standard error."""

    key: str | None = None
    figure: Figure | None = None
    factor: float = 1.0
    is_se: bool = False


def read_ruler(path: Path) -> RulerSheet:
    """Raises RegisterError if the file can't be read or has no `flat` column or no figures."""
    table = [(at, row) for at, row in sheet.read_table(path, "sheet") if any(row) and not row[0].startswith("#")]
    header_at, header = table[0] if table else (0, [])
    complaints: list[str] = []
    columns = _columns(header, f"{path.name} row {header_at}", complaints)
    if not any(c and c.key == "flat" for c in columns):
        raise RegisterError("The sheet has no column named flat.", where=path.name,
                            next_step="Its first line must name the columns; `seedlingcv advise --template` shows how.")
    if not any(c and c.figure for c in columns):
        raise RegisterError("The sheet has no column with a figure.", where=path.name,
                            next_step="Name one with its unit, such as stem_length_mm, or true_leaves.")
    lines, day_above = [], {}
    for at, values in table[1:]:
        wrong: list[str] = []
        line = _line(at, columns, values, wrong)
        if line is not None:
            day_above[line.flat] = line.day or day_above.get(line.flat)  # a date is often written once a flat
            lines.append(replace(line, day=day_above[line.flat]))
        if wrong:
            complaints.append(f"{path.name} row {at}: {'; '.join(wrong)}.")
    flats = tuple(_flat(flat, [line for line in lines if line.flat == flat], path.name, complaints)
                  for flat in dict.fromkeys(line.flat for line in lines))
    return RulerSheet(flats, tuple(complaints))


def _columns(header: Sequence[str], where: str, complaints: list[str]) -> list[_Column | None]:
    found: list[_Column | None] = []
    for name in header:
        column, wrong = _column(name)
        if column is not None and any(other == column for other in found):
            column, wrong = None, f'the column "{sheet.short(name)}" stands twice; the first counts'
        if wrong:
            complaints.append(f"{where}: {wrong}.")
        found.append(column)
    return found


def _column(name: str) -> tuple[_Column | None, str]:
    """The column and what is wrong with its name; neither for a column of the grower's own."""
    plain = re.sub(r"[^a-z0-9]+", "_", name.lower().replace("²", "2").replace("%", " pct ")).strip("_")
    is_se = plain.endswith("_se")
    plain = plain.removesuffix("_se")
    key = OTHER.get(plain, plain)
    if key in KEYS:
        return _Column(key=key), ""
    if plain in COMPUTED:
        return None, ""
    for word, unit in UNITS.items():
        if plain.endswith(f"_{word}"):
            plain = f"{plain.removesuffix(f'_{word}')}_{unit}"
    for figure in FIGURES:
        for unit, factor in figure.units.items():
            if plain in {f"{n}_{unit}".strip("_") for n in figure.names}:
                return _Column(figure=figure, factor=factor, is_se=is_se), ""
        if plain in figure.names:
            ways = " or ".join(f"{plain}_{unit}" for unit in figure.units)
            return None, f'the column "{sheet.short(name)}" names no unit, so it is left out; name it {ways}'
    known = [*KEYS, *(n for f in FIGURES for n in f.names)]
    bare = re.sub(r"_(mm2?|cm2?|in2?|pct|deg)$", "", plain)
    close = get_close_matches(bare, known, n=1, cutoff=0.8)
    unknown = f'the column "{sheet.short(name)}" isn\'t known, so it is left out; did you mean {{}}?'
    return None, unknown.format(close[0]) if close else ""


def _line(at: int, columns: Sequence[_Column | None], values: Sequence[str], wrong: list[str]) -> _Line | None:
    """None if the row belongs to no flat or no cell. What is wrong is added to `wrong`."""
    texts = {c.key: text for c, text in zip(columns, values, strict=False) if c and c.key}
    flat = sheet.flat_number(texts.get("flat", ""), wrong)
    if flat is None:
        return None
    if any(values[len(columns):]):
        wrong.append("there are more values than columns: put text with a comma in it between quotation marks")
    name = texts.get("cell", "").upper().replace(" ", "")
    place = cell_place(name)
    if name and place is None and name.lower() != WHOLE_FLAT:
        wrong.append(f'"{sheet.short(name)}" is no cell, so the row is left out; write A1, or nothing for the whole '
                     "flat")
        return None
    figures, errors = _figures(columns, values, wrong)
    stem_from = texts.get("stem_from") or BY_HAND
    plants = figures.pop("plants", None)
    if plants is None or place is None:
        plants = 1 if figures or place is None else None
    cell = CellMeasurement(
        cell_name(*place) if place else WHOLE_FLAT, plants=int(plants) if plants is not None else None, se=errors,
        stem_from=stem_from if "stem_length_mm" in figures else None,
        flags=tuple(flag for flag in texts.get("flags", "").split() if flag in CELL), **figures)
    rows, layout_columns = sheet.layout(texts.get("layout", ""), wrong)
    row = FlatRow(flat, texts.get("crop", "").lower() or None, texts.get("variety") or None, rows, layout_columns,
                  sheet.day(texts.get("sown", ""), wrong, "sowing date"), texts.get("light") or None,
                  roots=sheet.roots(texts.get("roots", ""), wrong))
    return _Line(at, flat, cell, sheet.day(texts.get("date", ""), wrong, "date"), row)


def _figures(columns: Sequence[_Column | None], values: Sequence[str],
             wrong: list[str]) -> tuple[dict[str, float], dict[str, float]]:
    """The figures in their fields' own units, and standard errors."""
    figures: dict[str, float] = {}
    errors: dict[str, float] = {}
    for column, text in zip(columns, values, strict=False):
        if column is None or column.figure is None or not text:
            continue
        what, number = column.figure.field, read_number(text)
        if number is None:
            wrong.append(f'"{sheet.short(text)}" is no number for {what}, so it is left out')
            continue
        number *= column.factor
        if column.is_se:
            errors[what] = number
        elif not column.figure.least <= number <= column.figure.most:
            hint = "; for per cent name the column canopy_cover_pct" if what == "canopy_cover" and number > 1 else ""
            wrong.append(f'{what} can\'t be "{sheet.short(text)}", so it is left out; check the unit{hint}')
        elif what not in figures:
            figures[what] = int(number) if number == int(number) and what in ("plants", "true_leaves") else number
    stem, hypocotyl = figures.get("stem_length_mm"), figures.get("hypocotyl_length_mm")
    if stem is not None and hypocotyl is not None and hypocotyl > 1.1 * stem:
        wrong.append("the stem to the seed leaves is longer than the whole stem, so it is left out; check both")
        del figures["hypocotyl_length_mm"]
    return figures, errors


def read_number(text: str) -> float | None:
    """`38`, `1.5`, `1,5`, `1 1/2`, `3/8`, `19 %` (the sign is dropped); None for what is no number."""
    number, fraction = r"-?[0-9]+(?:[.,][0-9]+)?(?:[eE][-+]?[0-9]{1,2})?", r"([0-9]+)/([1-9][0-9]*)"
    match = re.fullmatch(rf"({number})?(?:(?:^| |(?<=[0-9])-){fraction})? ?%?", text.strip())
    if match is None or (match[1] is None and match[2] is None):
        return None
    return float((match[1] or "0").replace(",", ".")) + (int(match[2]) / int(match[3]) if match[2] else 0.0)


def _flat(flat: int, lines: list[_Line], name: str, complaints: list[str]) -> RulerFlat:
    row = _row(flat, lines)
    days = sorted({line.day for line in lines if line.day}, reverse=True)
    newest = days[0] if days else None
    now = _measurement(row, [line for line in lines if line.day == newest], newest, name, complaints)
    earlier = None
    if len(days) > 1:
        earlier = _measurement(row, [line for line in lines if line.day == days[1]], days[1], name, complaints)
    return RulerFlat(now, row, earlier)


def _row(flat: int, lines: list[_Line]) -> FlatRow:
    """What the flat's lines say of it, the first that says something; of the roots, the newest day's."""
    told = FlatRow(flat)
    for name in ("crop", "variety", "rows", "columns", "sown", "light"):
        value = next((getattr(line.row, name) for line in lines if getattr(line.row, name) is not None), None)
        told = replace(told, **{name: value})
    newest = max((line.day for line in lines if line.day), default=None)
    return replace(told, roots=next((line.row.roots for line in lines if line.row.roots and line.day == newest), None))


def _measurement(row: FlatRow, lines: list[_Line], day: date | None, name: str,
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
        complaints.append(f"{name} flat {row.flat}: {', '.join(c.cell for c in outside)} lie outside "
                          f"{row.rows}x{row.columns} cells, so they are left out.")
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



"""What a grower writes down by hand beside the photos: figures corrected, roots looked at, flats potted up.

    corrections.csv   flat,date,cell,figure,value,who,when,why
                      31,2025-03-20,A1,stem_length_mm,38,Ada,2025-03-21,the leaf hid the tip
    root_checks.csv   flat,date,roots,who
    potted.csv        flat,date,cells,plants,pot,who,note

`figure` is named as in a sheet of figures, with its unit (`stem_length_in`, `true leaves`). An empty `value` means that
the measured one is not to be used. `who` and `why` are needed: a figure put right without them can't be trusted. What
can't be understood is left out and complained of, one line a row; the rest stays.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeVar

from seedlingcv.flat.layout import cell_name
from seedlingcv.records import sheet
from seedlingcv.records.columns import FLAT, WHO, Kind, Line, Names, read_figure, read_lines, read_name
from seedlingcv.records.parts import REST, read_part
from seedlingcv.records.register import CELLS
from seedlingcv.records.ruler import FIGURES, WHOLE_FLAT, read_cell
from seedlingcv.records.ruler import KIND as RULER

DATE: dict[str, Names] = {"date": ("day", "date_of_photo", "photo_date", "measured_on")}
CORRECTIONS = Kind("corrections file", "corrections", "flat,date,cell,figure,value,who,when,why", {
    **FLAT, **DATE, "cell": ("plug", "cell_name"), "figure": ("measure", "field", "what"),
    "value": ("new_value", "right_value", "corrected_value", "corrected_to"), **WHO,
    "when": ("corrected_on", "date_corrected", "correction_date"),
    "why": ("reason", "note", "remark", "comment")}, ("flat", "date", "cell", "figure", "value", "who", "why"))
ROOT_CHECKS = Kind("root checks file", "root_checks", "flat,date,roots,who", {
    **FLAT, "date": ("day", "checked", "checked_on", "date_checked"), "roots": ("root_check", "root_state"), **WHO},
    ("flat", "date", "roots"))
POTTED = Kind("potted file", "potted", "flat,date,cells,plants,pot,who,note", {
    **FLAT, "date": ("day", "potted", "potted_on", "potted_up", "potted_up_on", "date_potted", "potting_date"), **CELLS,
    "plants": ("number_of_plants", "plant_count", "count", "how_many"), "pot": ("pot_size", "pot_type", "container"),
    **WHO, "note": ("remark", "comment")}, ("flat", "date"))
PLANTS = next(figure for figure in FIGURES if figure.field == "plants")
T = TypeVar("T")


@dataclass(frozen=True)
class Correction:
    """A figure of one cell on one day, put right by hand.

    figure : a field of `measure.table.CellMeasurement`, in that field's own unit
    value  : None means that the measured value is not to be used
    when   : the day it was corrected
    """

    flat: int
    day: date
    cell: str
    figure: str
    value: float | None
    who: str
    when: date | None
    why: str


@dataclass(frozen=True)
class RootCheck:
    """Plugs tipped out and looked at. roots : one of sheet.ROOT_STATES; source : "hand" or "photo"."""

    flat: int
    day: date
    roots: str
    who: str | None = None
    source: str = "hand"


@dataclass(frozen=True)
class Potting:
    """A flat, or a part of it such as `rows A-C`, potted up. plants : how many."""

    flat: int
    day: date
    plants: int | None = None
    pot: str | None = None
    who: str | None = None
    note: str | None = None
    part: str | None = None


def read_corrections(path: Path) -> tuple[list[Correction], list[str]]:
    """In the file's order, and what could not be used. Raises RegisterError if the file can't be read."""
    return _read(path, CORRECTIONS, _correction)


def read_root_checks(path: Path) -> tuple[list[RootCheck], list[str]]:
    """In the file's order, and what could not be used. Raises RegisterError if the file can't be read."""
    return _read(path, ROOT_CHECKS, _root_check)


def read_pottings(path: Path) -> tuple[list[Potting], list[str]]:
    """In the file's order, and what could not be used. Raises RegisterError if the file can't be read."""
    return _read(path, POTTED, _potting)


def _read(path: Path, kind: Kind, one: Callable[[Line, list[str]], T | None]) -> tuple[list[T], list[str]]:
    lines = read_lines(path, kind)
    return lines.read(one), lines.complaints


def _correction(line: Line, wrong: list[str]) -> Correction | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    day = sheet.needed_day(line.text("date"), wrong, "date")
    if flat is None or day is None:
        return None
    when = sheet.past_day(line.text("when"), wrong, "day of the correction")
    found = correction(flat, day, line.text("cell"), line.text("figure"), line.text("value"), line.text("who"), when,
                       line.text("why"), wrong)
    if found is None:
        wrong.append("the row is left out")
    return found


def correction(flat: int, day: date, cell: str, figure: str, value: str, who: str, when: date | None, why: str,
               wrong: list[str]) -> Correction | None:
    """A correction from its words; None, and why in `wrong`, if it can't be used."""
    place, known = read_cell(cell)
    if not known:
        wrong.append(f'"{sheet.short(cell)}" is no cell; write A1, or {WHOLE_FLAT} where the figures stand for '
                     "the whole flat")
        return None
    column, said = read_name(figure, RULER)
    if column is None or column.figure is None or column.is_se:
        made = any(figure.strip().lower() == name for name in RULER.unread)
        hint = said.partition("; ")[2] or ("it is reckoned from others: correct those" if made else
                                           "write it with its unit, such as stem_length_mm")
        wrong.append(f'"{sheet.short(figure)}" is no figure that can be corrected; {hint}')
        return None
    number = None
    if value:
        number = read_figure(column, value, wrong)
        if number is None:
            return None  # not the same as an empty value, which takes the measured one away
    for word, what in ((who, "who put it right"), (why, "why")):
        if not word:
            wrong.append(f"{what} is missing")
    if not who or not why:
        return None
    name = cell_name(*place) if place else WHOLE_FLAT
    return Correction(flat, day, name, column.figure.field, number, who, when, why)


def _root_check(line: Line, wrong: list[str]) -> RootCheck | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    day = sheet.needed_day(line.text("date"), wrong, "date")
    roots = sheet.roots(line.text("roots"), wrong)
    if roots is None and not line.text("roots"):
        wrong.append("it doesn't say how the roots are, so the row is left out")
    if flat is None or day is None or roots is None:
        return None
    return RootCheck(flat, day, roots, line.text("who") or None)


def _potting(line: Line, wrong: list[str]) -> Potting | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    day = sheet.needed_day(line.text("date"), wrong, "date")
    try:
        part = part_label(line.text("cells"))
    except ValueError as how:
        wrong.append(f'the cells "{sheet.short(line.text("cells"))}" can\'t be told, so the row is left out; {how}')
        return None
    if flat is None or day is None:
        return None
    plants, text = sheet.read_number(line.text("plants")), line.text("plants")
    if text and (plants is None or plants != int(plants) or not 0 <= plants <= PLANTS.most):
        wrong.append(f'the number of plants "{sheet.short(text)}" is left out; write a whole number')
        plants = None
    return Potting(flat, day, None if plants is None else int(plants), line.text("pot") or None,
                   line.text("who") or None, line.text("note") or None, part)


def part_label(cells: str) -> str | None:
    """Some cells of a flat as the list calls them, None for the whole flat.

    Raises ValueError, saying how cells are written.
    """
    if not cells or cells == REST:
        return cells or None
    return read_part(cells).label

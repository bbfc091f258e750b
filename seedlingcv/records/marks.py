"""A grower's own marks: `marks.csv`, what someone said of a flat's stretch after looking at it.

    flat,date,mark,legginess,crop,true_leaves
    31,2025-03-20,fine,,,
    58,2025-03-20,leggy,1.2,pepper,3

`flat`, `date` and `mark` (fine or leggy) are needed; a row with its own `legginess` (the flat's median: stem length /
leaf spread) needs no date, as nothing has to be looked up. What can't be understood is left out and complained of,
one line a row; the rest stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import isfinite
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.records import sheet

COLUMNS = ("flat", "date", "mark", "legginess", "crop", "true_leaves")
WORDS = {"fine": False, "ok": False, "good": False, "leggy": True, "stretched": True}
MOST_LEGGINESS = 20  # beyond it something else was written there
MOST_LEAVES = 50


@dataclass(frozen=True)
class Mark:
    """One look at a flat. legginess and true_leaves are the flat's medians, None where the row doesn't tell."""

    flat: int
    leggy: bool
    day: date | None = None
    legginess: float | None = None
    crop: str | None = None  # in small letters
    true_leaves: float | None = None


@dataclass(frozen=True)
class Marks:
    path: Path
    marks: tuple[Mark, ...]
    complaints: tuple[str, ...] = ()


def read_marks(path: Path) -> Marks:
    """Raises RegisterError if the file can't be read or has no `flat` and `mark` columns."""
    table = sheet.read_table(path, "marks file")
    number, header = next(((n, row) for n, row in table if any(row)), (0, []))
    names = [name.lower().replace(" ", "_") for name in header]
    if not {"flat", "mark"} <= set(names):
        raise RegisterError("The marks file has no columns named flat and mark.", where=path.name,
                            next_step=f"Its first line must name the columns: {','.join(COLUMNS)}.")
    seen_at: dict[tuple, int] = {}
    marks, complaints = [], []
    for at, values in table:
        if at <= number or not any(values):
            continue
        wrong: list[str] = []
        mark = _mark(names, values, wrong)
        if mark is not None:
            first = seen_at.setdefault((mark.flat, mark.day, mark.crop), at)
            if first == at:
                marks.append(mark)
            else:
                wrong.append(f"flat {mark.flat} was marked for that day in row {first} already; that one counts, "
                             "so delete one of the two")
        if wrong:
            complaints.append(f"{path.name} row {at}: {'; '.join(wrong)}.")
    return Marks(path, tuple(marks), tuple(complaints))


def _mark(names: list[str], values: list[str], wrong: list[str]) -> Mark | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    cells: dict[str, str] = {}
    for name, value in zip(names, values, strict=False):
        cells.setdefault(name, value)
    flat = sheet.flat_number(cells.get("flat", ""), wrong)
    if flat is None:
        return None
    word = cells.get("mark", "")
    if word.lower() not in WORDS:
        wrong.append(f'the mark "{sheet.short(word)}" is left out; write fine or leggy')
        return None
    legginess = _number(cells.get("legginess", ""), MOST_LEGGINESS, wrong, "legginess")
    leaves = _number(cells.get("true_leaves", ""), MOST_LEAVES, wrong, "number of true leaves", least=0)
    day = sheet.day(cells.get("date", ""), wrong, "date")
    if day is None and legginess is None:
        wrong.append("without a date (and without a legginess) the mark belongs to no photos, so it is left out")
        return None
    return Mark(flat, WORDS[word.lower()], day, legginess, cells.get("crop", "").lower() or None, leaves)


def _number(text: str, most: float, wrong: list[str], what: str, *, least: float | None = None) -> float | None:
    """A number above 0 (or from `least`) up to `most`, with a decimal point or comma; None where nothing is written."""
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = float("nan")
    good = isfinite(number) and number <= most and (number > 0 if least is None else number >= least)
    if good:
        return number
    wrong.append(f'the {what} "{sheet.short(text)}" is left out; write a number up to {most}')
    return None

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

from seedlingcv.records import sheet
from seedlingcv.records.columns import FLAT, Kind, Line, read_lines

KIND = Kind("marks file", "marks", "flat,date,mark,legginess,crop,true_leaves",
            FLAT | {"date": ("day", "marked_on", "date_marked"), "mark": ("verdict",), "legginess": (),
                    "crop": ("species",), "true_leaves": ("leaves", "leaf_count")}, needs=("flat", "mark"))
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
    lines = read_lines(path, KIND)
    seen_at: dict[tuple, int] = {}

    def first(line: Line, wrong: list[str]) -> Mark | None:
        mark = _mark(line, wrong)
        at = seen_at.setdefault((mark.flat, mark.day, mark.crop), line.at) if mark else line.at
        if mark and at != line.at:
            wrong.append(f"flat {mark.flat} was marked for that day in row {at} already; that one counts, so delete "
                         "one of the two")
            return None
        return mark

    marks = lines.read(first)
    return Marks(path, tuple(marks), tuple(lines.complaints))


def _mark(line: Line, wrong: list[str]) -> Mark | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    if flat is None:
        return None
    word = line.text("mark")
    if word.lower() not in WORDS:
        wrong.append(f'the mark "{sheet.short(word)}" is left out; write fine or leggy')
        return None
    legginess = _number(line.text("legginess"), MOST_LEGGINESS, wrong, "legginess")
    leaves = _number(line.text("true_leaves"), MOST_LEAVES, wrong, "number of true leaves", least=0)
    day = sheet.day(line.text("date"), wrong, "date")
    if day is None and legginess is None:
        wrong.append("without a date (and without a legginess) the mark belongs to no photos, so it is left out")
        return None
    return Mark(flat, WORDS[word.lower()], day, legginess, line.text("crop").lower() or None, leaves)


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

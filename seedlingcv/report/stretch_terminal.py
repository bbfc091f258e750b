"""Stretch over time in a terminal: the answers in sentences, then a small chart of legginess for each group.

Everything fits 80 columns. Charts are drawn with plain characters: a flat is a letter, its crop's leggy limit a line.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from string import ascii_lowercase
from textwrap import wrap
from typing import TYPE_CHECKING

from seedlingcv.crops.crop import Crop
from seedlingcv.records.history import FlatHistory
from seedlingcv.report import stretch_words as words
from seedlingcv.report.line_chart import Course, frame_of, ticks
from seedlingcv.report.stretch_charts import group_courses
from seedlingcv.stretch.series import Group
from seedlingcv.stretch.study import Study

if TYPE_CHECKING:
    from rich.console import Console

ROWS, COLUMNS = 10, 54
INDENT = " " * 9
SEVERAL = "*"


def print_stretch(console: Console, study: Study, crop_of: Callable[[FlatHistory], Crop | None], *,
                  against_leaves: bool = False, inch: bool = False) -> None:
    days = study.days
    when = words.say_day(days[0]) + (f" to {words.say_day(days[-1])}" if len(days) > 1 else "")
    _say(console, f"Stretch over time, {when} {days[-1].year}: {words.counts(study)}", bold=True)
    if len(days) == 1:
        _say(console, "One day shows no growth yet. Photograph the same flats again in three to seven days.")
    _answers(console, study, inch)
    for group in study.groups:
        _group(console, study, group, crop_of(group.flats[0]), against_leaves, inch)


def _answers(console: Console, study: Study, inch: bool) -> None:
    _head(console, "Flats that left their crop's band")
    left = [f"{flat}: {what}" for flat, what in words.left_lines(study)]
    _items(console, [words.how_many_left(study), *left] if left else [words.no_one_left(study)])
    if study.unjudged:
        _items(console, [f"Not judged: {'; '.join(words.unjudged_lines(study))}"])
    if study.changes:
        _head(console, "What a change of light did")
        title = ""
        for effect in study.changes:
            if words.change_title(effect) != title:
                title = words.change_title(effect)
                _say(console, f"  {title}", bold=True)
                told: set[str] = set()
            left_out = [line for line in words.left_out_lines(effect) if line not in told]
            _items(console, [words.change_line(effect, inch=inch), *left_out])
            told.update(left_out)
    sides = words.side_lines(study.places)
    if sides:
        _head(console, "Which side is weak")
        if any(words.clear_sides(place) for place in study.places):
            sides.append(words.together_line(study.places))
        _items(console, [line for line in sides if line])


def _group(console: Console, study: Study, group: Group, crop: Crop | None, against_leaves: bool, inch: bool) -> None:
    name = f"{group.name}, {group.crop or 'crop not known'}"
    _head(console, name[0].upper() + name[1:] +
          ("" if study.by == "flat" else f": {words.flat_numbers(group.flats)}"))
    for line in _growth_lines(study, group, inch):
        _items(console, [line])
    courses = [c for c in group_courses(group, "legginess", against_leaves=against_leaves) if not c.thick]
    if not courses:
        _items(console, ["No chart: no legginess with " +
                         ("counted true leaves" if against_leaves else "a sowing date (column sown of flats.csv)")])
        return
    bands = crop.legginess if crop else None
    for line in text_chart(courses, bands.leggy_above if bands else None,
                           x_title="true leaves" if against_leaves else "days since sowing"):
        console.print(line, highlight=False, markup=False, soft_wrap=True)
    if bands:
        console.print(f"{INDENT}before {bands.from_true_leaves} true leaves: leggy above {bands.young_leggy_above:g}",
                      highlight=False, markup=False)


def _growth_lines(study: Study, group: Group, inch: bool) -> list[str]:
    """Of a single flat its own growth, of several the mean over flats of each light they stood under."""
    members = set(map(id, group.flats))
    if len(group.flats) == 1:
        return [words.growth_line(own, inch=inch) for field in ("stem_length_mm", "legginess")
                for own in study.growth[field] if id(own.history) in members]
    from seedlingcv.stretch.growth import growth_by_place

    by = "shelf" if study.by == "shelf" else "light"
    return [f"{words.NAMES[field].capitalize()} under {words.called(growth.place, by)}: "
            f"{words.place_growth(growth, inch=inch)}"
            for field in ("stem_length_mm", "legginess") for growth in growth_by_place(group.flats, by, field)]


def text_chart(courses: Sequence[Course], limit: float | None, *, x_title: str) -> list[str]:
    """Legginess as lines of text: letters for flats, `*` where several meet, `-` for the leggy limit, a key below."""
    frame = frame_of(courses, guides=[limit] if limit else [])
    assert frame is not None
    (x0, x1), (y0, y1) = frame.x, frame.y

    def row(y: float) -> int:
        return round((y1 - y) / (y1 - y0) * (ROWS - 1))

    def column(x: float) -> int:
        return round((x - x0) / (x1 - x0) * (COLUMNS - 1))

    paper = [[" "] * COLUMNS for _ in range(ROWS)]
    beside = dict.fromkeys(range(ROWS), "")
    if limit and y0 < limit < y1:
        paper[row(limit)] = ["-"] * COLUMNS
        beside[row(limit)] = f" leggy above {limit:g}"
    letters = [ascii_lowercase[i] if i < 26 else SEVERAL for i in range(len(courses))]
    for letter, course in zip(letters, courses, strict=True):
        for x, y in course.points:
            here = paper[row(y)][column(x)]
            paper[row(y)][column(x)] = letter if here in " -" else SEVERAL
    labels = {row(y): f"{y:.2f}" for y in ticks(y0, y1, most=4)}
    if limit and y0 < limit < y1:  # its row is at its own height, not at a round number's near by
        labels[row(limit)] = f"{limit:.2f}"
    lines = [f"  {labels.get(i, ''):>5} |{''.join(cells).rstrip()}{beside[i]}" for i, cells in enumerate(paper)]
    axis, numbers = ["-"] * COLUMNS, [" "] * (COLUMNS + 4)
    for x in ticks(x0, x1, most=7):
        if x == int(x):
            axis[column(x)] = "+"
            text = f"{x:g}"
            numbers[column(x):column(x) + len(text)] = text
    key = ", ".join(f"{letter} {course.label}" for letter, course in zip(letters, courses, strict=True)
                    if letter != SEVERAL)
    several = f"; {SEVERAL} several" if len(courses) > 1 else ""
    return ["  Legginess", *lines, f"        +{''.join(axis)}", f"         {''.join(numbers).rstrip()}",
            *wrap(f"{x_title}; flat{'s' if several else ''} {key}{several}", 79, initial_indent=INDENT,
                  subsequent_indent=INDENT)]


def _head(console: Console, text: str) -> None:
    console.print()
    _say(console, text, bold=True)


def _items(console: Console, lines: Sequence[str]) -> None:
    from rich.padding import Padding
    from rich.text import Text

    for line in lines:
        text = line[0].upper() + line[1:]
        console.print(Padding(Text(text + ("" if text[-1] in ".!?" else ".")), (0, 1, 0, 2)))


def _say(console: Console, text: str, *, bold: bool = False) -> None:
    from rich.text import Text

    console.print(Text(text, style="bold" if bold else ""))

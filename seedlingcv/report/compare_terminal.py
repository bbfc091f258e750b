"""A comparison in a terminal: the answer, a small table, every flat on a line of plain characters. Fits 80 columns."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from seedlingcv.report.compare_chart import half_interval
from seedlingcv.report.compare_page import CHECKED, group_rows, left_out_lines, matter_line, method_line, said_p
from seedlingcv.trials.answer import answer, interval, next_trial, pair_lines, plants, verdict_words
from seedlingcv.trials.compare import Comparison
from seedlingcv.trials.design import BY, FlatValue
from seedlingcv.trials.units import PLURALS

if TYPE_CHECKING:
    from rich.console import Console

WIDTH, LABEL = 79, 20
PLOT = WIDTH - LABEL - 9  # the value stands behind


def print_compare(console: Console, comparison: Comparison, *, inch: bool = False) -> None:
    figure = comparison.question.measure
    by = BY[comparison.question.by]
    _say(console, f"{PLURALS[by].capitalize()} compared: {figure.told} of {plants(comparison)}", bold=True)
    _say(console, f"At {comparison.stage}")
    console.print()
    _say(console, answer(comparison, inch=inch), bold=True)
    for line in pair_lines(comparison, inch=inch):
        _say(console, f"- {line}", "  ")
    console.print()
    _plot(console, comparison, inch)
    if comparison.why_nothing is None:
        _differences(console, comparison, inch)
        _say(console, matter_line(comparison, inch=inch))
    _head(console, "What was compared")
    for row in group_rows(comparison, inch=inch):
        lights = "".join(f"; {light}" for light in row.lights if light)
        _say(console, f"- {row.name}: {row.count}{lights}{f'; {row.note}' if row.note else ''}", "  ")
    for line in left_out_lines(comparison):
        _say(console, f"- left out: {line}", "  ")
    if comparison.checks or comparison.notes:
        _head(console, "Can it be trusted?")
    for note in comparison.notes:
        _say(console, f"- Look into: {note}", "  ")
    for check in comparison.checks:
        if check.state != "fine":
            _say(console, f"- {CHECKED[check.state]}: {check.text}", "  ")
    if fine := [check.about for check in comparison.checks if check.state == "fine"]:
        _say(console, f"- Fine: {', '.join(fine)}", "  ")
    _head(console, "The next trial")
    for line in next_trial(comparison, inch=inch):
        _say(console, line)
    console.print()
    _say(console, method_line(comparison))


def _plot(console: Console, comparison: Comparison, inch: bool) -> None:
    """A line a unit, `o`, and one for each flat of a unit with several, `x`; |--| the interval of a flat's plants."""
    figure = comparison.question.measure
    flats = [flat for unit in comparison.units for flat in unit.flats]
    several = len(flats) > len(comparison.units)
    spans = [(flat.mean - half, flat.mean + half) for flat in flats for half in [_half(flat)]]
    low, high = min(a for a, _ in spans), max(b for _, b in spans)
    room = (high - low) or abs(high) or 1.0

    def column(value: float) -> int:
        return min(max(round((value - low) / room * (PLOT - 1)), 0), PLOT - 1)

    for group in comparison.groups:
        held = ""
        if group.low is not None:
            held = f" (95 % interval {figure.number(group.low, inch)} to {figure.number(group.high, inch)})"
        _say(console, f"{group.name}: mean {figure.text(group.mean, inch)}{held}", bold=True)
        for unit in sorted((u for u in comparison.units if u.group == group.name), key=lambda u: u.value):
            flat = unit.flats[0] if len(unit.flats) == 1 else None
            line = _line(unit.value, _half(flat) if flat else 0.0, column, "o")
            _say_plain(console, f"  {_short(unit.name, 2)}{line}{figure.number(unit.value, inch):>8}")
            for own in () if flat else unit.flats:
                line = _line(own.mean, _half(own), column, "x")
                _say_plain(console, f"    {_short(own.tray, 4)}{line}{figure.number(own.mean, inch):>8}")
    ends = figure.number(low, inch), figure.number(high, inch)
    _say_plain(console, " " * LABEL + ends[0] + ends[1].rjust(PLOT - len(ends[0])))
    _say_plain(console, " " * LABEL + f"o {comparison.kind}" + (", x its flats" if several else "")
               + (", |--| 95 % interval of a flat's plants" if any(a < b for a, b in spans) else ""))
    console.print()


def _half(flat: FlatValue) -> float:
    return half_interval(flat.cells) if len(flat.cells) > 1 else 0.0


def _short(name: str, indent: int) -> str:
    room = LABEL - indent
    return f"{name if len(name) < room else name[: room - 2] + '…':<{room}}"


def _line(mean: float, half: float, column: Callable[[float], int], mark: str) -> str:
    marks = [" "] * PLOT
    left, right = column(mean - half), column(mean + half)
    if right > left:
        marks[left:right + 1] = ["|", *"-" * (right - left - 1), "|"]
    marks[column(mean)] = mark
    return "".join(marks)


def _differences(console: Console, comparison: Comparison, inch: bool) -> None:
    from rich.table import Table

    figure = comparison.question.measure
    unit = figure.shown_unit(inch)
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    for name in ("Between", "Difference" + (f", {unit}" if unit else ""), "95 % interval", "p", "So"):
        table.add_column(name)
    for d in comparison.differences:
        table.add_row(*(_text(cell) for cell in (
            f"{d.one} − {d.other}", figure.number(d.estimate, inch), interval(comparison, d, inch), said_p(d.p),
            verdict_words(comparison, d))))
    console.print(table)


def _head(console: Console, words: str) -> None:
    console.print()
    _say(console, words, bold=True)


def _say(console: Console, words: str, indent: str = "", *, bold: bool = False) -> None:
    for line in _wrapped(words, indent):
        _say_plain(console, line, bold=bold)


def _wrapped(words: str, indent: str) -> Sequence[str]:
    return wrap(words, WIDTH, subsequent_indent=indent) or [""]


def _say_plain(console: Console, line: str, *, bold: bool = False) -> None:
    console.print(_text(line, "bold" if bold else ""), soft_wrap=True)


def _text(words: str, style: str = ""):
    """Plain text: square brackets in a name are no markup."""
    from rich.text import Text

    return Text(words, style=style)

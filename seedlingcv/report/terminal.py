"""The pot-up list in a terminal: what first, why, by when. Words carry the meaning, bold type only helps."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.potup import Entry, pot_up_list
from seedlingcv.report import words

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

# Widths for 80 columns: eight columns and a blank after each come to 79.
COLUMNS = (("Flat", 4), ("Crop", 12), ("Do what", 17), ("By when", 13), ("Plants", 6), ("True leaves", 6),
           ("Legginess", 9), ("Cover", 5))
WIDE = 120  # from here on the reason has a column of its own


def print_list(console: Console, entries: Sequence[Entry], photos: Sequence[PhotoResult] = (),
               complaints: Sequence[str] = (), *, today: date, inch: bool = False,
               quiet: bool = False, none: str = "No flat could be measured.") -> None:
    """Print the flats in the order in which they want work, then the photos not used and what is wrong with the
    register.

    `quiet` prints one line a flat and nothing else; `none` stands where there is no flat.
    """
    ordered = pot_up_list(entries)
    if quiet:
        for entry in ordered:
            console.print(_text(one_line(entry, today, inch=inch)), soft_wrap=True)
        return
    console.print(_text(f"Pot-up list for {today:%A} {today.day} {today:%B} {today.year}", "bold"))
    console.print()
    if not ordered:
        console.print(_text(none))
    elif console.width >= WIDE:
        _print_wide(console, ordered, today, inch)
    else:
        _print_narrow(console, ordered, today, inch)
    _print_photos(console, photos)
    _print_complaints(console, complaints)
    console.print(_text(words.SAFETY))


def trouble_lines(entries: Sequence[Entry], photos: Sequence[PhotoResult], complaints: Sequence[str]) -> list[str]:
    """For beside the quiet list: a line for each photo refused and each complaint, and one if there is no flat."""
    refused, _ = words.not_used(photos)
    lines = [f"{photo.file}: {words.photo_why(photo)}. {words.photo_advice(photo)}" for photo in refused]
    lines += complaints if entries else [*complaints, "No flat could be measured."]
    return [" ".join(line.split()) for line in lines]


def one_line(entry: Entry, today: date, *, inch: bool = False) -> str:
    verdict = entry.verdict
    parts = [f"{words.ACTION[verdict.action].lower()}, {words.by_when(verdict, today)}"]
    if deep := words.burial(verdict, inch=inch):
        parts.append(deep[0].lower() + deep[1:])
    parts += [text for text in (*verdict.reasons[:1], entry.left_band) if text]
    part = f" {entry.part}" if entry.part else ""
    line = f"{entry.measurement.flat}{part} {words.crop_name(entry.measurement)}: {'; '.join(parts)}"
    return " ".join(line.split())


def _row(entry: Entry, today: date, inch: bool) -> list[Text]:
    measured, verdict = entry.measurement, entry.verdict
    what = _text(words.ACTION[verdict.action], "bold")
    crop = _text((measured.crop or "crop not known").capitalize())
    if measured.variety:
        crop.append(f"\n{measured.variety}")
    if entry.part:
        crop.append(f"\n{entry.part}", "bold")
    leggy = _text(words.middle(measured, "legginess", "ratio"))
    if share := words.leggy_share(verdict):
        leggy.append(f"\n{share}")
    return [
        _text(str(measured.flat), "bold"), crop, what, _text(words.by_when(verdict, today)),
        _text(words.plant_count(measured)), _text(words.middle(measured, "true_leaves", "count")), leggy,
        _text(words.middle(measured, "canopy_cover", "share")),
    ]


def _print_narrow(console: Console, entries: Sequence[Entry], today: date, inch: bool) -> None:
    """A small table a flat, of fixed widths so that they line up, and the reason below across the page."""
    from rich.padding import Padding

    for number, entry in enumerate(entries):
        table = _table(show_header=number == 0)
        for (name, _), width in zip(COLUMNS, _widths(console.width), strict=True):
            table.add_column(name, width=width, justify=_side(name), overflow="fold")
        table.add_row(*_row(entry, today, inch))
        console.print(table)
        for line in _below(entry, inch):
            console.print(Padding(_text(line), (0, 1, 0, COLUMNS[0][1] + 1)))
        console.print()


def _widths(room: int) -> list[int]:
    """The columns' widths, a blank after each; in a small window the widest give way, but no heading is cut."""
    widths, least = [width for _, width in COLUMNS], [max(map(len, name.split())) for name, _ in COLUMNS]
    while sum(widths) + len(widths) > room and widths != least:
        widest = max(range(len(widths)), key=lambda i: widths[i] if widths[i] > least[i] else 0)
        widths[widest] -= 1
    return widths


def _below(entry: Entry, inch: bool) -> list[str]:
    """How deep, why, and what sets the last day: a line each, where there is something to say."""
    verdict = entry.verdict
    deep, last = words.burial(verdict, inch=inch), words.last_day(verdict)
    lines = [f"How: {deep}"] if deep else []
    lines += [f"Why: {verdict.reasons[0]}"] if verdict.reasons else []
    lines += [f"Stretch: {entry.left_band}"] if entry.left_band else []
    return lines + ([f"Last day: {last}"] if last else [])


def _print_wide(console: Console, entries: Sequence[Entry], today: date, inch: bool) -> None:
    table = _table(show_header=True)
    for name, width in COLUMNS:
        table.add_column(name, min_width=width, max_width=width + 12, justify=_side(name))
    table.add_column("How and why", ratio=1, min_width=30)
    for entry in entries:
        table.add_row(*_row(entry, today, inch), _text("\n".join(_below(entry, inch))))
        table.add_row()
    console.print(table)


def _table(*, show_header: bool) -> Table:
    from rich.table import Table

    return Table(box=None, padding=(0, 1, 0, 0), pad_edge=True, show_header=show_header, header_style="bold")


def _side(name: str) -> str:
    return "right" if name in ("Flat", "Plants", "True leaves", "Legginess", "Cover") else "left"


def _print_photos(console: Console, photos: Sequence[PhotoResult]) -> None:
    from rich.padding import Padding

    refused, spare = words.not_used(photos)
    if refused:
        console.print(_text("Photos not used", "bold"))
        for photo in refused:
            of_flat = f" (flat {photo.flat})" if photo.flat is not None else ""
            console.print(_text(f"{photo.file}{of_flat}"))
            console.print(Padding(_text(f"{words.photo_why(photo)}. {words.photo_advice(photo)}".strip()),
                                  (0, 1, 0, 4)))
        console.print()
    if spare:
        console.print(_text(words.spare_photos(spare)))
        console.print()


def _print_complaints(console: Console, complaints: Sequence[str]) -> None:
    from rich.padding import Padding

    if complaints:
        console.print(_text("Please look into", "bold"))
        for complaint in complaints:
            console.print(Padding(_text(f"- {complaint}"), (0, 1, 0, 0)))
        console.print()


def _text(words_: str, style: str = "") -> Text:
    """Plain text: square brackets in a variety's name are no markup."""
    from rich.text import Text

    return Text(words_, style=style)

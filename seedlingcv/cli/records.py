"""`seedlingcv records`: the season's records, what goes in by hand and what is in them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperCommand

from seedlingcv.cli import options
from seedlingcv.cli.options import records_named
from seedlingcv.cli.results import NEEDS_ATTENTION
from seedlingcv.errors import RecordsError, RegisterError

if TYPE_CHECKING:
    from seedlingcv.records.belonging import Season
    from seedlingcv.records.database import Records
    from seedlingcv.records.log import Potting

records = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None,
                      help="Keep a season's records: add tables, correct, look.")

Day = Annotated[datetime | None, typer.Option("--date", **options.AS_DAY, show_default=False,
                                              help="The day it was done; today if not given.")]
Who = Annotated[str | None, typer.Option(help="Who did it.")]


class FiguresBelowZero(TyperCommand):
    """`-5` is a figure, and no option."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:
        ctx.ignore_unknown_options = any(re.fullmatch(r"-[0-9.,/]+", arg) for arg in args)
        return super().parse_args(ctx, args)


class Form(StrEnum):
    csv = "csv"
    parquet = "parquet"


@records.command()
def add(
    files: Annotated[list[Path], typer.Argument(help="Tables, or folders that hold them.", show_default=False)],
    records: options.Records = None,
) -> None:
    """Add tables: flats, lights, moves, figures, root checks.

    Pottings and corrections too, as CSV or XLSX. What a table is, its columns tell; the same table may be added again,
    and only what is new in it counts. Ends with 3 if some rows could not be used.
    """
    from seedlingcv.records.adding import add_tables

    with _opened(records, make=True) as opened:
        done = add_tables(opened, files)
    for line in done.lines:
        typer.echo(line)
    for note in [*done.notes, *_misspelt(done.crops)]:
        _wrapped(f"Note: {note}")
    if done.complaints:
        typer.echo("Could not be used:")
        for complaint in done.complaints:
            _wrapped(complaint, indent="  ")
        raise typer.Exit(NEEDS_ATTENTION)


@records.command()
def show(records: options.Records = None, inches: options.Inches = False) -> None:
    """Show what is in the records, and what is missing."""
    from seedlingcv.cli.records_overview import lines_of
    from seedlingcv.records.summary import overview

    with _opened(records) as opened:
        for line in lines_of(overview(opened), opened.place, inch=inches):
            typer.echo(line)


@records.command(cls=FiguresBelowZero)
def correct(
    flat: Annotated[int, typer.Argument(help="Number of the flat.", **options.AS_FLAT, show_default=False)],
    cell: Annotated[str, typer.Argument(help="Such as A1; all, where one line stood for the flat.",
                                        show_default=False)],
    figure: Annotated[str, typer.Argument(help="With its unit, such as stem_length_mm.", show_default=False)],
    value: Annotated[str, typer.Argument(help="The right one; none: the measured one isn't used.",
                                         show_default=False)],
    day: Annotated[datetime, typer.Option("--date", **options.AS_DAY, help="The day it was measured.")],
    who: Annotated[str, typer.Option(help="Who puts it right.")],
    why: Annotated[str, typer.Option(help="Why.")],
    records: options.Records = None,
) -> None:
    """Put a measured figure right, by hand."""
    from seedlingcv.records.entries import SINGLY, keep_corrections
    from seedlingcv.records.log import correction
    from seedlingcv.records.recall import recall_day
    from seedlingcv.records.sheet import words

    wrong: list[str] = []
    cell, figure, value, who, why = map(words, (cell, figure, value, who, why))
    meant = correction(flat, day.date(), cell, figure, "" if value.lower() == "none" else value, who,
                       date.today(), why, wrong)
    if meant is None:
        said = "; ".join(wrong)
        raise RegisterError(f"This can't be corrected: {said}{'' if said.endswith('?') else '.'}", where=f"flat {flat}")
    with _opened(records) as opened:
        before = recall_day(opened, flat, meant.day)
        if before is None:
            raise _no_such_day(opened, flat, meant.day)
        was = next((c for c in before.cells if c.cell == meant.cell), None)
        if was is None:
            cells = [c.cell for c in before.cells]
            raise RecordsError(f"No cell {meant.cell} was measured on {meant.day}.", where=f"flat {flat}",
                               next_step=f"There are {', '.join(cells[:3])} … {cells[-1]}." if cells else "")
        for remark in keep_corrections(opened, [meant], told_by=SINGLY):
            raise RecordsError(remark, where=f"flat {flat}")
        after = recall_day(opened, flat, meant.day)
    now = next((c for c in after.cells if c.cell == meant.cell), was) if after else was
    said = "corrected before" if "corrected" in was.flags else "measured"
    typer.echo(f"Flat {flat} cell {meant.cell} on {meant.day}, {meant.figure}: "
               f"{_said(getattr(was, meant.figure))} ({said}), now {_said(getattr(now, meant.figure))}.")


@records.command()
def potted(
    flats: Annotated[list[str], typer.Argument(help="Numbers of the flats, or such as 31-42.", show_default=False)],
    day: Day = None,
    plants: Annotated[int | None, typer.Option(min=0, max=3000, help="How many plants, of each flat.")] = None,
    cells: Annotated[str | None, typer.Option(help="Only these cells, such as A-C.")] = None,
    pot: Annotated[str | None, typer.Option(help="Into which pot.")] = None,
    who: Who = None,
    note: Annotated[str | None, typer.Option(help="Anything else.")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take back the newest potting of each flat.")] = False,
    records: options.Records = None,
) -> None:
    """Write down that flats were potted up; they leave the list."""
    from seedlingcv.records.keep import keep_pottings, take_back_pottings
    from seedlingcv.records.log import Potting, part_label
    from seedlingcv.records.sheet import words
    from seedlingcv.records.slips import already_potted, outside
    from seedlingcv.records.summary import parts_left

    cells, pot, who, note = (words(said or "") or None for said in (cells, pot, who, note))
    try:
        part = part_label(cells or "")
    except ValueError as how:
        raise typer.BadParameter(f"{cells!r}: {how}.", param_hint="--cells") from how
    numbers = _numbers(flats)
    if undo:
        if any(said is not None for said in (plants, pot, who, note)):
            raise typer.BadParameter("Only --date and --cells go with it.", param_hint="--undo")
        with _opened(records) as opened:
            taken = take_back_pottings(opened, numbers, day=day.date() if day else None, part=part)
        for one in taken:
            typer.echo(f"Taken back: {_said_of(one)}.")
        typer.echo("If a table beside the photos says it too, delete it there.")
        return
    on = _done_on(day)
    with _opened(records) as opened:
        known = _known(opened, numbers, on)
        done = [Potting(f, on, plants, pot, who, note, part) for f in numbers]
        for one in done:
            if said := outside(one, known[one.flat]):
                raise RecordsError(said, next_step="Check the cells.")
        before = {one.flat: already_potted(opened, one) for one in done}
        keep_pottings(opened, done)
        left = {one.flat: parts_left(opened, one) for one in done if known[one.flat].seen is None or
                known[one.flat].seen <= on}
    typer.echo(f"Potted up on {on}: {', '.join(_place(f, part) for f in numbers)}.")
    for flat, day_before in before.items():
        if day_before:
            _wrapped(f"Note: {_place(flat, part)} was already written down as potted up on {day_before}.")
    for flat, season in known.items():
        if season.seen and season.seen > on:
            _wrapped(f"Note: flat {flat} was measured after that, on {season.seen}, so it stays on the list.")
        for some in left.get(flat, ()):
            _wrapped(f"Note: that is not all of {_place(flat, some)}, so it stays on the list.")


@records.command()
def roots(
    flat: Annotated[int, typer.Argument(help="Number of the flat.", **options.AS_FLAT, show_default=False)],
    state: Annotated[str, typer.Argument(help="not_ready, firm or root_bound.", show_default=False)],
    day: Day = None,
    who: Who = None,
    records: options.Records = None,
) -> None:
    """Write down how the roots of a tipped-out plug look."""
    from seedlingcv.records import sheet
    from seedlingcv.records.entries import SINGLY, keep_root_checks
    from seedlingcv.records.log import RootCheck

    word = sheet.roots(sheet.words(state), [])
    if word is None:
        raise typer.BadParameter(f"{state!r}: write not_ready, firm or root_bound.", param_hint="STATE")
    on = _done_on(day)
    with _opened(records) as opened:
        _known(opened, [flat], on)
        keep_root_checks(opened, [RootCheck(flat, on, word, sheet.words(who or "") or None)], told_by=SINGLY)
    typer.echo(f"Flat {flat} on {on}: roots {word}.")


@records.command()
def export(
    folder: Annotated[Path, typer.Argument(help="Folder for the tables; made if need be.", show_default=False)],
    form: Annotated[Form, typer.Option("--as", help="Kind of file.")] = Form.csv,
    records: options.Records = None,
) -> None:
    """Write the records as tables for other programs."""
    from seedlingcv.records.export import export_tables

    with _opened(records) as opened:
        for path in export_tables(opened, folder, form.value):
            typer.echo(path)


@contextmanager
def _opened(target: str | None, *, make: bool = False) -> Iterator[Records]:
    from seedlingcv.records.database import open_records

    with open_records(records_named(target), make=make) as opened:
        if opened.backup:
            typer.echo(f"The records were brought up to date; as they were, they stand in {opened.backup}.", err=True)
        yield opened


def _numbers(flats: Sequence[str]) -> list[int]:
    """Each number once; `31-33` for several. Raises typer.BadParameter for what is no flat's number."""
    found: list[int] = []
    for text in flats:
        first, dash, last = text.partition("-")
        low = options.flat_given(first)
        high = options.flat_given(last) if dash else low
        if high < low:
            raise typer.BadParameter(f"{text}: write the lower number first.", param_hint="FLATS")
        found += range(low, high + 1)
    return list(dict.fromkeys(found))


def _misspelt(crops: Mapping[str, set[int]]) -> Iterator[str]:
    """Crops that aren't known but are much like one. Others may be the grower's own, which the records don't know."""
    from seedlingcv.crops.crop import load_crop
    from seedlingcv.errors import CropError
    from seedlingcv.records.sheet import ranges

    for name, flats in crops.items():
        try:
            load_crop(name)
        except CropError as error:
            if error.next_step.startswith("Did you mean"):
                many = "s" if len(flats) > 1 else ""
                yield f"flat{many} {ranges(sorted(flats))}: {error.what} {error.next_step}"


def _done_on(day: datetime | None) -> date:
    on = day.date() if day else date.today()
    if on > date.today():
        raise typer.BadParameter(f"{on} is still to come.", param_hint="--date")
    return on


def _known(opened: Records, flats: Sequence[int], on: date) -> Mapping[int, Season]:
    """The flats that had these numbers on a day. A slip in a number or a date must not make a flat: raises RecordsError
    for one that isn't in the records."""
    from seedlingcv.records.belonging import season_on
    from seedlingcv.records.summary import flats_by_number

    known, found = flats_by_number(opened), {}
    for flat in flats:
        seasons = known.get(flat, [])
        if not seasons:
            raise RecordsError(f"There is no flat {flat} in the records.", where=opened.place,
                               next_step="Check the number, or add the register first: `seedlingcv records add "
                               "flats.csv`.")
        season = season_on(seasons, on)
        if season is None:
            sown = min(s.started for s in seasons if s.started)
            raise RecordsError(f"It was sown on {sown}, after {on}.", where=f"flat {flat}", next_step="Check the date.")
        found[flat] = season
    return found


def _place(flat: int, part: str | None) -> str:
    return f"flat {flat} {part}" if part else f"flat {flat}"


def _said_of(one: Potting) -> str:
    plants = None if one.plants is None else f"{one.plants} plants"
    more = ", ".join(said for said in (plants, one.pot, one.who, one.note) if said)
    return f"{_place(one.flat, one.part)}, potted up on {one.day}{f' ({more})' if more else ''}"


def _no_such_day(opened: Records, flat: int, day: date) -> RecordsError:
    from seedlingcv.records.summary import days_of

    days = days_of(opened, flat)
    step = f"It has figures of {', '.join(map(str, days[-5:]))}." if days else "Check the number."
    return RecordsError(f"There are no figures of {day}.", where=f"flat {flat}", next_step=step)


def _said(value: float | None) -> str:
    return "nothing" if value is None else f"{value:.4g}"


def _wrapped(text: str, *, indent: str = "") -> None:
    import textwrap

    typer.echo(textwrap.fill(text, 80, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False,
                             break_long_words=False))

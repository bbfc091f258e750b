"""`seedlingcv records`: the season's records, what goes in by hand and what is in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.cli.options import records_named
from seedlingcv.cli.results import NEEDS_ATTENTION
from seedlingcv.errors import RecordsError, RegisterError

if TYPE_CHECKING:
    from seedlingcv.records.database import Records

records = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None,
                      help="Keep a season's records: add tables, correct, look.")

Day = Annotated[datetime | None, typer.Option("--date", formats=["%Y-%m-%d"], show_default=False,
                                              help="The day it was done; today if not given.")]
Who = Annotated[str | None, typer.Option(help="Who did it.")]


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
    for note in done.notes:
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


@records.command()
def correct(
    flat: Annotated[int, typer.Argument(help="Number of the flat.", show_default=False)],
    cell: Annotated[str, typer.Argument(help="Such as A1; all, where one line stood for the flat.",
                                        show_default=False)],
    figure: Annotated[str, typer.Argument(help="With its unit, such as stem_length_mm.", show_default=False)],
    value: Annotated[str, typer.Argument(help="The right one; none: the measured one isn't used.",
                                         show_default=False)],
    day: Annotated[datetime, typer.Option("--date", formats=["%Y-%m-%d"], help="The day it was measured.")],
    who: Annotated[str, typer.Option(help="Who puts it right.")],
    why: Annotated[str, typer.Option(help="Why.")],
    records: options.Records = None,
) -> None:
    """Put a measured figure right, by hand."""
    from seedlingcv.records.keep import keep_corrections
    from seedlingcv.records.log import correction
    from seedlingcv.records.recall import recall_day

    wrong: list[str] = []
    meant = correction(_number(flat), day.date(), cell, figure, "" if value.lower() == "none" else value, who.strip(),
                       date.today(), why.strip(), wrong)
    if meant is None:
        raise RegisterError(f"This can't be corrected: {'; '.join(wrong)}.", where=f"flat {flat}")
    with _opened(records) as opened:
        before = recall_day(opened, flat, meant.day)
        if before is None:
            raise _no_such_day(opened, flat, meant.day)
        was = next((c for c in before.cells if c.cell == meant.cell), None)
        if was is None:
            cells = [c.cell for c in before.cells]
            raise RecordsError(f"No cell {meant.cell} was measured on {meant.day}.", where=f"flat {flat}",
                               next_step=f"There are {', '.join(cells[:3])} … {cells[-1]}." if cells else "")
        for remark in keep_corrections(opened, [meant]):
            raise RecordsError(remark, where=f"flat {flat}")
        after = recall_day(opened, flat, meant.day)
    now = next((c for c in after.cells if c.cell == meant.cell), was) if after else was
    said = "corrected before" if "corrected" in was.flags else "measured"
    typer.echo(f"Flat {flat} cell {meant.cell} on {meant.day}, {meant.figure}: "
               f"{_said(getattr(was, meant.figure))} ({said}), now {_said(getattr(now, meant.figure))}.")


@records.command()
def potted(
    flats: Annotated[list[int], typer.Argument(help="Numbers of the flats.", show_default=False)],
    day: Day = None,
    plants: Annotated[int | None, typer.Option(min=0, max=3000, help="How many plants, of each flat.")] = None,
    cells: Annotated[str | None, typer.Option(help="Only these cells, such as A-C.")] = None,
    pot: Annotated[str | None, typer.Option(help="Into which pot.")] = None,
    who: Who = None,
    note: Annotated[str | None, typer.Option(help="Anything else.")] = None,
    records: options.Records = None,
) -> None:
    """Write down that flats were potted up; they leave the list."""
    from seedlingcv.records.keep import keep_pottings
    from seedlingcv.records.log import Potting, part_label

    try:
        part = part_label(cells or "")
    except ValueError as how:
        raise typer.BadParameter(f"{cells!r}: {how}.", param_hint="--cells") from how
    on = day.date() if day else date.today()
    with _opened(records) as opened:
        _known(opened, flats)
        keep_pottings(opened, [Potting(_number(f), on, plants, pot, who, note, part) for f in dict.fromkeys(flats)])
    whole = f" {part}" if part else ""
    typer.echo(f"Potted up on {on}: {', '.join(f'flat {f}{whole}' for f in dict.fromkeys(flats))}.")


@records.command()
def roots(
    flat: Annotated[int, typer.Argument(help="Number of the flat.", show_default=False)],
    state: Annotated[str, typer.Argument(help="not_ready, firm or root_bound.", show_default=False)],
    day: Day = None,
    who: Who = None,
    records: options.Records = None,
) -> None:
    """Write down how the roots of a tipped-out plug look."""
    from seedlingcv.records import sheet
    from seedlingcv.records.keep import keep_root_checks
    from seedlingcv.records.log import RootCheck

    word = sheet.roots(state, [])
    if word is None:
        raise typer.BadParameter(f"{state!r}: write not_ready, firm or root_bound.", param_hint="STATE")
    on = day.date() if day else date.today()
    with _opened(records) as opened:
        _known(opened, [flat])
        keep_root_checks(opened, [RootCheck(flat, on, word, who)])
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


def _number(flat: int) -> int:
    """Raises typer.BadParameter for what is no flat's number."""
    from seedlingcv.records import sheet

    wrong: list[str] = []
    if sheet.flat_number(str(flat), wrong) is None:
        raise typer.BadParameter(f"{flat}: write the number on the flat's tag.", param_hint="FLAT")
    return flat


def _known(opened: Records, flats: Sequence[int]) -> None:
    """A slip in a number must not make a flat. Raises RecordsError for one that isn't in the records."""
    from seedlingcv.records.summary import known_flats

    known = known_flats(opened)
    for flat in flats:
        if _number(flat) not in known:
            raise RecordsError(f"There is no flat {flat} in the records.", where=opened.place,
                               next_step="Check the number, or add the register first: `seedlingcv records add "
                               "flats.csv`.")


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

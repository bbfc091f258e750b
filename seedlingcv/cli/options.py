"""Options that more than one command has, worded once."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from seedlingcv.advice.pots import Pot


class Paper(StrEnum):
    a4 = "a4"
    letter = "letter"


def day_given(text: str) -> datetime:
    """A day as tables have it. Raises typer.BadParameter, saying how one is written."""
    from seedlingcv.records.sheet import no_day, read_day

    found = read_day(text)
    if found is None:
        raise typer.BadParameter(f'"{text}" can\'t be told{no_day(text)}.')
    return datetime(found.year, found.month, found.day)


def flat_given(text: str) -> int:
    """A flat's number as tables have it. Raises typer.BadParameter for what is none."""
    from seedlingcv.records.sheet import flat_number

    found = flat_number(" ".join(text.split()), [])
    if found is None:
        raise typer.BadParameter(f'"{text}": write the number on the flat\'s tag.', param_hint="FLAT")
    return found


def unquoted(text: str) -> str:
    """`set NAME="season.db"` keeps the quotation marks in the name on Windows."""
    plain = text.strip()
    return plain[1:-1] if len(plain) > 1 and plain[0] == plain[-1] and plain[0] in "\"'" else text


AS_DAY: dict[str, Any] = {"parser": day_given, "metavar": "DAY"}
AS_FLAT: dict[str, Any] = {"parser": flat_given, "metavar": "FLAT"}
Crops = Annotated[Path | None, typer.Option(help="Your own crop values (TOML), over those that come along.")]
Marks = Annotated[Path | None, typer.Option(help="Your own marks of fine and leggy flats (CSV).")]
PotSize = Annotated[str | None, typer.Option(help="The pot you use: 90x80 (width x depth in mm), 3.5x3in, or a usual "
                                                  "one such as '4 in round'.")]
Today = Annotated[datetime | None, typer.Option(**AS_DAY, show_default=False,
                                                help="The day the list is for; the newest day seen if not given.")]
Since = Annotated[datetime | None, typer.Option(**AS_DAY, show_default=False, help="From this day on.")]
Until = Annotated[datetime | None, typer.Option(**AS_DAY, show_default=False, help="Up to this day.")]
Json = Annotated[Path | None, typer.Option(help="Write all figures as JSON.")]
Csv = Annotated[Path | None, typer.Option(help="Write all figures as CSV, one line a cell.")]
Crew = Annotated[Path | None, typer.Option(help="Write the crew sheet (PDF): a page for each flat to pot up.")]
Compact = Annotated[bool, typer.Option("--compact", help="Crew sheet with three flats to a page.")]
PaperSize = Annotated[Paper, typer.Option(help="Paper in the printer.")]
Labels = Annotated[Path | None, typer.Option(help="Write the labels to print, in working order (CSV).")]
Inches = Annotated[bool, typer.Option("--inches", help="Lengths in inches, temperatures in °F.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="One line a flat; what could not be used goes to the error "
                                                           "stream, one line each.")]

Records = Annotated[str | None, typer.Option("--records", envvar="SEEDLINGCV_RECORDS", parser=unquoted, metavar="TEXT",
                                             show_default=False, show_envvar=False,
                                             help="The season's records: a file, or postgresql://…")]


def own_pot(text: str | None) -> Pot | None:
    """The pot that `--pot` names. Raises typer.BadParameter, saying how a pot is written."""
    from seedlingcv.advice.pots import read_pot

    try:
        return read_pot(text) if text is not None else None
    except ValueError as error:
        raise typer.BadParameter(f"{text!r}: {error}.", param_hint="--pot") from error


def records_named(target: str | None) -> str:
    """The records that `--records` or the environment names. Raises typer.BadParameter if neither does."""
    if not target:
        raise typer.BadParameter("Name the file that holds the season's records, such as season.db, or set "
                                 "SEEDLINGCV_RECORDS to it.", param_hint="--records")
    return target

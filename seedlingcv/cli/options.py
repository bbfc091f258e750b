"""Options that more than one command has, worded once."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from seedlingcv.advice.pots import Pot


class Paper(StrEnum):
    a4 = "a4"
    letter = "letter"


Crops = Annotated[Path | None, typer.Option(help="Your own crop values (TOML), over those that come along.")]
Marks = Annotated[Path | None, typer.Option(help="Your own marks of fine and leggy flats (CSV).")]
PotSize = Annotated[str | None, typer.Option(help="The pot you use: 90x80 (width x depth in mm), 3.5x3in, or a usual "
                                                  "one such as '4 in round'.")]
Today = Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], show_default=False,
                                                help="The day the list is for; the newest day seen if not given.")]
Json = Annotated[Path | None, typer.Option(help="Write all figures as JSON.")]
Csv = Annotated[Path | None, typer.Option(help="Write all figures as CSV, one line a cell.")]
Crew = Annotated[Path | None, typer.Option(help="Write the crew sheet (PDF): a page for each flat to pot up.")]
Compact = Annotated[bool, typer.Option("--compact", help="Crew sheet with three flats to a page.")]
PaperSize = Annotated[Paper, typer.Option(help="Paper in the printer.")]
Labels = Annotated[Path | None, typer.Option(help="Write the labels to print, in working order (CSV).")]
Inches = Annotated[bool, typer.Option("--inches", help="Lengths in inches, temperatures in °F.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="One line a flat; what could not be used goes to the error "
                                                           "stream, one line each.")]

Records = Annotated[str | None, typer.Option("--records", envvar="SEEDLINGCV_RECORDS", show_default=False,
                                             show_envvar=False, help="The season's records: a file, or postgresql://…")]


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

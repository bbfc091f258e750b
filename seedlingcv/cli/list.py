"""`seedlingcv list`: the pot-up list from the records, without a photo."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

import typer

from seedlingcv.cli import options


def list_(
    records: options.Records = None,
    today: Annotated[datetime | None, typer.Option(**options.AS_DAY, show_default=False,
                                                   help="The day the list is for; today if not given.")] = None,
    inches: options.Inches = False,
    quiet: options.Quiet = False,
) -> None:
    """Print the pot-up list from the records; no photo is looked at.

    Ends with 1 if there are no records or no flat in them is waiting.
    """
    from rich.console import Console

    from seedlingcv.cli.options import records_named
    from seedlingcv.plan.kept import entry_of
    from seedlingcv.plan.potup import pot_up_list
    from seedlingcv.records.database import open_records
    from seedlingcv.records.recall import newest_verdicts, news_of
    from seedlingcv.records.waiting import why_none_waits
    from seedlingcv.report.terminal import print_list
    from seedlingcv.report.words import day as say_day

    now = today.date() if today else date.today()
    with open_records(records_named(records), make=False) as opened:
        kept = newest_verdicts(opened, today=now)
        news = news_of(opened, kept, today=now)
        none = "" if kept else why_none_waits(opened, today=now)
    entries = pot_up_list(entry_of(k.flat, k.part, k.day, k.tree, now, *new) for k, new in zip(kept, news, strict=True))
    print_list(Console(), entries, today=now, inch=inches, quiet=quiet, none=none)
    if not entries:
        if quiet:
            typer.echo(none, err=True)
        raise typer.Exit(1)
    if not quiet:
        first, last = min(k.day for k in kept), max(k.day for k in kept)
        seen = f"on {say_day(first, now)}" if first == last else f"from {say_day(first, now)} to {say_day(last, now)}"
        typer.echo(f"From the records: last seen {seen}. Look at the flats before you act.")

"""The part of a season that a command asks for."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

import typer

from seedlingcv.errors import RecordsError

if TYPE_CHECKING:
    from seedlingcv.records.history import History


def history_asked(target: str, flats: str | None, since: datetime | None, until: datetime | None,
                  crop: str | None = None) -> History:
    """flats : as written, such as 31-42

    Raises RecordsError where there are no records, or nothing in them was measured that was asked for.
    """
    from seedlingcv.cli.cards import flat_numbers
    from seedlingcv.crops.crop import names_of
    from seedlingcv.records.database import open_records
    from seedlingcv.records.recall import read_history

    numbers = flat_numbers(flats) if flats else ()
    first, last = (day.date() if day else None for day in (since, until))
    if first and last and first > last:
        raise typer.BadParameter(f"{last} is before {first}.", param_hint="--until")
    with open_records(target, make=False) as opened:
        history, place = read_history(opened, flats=numbers, since=first, until=last), opened.place
    if crop is not None:
        wanted = names_of(crop)
        history = replace(history, flats=tuple(f for f in history.flats if (f.crop or "").casefold() in wanted))
    if not history.flats:
        asked = any((flats, crop, since, until))
        raise RecordsError("No such flat was measured." if asked else "No flat was measured yet.", where=place,
                           next_step="Leave out --flats, --crop, --since or --until to see what is there." if asked else
                           "Add photos with `seedlingcv assess FOLDER --records FILE`.")
    return history

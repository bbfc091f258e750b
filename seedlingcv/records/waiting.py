"""Why no flat waits on the list."""

from __future__ import annotations

from datetime import date

from sqlalchemy import select

from seedlingcv.records import schema
from seedlingcv.records.database import Records


def why_none_waits(records: Records, *, today: date) -> str:
    """In words, for a day on which the records have no verdict that still counts."""
    measured, verdicts, pottings = schema.measured_days.c, schema.verdicts.c, schema.pottings.c
    with records.reading() as connection:
        seen = set(connection.scalars(select(measured.flat_id).where(measured.day <= today)))
        judged = set(connection.scalars(select(verdicts.flat_id).where(verdicts.day <= today,
                                                                       verdicts.today <= today)))
        potted = set(connection.scalars(select(pottings.flat_id).where(pottings.day <= today)))
    if not seen:
        return f"Nothing was measured up to {today}."
    if seen - judged - potted:
        return ("Figures are there, but nothing was judged yet: run `seedlingcv advise` on the sheet, or `seedlingcv "
                "assess` on the photos, with --records.")
    return f"All flats that were measured up to {today} are potted up, or their numbers are used again."

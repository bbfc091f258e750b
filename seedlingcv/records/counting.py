"""Which measuring of a flat on a day counts, where there are several; the others stay in the records beside it.

1. Photos before a ruler: a figure that a photo got wrong is put right by a correction, which says who and why.
2. One in the layout that the register names now before others: the layout may have been put right since.
3. By one version in one layout, a measuring from more photos before one from some of them: the side photo may be
   missing in the folder that was measured last.
4. The one recorded last: by a newer version, or from other photos. A ruler's figures are recorded anew whenever they
   are read.
"""

from __future__ import annotations

from datetime import date

from sqlalchemy import ColumnElement, Connection, Select, and_, case, func, or_, select

from seedlingcv.records import schema

_days, _flats = schema.measured_days.c, schema.flats.c
_as_registered = and_(_flats.rows == _days.rows, _flats.columns == _days.columns)


def _from_some_photos_of_another() -> ColumnElement[bool]:
    """Whether another measuring of the flat and day, by that version in that layout, rests on all its photos. From the
    very same ones there is none, and a ruler's have no photos, so all of them are alike in this.
    """
    fuller, own, others = schema.measured_days.alias(), schema.day_photos.alias(), schema.day_photos.alias()
    alike = [fuller.c[name] == _days[name] for name in ("flat_id", "day", "source", "version", "rows", "columns")]
    shared = (select(others.c.photo_id).where(others.c.day_id == fuller.c.id, others.c.photo_id == own.c.photo_id)
              .correlate(fuller, own).exists())
    missing = (select(own.c.photo_id).where(own.c.day_id == _days.id, ~shared)
               .correlate(schema.measured_days, fuller).exists())
    return (select(fuller.c.id).where(*alike, fuller.c.id != _days.id, ~missing)
            .correlate(schema.measured_days).exists())


BEST_FIRST = (case((_days.source == "photo", 0), else_=1), case((_as_registered, 0), else_=1),
              case((_from_some_photos_of_another(), 1), else_=0), _days.recorded_at.desc(), _days.id.desc())
FITS = or_(_flats.rows.is_(None), _as_registered)  # measured in the layout that the register names, if it names one


def days_that_count(flat_ids: Select | None = None, since: date | None = None, until: date | None = None) -> Select:
    """Ids of measured days, one a flat and day. flat_ids : all flats if None; since, until : both included"""
    turn = func.row_number().over(partition_by=(_days.flat_id, _days.day), order_by=BEST_FIRST)
    ranked = select(_days.id, turn.label("turn")).join(schema.flats, _flats.id == _days.flat_id)
    if flat_ids is not None:
        ranked = ranked.where(_days.flat_id.in_(flat_ids))
    if since:
        ranked = ranked.where(_days.day >= since)
    if until:
        ranked = ranked.where(_days.day <= until)
    turns = ranked.subquery()
    return select(turns.c.id).where(turns.c.turn == 1)


def cells_by_ruler(connection: Connection, flat_id: int, day: date) -> list[str]:
    """The cells of the figures by ruler that were read last."""
    counts = best_day(flat_id, and_(_days.day == day, _days.source == "ruler")).scalar_subquery()
    cells = schema.cells.c
    return list(connection.scalars(select(cells.cell).where(cells.day_id == counts).order_by(cells.place)))


def best_day(flat_id: int, which) -> Select:
    """Id of the newest of a flat's days of which `which` is true."""
    return (select(_days.id).join(schema.flats, _flats.id == _days.flat_id).where(_days.flat_id == flat_id, which)
            .order_by(_days.day.desc(), *BEST_FIRST).limit(1))

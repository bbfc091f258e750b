"""What is in the records, counted and listed, and what is missing in them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, func, select

from seedlingcv.records import schema
from seedlingcv.records.belonging import Season, by_number, newest_of_each, season_on, seasons_of
from seedlingcv.records.database import Records
from seedlingcv.records.history import Lighting, Stand
from seedlingcv.records.lights import Move
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.parts import REST, covered, share_cells
from seedlingcv.records.recall import read_history
from seedlingcv.records.sowing import part_labels, sowings
from seedlingcv.records.standing import Spelling, light_over, stand_on

TABLES = {"flats": schema.sowings, "lights": schema.lightings, "moves": schema.stands,
          "root_checks": schema.root_checks, "potted": schema.pottings, "corrections": schema.corrections}
NOT_WORDS = ("id", "flat_id", "recorded_at", "entry", "measured", "told_by")  # what no table of the grower's says


@dataclass(frozen=True)
class Place:
    """A shelf, the light over it, and the flats that stand there; either None where it is unknown."""

    shelf: str | None
    light: str | None
    flats: tuple[int, ...]


@dataclass(frozen=True)
class Overview:
    """flats : how many were kept; crops : flats, or parts of flats, by crop, None where it is unknown
    first, last : days of measuring; days : measured flat-days by source, `photo` and `ruler`
    photos, usable : how many; by_hand : entries by table; at : the day for which `places` is told
    places : of the flats that were not potted up; undated : flats without a sowing date
    """

    flats: int
    potted: int
    crops: Mapping[str | None, int]
    first: date | None
    last: date | None
    days: Mapping[str, int]
    photos: int
    usable: int
    by_hand: Mapping[str, int]
    lightings: tuple[Lighting, ...]
    at: date | None
    places: tuple[Place, ...]
    undated: tuple[int, ...]


def overview(records: Records) -> Overview:
    """Raises RecordsError if the records can't be read."""
    days, photos = schema.measured_days.c, schema.photos.c
    lightings = read_history(records, since=date.max).lightings
    with records.reading() as connection:
        told, rows = told_of(connection), sowings(connection)
        seasons = [s for s in seasons_of(connection) if s.id in told]
        gone = _potted(connection, rows, seasons)
        moves = _moves(connection)
        first, last = connection.execute(select(func.min(days.day), func.max(days.day))).one()
        at = max((day for day in (last, *(m.since for own in moves.values() for m in own), *gone.values()) if day),
                 default=None)
        measured = select(days.source, days.flat_id, days.day).distinct().subquery()
        by_source = connection.execute(select(measured.c.source, func.count()).group_by(measured.c.source))
        looked_through = connection.scalar(select(func.count()).where(photos.file.is_not(None)))
        usable = connection.scalar(select(func.count()).where(photos.usable.is_(True)))
        by_hand = {name: connection.scalar(select(func.count()).select_from(TABLES[name]))
                   for name in ("corrections", "root_checks", "potted")}
        waiting = [s for s in newest_of_each(seasons) if s.id not in gone]
        crops = Counter(row["crop"] for s in seasons for row in rows.get(s.id) or [{"crop": None}])
        return Overview(len(seasons), len(gone), crops, first, last, dict(by_source.all()),
                        looked_through or 0, usable or 0, by_hand, lightings, at,
                        _places(waiting, rows, moves, lightings, at),
                        tuple(sorted(s.number for s in waiting if s.started is None)))


def row_contents(records: Records) -> dict[str, Counter[str]]:
    """The words of every row that a grower's table gave, by kind of table, to tell what is new."""
    with records.reading() as connection:
        return {name: Counter(json.dumps({key: value for key, value in row.items() if key not in NOT_WORDS},
                                         default=str) for row in connection.execute(select(table)).mappings())
                for name, table in TABLES.items()}


def flats_by_number(records: Records) -> dict[int, list[Season]]:
    """The flats that had a number, one after the other."""
    with records.reading() as connection:
        return by_number(seasons_of(connection))


def days_of(records: Records, flat: int) -> list[date]:
    """The days on which a number's flats were measured, oldest first."""
    days, flats = schema.measured_days.c, schema.flats.c
    with records.reading() as connection:
        return sorted(set(connection.scalars(select(days.day).where(days.flat_id == flats.id, flats.number == flat))))


def days_measured(records: Records, source: str | None = None) -> set[tuple[int, date]]:
    """(flat, day) of all that was measured, or from `photo` or `ruler` alone."""
    days, flats = schema.measured_days.c, schema.flats.c
    wanted = select(flats.number, days.day).where(days.flat_id == flats.id)
    with records.reading() as connection:
        found = connection.execute(wanted if source is None else wanted.where(days.source == source))
        return {(number, day) for number, day in found}


def told_of(connection: Connection) -> set[int]:
    """Ids of the flats that a register names, or that were photographed or measured. Of others a grower's table tells
    something that belongs nowhere, by a slip in a number or a date."""
    tables = (schema.sowings, schema.photos, schema.measured_days)
    return {flat_id for table in tables for flat_id in connection.scalars(select(table.c.flat_id).distinct())}


def strays(records: Records, rows: Sequence[Correction | Move | Potting | RootCheck]) -> list[str]:
    """What looks like a slip in rows that were kept: a flat, or a flat's day, of which nothing else is known."""
    seasons, measured = flats_by_number(records), days_measured(records)
    with records.reading() as connection:
        told = told_of(connection)
    found = []
    for row in rows:
        own = seasons.get(row.flat, [])
        season, sown = season_on(own, row.day), min((s.started for s in own if s.started), default=None)
        if season and season.id in told:
            if isinstance(row, Correction) and (row.flat, row.day) not in measured:
                found.append(f"flat {row.flat} has no figures of {row.day}, so a correction waits for them; check the "
                             "date.")
        elif sown:
            found.append(f"flat {row.flat} was sown on {sown}, after {row.day}; check the date.")
        else:
            found.append(f"flat {row.flat} is in no register and was not measured so far; check the number.")
    return list(dict.fromkeys(found))


def parts_left(records: Records, potted: Potting) -> list[str]:
    """The flat's parts in the register, empty for the whole of it, that have some of the cells just potted up, but not
    all of whose cells were potted up since they were seen."""
    table = schema.pottings.c
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [potted.flat]), potted.day)
        if season is None:
            return []
        named = part_labels(sowings(connection, [season.id]).get(season.id, ()))
        since = table.day >= (season.seen or date.min)
        said = connection.scalars(select(table.part).where(table.flat_id == season.id, since)).all()
    layout = season.rows, season.columns
    parts = [*sorted(named), REST] if named else [schema.WHOLE]
    return [part for part in parts if share_cells(part, potted.part, named, *layout)
            and not covered(part, said, named, *layout)]


def _potted(connection: Connection, rows: Mapping[int, Sequence[Mapping[str, Any]]],
            seasons: Sequence[Season]) -> dict[int, date]:
    """The day on which all of a flat was potted up, by the flat's id."""
    table = schema.pottings.c
    by_flat: dict[int, dict[str, date]] = {}
    for flat_id, part, day in connection.execute(select(table.flat_id, table.part, table.day).order_by(table.day)):
        by_flat.setdefault(flat_id, {}).setdefault(part, day)
    gone = {}
    for season in seasons:
        parts, named = by_flat.get(season.id, {}), part_labels(rows.get(season.id, ()))
        if schema.WHOLE in parts:
            gone[season.id] = parts[schema.WHOLE]
        elif parts and all(covered(part, parts, named, season.rows, season.columns) for part in named or {None}):
            gone[season.id] = max(parts.values())
    return gone


def _moves(connection: Connection) -> dict[int, list[Stand]]:
    table = schema.stands.c
    found: dict[int, list[Stand]] = {}
    for flat_id, *stand in connection.execute(select(table.flat_id, table.day, table.shelf, table.light)
                                              .order_by(table.day)):
        found.setdefault(flat_id, []).append(Stand(*stand))
    return found


def _places(seasons: Sequence[Season], rows: Mapping[int, Sequence[Mapping[str, Any]]],
            moves: Mapping[int, Sequence[Stand]], lightings: Sequence[Lighting], at: date | None) -> tuple[Place, ...]:
    found: dict[tuple[str | None, str | None], list[int]] = {}
    spelling = Spelling()
    for x in lightings:  # as these spell them
        spelling.stand(Stand(None, x.shelf, x.light))
    for season in seasons:
        own = rows.get(season.id, ())
        said = [next((row[name] for row in own if row[name]), None) for name in ("shelf", "light")]
        stand = stand_on((Stand(season.started, *said), *moves.get(season.id, ())), at or date.max)
        stand = spelling.stand(stand) if stand else None
        light, _ = light_over(stand, lightings, at or date.max)
        found.setdefault((stand.shelf if stand else None, light), []).append(season.number)
    places = [Place(shelf, light, tuple(sorted(numbers))) for (shelf, light), numbers in found.items()]
    return tuple(sorted(places, key=lambda p: (p.shelf is None, p.shelf or "", p.light is None, p.light or "")))

"""Adding to the records. Each function is one transaction, and doing it a second time adds nothing.

Each raises RecordsError where the records can't be added to; then nothing of that call was kept.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date, datetime
from math import isfinite
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from seedlingcv.errors import RecordsError
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records import schema
from seedlingcv.records.belonging import Flats
from seedlingcv.records.database import Records
from seedlingcv.records.entries import keep_corrections as keep_corrections  # what is kept is looked for here
from seedlingcv.records.entries import keep_pottings as keep_pottings
from seedlingcv.records.entries import keep_root_checks as keep_root_checks
from seedlingcv.records.entries import take_back_pottings as take_back_pottings
from seedlingcv.records.history import Lighting
from seedlingcv.records.lights import Move
from seedlingcv.records.register import FlatRow, Register
from seedlingcv.records.rows import Row, hash_of, insert_into, moments, put, readable
from seedlingcv.records.sowing import keep_rows, keep_said
from seedlingcv.records.standing import plain_name

SOURCES = ("photo", "ruler")


@dataclass(frozen=True)
class Photo:
    """file : as it was called, relative to the folder; sha256 : of its content, which is its identity"""

    file: str
    sha256: str
    view: str | None = None
    taken: datetime | None = None
    flat: int | None = None
    usable: bool = False
    problems: tuple[str, ...] = ()


@dataclass(frozen=True)
class KeptVerdict:
    """A verdict as plain data. part : such as `rows A-C`; day : the flat was seen; today : the list was for."""

    flat: int
    part: str | None
    day: date
    today: date
    action: str
    due: date | None
    tree: dict


class NotKept(RecordsError):
    """This can't be kept, but the records are well."""


def keep_photos(records: Records, photos: Sequence[Photo]) -> int:
    """How many are new. What is said of a known one is replaced: a photo may be renamed, or read better later."""
    photos = list({photo.sha256: photo for photo in photos}.values())
    if not photos:
        return 0
    with records.writing() as connection:
        known = _photo_ids(connection, [p.sha256 for p in photos], looked_through=True)
        flats = Flats(connection, {p.flat for p in photos if p.flat is not None})
        rows = [{"sha256": p.sha256, "file": readable(p.file), "view": p.view, "usable": p.usable,
                 "problems": list(p.problems), "taken": p.taken.replace(tzinfo=None) if p.taken else None,
                 "flat_id": None if p.flat is None else flats.id_of(p.flat, p.taken.date() if p.taken else None)}
                for p in photos]
        put(connection, schema.photos, rows, ["sha256"])
        return len(photos) - len(known)


def keep_register(records: Records, register: Register) -> list[str]:
    """Returns remarks for the grower: sowing dates corrected, numbers used again, words taken out."""
    with records.writing() as connection:
        return keep_rows(connection, {flat: register.rows(flat) for flat in register.flats}, register.said)


def keep_lightings(records: Records, lightings: Iterable[Lighting], *, told_by: str | None = None) -> int:
    """Replaces what the same table said of lights before, as `_replace` has it; last season's lights stay. Lights
    without a shelf are told by their names.

    told_by : the table's path, None where nobody knows
    Returns how many rows were taken out that none of the same place and day came for.
    """
    with records.writing() as connection:
        rows = [asdict(x) | {"ppfd_umol": [list(line) for line in x.ppfd_umol]} for x in lightings]
        return _replace(connection, schema.lightings, rows, _place, "since", told_by)


def keep_moves(records: Records, moves: Iterable[Move], *, told_by: str | None = None) -> int:
    """As keep_lightings, of flats."""
    moves = list(moves)
    with records.writing() as connection:
        flats = Flats(connection, {m.flat for m in moves})
        rows = [{"flat_id": flats.id_of(m.flat, m.day), "day": m.day, "shelf": m.shelf, "light": m.light}
                for m in moves]
        return _replace(connection, schema.stands, rows, itemgetter("flat_id"), "day", told_by)


def keep_day(records: Records, measurement: FlatMeasurement, *, source: str, keys: Sequence[str], version: str) -> bool:
    """One flat on one day with all its cells. False if it stands there already, by that version from those keys in that
    layout. Of several measurings of a day none is lost; counting.py says which counts.

    source : "photo" or "ruler"; keys : sha256 of the photos measured, or one hash of a ruler's figures
    Raises NotKept for a day that can't be kept, RecordsError where none can.
    """
    number, day = measurement.flat, measurement.day
    if day is None:
        raise NotKept("The figures have no date, so they can't be kept.", where=f"flat {number}",
                      next_step="Write the date beside them, or set the camera's clock.")
    if source not in SOURCES:
        raise ValueError(f"source {source!r} is none of {SOURCES}")
    keys = sorted(set(keys))
    cells = [_cell_row(place, cell, number) for place, cell in enumerate(measurement.cells)]
    with records.writing() as connection:
        flat_id = _flat_of(connection, measurement, day)
        days = schema.measured_days
        at = next(moments(connection, days))
        key = {"flat_id": flat_id, "day": day, "source": source, "version": version, "rows": measurement.rows,
               "columns": measurement.columns}
        hashes = hash_of([*keys, measurement.layout]), hash_of(keys)  # older records have no layout in it
        there = connection.scalar(select(days.c.id).where(*(days.c[name] == value for name, value in key.items()),
                                                          days.c.keys_hash.in_(hashes)))
        if there:
            if source == "ruler":  # a sheet edited and put back: the one that was read last counts
                connection.execute(update(days).where(days.c.id == there).values(recorded_at=at))
            return False
        row = key | {"keys": keys, "keys_hash": hashes[0], "flags": list(measurement.flags), "recorded_at": at}
        day_id = connection.execute(insert_into(connection, days), row).inserted_primary_key[0]
        if cells:
            connection.execute(insert_into(connection, schema.cells), [{"day_id": day_id} | cell for cell in cells])
        if source == "photo":
            _rest_on(connection, day_id, keys, flat_id)
    return True


def keep_verdicts(records: Records, verdicts: Sequence[KeptVerdict]) -> None:
    """Replaces the one of the same flat, part, day and today."""
    with records.writing() as connection:
        flats = Flats(connection, {v.flat for v in verdicts})
        rows = [{"flat_id": flats.id_of(v.flat, v.day), "part": v.part or schema.WHOLE, "day": v.day, "today": v.today,
                 "action": v.action, "due": v.due, "tree": v.tree} for v in verdicts]
        put(connection, schema.verdicts, rows, ["flat_id", "part", "day", "today"])


def _place(lighting: Row) -> tuple[str, ...]:
    """What light is over: a shelf, or nobody knows what, whatever the capitals."""
    shelf, light = (plain_name(lighting[name]) for name in ("shelf", "light"))
    return (shelf,) if shelf else ("", light)


def _replace(connection: Connection, table: Table, rows: list[Row], owner: Callable[[Any], Hashable], day: str,
             told_by: str | None) -> int:
    """Rows into the table in place of

    - rows of the same owner and day: the last word counts;
    - what the same table said before, from its first day on, so that one that starts anew leaves the earlier rows; and
      an owner's last row before that, if it says what the owner's first new row says: then its date was put right;
    - where nobody knows which table said a row, those of the same owners from the owners' first day on.

    Returns how many rows went without one of the same owner and day in their place.
    """
    if not rows:
        return 0

    def when(row: Mapping[str, Any]) -> date:
        return row[day] or date.min

    rows = [row | {"told_by": told_by} for row in rows]
    said = {(owner(row), when(row)) for row in rows}
    first = {owner(row): row for row in sorted(rows, key=when, reverse=True)}
    start = min(map(when, rows))
    kept = [dict(row) for row in connection.execute(select(table).order_by(table.c.id)).mappings()]
    known = {(owner(row), when(row)) for row in kept}
    before = {owner(row): row for row in sorted(kept, key=when)
              if owner(row) in first and when(row) < when(first[owner(row)])}

    def put_right(row: Row) -> bool:
        now = first.get(owner(row))
        return (now is not None and before.get(owner(row)) is row and (owner(row), when(now)) not in known
                and all(row[name] == now[name] for name in now if name != day))

    def goes(row: Row) -> bool:
        if (owner(row), when(row)) in said:
            return True
        if row["told_by"] is None:
            return owner(row) in first and when(row) >= when(first[owner(row)])
        return row["told_by"] == told_by and (when(row) >= start or put_right(row))

    old = [row for row in kept if goes(row)]
    if [{name: value for name, value in row.items() if name != "id"} for row in old] != rows:
        connection.execute(delete(table).where(table.c.id.in_([row["id"] for row in old])))
        connection.execute(insert(table), rows)
    return sum((owner(row), when(row)) not in said for row in old)


def _flat_of(connection: Connection, measurement: FlatMeasurement, day: date) -> int:
    """The flat's id. What the measurement says of a flat that no register named is kept as a register's row."""
    flat_id = Flats(connection, [measurement.flat]).id_of(measurement.flat, day)
    said = FlatRow(measurement.flat, measurement.crop, measurement.variety, measurement.rows or None,
                   measurement.columns or None, measurement.sown, measurement.light)
    sowings = schema.sowings.c
    named = connection.scalar(select(sowings.id).where(sowings.flat_id == flat_id).limit(1))
    if named or not (said.crop or said.variety or said.sown or said.light):
        return flat_id
    keep_said(connection, flat_id, said, day)
    return Flats(connection, [measurement.flat]).id_of(measurement.flat, day)


def _rest_on(connection: Connection, day_id: int, keys: Sequence[str], flat_id: int) -> None:
    """Link a measured day to its photos, which may be kept in full only later."""
    known = _photo_ids(connection, keys)
    new = [{"sha256": key, "flat_id": flat_id} for key in keys if key not in known]
    if new:
        connection.execute(insert_into(connection, schema.photos), new)
        known = _photo_ids(connection, keys)
    if known:
        connection.execute(insert_into(connection, schema.day_photos),
                           [{"day_id": day_id, "photo_id": photo_id} for photo_id in known.values()])


def _photo_ids(connection: Connection, keys: Sequence[str], *, looked_through: bool = False) -> Mapping[str, int]:
    photos = schema.photos.c
    found: dict[str, int] = {}
    for start in range(0, len(keys), 1000):  # a statement takes only so many values
        some = select(photos.sha256, photos.id).where(photos.sha256.in_(keys[start : start + 1000]))
        if looked_through:
            some = some.where(photos.file.is_not(None))
        found |= dict(connection.execute(some).all())
    return found


def _cell_row(place: int, cell: CellMeasurement, flat: int) -> Row:
    row = {f.name: getattr(cell, f.name) for f in fields(cell)} | {"place": place}
    for name in schema.FIGURES:
        if name not in schema.WORDS:
            row[name] = _plain(row[name], flat, cell.cell, name)
    se = {name: _plain(value, flat, cell.cell, name) for name, value in cell.se.items()}
    return row | {"flags": list(cell.flags), "se": se}


def _plain(value: float | None, flat: int, cell: str, name: str) -> float | int | None:
    """NumPy's numbers as Python's, which every database knows."""
    if value is None:
        return None
    if not isfinite(value):
        raise NotKept(f"The figure {name} is infinite or not a number, so the day isn't kept.",
                      where=f"flat {flat} cell {cell}", next_step="Please report the photos that led here.")
    return int(value) if name in schema.COUNTED else float(value)

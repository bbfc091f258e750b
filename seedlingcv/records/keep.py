"""Adding to the records. Each function is one transaction, and doing it a second time adds nothing.

Each raises RecordsError where the records can't be added to; then nothing of that call was kept.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import UTC, date, datetime
from hashlib import sha256
from importlib import import_module
from math import isfinite
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from seedlingcv.errors import RecordsError
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records import schema
from seedlingcv.records.belonging import Flats, drop_if_bare
from seedlingcv.records.counting import best_day
from seedlingcv.records.database import Records
from seedlingcv.records.history import Lighting
from seedlingcv.records.lights import Move
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.parts import read_part
from seedlingcv.records.register import FlatRow, Register
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.records.sowing import keep_rows
from seedlingcv.records.standing import plain_name

SOURCES = ("photo", "ruler")
Row = dict[str, Any]


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
        rows = [{"sha256": p.sha256, "file": _readable(p.file), "view": p.view, "usable": p.usable,
                 "problems": list(p.problems), "taken": p.taken.replace(tzinfo=None) if p.taken else None,
                 "flat_id": None if p.flat is None else flats.id_of(p.flat, p.taken.date() if p.taken else None)}
                for p in photos]
        _put(connection, schema.photos, rows, ["sha256"])
        return len(photos) - len(known)


def keep_register(records: Records, register: Register) -> list[str]:
    """Returns remarks for the grower: sowing dates corrected, numbers used again."""
    with records.writing() as connection:
        return keep_rows(connection, {flat: register.rows(flat) for flat in register.flats})


def keep_lightings(records: Records, lightings: Iterable[Lighting]) -> None:
    """Of each shelf told of, replaces what was kept from the first day on that it is told of: a date put right leaves
    nothing wrong behind, and last season's lights stay. Lights without a shelf are told by their names."""
    with records.writing() as connection:
        rows = [asdict(x) | {"ppfd_umol": [list(line) for line in x.ppfd_umol]} for x in lightings]
        _replace_from(connection, schema.lightings, rows, _place, "since")


def keep_moves(records: Records, moves: Iterable[Move]) -> None:
    """Of each flat told of, replaces what was kept from the first day on that it is told of."""
    moves = list(moves)
    with records.writing() as connection:
        flats = Flats(connection, {m.flat for m in moves})
        rows = [{"flat_id": flats.id_of(m.flat, m.day), "day": m.day, "shelf": m.shelf, "light": m.light}
                for m in moves]
        _replace_from(connection, schema.stands, rows, itemgetter("flat_id"), "day")


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
        key = {"flat_id": flat_id, "day": day, "source": source, "version": version, "rows": measurement.rows,
               "columns": measurement.columns}
        hashes = _hash([*keys, measurement.layout]), _hash(keys)  # older records have no layout in it
        if connection.scalar(select(days.c.id).where(*(days.c[name] == value for name, value in key.items()),
                                                     days.c.keys_hash.in_(hashes))):
            return False
        row = key | {"keys": keys, "keys_hash": hashes[0], "flags": list(measurement.flags), "recorded_at": _now()}
        day_id = connection.execute(_insert(connection, days), row).inserted_primary_key[0]
        if cells:
            connection.execute(_insert(connection, schema.cells), [{"day_id": day_id} | cell for cell in cells])
        if source == "photo":
            _rest_on(connection, day_id, keys, flat_id)
    return True


def keep_verdicts(records: Records, verdicts: Sequence[KeptVerdict]) -> None:
    """Replaces the one of the same flat, part, day and today."""
    with records.writing() as connection:
        flats = Flats(connection, {v.flat for v in verdicts})
        rows = [{"flat_id": flats.id_of(v.flat, v.day), "part": v.part or schema.WHOLE, "day": v.day, "today": v.today,
                 "action": v.action, "due": v.due, "tree": v.tree} for v in verdicts]
        _put(connection, schema.verdicts, rows, ["flat_id", "part", "day", "today"])


def keep_corrections(records: Records, corrections: Sequence[Correction]) -> list[str]:
    """Returns remarks on those that can't be: a whole flat's figure where the cells were measured.

    Of several for one figure the newest by `when` counts, then the one that was read last.
    """
    remarks = []
    last: dict[tuple, Row] = {}
    with records.writing() as connection:
        flats = Flats(connection, {c.flat for c in corrections})
        for c in corrections:
            cell = c.cell or WHOLE_FLAT
            flat_id = flats.id_of(c.flat, c.day)
            measured = _measured_cells(connection, flat_id, c.day, c.figure)
            if cell == WHOLE_FLAT and measured and cell not in measured:
                remarks.append(f"The correction of flat {c.flat} on {c.day} names no cell, but cells were measured "
                               "that day; write which one.")
                continue
            row = {"flat_id": flat_id, "day": c.day, "cell": cell, "figure": c.figure, "value": c.value, "who": c.who,
                   "when": c.when, "why": c.why, "measured": measured.get(cell)}
            _write_down(connection, schema.corrections, c.flat, row, leave_out=("measured",))
            last[flat_id, c.day, cell, c.figure, c.when] = row | {"entry": _entry(c.flat, row, ("measured",))}
        for row in last.values():
            _make_newest(connection, row)
    return remarks


def keep_root_checks(records: Records, checks: Sequence[RootCheck]) -> None:
    _keep_by_hand(records, schema.root_checks, checks)


def keep_pottings(records: Records, pottings: Sequence[Potting]) -> None:
    _keep_by_hand(records, schema.pottings, pottings)


def take_back_pottings(records: Records, flats: Sequence[int], *, day: date | None = None,
                       part: str | None = None) -> list[Potting]:
    """Takes the potting that was written down last, of each flat, out again, and returns what it said.

    day, part : only one of that day, of that part
    Raises RecordsError if a flat has none; then none is taken back.
    """
    table, numbers = schema.pottings, schema.flats.c
    taken = []
    with records.writing() as connection:
        for flat in flats:
            said = select(table).where(table.c.flat_id == numbers.id, numbers.number == flat)
            said = said if day is None else said.where(table.c.day == day)
            said = said if part is None else said.where(table.c.part == _label(part))
            last = connection.execute(said.order_by(table.c.recorded_at.desc(), table.c.id.desc())).mappings().first()
            if last is None:
                raise RecordsError("No such potting is in the records.", where=f"flat {flat}",
                                   next_step="Check the number, the cells and the date; nothing was taken back.")
            connection.execute(delete(table).where(table.c.id == last["id"]))
            drop_if_bare(connection, flat)
            taken.append(Potting(flat, *(last[name] for name in ("day", "plants", "pot", "who", "note")),
                                 last["part"] or None))
    return taken


def _place(lighting: Row) -> tuple[str, ...]:
    """What light is over: a shelf, or nobody knows what, whatever the capitals."""
    shelf, light = (plain_name(lighting[name]) for name in ("shelf", "light"))
    return (shelf,) if shelf else ("", light)


def _replace_from(connection: Connection, table: Table, rows: list[Row], owner: Callable[[Any], Hashable],
                  day: str) -> None:
    """Rows into the table in place of those of the same owners from the owners' first day on."""
    first: dict[Hashable, date] = {}
    for row in rows:
        first[owner(row)] = min(row[day] or date.min, first.get(owner(row), date.max))
    kept = [dict(row) for row in connection.execute(select(table).order_by(table.c.id)).mappings()]
    old = [row for row in kept if (row[day] or date.min) >= first.get(owner(row), date.max)]
    ids = [row.pop("id") for row in old]
    if old != rows:
        connection.execute(delete(table).where(table.c.id.in_(ids)))
        connection.execute(insert(table), rows)


def _keep_by_hand(records: Records, table: Table, events: Sequence[RootCheck] | Sequence[Potting]) -> None:
    with records.writing() as connection:
        flats = Flats(connection, {e.flat for e in events})
        for event in events:
            row = asdict(event)
            number = row.pop("flat")
            if "part" in row:
                row["part"] = _label(row["part"])
            _write_down(connection, table, number, row | {"flat_id": flats.id_of(number, event.day)})


def _label(part: str | None) -> str:
    """A part as the register calls it, so that `A-C` and `rows A-C` are one."""
    try:
        return read_part(part).label if part else schema.WHOLE
    except ValueError:  # the rest of a flat has a name of its own
        return part or schema.WHOLE


def _write_down(connection: Connection, table: Table, number: int, row: Row, leave_out: Sequence[str] = ()) -> None:
    """Nothing happens where the same words stand there already."""
    row = row | {"entry": _entry(number, row, leave_out), "recorded_at": _now()}
    connection.execute(_insert(connection, table).on_conflict_do_nothing(index_elements=["entry"]), row)


def _entry(number: int, row: Row, leave_out: Sequence[str]) -> str:
    """What makes a hand's entry itself: all its words, and the flat's number rather than which flat of that number."""
    return _hash([number, {name: value for name, value in row.items() if name not in ("flat_id", *leave_out)}])


def _make_newest(connection: Connection, row: Row) -> None:
    """A figure corrected twice and then put back: the word that was read last counts, though it isn't new."""
    table = schema.corrections
    same = [table.c[name].is_not_distinct_from(row[name]) for name in ("flat_id", "day", "cell", "figure", "when")]
    last = connection.scalar(select(table.c.entry).where(*same).order_by(table.c.recorded_at.desc(), table.c.id.desc()))
    if last != row["entry"]:
        connection.execute(update(table).where(table.c.entry == row["entry"]).values(recorded_at=_now()))


def _measured_cells(connection: Connection, flat_id: int, day: date, figure: str) -> dict[str, float | None]:
    """A figure by cell, as the flat's measuring of that day that counts has it."""
    days, cells = schema.measured_days.c, schema.cells.c
    if figure not in schema.FIGURES or figure in schema.WORDS:
        raise ValueError(f"{figure!r} is no figure that can be corrected")
    counts = best_day(flat_id, days.day == day).scalar_subquery()
    found = connection.execute(select(cells.cell, cells[figure]).where(cells.day_id == counts))
    return dict(found.all())


def _flat_of(connection: Connection, measurement: FlatMeasurement, day: date) -> int:
    """The flat's id. What the measurement says of a flat that no register named is kept as a register's row."""
    flats = Flats(connection, [measurement.flat])
    flat_id = flats.id_of(measurement.flat, day)
    said = FlatRow(measurement.flat, measurement.crop, measurement.variety, measurement.rows or None,
                   measurement.columns or None, measurement.sown, measurement.light)
    sowings = schema.sowings.c
    named = connection.scalar(select(sowings.id).where(sowings.flat_id == flat_id).limit(1))
    if named or not (said.crop or said.variety or said.sown or said.light):
        return flat_id
    keep_rows(connection, {measurement.flat: (said,)})
    return Flats(connection, [measurement.flat]).id_of(measurement.flat, day)


def _rest_on(connection: Connection, day_id: int, keys: Sequence[str], flat_id: int) -> None:
    """Link a measured day to its photos, which may be kept in full only later."""
    known = _photo_ids(connection, keys)
    new = [{"sha256": key, "flat_id": flat_id} for key in keys if key not in known]
    if new:
        connection.execute(_insert(connection, schema.photos), new)
        known = _photo_ids(connection, keys)
    if known:
        connection.execute(_insert(connection, schema.day_photos),
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


def _readable(name: str) -> str:
    """A file's name may hold bytes that are no text, which no database takes."""
    return name.encode("utf-8", "replace").decode()


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


def _insert(connection: Connection, table: Table):
    """The dialect's own insert, which knows `on_conflict`."""
    return import_module(f"sqlalchemy.dialects.{connection.dialect.name}").insert(table)


def _put(connection: Connection, table: Table, rows: list[Row], key: list[str]) -> None:
    """Add rows, or replace those that have the same key."""
    if not rows:
        return
    statement = _insert(connection, table)
    others = {name: statement.excluded[name] for name in rows[0] if name not in key}
    connection.execute(statement.on_conflict_do_update(index_elements=key, set_=others), rows)


def _hash(content: object) -> str:
    return sha256(json.dumps(content, sort_keys=True, default=str).encode()).hexdigest()


def _now() -> datetime:
    """UTC, without saying so: SQLite keeps no zone."""
    return datetime.now(UTC).replace(tzinfo=None)

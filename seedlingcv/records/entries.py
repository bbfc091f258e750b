"""What people write down by hand, into the records: corrections, root checks, pottings.

Of several words on one thing the one that was read last counts. A word that stands there already is read last again
where a single entry says it once more (`records correct`, `records roots`), or where the table that said something else
meanwhile is back at it. A table that is merely read again says nothing new, so an entry made after it goes on counting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import Connection, Table, delete, select, update

from seedlingcv.errors import RecordsError
from seedlingcv.records import schema
from seedlingcv.records.belonging import Flats, drop_if_bare
from seedlingcv.records.counting import best_day
from seedlingcv.records.database import Records
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.parts import read_part
from seedlingcv.records.rows import Row, hash_of, insert_into, moments
from seedlingcv.records.ruler import WHOLE_FLAT

SINGLY = ""  # told_by: an entry of its own, not a table's


def keep_corrections(records: Records, corrections: Sequence[Correction], *, told_by: str | None = None) -> list[str]:
    """Returns remarks on those that can't be: a whole flat's figure where the cells were measured.

    Of several for one figure the newest by `when` counts, then the one that was read last.
    told_by : the table's path, SINGLY, or None where nobody knows
    """
    remarks = []
    last: dict[tuple, Row] = {}
    with records.writing() as connection:
        clock = moments(connection, schema.corrections)
        flats = Flats(connection, {c.flat for c in corrections})
        for c in corrections:
            cell = c.cell or WHOLE_FLAT
            flat_id = flats.id_of(c.flat, c.day)
            measured = _measured_cells(connection, flat_id, c.day, c.figure)
            if cell == WHOLE_FLAT and measured and cell not in measured:
                remarks.append(f"The correction of flat {c.flat} on {c.day} names no cell, but cells were measured "
                               "that day; write which one.")
                continue
            thing = {"flat_id": flat_id, "day": c.day, "cell": cell, "figure": c.figure, "when": c.when}
            row = thing | {"value": c.value, "who": c.who, "why": c.why}
            entry = _entry(c.flat, row)
            _write_down(connection, schema.corrections, next(clock), row | {
                "measured": measured.get(cell), "entry": entry, "told_by": told_by})
            last[tuple(thing.values())] = thing | {"entry": entry}
        for said in last.values():
            _make_newest(connection, schema.corrections, next(clock), said, told_by)
    return remarks


def keep_root_checks(records: Records, checks: Sequence[RootCheck], *, told_by: str | None = None) -> None:
    """told_by : the table's path, SINGLY, or None where nobody knows"""
    last: dict[tuple, Row] = {}
    with records.writing() as connection:
        clock = moments(connection, schema.root_checks)
        flats = Flats(connection, {check.flat for check in checks})
        for check in checks:
            thing = {"flat_id": flats.id_of(check.flat, check.day), "day": check.day, "source": check.source}
            row = thing | {"roots": check.roots, "who": check.who}
            entry = _entry(check.flat, row)
            _write_down(connection, schema.root_checks, next(clock), row | {"entry": entry, "told_by": told_by})
            last[tuple(thing.values())] = thing | {"entry": entry}
        for said in last.values():
            _make_newest(connection, schema.root_checks, next(clock), said, told_by)


def keep_pottings(records: Records, pottings: Sequence[Potting]) -> None:
    with records.writing() as connection:
        clock = moments(connection, schema.pottings)
        flats = Flats(connection, {p.flat for p in pottings})
        for potting in pottings:
            row = asdict(potting) | {"part": _label(potting.part)}
            number = row.pop("flat")
            flat_id = flats.id_of(number, potting.day)
            _write_down(connection, schema.pottings, next(clock), row | {
                "flat_id": flat_id, "entry": _entry(number, row)})


def take_back_pottings(records: Records, flats: Sequence[int], *, day: date | None = None,
                       part: str | None = None) -> list[Potting]:
    """Takes a potting of each flat out again, and returns what it said: the newest by its day, and so of the number's
    newest flat that has one; of one day's the one that was written down last.

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
            said = said.order_by(table.c.day.desc(), table.c.recorded_at.desc(), table.c.id.desc())
            last = connection.execute(said).mappings().first()
            if last is None:
                raise RecordsError("No such potting is in the records.", where=f"flat {flat}",
                                   next_step="Check the number, the cells and the date; nothing was taken back.")
            connection.execute(delete(table).where(table.c.id == last["id"]))
            drop_if_bare(connection, flat)
            taken.append(Potting(flat, *(last[name] for name in ("day", "plants", "pot", "who", "note")),
                                 last["part"] or None))
    return taken


def _label(part: str | None) -> str:
    """A part as the register calls it, so that `A-C` and `rows A-C` are one."""
    try:
        return read_part(part).label if part else schema.WHOLE
    except ValueError:  # the rest of a flat has a name of its own
        return part or schema.WHOLE


def _entry(number: int, row: Row) -> str:
    """What makes a hand's entry itself: all its words, and the flat's number rather than which flat of that number."""
    return hash_of([number, {name: value for name, value in row.items() if name != "flat_id"}])


def _write_down(connection: Connection, table: Table, at: datetime, row: Row) -> None:
    """Nothing happens where the same words stand there already."""
    statement = insert_into(connection, table).on_conflict_do_nothing(index_elements=["entry"])
    connection.execute(statement, row | {"recorded_at": at})


def _make_newest(connection: Connection, table: Table, at: datetime, said: Row, told_by: str | None) -> None:
    """The entry counts among those of the same thing, though it may not be new, as the rule at the top says.

    said : its hash as `entry`, and the columns that all words on the same thing share
    """
    same = [table.c[name].is_not_distinct_from(value) for name, value in said.items() if name != "entry"]
    last = connection.execute(select(table.c.entry, table.c.told_by).where(*same)
                              .order_by(table.c.recorded_at.desc(), table.c.id.desc())).first()
    if last is None or last.entry == said["entry"]:
        return
    another = last.told_by == SINGLY or (None not in (last.told_by, told_by) and last.told_by != told_by)
    if told_by == SINGLY or not another:
        connection.execute(update(table).where(table.c.entry == said["entry"])
                           .values(recorded_at=at, told_by=told_by))


def _measured_cells(connection: Connection, flat_id: int, day: date, figure: str) -> dict[str, float | None]:
    """A figure by cell, as the flat's measuring of that day that counts has it."""
    days, cells = schema.measured_days.c, schema.cells.c
    if figure not in schema.FIGURES or figure in schema.WORDS:
        raise ValueError(f"{figure!r} is no figure that can be corrected")
    counts = best_day(flat_id, days.day == day).scalar_subquery()
    found = connection.execute(select(cells.cell, cells[figure]).where(cells.day_id == counts))
    return dict(found.all())

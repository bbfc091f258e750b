"""The register's rows into the records, and out again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from seedlingcv.records import schema
from seedlingcv.records.belonging import Flats, Season, deal_out, is_bare, newest, season_sown
from seedlingcv.records.parts import read_part
from seedlingcv.records.register import FlatRow

Rows = Sequence[FlatRow]
MONTH_DAYS = 31  # a month typed wrong
SUSPECT_DAYS = 92  # so soon a numbered flat is hardly sown again unnoticed (judgement)
SAID = ("crop", "variety", "sown", "seed_lot", "batch", "shelf", "light", "roots")  # a row's words, as columns


def keep_rows(connection: Connection, rows: Mapping[int, Rows], said: frozenset[str] | None = None) -> list[str]:
    """Keep what a register says of flats, all rows of a number together; what it said before is replaced. But without a
    sowing date another crop may be another flat, so nothing is replaced by it.

    said : the columns that the register has, None for all; of others what is known stays
    Returns remarks for the grower, one line each.
    """
    flats = Flats(connection, set(rows))
    kept = sowings(connection, select(schema.flats.c.id).where(schema.flats.c.number.in_(set(rows))))
    remarks = []
    for number, own in rows.items():
        flat_id, moved = _flat_of(flats, number, own, remarks)
        wanted, before = [_values(place, row) for place, row in enumerate(own)], kept.get(flat_id, [])
        if said is not None:
            wanted = _with_known(wanted, before, said)
        if not any(row["sown"] for row in wanted):
            known = next((row for row in before if row["sown"]), None)
            if known and _other_crops(before, wanted):
                remarks.append(f"Flat {number}: the register names {wanted[0]['crop']} and no sowing date; the records "
                               f"keep {known['crop']} sown on {known['sown']}. Write the date: if the number is used "
                               "again, it tells the two apart.")
                continue
            dates = {row["part"]: row["sown"] for row in before}  # silence takes back no date
            wanted = [row | {"sown": dates.get(row["part"])} for row in wanted]
        _keep_layout(connection, flats, flat_id, own[0])
        remarks += _emptied(number, before, wanted)
        if wanted != before:
            connection.execute(delete(schema.sowings).where(schema.sowings.c.flat_id == flat_id))
            connection.execute(insert(schema.sowings), [{"flat_id": flat_id} | row for row in wanted])
        if moved:
            deal_out(connection, number)
    return remarks


def keep_said(connection: Connection, flat_id: int, row: FlatRow, day: date) -> None:
    """What a sheet of figures of a day says of a flat that no register named. Other flats of the number, and what
    registers said, stay as they are."""
    flats = Flats(connection, [row.flat])
    if row.sown and row.sown <= day:
        known = flats.by_number[row.flat]
        season = season_sown(known, row.sown) or _mistyped(connection, known, (row,), row.sown)
        if season is None or season.id == flat_id:
            keep_rows(connection, {row.flat: (row,)})
            return
    _keep_layout(connection, flats, flat_id, row)
    connection.execute(insert(schema.sowings), [{"flat_id": flat_id} | _values(0, row) | {"sown": None}])


def sowings(connection: Connection, flat_ids: Any = None) -> dict[int, list[dict[str, Any]]]:
    """The rows' values by flat, in the register's order. flat_ids : a query for some flats, or None for all"""
    table = schema.sowings
    wanted = select(table).order_by(table.c.flat_id, table.c.place)
    if flat_ids is not None:
        wanted = wanted.where(table.c.flat_id.in_(flat_ids))
    found: dict[int, list[dict[str, Any]]] = {}
    for row in connection.execute(wanted).mappings():
        values = {name: row[name] for name in ("part", "place", *SAID, "extra")}
        found.setdefault(row["flat_id"], []).append(values)
    return found


def part_labels(values: Iterable[Mapping[str, Any]]) -> set[str]:
    """Of the parts that a flat's rows name."""
    return {row["part"] for row in values if row["part"]}


def flat_rows(season: Season, values: Sequence[Mapping[str, Any]]) -> tuple[FlatRow, ...]:
    return tuple(FlatRow(season.number, rows=season.rows, columns=season.columns, extra=dict(row["extra"]),
                         part=read_part(row["part"]) if row["part"] else None, **{name: row[name] for name in SAID})
                 for row in values)


def _values(place: int, row: FlatRow) -> dict[str, Any]:
    said = {name: getattr(row, name) for name in SAID}
    return {"part": row.part.label if row.part else schema.WHOLE, "place": place} | said | {"extra": dict(row.extra)}


def _with_known(wanted: Sequence[dict[str, Any]], before: Sequence[Mapping[str, Any]],
                said: frozenset[str]) -> list[dict[str, Any]]:
    """A table's rows with what is known of columns that it lacks, but for the sowing date."""
    if "cells" not in said and before:  # it speaks of all parts
        wanted = [wanted[0] | {name: row[name] for name in ("part", "place")} for row in before]
    known, silent = {row["part"]: row for row in before}, [name for name in SAID if name not in said | {"sown"}]
    return [row | {name: known[row["part"]][name] for name in silent}
            | {"extra": known[row["part"]]["extra"] | row["extra"]} if row["part"] in known else row for row in wanted]


def _emptied(number: int, before: Sequence[Mapping[str, Any]], now: Sequence[Mapping[str, Any]]) -> list[str]:
    """Remarks on words that are known no more, though the flat or its part is."""
    known, remarks = {row["part"]: row for row in before}, []
    for row in now:
        was = known.get(row["part"], {})
        gone = [f"{name.replace('_', ' ')} was {was[name]}" for name in SAID if was.get(name) and not row[name]]
        if gone:
            part = f" {row['part']}" if row["part"] else ""
            remarks.append(f"Flat {number}{part}: {', '.join(gone)}, now empty.")
    return remarks


def _other_crops(before: Sequence[Mapping[str, Any]], now: Sequence[Mapping[str, Any]]) -> bool:
    one, other = ({row["crop"] for row in rows if row["crop"]} for rows in (before, now))
    return bool(one and other) and not one & other


def _flat_of(flats: Flats, number: int, rows: Rows, remarks: list[str]) -> tuple[int, bool]:
    """The id of the flat that the rows are of, and whether things kept before may be another flat's now."""
    known = flats.by_number[number]
    started = min((row.sown for row in rows if row.sown), default=None)
    if started is None:
        return _undated(flats, number, remarks), False
    if started > date.today():
        remarks.append(f"Flat {number}: its sowing date {started} is still to come; check it.")
    season = season_sown(known, started) or _mistyped(flats.connection, known, rows, started)
    _tell_of_later(known, number, started, season, remarks)
    if season is None:
        if any(s.started for s in known):
            remarks.append(f"Flat {number}: sown again on {started}; kept as a new flat of that number.")
        return flats.add(number, started), bool(known)
    if season.started == started:
        return season.id, False
    if season.started:
        remarks.append(f"Flat {number}: its sowing date was {season.started} in the records and is {started} now.")
    flats.connection.execute(update(schema.flats).where(schema.flats.c.id == season.id).values(started=started))
    return season.id, True


def _mistyped(connection: Connection, known: Sequence[Season], rows: Rows, started: date) -> Season | None:
    """A flat of which only a register's row is kept, of the same crop and about a month off: its date was a slip."""
    for season in known:
        if season.started and abs((season.started - started).days) <= MONTH_DAYS and is_bare(connection, season.id):
            kept = sowings(connection, select(schema.flats.c.id).where(schema.flats.c.id == season.id))
            if not _other_crops(kept.get(season.id, ()), [_values(0, row) for row in rows]):
                return season
    return None


def _tell_of_later(known: Sequence[Season], number: int, started: date, own: Season | None,
                   remarks: list[str]) -> None:
    for season in known:
        if season is not own and season.started and 0 < (season.started - started).days <= SUSPECT_DAYS:
            remarks.append(f"Flat {number}: the register says sown on {started}, and the records keep a flat of that "
                           f"number sown on {season.started}, to which all from that day on belongs. If that date was "
                           "a slip, the ages since are wrong; new records, filled from the photos and tables, put it "
                           "right.")


def _undated(flats: Flats, number: int, remarks: list[str]) -> int:
    """The number's newest flat: without a date nobody can tell that it is another one."""
    season = newest(flats.by_number[number])
    if season is None:
        return flats.add(number)
    if season.potted:
        remarks.append(f"Flat {number} was potted up on {season.potted} and has no sowing date in the register; if it "
                       "was sown again, write the date, so that it counts as a new flat.")
    return season.id


def _keep_layout(connection: Connection, flats: Flats, flat_id: int, row: FlatRow) -> None:
    known = next(s for s in flats.by_number[row.flat] if s.id == flat_id)
    if row.rows and (known.rows, known.columns) != (row.rows, row.columns):
        connection.execute(update(schema.flats).where(schema.flats.c.id == flat_id)
                           .values(rows=row.rows, columns=row.columns))

"""Reading the records: a season's history, a day's figures, the newest list. Each raises RecordsError.

Which of several measurings of a flat on one day counts, counting.py says. Corrections by hand are applied: a corrected
figure loses its standard error and its cell gets the flag `corrected`. Where a number is used again, a flat's number
alone means its newest flat. Shelves and lights whose names differ in capitals or blanks alone are one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import Connection, Select, and_, func, or_, select

from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records import schema
from seedlingcv.records.belonging import Season, newest, season_on, seasons_of
from seedlingcv.records.counting import FITS, best_day, days_that_count
from seedlingcv.records.database import Records
from seedlingcv.records.history import FlatDay, FlatHistory, History, Lighting, Stand
from seedlingcv.records.keep import KeptVerdict
from seedlingcv.records.log import RootCheck
from seedlingcv.records.parts import REST, split
from seedlingcv.records.register import FlatRow
from seedlingcv.records.sowing import flat_rows, sowings
from seedlingcv.records.standing import Spelling, as_told, light_changes, light_over, plain_name, stand_on

CELL_COLUMNS = (schema.cells.c.cell, *(schema.cells.c[name] for name in schema.FIGURES), schema.cells.c.flags,
                schema.cells.c.se)
CELL_FIELDS = tuple(column.name for column in CELL_COLUMNS)
WHOLE_NUMBERS = ("plants", "true_leaves")


@dataclass(frozen=True)
class _Day:
    measurement: FlatMeasurement
    source: str


def read_history(records: Records, *, flats: Collection[int] = (), crop: str | None = None, since: date | None = None,
                 until: date | None = None) -> History:
    """Flats and parts of flats with the days they were measured on; those without such a day are left out.

    flats : numbers, all if empty; crop : whole flats' and parts' of this crop alone; since, until : days, both included
    """
    with records.reading() as connection:
        ids = _chosen(flats, crop)
        days = _days(connection, days_that_count(ids, since, until))
        rows = sowings(connection, ids)
        spelling = Spelling()
        lightings = _lightings(connection, spelling)
        moves, potted = _moves(connection, ids, spelling), _pottings(connection, ids)
        seasons = [s for s in seasons_of(connection, flats or None) if s.id in days]
    found: list[FlatHistory] = []
    for season in sorted(seasons, key=lambda s: (s.number, s.started or date.min)):
        own = flat_rows(season, rows.get(season.id, ())) or (FlatRow(season.number),)
        found += _histories(season, own, days[season.id], moves.get(season.id, ()), potted.get(season.id, ()),
                            lightings, spelling)
    return History(tuple(h for h in found if crop is None or h.crop == crop.lower()), lightings)


def recall_day(records: Records, flat: int, day: date) -> FlatMeasurement | None:
    """The whole flat on a day, with what its first row in the register says; None where that day isn't kept."""
    return _one_day(records, flat, day, schema.measured_days.c.day == day)


def earlier_day(records: Records, flat: int, before: date) -> FlatMeasurement | None:
    """The same flat on its newest day before `before`."""
    return _one_day(records, flat, before, schema.measured_days.c.day < before)


def with_corrections(records: Records, measured: FlatMeasurement) -> FlatMeasurement:
    """The measurement with the corrections by hand of its flat and day, whether or not it counts."""
    number, day = measured.flat, measured.day
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [number]), day) if day else None
        right = _corrections(connection, {season.id}).get((season.id, day), {}) if season and day else {}
    return replace(measured, cells=tuple(_corrected(cell, right.get(cell.cell)) for cell in measured.cells))


def known_days(records: Records, version: str) -> set[tuple[int, date, frozenset[str]]]:
    """(flat, day, hashes of the photos or figures) of all that this version has measured, but for days measured in
    another layout than the register names now."""
    flats, days = schema.flats.c, schema.measured_days.c
    wanted = select(flats.number, days.day, days["keys"]).where(days.flat_id == flats.id, days.version == version, FITS)
    with records.reading() as connection:
        return {(number, day, frozenset(keys)) for number, day, keys in connection.execute(wanted)}


def known_photos(records: Records) -> dict[str, tuple[int, date | None]]:
    """Flat and day of each photo that was kept in full and shows a flat, by the hash of its content."""
    flats, photos = schema.flats.c, schema.photos.c
    wanted = select(photos.sha256, flats.number, photos.taken).where(photos.flat_id == flats.id,
                                                                     photos.file.is_not(None))
    with records.reading() as connection:
        return {key: (number, taken and taken.date()) for key, number, taken in connection.execute(wanted)}


AsMeasured = dict[tuple[int, date], tuple[str, dict[str, CellMeasurement]]]


def as_measured(connection: Connection) -> AsMeasured:
    """Of each flat and day whose measuring counts: the program's version, and its corrected cells as they were
    measured."""
    days, flats, corrections = schema.measured_days.c, schema.flats.c, schema.corrections.c
    counts = days_that_count()
    found: AsMeasured = {}
    heads = select(flats.number, days.day, days.version).where(days.flat_id == flats.id, days.id.in_(counts))
    for number, day, version in connection.execute(heads):
        found[number, day] = (version, {})
    cells = schema.cells.c
    corrected = (select(flats.number, days.day, *CELL_COLUMNS)
                 .where(days.flat_id == flats.id, days.id.in_(counts), cells.day_id == days.id,
                        select(corrections.id).where(corrections.flat_id == days.flat_id, corrections.day == days.day,
                                                     corrections.cell == cells.cell).exists()))
    for number, day, *values in connection.execute(corrected):
        cell = _cell(values)
        found[number, day][1][cell.cell] = cell
    return found


def register_rows(records: Records) -> dict[int, tuple[FlatRow, ...]]:
    """What the register said of the newest flat of each number."""
    with records.reading() as connection:
        rows = sowings(connection)
        seasons = _newest_seasons(connection)
    return {s.number: flat_rows(s, rows[s.id]) for s in seasons if s.id in rows}


def rows_on(records: Records, flat: int, day: date) -> tuple[FlatRow, ...]:
    """What registers said of the flat that had the number on a day."""
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [flat]), day)
        return flat_rows(season, sowings(connection, [season.id]).get(season.id, ())) if season else ()


def newest_root_check(records: Records, flat: int) -> RootCheck | None:
    """The last one of the number's newest flat; by hand before by photo on the same day."""
    checks = schema.root_checks.c
    with records.reading() as connection:
        season = newest(seasons_of(connection, [flat]))
        if season is None:
            return None
        by_hand = checks.source == "hand"
        last = connection.execute(
            select(checks.day, checks.roots, checks.who, checks.source).where(checks.flat_id == season.id)
            .order_by(checks.day.desc(), by_hand.desc(), checks.id.desc()).limit(1)).first()
    return RootCheck(flat, *last) if last else None


def newest_verdicts(records: Records, *, today: date) -> list[KeptVerdict]:
    """The newest of each flat and part up to today, by number; without what was potted up since it was seen, without
    parts that the register doesn't name any more, and without flats whose number is another flat's by now."""
    with records.reading() as connection:
        found = connection.execute(_newest_verdicts(today)).all()
        rows = sowings(connection)
        seasons = {s.id: s for s in _newest_seasons(connection, today)}
    kept = []
    for flat_id, part, *rest in found:
        if flat_id in seasons and (part or None) in _parts_named(rows.get(flat_id, ()), part):
            kept.append(KeptVerdict(seasons[flat_id].number, part or None, *rest))
    return sorted(kept, key=lambda v: (v.flat, v.part or ""))


def _newest_verdicts(today: date) -> Select:
    verdicts, pottings = schema.verdicts.c, schema.pottings.c
    turn = func.row_number().over(partition_by=(verdicts.flat_id, verdicts.part),
                                  order_by=(verdicts.day.desc(), verdicts.today.desc()))
    ranked = select(verdicts.id, turn.label("turn")).where(verdicts.today <= today, verdicts.day <= today).subquery()
    potted = select(pottings.id).where(
        pottings.flat_id == verdicts.flat_id, pottings.day >= verdicts.day, pottings.day <= today,
        or_(pottings.part == schema.WHOLE, pottings.part == verdicts.part))
    return (select(verdicts.flat_id, verdicts.part, verdicts.day, verdicts.today, verdicts.action, verdicts.due,
                   verdicts.tree)
            .join(ranked, and_(ranked.c.id == verdicts.id, ranked.c.turn == 1)).where(~potted.exists()))


def _parts_named(rows: Sequence[Mapping[str, Any]], part: str) -> set[str | None]:
    """The parts a flat's verdicts may be of; whatever the part is where nothing is known of the flat."""
    named = {row["part"] for row in rows if row["part"]}
    if not rows:
        return {part or None}
    return {*named, REST} if named else {None}


def _newest_seasons(connection: Connection, today: date = date.max) -> list[Season]:
    by_number: dict[int, list[Season]] = defaultdict(list)
    for season in seasons_of(connection):
        if season.started is None or season.started <= today:
            by_number[season.number].append(season)
    return [last for seasons in by_number.values() if (last := newest(seasons))]


def _one_day(records: Records, flat: int, at: date, which) -> FlatMeasurement | None:
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [flat]), at)
        if season is None:
            return None
        found = _days(connection, best_day(season.id, which)).get(season.id)
        row = next(iter(flat_rows(season, sowings(connection, [season.id]).get(season.id, ()))), FlatRow(flat))
    return _told(found[0].measurement, row, row.light) if found else None


def _told(measurement: FlatMeasurement, row: FlatRow, light: str | None) -> FlatMeasurement:
    return replace(measurement, crop=row.crop, variety=row.variety, sown=row.sown, light=light)


def _chosen(numbers: Collection[int], crop: str | None) -> Select:
    flats, rows = schema.flats.c, schema.sowings.c
    ids = select(flats.id)
    if numbers:
        ids = ids.where(flats.number.in_(set(numbers)))
    if crop is not None:
        ids = ids.where(flats.id.in_(select(rows.flat_id).where(rows.crop == crop.lower())))
    return ids


def _days(connection: Connection, day_ids: Select) -> dict[int, list[_Day]]:
    """Measured days by flat, oldest first, corrections applied."""
    days, flats = schema.measured_days.c, schema.flats.c
    heads = connection.execute(
        select(days.id, days.flat_id, flats.number, days.day, days.rows, days.columns, days.flags, days.source)
        .where(days.flat_id == flats.id, days.id.in_(day_ids)).order_by(days.day)).all()
    cells: dict[int, list[CellMeasurement]] = defaultdict(list)
    table = schema.cells.c
    for day_id, *values in connection.execute(select(table.day_id, *CELL_COLUMNS).where(table.day_id.in_(day_ids))
                                              .order_by(table.day_id, table.place)):
        cells[day_id].append(_cell(values))
    corrections = _corrections(connection, {head.flat_id for head in heads})
    found: dict[int, list[_Day]] = defaultdict(list)
    for day_id, flat_id, number, day, rows, columns, flags, source in heads:
        put_right = corrections.get((flat_id, day), {})
        own = tuple(_corrected(cell, put_right.get(cell.cell)) for cell in cells[day_id])
        found[flat_id].append(_Day(FlatMeasurement(number, day, rows, columns, own, flags=tuple(flags)), source))
    return dict(found)


def _cell(values: Sequence[Any]) -> CellMeasurement:
    row = dict(zip(CELL_FIELDS, values, strict=True))
    row["flags"] = tuple(row["flags"])
    return CellMeasurement(**{name: _whole(value) if name in WHOLE_NUMBERS else value for name, value in row.items()})


def _whole(value: float | None) -> float | int | None:
    """2 rather than 2.0; the mean of a whole flat by ruler may be 2.5."""
    return int(value) if value is not None and value == int(value) else value


def _corrections(connection: Connection, flat_ids: set[int]) -> dict[tuple[int, date], dict[str, dict[str, Any]]]:
    """Figures to put right by (flat, day), cell and name."""
    table = schema.corrections.c
    wanted = select(table.flat_id, table.day, table.cell, table.figure, table.value, table.when).order_by(
        table.recorded_at, table.id)
    if len(flat_ids) == 1:  # asked for flat by flat
        wanted = wanted.where(table.flat_id.in_(flat_ids))
    found: dict[tuple[int, date], dict[str, dict[str, Any]]] = {}
    for flat_id, day, cell, figure, value, _ in sorted(connection.execute(wanted), key=lambda c: c.when or date.min):
        if flat_id in flat_ids:
            found.setdefault((flat_id, day), {}).setdefault(cell, {})[figure] = value
    return found


def _corrected(cell: CellMeasurement, figures: Mapping[str, Any] | None) -> CellMeasurement:
    if not figures:
        return cell
    right = {name: _whole(value) if name in WHOLE_NUMBERS else value for name, value in figures.items()}
    flags = tuple(dict.fromkeys((*cell.flags, "corrected")))
    return replace(cell, **right, flags=flags, se={name: se for name, se in cell.se.items() if name not in right})


def _moves(connection: Connection, flat_ids: Select, spelling: Spelling) -> dict[int, list[Stand]]:
    table = schema.stands.c
    found: dict[int, list[Stand]] = defaultdict(list)
    for flat_id, *values in connection.execute(select(table.flat_id, table.day, table.shelf, table.light)
                                               .where(table.flat_id.in_(flat_ids)).order_by(table.day)):
        found[flat_id].append(spelling.stand(Stand(*values)))
    return found


def _pottings(connection: Connection, flat_ids: Select) -> dict[int, list[tuple[str, date]]]:
    table = schema.pottings.c
    found: dict[int, list[tuple[str, date]]] = defaultdict(list)
    for flat_id, part, day in connection.execute(select(table.flat_id, table.part, table.day)
                                                 .where(table.flat_id.in_(flat_ids)).order_by(table.day)):
        found[flat_id].append((part, day))
    return found


def _lightings(connection: Connection, spelling: Spelling) -> tuple[Lighting, ...]:
    """By shelf, oldest first."""
    rows = connection.execute(select(schema.lightings)).mappings()
    plain = ({name: value for name, value in row.items() if name != "id"} for row in rows)
    found = [Lighting(**row | {"ppfd_umol": tuple(tuple(line) for line in row["ppfd_umol"])}) for row in plain]
    found.sort(key=lambda x: (plain_name(x.shelf), x.since or date.min, x.light))
    return tuple(replace(x, shelf=spelling.shelf(x.shelf), light=spelling.light(x.light)) for x in found)


def _histories(season: Season, rows: Sequence[FlatRow], days: Sequence[_Day], moves: Sequence[Stand],
               potted: Sequence[tuple[str, date]], lightings: Sequence[Lighting],
               spelling: Spelling) -> Iterable[FlatHistory]:
    """The flat's parts, each through all its days."""
    by_part: dict[str | None, tuple[FlatRow, list[_Day]]] = {}
    for day in days:
        for which, part, label in split(day.measurement, [row.part for row in rows]):
            if not part.cells:
                continue
            row = rows[which] if which >= 0 else FlatRow(season.number)
            by_part.setdefault(label, (row, []))[1].append(replace(day, measurement=part))
    for label, (row, own) in by_part.items():
        first = spelling.stand(_first_stand(season, row, rows))
        stands = (*((first,) if first.shelf or first.light else ()), *moves)
        lit = [_lit(day, row, stands, lightings) for day in own]
        changes = light_changes(stands, lightings, lit[0].day, lit[-1].day)
        gone = max((day for part, day in potted if part in (schema.WHOLE, label)), default=None)
        yield FlatHistory(season.number, label, row.crop, row.variety, row.sown, row.seed_lot, row.batch, tuple(lit),
                          as_told(stands, lightings), changes, gone)


def _first_stand(season: Season, row: FlatRow, rows: Sequence[FlatRow]) -> Stand:
    """Where the register puts the flat. Its parts stand together, so one row's word is every row's."""
    shelf = row.shelf or next((r.shelf for r in rows if r.shelf), None)
    light = row.light or next((r.light for r in rows if r.light), None)
    return Stand(season.started, shelf, light)


def _lit(day: _Day, row: FlatRow, stands: Sequence[Stand], lightings: Sequence[Lighting]) -> FlatDay:
    at = day.measurement.day
    assert at is not None
    stand = stand_on(stands, at)
    light, lighting = light_over(stand, lightings, at)
    return FlatDay(_told(day.measurement, row, light), stand.shelf if stand else None, light, lighting, day.source)

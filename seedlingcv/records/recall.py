"""Reading the records: a season's history, a day's figures, the newest list. Each raises RecordsError.

Which of several measurings of a flat on one day counts, counting.py says. Corrections by hand are applied: a corrected
figure loses its standard error and its cell gets the flag `corrected`. Where a number is used again, a flat's number
alone means its newest flat. Shelves and lights whose names differ in capitals or blanks alone are one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import Connection, Select, and_, func, select

from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records import schema
from seedlingcv.records.belonging import Season, by_number, newest_of_each, season_on, seasons_of
from seedlingcv.records.counting import FITS, best_day, days_that_count
from seedlingcv.records.database import Records
from seedlingcv.records.history import FlatDay, FlatHistory, History, Lighting, Stand
from seedlingcv.records.keep import KeptVerdict
from seedlingcv.records.log import RootCheck
from seedlingcv.records.parts import REST, covered, share_cells, split
from seedlingcv.records.register import FlatRow
from seedlingcv.records.sowing import flat_rows, part_labels, sowings
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
                 until: date | None = None, on: Mapping[int, date] | None = None) -> History:
    """Flats and parts of flats with the days they were measured on; those without such a day are left out.

    flats : numbers, all if empty; crop : whole flats' and parts' of this crop alone
    since, until : days, both included; what was potted up after `until` isn't yet
    on : a day of each number, of which the flat that had it that day is wanted alone
    """
    with records.reading() as connection:
        ids = _chosen(flats, crop)
        days = _days(connection, days_that_count(ids, since, until))
        rows = sowings(connection, ids)
        spelling = Spelling()
        lightings = _lightings(connection, spelling)
        moves, potted = _moves(connection, ids, spelling), _pottings(connection, ids, until)
        seasons = _seasons_on(seasons_of(connection, flats or None), on)
    found: list[FlatHistory] = []
    for season in sorted((s for s in seasons if s.id in days), key=lambda s: (s.number, s.started or date.min)):
        own = flat_rows(season, rows.get(season.id, ())) or (FlatRow(season.number),)
        found += _histories(season, own, days[season.id], moves.get(season.id, ()), potted.get(season.id, ()),
                            lightings, spelling)
    return History(tuple(h for h in found if crop is None or h.crop == crop.lower()), lightings)


def recall_day(records: Records, flat: int, day: date) -> FlatMeasurement | None:
    """The whole flat on a day, with what its first row in the register says; None where that day isn't kept."""
    return _one_day(records, flat, day, schema.measured_days.c.day == day)


def earlier_day(records: Records, flat: int, before: date, *, seen: date | None = None) -> FlatMeasurement | None:
    """The flat that had the number on the day `seen`, or else `before`, on its newest day before `before`."""
    return _one_day(records, flat, seen or before, schema.measured_days.c.day < before)


def with_corrections(records: Records, measured: FlatMeasurement) -> FlatMeasurement:
    """The measurement with the corrections by hand of its flat and day, whether or not it counts."""
    number, day = measured.flat, measured.day
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [number]), day) if day else None
        right = _corrections(connection, {season.id}).get((season.id, day), {}) if season and day else {}
    return replace(measured, cells=tuple(_corrected(cell, right.get(cell.cell)) for cell in measured.cells))


def known_days(records: Records,
               version: str | Callable[[str | None], str]) -> set[tuple[int, date, frozenset[str]]]:
    """(flat, day, hashes of the photos or figures) of all that this version has measured, but for days measured in
    another layout than the register names now. version : the one, or the one for a flat of a crop"""
    flats, days, crops = schema.flats.c, schema.measured_days.c, schema.sowings.c
    wanted = (select(flats.number, days.day, days["keys"], days.version, crops.crop).where(FITS)
              .join_from(schema.measured_days, schema.flats, days.flat_id == flats.id)
              .outerjoin(schema.sowings, and_(crops.flat_id == flats.id, crops.place == 0)))
    with records.reading() as connection:
        return {(number, day, frozenset(keys)) for number, day, keys, by, crop in connection.execute(wanted)
                if by == (version if isinstance(version, str) else version(crop))}


def known_photos(records: Records) -> dict[str, tuple[int, date | None]]:
    """Flat and day of each photo that was kept in full and shows a flat, by the hash of its content."""
    flats, photos = schema.flats.c, schema.photos.c
    wanted = select(photos.sha256, flats.number, photos.taken).where(photos.flat_id == flats.id,
                                                                     photos.file.is_not(None))
    with records.reading() as connection:
        return {key: (number, taken and taken.date()) for key, number, taken in connection.execute(wanted)}


News = tuple[date | None, dict[str, dict[str, Any]]]
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


def newest_root_check(records: Records, flat: int, *, seen: date | None = None,
                      today: date = date.max) -> RootCheck | None:
    """The last one up to `today` of the flat that had the number on the day `seen`, else of the newest. On the same day
    by hand before by photo, and then what was written down last."""
    checks = schema.root_checks.c
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [flat]), seen)
        if season is None:
            return None
        by_hand = checks.source == "hand"
        last = connection.execute(
            select(checks.day, checks.roots, checks.who, checks.source)
            .where(checks.flat_id == season.id, checks.day <= today)
            .order_by(checks.day.desc(), by_hand.desc(), checks.recorded_at.desc(), checks.id.desc()).limit(1)).first()
    return RootCheck(flat, *last) if last else None


def newest_verdicts(records: Records, *, today: date) -> list[KeptVerdict]:
    """The newest of each flat and part up to today, by number; without what was potted up since it was seen, without
    parts that the register doesn't name any more, and without flats whose number is another flat's by now."""
    with records.reading() as connection:
        found = connection.execute(_newest_verdicts(today)).all()
        rows, potted = sowings(connection), _pottings(connection, None, today)
        seasons = {s.id: s for s in _newest_seasons(connection, today)}
    kept = []
    for flat_id, part, day, *rest, tree in found:
        own = rows.get(flat_id, ())
        if flat_id not in seasons or (part or None) not in _parts_named(own, part):
            continue
        since = [label for label, on in potted.get(flat_id, ()) if on >= day]
        if not covered(part or None, since, part_labels(own), tree.get("rows"), tree.get("columns")):
            kept.append(KeptVerdict(seasons[flat_id].number, part or None, day, *rest, tree))
    return sorted(kept, key=lambda v: (v.flat, v.part or ""))


def news_of(records: Records, kept: Sequence[KeptVerdict], *, today: date) -> list[News]:
    """Of each verdict: the flat's newest day up to today with figures, if it is newer than the verdict's own; and the
    corrections of the verdict's own day, by cell and figure."""
    days = schema.measured_days.c
    newest_day = select(days.flat_id, func.max(days.day)).where(days.day <= today).group_by(days.flat_id)
    with records.reading() as connection:
        seasons = seasons_of(connection)
        newer = dict(connection.execute(newest_day).all())
        right = _corrections(connection, {s.id for s in seasons})
    of_number = by_number(seasons)
    found: list[News] = []
    for verdict in kept:
        own = season_on(of_number[verdict.flat], verdict.day)
        day = newer.get(own.id) if own else None
        found.append((day if day and day > verdict.day else None, right.get((own.id, verdict.day), {}) if own else {}))
    return found


def _newest_verdicts(today: date) -> Select:
    verdicts = schema.verdicts.c
    turn = func.row_number().over(partition_by=(verdicts.flat_id, verdicts.part),
                                  order_by=(verdicts.day.desc(), verdicts.today.desc()))
    ranked = select(verdicts.id, turn.label("turn")).where(verdicts.today <= today, verdicts.day <= today).subquery()
    return (select(verdicts.flat_id, verdicts.part, verdicts.day, verdicts.today, verdicts.action, verdicts.due,
                   verdicts.tree)
            .join(ranked, and_(ranked.c.id == verdicts.id, ranked.c.turn == 1)))


def _parts_named(rows: Sequence[Mapping[str, Any]], part: str) -> set[str | None]:
    """The parts a flat's verdicts may be of; whatever the part is where nothing is known of the flat."""
    named = part_labels(rows)
    if not rows:
        return {part or None}
    return {*named, REST} if named else {None}


def _seasons_on(seasons: list[Season], on: Mapping[int, date] | None) -> list[Season]:
    if on is None:
        return seasons
    right = (season_on([s for s in seasons if s.number == number], day) for number, day in on.items())
    return [season for season in right if season]


def _newest_seasons(connection: Connection, today: date = date.max) -> list[Season]:
    return newest_of_each(s for s in seasons_of(connection) if s.started is None or s.started <= today)


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


def _pottings(connection: Connection, flat_ids: Select | None, until: date | None) -> dict[int, list[tuple[str, date]]]:
    """(part, day) by flat, oldest first."""
    table = schema.pottings.c
    wanted = select(table.flat_id, table.part, table.day).where(table.day <= (until or date.max)).order_by(table.day)
    if flat_ids is not None:
        wanted = wanted.where(table.flat_id.in_(flat_ids))
    found: dict[int, list[tuple[str, date]]] = defaultdict(list)
    for flat_id, part, day in connection.execute(wanted):
        found[flat_id].append((part, day))
    return found


def _lightings(connection: Connection, spelling: Spelling) -> tuple[Lighting, ...]:
    """By shelf, oldest first."""
    rows = connection.execute(select(schema.lightings)).mappings()
    plain = ({name: value for name, value in row.items() if name not in ("id", "told_by")} for row in rows)
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
        sown = min(lit[0].day, row.sown or season.started or lit[0].day)  # it grew before it was first looked at
        changes = light_changes(stands, lightings, sown, lit[-1].day)
        gone = _potted_on(label, potted, rows, own[-1].measurement)
        yield FlatHistory(season.number, label, row.crop, row.variety, row.sown, row.seed_lot, row.batch, tuple(lit),
                          as_told(stands, lightings), changes, gone)


def _potted_on(label: str | None, potted: Sequence[tuple[str, date]], rows: Sequence[FlatRow],
               last: FlatMeasurement) -> date | None:
    """The last day on which some of the part was potted up, once all of it was: since it was seen last, or before."""
    named = {row.part.label for row in rows if row.part}
    since = [(part, day) for part, day in potted if last.day and day >= last.day]
    before = [one for one in potted if one not in since]
    for some in (since, before):
        if covered(label, [part for part, _ in some], named, last.rows, last.columns):
            return max((day for part, day in some if share_cells(part, label, named, last.rows, last.columns)),
                       default=None)
    return None


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

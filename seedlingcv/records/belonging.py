"""A tag's number is used again next season: which flat a photo, a figure or a register's row is of.

1. A flat is a number and the day it was `started`, its earliest sowing date in the register.
2. What is of day D belongs to the number's flat with the latest start up to D; else to the one without a date.
3. A sowing date within 21 days of a known flat's is a correction of it, unless that flat was potted up or last seen
   before it. So is any other date of one whose sowing is still to come: that was a slip; and one within a month of a
   flat of the same crop of which nothing but the register's row is kept. Else it is another flat's.
4. Where a date becomes known or is corrected, all that is kept of the number is dealt out again by rule 2: it makes no
   difference whether the register or the photos came first.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlalchemy import Connection, Table, delete, func, insert, select, update

from seedlingcv.records import schema
from seedlingcv.records.history import SAME_SOWING_DAYS

DATED: tuple[tuple[Table, str], ...] = (  # what belongs to a flat by its day
    (schema.photos, "taken"), (schema.stands, "day"), (schema.measured_days, "day"), (schema.verdicts, "day"),
    (schema.corrections, "day"), (schema.root_checks, "day"), (schema.pottings, "day"))


@dataclass(frozen=True)
class Season:
    """One flat; `seen` the last day it was measured, `potted` the first day it was potted up."""

    id: int
    number: int
    started: date | None = None
    rows: int | None = None
    columns: int | None = None
    seen: date | None = None
    potted: date | None = None

    def gone_before(self, day: date) -> bool:
        return (self.seen is not None and self.seen < day) or (self.potted is not None and self.potted <= day)


def newest(seasons: Sequence[Season]) -> Season | None:
    """Of one number's flats; one without a date is older than those that have one."""
    return max(seasons, key=lambda s: s.started or date.min, default=None)


def by_number(seasons: Iterable[Season]) -> dict[int, list[Season]]:
    """The flats that had each number."""
    found: dict[int, list[Season]] = defaultdict(list)
    for season in seasons:
        found[season.number].append(season)
    return found


def newest_of_each(seasons: Iterable[Season]) -> list[Season]:
    """One flat a number."""
    return [last for own in by_number(seasons).values() if (last := newest(own))]


def season_on(seasons: Sequence[Season], day: date | None) -> Season | None:
    """Rule 2, of one number's flats; what has no day is the newest flat's. None: a flat must be made for it."""
    if day is None:
        return newest(seasons)
    begun = [s for s in seasons if s.started and s.started <= day]
    return newest(begun) or next((s for s in seasons if s.started is None), None)


def season_sown(seasons: Sequence[Season], started: date, today: date | None = None) -> Season | None:
    """Rule 3, of one number's flats. None: it is a new flat."""
    today = today or date.today()
    exact = next((s for s in seasons if s.started == started), None)
    if exact:
        return exact
    here = [s for s in seasons if not s.gone_before(started)]
    near = [(abs((s.started - started).days), s) for s in here if s.started]
    apart, closest = min(near, key=lambda pair: pair[0], default=(None, None))
    if apart is not None and apart <= SAME_SOWING_DAYS:
        return closest
    to_come = next((s for s in here if s.started and s.started > today), None)
    return to_come or next((s for s in here if s.started is None), None)


@dataclass
class Flats:
    """The flats of some numbers, or all; `id_of` makes those that are missing."""

    connection: Connection
    numbers: Collection[int] | None = None
    by_number: dict[int, list[Season]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        for season in seasons_of(self.connection, self.numbers):
            self.by_number[season.number].append(season)

    def id_of(self, number: int, day: date | None) -> int:
        season = season_on(self.by_number[number], day)
        return season.id if season else self.add(number)

    def add(self, number: int, started: date | None = None) -> int:
        made = self.connection.execute(insert(schema.flats).values(number=number, started=started))
        flat_id = made.inserted_primary_key[0]
        self.by_number[number].append(Season(flat_id, number, started))
        return flat_id


def seasons_of(connection: Connection, numbers: Collection[int] | None = None) -> list[Season]:
    flats, days, pottings = schema.flats, schema.measured_days, schema.pottings
    wanted = select(flats).order_by(flats.c.id)
    if numbers is not None:
        wanted = wanted.where(flats.c.number.in_(numbers))
    seen = _by_flat(connection, days, func.max(days.c.day), numbers)
    potted = _by_flat(connection, pottings, func.min(pottings.c.day), numbers)
    return [Season(**row._mapping, seen=seen.get(row.id), potted=potted.get(row.id))
            for row in connection.execute(wanted)]


def _by_flat(connection: Connection, table: Table, what, numbers: Collection[int] | None) -> Mapping[int, date]:
    wanted = select(table.c.flat_id, what).group_by(table.c.flat_id)
    if numbers is not None:
        of_number = select(schema.flats.c.id).where(schema.flats.c.number.in_(numbers))
        wanted = wanted.where(table.c.flat_id.in_(of_number))
    return dict(connection.execute(wanted).all())


def deal_out(connection: Connection, number: int) -> None:
    """Rule 4: give everything that is kept of a number to the flat it belongs to now."""
    flats = Flats(connection, [number])
    ours = select(schema.flats.c.id).where(schema.flats.c.number == number)
    for table, column in DATED:
        kept = connection.execute(select(table.c.id, table.c.flat_id, table.c[column]).where(table.c.flat_id.in_(ours)))
        for row_id, flat_id, at in kept.all():
            right = flats.id_of(number, at.date() if isinstance(at, datetime) else at)
            if right != flat_id:
                connection.execute(update(table).where(table.c.id == row_id).values(flat_id=right))
    drop_if_bare(connection, number)


def is_bare(connection: Connection, flat_id: int) -> bool:
    """Nothing is kept of the flat, but for what a register says."""
    return not any(connection.scalar(select(table.c.id).where(table.c.flat_id == flat_id).limit(1))
                   for table, _ in DATED)


def drop_if_bare(connection: Connection, number: int) -> None:
    """A flat without a date of which nothing is kept any more."""
    flats = schema.flats
    bare = delete(flats).where(flats.c.number == number, flats.c.started.is_(None))
    for table in (schema.sowings, *(table for table, _ in DATED)):
        bare = bare.where(~select(table.c.id).where(table.c.flat_id == flats.c.id).exists())
    connection.execute(bare)

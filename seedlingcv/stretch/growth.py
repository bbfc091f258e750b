"""How fast flats grow: growth a day with its 95 % interval.

Of one flat: the same plants are measured on both days, so growth is the mean of each plant's own (a paired t). The
interval says how this flat's plants grew, nothing of other flats. Plants don't average out what a photo gets wrong for
all of them at once (its scale, above all): SHARED_SD is added, on both days, in squares. It is taken as new on every
day; what stays alike from day to day cancels, so intervals are rather too wide than too narrow.

Of a light or shelf: the mean of its flats' slopes, with t over flats. Lines go through the means of the same plants on
all their days too.

Stems don't grow along a straight line: growth over the last step and over the whole time are both given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt
from statistics import fmean, stdev

from seedlingcv.records.history import FlatDay, FlatHistory
from seedlingcv.stretch.over_flats import Mean, count_flats, mean_over_flats, t_quantile
from seedlingcv.stretch.series import Look, age_on, looks_of, same_plants, values_on

# Standard deviation of the error that all plants of a flat share on a day: (share of the figure, and in its own unit).
# Photos: a flat's legginess is off by 4 % in the mean (README, How far to trust it), which for normal errors is a
# standard deviation of 4 % x 1.25; mean stem length likewise (4 %), canopy cover 3 %, mean true leaves 0.5, on the same
# eight rendered flats. By hand: judgement.
SHARED_SD = {
    "photo": {"stem_length_mm": (0.05, 0.0), "legginess": (0.05, 0.0), "canopy_cover": (0.04, 0.0),
              "true_leaves": (0.0, 0.5)},
    "ruler": {"stem_length_mm": (0.02, 0.0), "legginess": (0.03, 0.0), "canopy_cover": (0.0, 0.05),
              "true_leaves": (0.0, 0.25)},
}  # fmt: skip
LEAST_FOR_LINE = 3  # days


@dataclass(frozen=True)
class Growth:
    """Growth between two days of the plants measured on both; `before` and `after` are their means.

    low, high : 95 % interval of `per_day`; None where one plant, or one line for a whole flat, tells of no scatter
    """

    first: date
    last: date
    before: float
    after: float
    per_day: float
    low: float | None
    high: float | None
    plants: int

    @property
    def days(self) -> int:
        return (self.last - self.first).days


@dataclass(frozen=True)
class Line:
    """Straight line through a flat's daily means, by least squares; the 95 % interval by t from how the days scatter
    about it."""

    per_day: float
    low: float
    high: float
    days: int


@dataclass(frozen=True)
class FlatGrowth:
    """whole: first day to last; last_step: the last two days; line: None with fewer than three days."""

    history: FlatHistory
    field: str
    whole: Growth
    steps: tuple[Growth, ...]
    line: Line | None

    @property
    def last_step(self) -> Growth:
        return self.steps[-1]


@dataclass(frozen=True)
class PlaceGrowth:
    """Mean growth a day of the flats under a light (on a shelf) while they stood there.

    place : `new panel`, or `new panel, after bulb` of flats that were moved there
    per_day : None where no flat had the same plants on two days
    ages : days since sowing, from and to; None where unknown
    left_out : flats without the same plants on their days
    """

    place: str
    crop: str | None
    field: str
    per_day: Mean | None
    ages: tuple[int, int] | None
    left_out: int = 0


def growth_between(one: FlatDay, other: FlatDay, field: str) -> Growth | None:
    """None without a plant measured on both days. `other` is the later day."""
    before, after = values_on(one, field), values_on(other, field)
    both = [cell for cell in before if cell in after]
    days = (other.day - one.day).days
    if not both or days <= 0:
        return None
    gains = [after[cell] - before[cell] for cell in both]
    means = fmean(before[c] for c in both), fmean(after[c] for c in both)
    rate = fmean(gains) / days
    if len(gains) < 2:
        return Growth(one.day, other.day, *means, rate, None, None, len(gains))
    plants_se = stdev(gains) / sqrt(len(gains))
    shared = sqrt(_shared_sd(one, field, means[0]) ** 2 + _shared_sd(other, field, means[1]) ** 2)
    half = half_width(plants_se, len(gains) - 1, shared) / days
    return Growth(one.day, other.day, *means, rate, rate - half, rate + half, len(gains))


def half_width(se: float, df: int, known: float) -> float:
    """Half a 95 % interval from a standard error with `df` degrees of freedom and a known one, added in squares.

    Effective degrees of freedom by Welch and Satterthwaite (GUM, JCGM 100:2008, G.4); the known one has no end of them.
    """
    total = sqrt(se**2 + known**2)
    if total == 0:
        return 0.0
    return t_quantile(df * (total / se) ** 4 if se > 0 else float("inf")) * total


def _shared_sd(day: FlatDay, field: str, value: float) -> float:
    share, own_unit = SHARED_SD["ruler" if day.source == "ruler" else "photo"][field]
    return sqrt((share * value) ** 2 + own_unit**2)


def growth_of(history: FlatHistory, field: str) -> FlatGrowth | None:
    """None with fewer than two days, or where the first and last, or the last two, have no plant in common."""
    looks = looks_of(history, field)
    if len(looks) < 2:
        return None
    whole = growth_between(looks[0].at, looks[-1].at, field)
    steps = [growth_between(a.at, b.at, field) for a, b in zip(looks, looks[1:], strict=False)]
    if whole is None or steps[-1] is None:
        return None
    return FlatGrowth(history, field, whole, tuple(s for s in steps if s),
                      line_through(same_plants(looks, field)))


def line_through(looks: Sequence[Look]) -> Line | None:
    if len(looks) < LEAST_FOR_LINE:
        return None
    x, y = [look.day.toordinal() for look in looks], [look.mean for look in looks]
    slope = slope_through(looks)
    centre, level = fmean(x), fmean(y)
    left = sum((b - level - slope * (a - centre)) ** 2 for a, b in zip(x, y, strict=True))
    df = len(looks) - 2
    half = t_quantile(df) * sqrt(left / df / sum((a - centre) ** 2 for a in x))
    return Line(slope, slope - half, slope + half, len(looks))


def slope_through(looks: Sequence[Look]) -> float:
    """Growth a day by least squares through the daily means; of two looks their difference over the days."""
    x = [look.day.toordinal() for look in looks]
    centre = fmean(x)
    return sum((a - centre) * look.mean for a, look in zip(x, looks, strict=True)) / sum((a - centre) ** 2 for a in x)


def growth_by_place(flats: Sequence[FlatHistory], by: str, field: str) -> tuple[PlaceGrowth, ...]:
    """Growth under each light (on each shelf) and crop. A flat counts with the days it stood there, two at least; flats
    that came from elsewhere by themselves, since they catch up.

    by : `light` or `shelf`
    """
    found: dict[tuple[str, str], list[tuple[FlatHistory, list[Look]]]] = {}
    names: dict[str, str] = {}
    for flat in flats:
        own: dict[str, list[Look]] = {}
        before, now = "", ""
        for look in looks_of(flat, field):
            if place := getattr(look.at, by):
                if place.casefold() != now.casefold():
                    before, now = now, place
                name = f"{place}, after {before}" if before else place
                names.setdefault(name.casefold(), name)
                own.setdefault(name.casefold(), []).append(look)
        for place, looks in own.items():
            if len(looks) > 1:
                found.setdefault((flat.crop or "", place), []).append((flat, looks))
    return tuple(_at_place(names[place], crop or None, field, members)
                 for (crop, place), members in sorted(found.items(), key=lambda own: own[0]))


def _at_place(place: str, crop: str | None, field: str,
              members: Sequence[tuple[FlatHistory, list[Look]]]) -> PlaceGrowth:
    lines = [(flat, slope_through(same)) for flat, looks in members if len(same := same_plants(looks, field)) > 1]
    ages = [age for flat, looks in members for look in looks if (age := age_on(flat, look.day)) is not None]
    left_out = count_flats(flat for flat, _ in members) - count_flats(flat for flat, _ in lines)
    return PlaceGrowth(place, crop, field, mean_over_flats(lines), (min(ages), max(ages)) if ages else None, left_out)

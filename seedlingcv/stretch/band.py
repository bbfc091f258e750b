"""The crop's expected band, and flats that leave it.

Legginess: the limits of the crop's file by leaf stage. A flat is judged by its plants' median, as in the pot-up list.

Stem length: no published band by age is known. Shown is the crop's target height over the soil, leaves included
(`heights_mm`, common practice), at the ages at which the crop usually comes to each stage, straight between them: seed
leaves a third of the usual time to potting up (as the list reckons too), potting up at the middle of
`weeks_to_pot_up`, sale after the middle of `weeks_in_pot`. For a stem only the upper edge counts: one that alone is as
long as the whole plant should be high is too long, but a good one may be below the lower edge, as leaves rise above it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from seedlingcv.crops.crop import Bands, Crop
from seedlingcv.records.history import FlatHistory
from seedlingcv.stretch.growth import Growth, growth_between
from seedlingcv.stretch.series import Look, looks_of

LEAST_PLANTS = 5  # plants measured on a day, below which a flat isn't judged by them (judgement)
SOON_DAYS = 7  # a nursery plans by the week
LEAST_DAYS = 3  # between two looks, below which growth isn't told from error (judgement)
# Of the usual weeks to pot-up, what emergence and seed leaves take: common practice, no source.
SEED_LEAVES_AT = 1 / 3


@dataclass(frozen=True)
class Edge:
    """The band at an age (days since sowing) or at a number of true leaves, in the figure's own unit."""

    at: float
    low: float
    high: float


@dataclass(frozen=True)
class LeftBand:
    """A flat whose median legginess has left its crop's band (`left`), or is about to.

    day     when it was first seen outside (in the run that lasts until now), or is reckoned to leave
    figure  its median legginess at the last look; limit : what is leggy at its leaf stage
    growth  from the last look inside to the first outside (LEAST_DAYS apart at least), or over the last days; None
            where no plant is in both
    """

    left: bool
    day: date
    figure: float
    limit: float
    growth: Growth | None
    sentence: str


def legginess_edge(bands: Bands, at: float, leaves: float | None) -> Edge:
    """Plants too young for the other limits have the leggy one only."""
    young = leaves is None or leaves < bands.from_true_leaves
    return Edge(at, 0.0 if young else bands.compact_below, bands.leggy_limit(leaves))


def target_heights(crop: Crop, *, against_leaves: bool = False) -> tuple[Edge, ...]:
    """The band of stem length: corners by age, between which it is straight; by leaf stage from no true leaf to the
    middle of the pot-up window. Empty for crops that aren't potted up."""
    if crop.weeks_to_pot_up is None or crop.pot_up_true_leaves is None:
        return ()
    pot_up = 7 * sum(crop.weeks_to_pot_up) / 2
    at = {"seed_leaves": SEED_LEAVES_AT * pot_up, "pot_up": pot_up}
    if crop.weeks_in_pot is not None:
        at["sale"] = pot_up + 7 * sum(crop.weeks_in_pot) / 2
    if against_leaves:
        at = {"seed_leaves": 0.0, "pot_up": sum(crop.pot_up_true_leaves) / 2}
    return tuple(Edge(x, *crop.heights_mm[stage]) for stage, x in at.items() if stage in crop.heights_mm)


def left_band(history: FlatHistory, crop: Crop | None) -> LeftBand | None:
    """Whether and since when the flat's median legginess is beyond its crop's leggy limit, or will be within a week.

    About to leave is a flat between normal and leggy whose plants surely gain (the 95 % interval of their growth lies
    above nought) fast enough to pass the limit within SOON_DAYS. None where the flat stays inside, where its crop has
    no limits, and with fewer than two days with LEAST_PLANTS plants.
    """
    bands = crop.legginess if crop else None
    looks = [look for look in looks_of(history, "legginess") if look.plants >= LEAST_PLANTS]
    if bands is None or len(looks) < 2:
        return None
    return _left(looks, bands) if _outside(looks[-1], bands) else _leaving(looks, bands)


def _outside(look: Look, bands: Bands) -> bool:
    return look.median > bands.leggy_limit(look.leaves)


def _left(looks: Sequence[Look], bands: Bands) -> LeftBand:
    first = len(looks) - 1
    while first > 0 and _outside(looks[first - 1], bands):
        first -= 1
    last = looks[-1]
    limit = bands.leggy_limit(last.leaves)
    fell = False
    if first == 0:
        start, end = looks[0], last
        what = f"was beyond its band when first looked at, on {_day(start.day)}"
    else:
        start = looks[first - 1]
        end = next((k for k in looks[first:] if (k.day - start.day).days >= LEAST_DAYS), last)
        before, now = bands.leggy_limit(start.leaves), bands.leggy_limit(looks[first].leaves)
        what = f"left its band on {_day(looks[first].day)}"
        fell = before > now  # it may have stood still: seed leaves are judged by another limit
        what += f", as true leaves lowered its limit to {_limit(now)}" if fell else ""
    growth = growth_between(start.at, end.at, "legginess")
    text = f"{what}: {_course(start, end, growth)}"
    if fell and growth and growth.low is not None and growth.low <= 0 <= growth.high:
        text = f"{what}: legginess {last.median:.2f}, no clear gain"
    elif end is not last:
        text += f"; {last.median:.2f} on {_day(last.day)}"
    return LeftBand(True, looks[first].day, last.median, limit, growth, text)


def _leaving(looks: Sequence[Look], bands: Bands) -> LeftBand | None:
    last = looks[-1]
    limit = bands.leggy_limit(last.leaves)
    grown = last.leaves is not None and last.leaves >= bands.from_true_leaves
    start = next((k for k in reversed(looks[:-1]) if (last.day - k.day).days >= LEAST_DAYS), None)
    if not grown or last.median < bands.normal_below or start is None:
        return None
    growth = growth_between(start.at, last.at, "legginess")
    if growth is None or growth.low is None or growth.low <= 0:
        return None
    days = ceil((limit - last.median) / growth.per_day)
    if days > SOON_DAYS:
        return None
    day = last.day + timedelta(max(days, 1))
    course = _course(start, last, growth)
    text = f"leaves its band about {_day(day)} at this pace: {course}; leggy above {_limit(limit)}"
    return LeftBand(False, day, last.median, limit, growth, text)


def _course(start: Look, end: Look, growth: Growth | None) -> str:
    """`legginess 0.92 → 1.18 in 6 days, 0.04 a day (95 % 0.03 to 0.06)`; no rate where it could as well stand still."""
    days = (end.day - start.day).days
    text = f"legginess {start.median:.2f} → {end.median:.2f} in {days} day{'' if days == 1 else 's'}"
    if growth is None:
        return text
    digits = 2 if abs(growth.per_day) >= 0.03 else 3
    rate, low, high = (None if v is None else f"{v:.{digits}f}".replace("-", "−")
                       for v in (growth.per_day, growth.low, growth.high))
    if growth.low is None:
        return f"{text}, {rate} a day"
    if growth.low <= 0 <= growth.high:
        return f"{text}, no clear gain (95 % {low} to {high} a day)"
    return f"{text}, {rate} a day (95 % {low} to {high})"


def _limit(value: float) -> str:
    """`1.0`, `0.85`."""
    return f"{value:.1f}" if abs(value - round(value, 1)) < 0.005 else f"{value:.2f}"


def _day(when: date) -> str:
    return f"{when.day} {when:%B}"

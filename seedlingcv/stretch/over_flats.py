"""A mean over flats, with its interval: flats are the units, their plants only subsamples."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt
from statistics import fmean, stdev
from typing import TypeVar

from seedlingcv.records.history import SAME_SOWING_DAYS, FlatHistory

T = TypeVar("T")


@dataclass(frozen=True)
class Mean:
    """`low` to `high` is the 95 % interval; None with one flat, which tells nothing of how flats differ."""

    mean: float
    low: float | None
    high: float | None
    flats: int


def mean_over(values: Sequence[float], together: int = 1) -> Mean:
    """Student's t over the values, one a flat; at least one. The intervals of `together` such means hold all at once
    in 95 % of cases (see t_quantile)."""
    mean = fmean(values)
    if len(values) < 2:
        return Mean(mean, None, None, len(values))
    half = t_quantile(len(values) - 1, together) * stdev(values) / sqrt(len(values))
    return Mean(mean, mean - half, mean + half, len(values))


def mean_over_flats(values: Iterable[tuple[FlatHistory, float]], together: int = 1) -> Mean | None:
    """(flat, value) pairs; several values of one flat, such as its parts', are averaged first. None without any."""
    own = [fmean(of_flat) for of_flat in by_flat(values)]
    return mean_over(own, together) if own else None


def by_flat(pairs: Iterable[tuple[FlatHistory, T]]) -> list[list[T]]:
    """What belongs to each flat, parts of one flat together, in the order in which flats come."""
    found: list[tuple[FlatHistory, list[T]]] = []
    of_number: dict[int, list[tuple[FlatHistory, list[T]]]] = {}
    for history, value in pairs:
        seasons = of_number.setdefault(history.flat, [])
        own = next((values for first, values in seasons if same_flat(first, history)), None)
        if own is None:
            own = []
            seasons.append((history, own))
            found.append((history, own))
        own.append(value)
    return [values for _, values in found]


def count_flats(flats: Iterable[FlatHistory]) -> int:
    return len(by_flat((flat, flat) for flat in flats))


def same_flat(one: FlatHistory, other: FlatHistory) -> bool:
    """Whether both are the same flat or parts of it: one number, sown together or nearly. Where a sowing date isn't
    known, whether they were there at one time."""
    if one.flat != other.flat or not (one.days and other.days):
        return one.flat == other.flat
    starts = [sown_of(history) or history.days[0].day for history in (one, other)]
    if abs((starts[0] - starts[1]).days) <= SAME_SOWING_DAYS:
        return True
    dated = sown_of(one) is not None and sown_of(other) is not None
    return not dated and max(starts) <= min(one.days[-1].day, other.days[-1].day)


def sown_of(history: FlatHistory) -> date | None:
    return history.sown or next((d.measurement.sown for d in history.days if d.measurement.sown), None)


def t_quantile(df: float, together: int = 1) -> float:
    """Of the two-sided 95 % interval. Of several intervals, the one by which all of them hold at once in 95 % of cases
    at least: each error gets its share of the 5 % (Bonferroni; Dunn 1961, J. Am. Stat. Assoc. 56:52-64; from memory).
    """
    from scipy.special import stdtrit

    return float(stdtrit(df, 1 - 0.025 / together))

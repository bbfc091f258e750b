"""A mean over flats, with its interval: flats are the units, their plants only subsamples."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, stdev

from seedlingcv.records.history import FlatHistory


@dataclass(frozen=True)
class Mean:
    """`low` to `high` is the 95 % interval; None with one flat, which tells nothing of how flats differ."""

    mean: float
    low: float | None
    high: float | None
    flats: int


def mean_over(values: Sequence[float]) -> Mean:
    """Student's t over the values, one a flat; at least one."""
    mean = fmean(values)
    if len(values) < 2:
        return Mean(mean, None, None, len(values))
    half = t_quantile(len(values) - 1) * stdev(values) / sqrt(len(values))
    return Mean(mean, mean - half, mean + half, len(values))


def mean_over_flats(values: Iterable[tuple[Hashable, float]]) -> Mean | None:
    """(flat, value) pairs; several values of one flat, such as its parts', are averaged first. None without any."""
    of_flat: dict[Hashable, list[float]] = {}
    for flat, value in values:
        of_flat.setdefault(flat, []).append(value)
    return mean_over([fmean(own) for own in of_flat.values()]) if of_flat else None


def same_flat(history: FlatHistory) -> Hashable:
    """Equal for parts of one flat, which are photographed together; not for a number used again later."""
    return history.flat, history.days[0].day if history.days else None


def t_quantile(df: float) -> float:
    """Of the two-sided 95 % interval."""
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.975))

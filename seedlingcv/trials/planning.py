"""How many flats a light the next trial needs, from the scatter seen in this one.

Exact power of the two-sided t test of two groups by the noncentral t distribution (as in Cohen 1988, Statistical power
analysis for the behavioral sciences; from memory). The scatter itself is known from few flats only, so the answer is a
range: over the middle 80 % of what the scatter may truly be (chi-square interval of the variance).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

LEVEL, POWER, SURE = 0.05, 0.8, 0.8
SLICES = 2000  # of the scatter's distribution, equally likely ones
LEAST = 3  # units a group: two can't show how much they differ
MOST = 200  # units a group: beyond that the answer is "more than"


@dataclass(frozen=True)
class Planning:
    """difference : to be seen with 80 % chance, in the figure's own unit
    each, at_least, at_most : units a group, and the range of it; None: more than MOST
    smallest_seen : difference that this very trial had an 80 % chance to show; None where it could show none
    unit_sd : between units, after groups and blocks; plant_sd : between plants of a flat
    plant_share : of the variance between flats, how much comes from having measured so few plants (0-1)
    """

    difference: float
    each: int | None
    at_least: int | None
    at_most: int | None
    smallest_seen: float | None
    unit_sd: float
    plant_sd: float | None
    plant_share: float | None


def plan(difference: float, variance: float, df: float, *, se: float | None = None, se_df: float | None = None,
         critical: float | None = None, plant_variance: float | None = None, plants: float | None = None) -> Planning:
    """variance between units on df degrees of freedom; se, se_df, critical : of the difference in this trial, and how
    many standard errors off it must be to be claimed there (by t if not given); plant_variance within flats, plants :
    (harmonic) mean number a flat."""
    from scipy.stats import chi2

    low = variance * df / float(chi2.ppf((1 + SURE) / 2, df))
    high = variance * df / float(chi2.ppf((1 - SURE) / 2, df))
    share = plant_variance / plants / variance if plant_variance is not None and plants and variance > 0 else None
    return Planning(
        difference, units_needed(difference, variance), units_needed(difference, low), units_needed(difference, high),
        _smallest_seen(se, se_df, critical) if se and se_df else None, sqrt(variance),
        None if plant_variance is None else sqrt(plant_variance), None if share is None else min(share, 1.0))


def power(difference: float, se: float, df: float, critical: float | None = None) -> float:
    """Chance that the two-sided t test at 5 % finds the difference, or one that claims from `critical` standard errors
    on: the noncentral t, integrated over the estimated scatter (scipy's own gives up far from 0)."""
    import numpy as np
    from scipy.special import ndtr
    from scipy.stats import chi2, t

    scatter = np.sqrt(chi2.ppf((np.arange(SLICES) + 0.5) / SLICES, df) / df)
    critical, off = critical or float(t.ppf(1 - LEVEL / 2, df)), abs(difference) / se
    return float(np.mean(ndtr(off - critical * scatter) + ndtr(-off - critical * scatter)))


def units_needed(difference: float, variance: float) -> int | None:
    """The fewest units a group, two groups of one size, for 80 % power, and at least three; None: more than MOST."""
    low, high = LEAST, MOST  # power grows with the number, so the search halves
    if difference <= 0 or power(difference, sqrt(2 * variance / high) or 1e-12, 2 * (high - 1)) < POWER:
        return None
    while low < high:
        middle = (low + high) // 2
        enough = power(difference, sqrt(2 * variance / middle) or 1e-12, 2 * (middle - 1)) >= POWER
        low, high = (low, middle) if enough else (middle + 1, high)
    return low


def _smallest_seen(se: float, df: float, critical: float | None) -> float:
    from scipy.optimize import brentq

    return float(brentq(lambda times: power(times, 1, df, critical) - POWER, 0.01, 200, xtol=1e-3)) * se

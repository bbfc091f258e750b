"""Groups compared over their units' means: two groups by t, more or with blocks by least squares, more of unequal size
each with its own scatter.

Two groups. Welch's t does not suppose that both scatter alike, but with two units it can't tell how they scatter: of
200 000 trials without any difference (normal units, equal scatter) it cries wolf in 2.4 % at 2 v 2 units and 7.5 % at
2 v 6. So where a group has two units both share one standard error (5.0 % there), and Welch is used from three a group
on. Measured in % over the whole grid, units per group down and across:

           2     3     4     5     6
    2    5.0   4.9   5.0   5.0   5.0     pooled
    3          3.5   4.0   4.7   5.2     Welch, as below
    4                4.2   4.4   4.7
    5                      4.5   4.4
    6                            4.6

With one group scattering twice as much (standard deviation), Welch stays within 3.9 and 6.6 %; a pooled group of two
that scatters twice as much as five or six others does not (14 and 16 %), which no method can mend: two units don't show
it. `checks.py` says so.

Three groups or more of as many units each share one standard error: it hardly matters then that one scatters twice as
much (6.2 to 6.7 % of 20 000 trials claim something). Of unequal numbers it does: 13.4 % at 4, 8 and 8 units. So there,
from three units a group on, each group has its own scatter: 4.4 to 6.7 % with one twice as wide and 5.1 to 6.1 % with
none, for groups of 3 to 8; 7.5 to 8.8 % where one has three or four times as many as the others.

Arrays may have leading axes (many trials at once); the last one runs over units.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

LEAST_FOR_WELCH = 3


@dataclass(frozen=True)
class Estimates:
    """Group means with their covariance, whichever way they were had.

    means      (..., groups) in the figure's own unit; covariance (..., groups, groups)
    df_of      contrast over groups -> degrees of freedom of its variance
    method     "welch", "pooled", "least squares" or "mixed"
    error_df, error_variance : between units after groups and blocks, what planning goes by
    residuals  (..., units), None where not had
    """

    means: np.ndarray
    covariance: np.ndarray
    df_of: Callable[[np.ndarray], np.ndarray | float]
    method: str
    error_df: float
    error_variance: np.ndarray | float
    residuals: np.ndarray | None = None

    def contrast(self, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray | float]:
        """Estimate, standard error and degrees of freedom of a weighted sum of the group means."""
        variance = np.einsum("i,...ij,j->...", weights, self.covariance, weights)
        return self.means @ weights, np.sqrt(np.maximum(variance, 0)), self.df_of(weights)


def two_groups(one: np.ndarray, other: np.ndarray) -> Estimates:
    """Two groups of units, (..., units) each: Welch (1947, Biometrika 34:28-35) or, where one has two units, pooled."""
    sizes = one.shape[-1], other.shape[-1]
    means = np.stack([one.mean(-1), other.mean(-1)], axis=-1)
    variances = np.stack([one.var(-1, ddof=1), other.var(-1, ddof=1)], axis=-1)
    counts, free = np.array(sizes), np.array(sizes) - 1
    residuals = np.concatenate([one - means[..., :1], other - means[..., 1:]], axis=-1)
    pooled = variances @ free / free.sum()
    if min(sizes) < LEAST_FOR_WELCH:
        df: np.ndarray | float = float(free.sum())
        of_mean = pooled[..., None] / counts
    else:
        of_mean = variances / counts
        part = of_mean**2 / free
        df = of_mean.sum(-1) ** 2 / np.maximum(part.sum(-1), 1e-300)

    def df_of(weights: np.ndarray) -> np.ndarray | float:
        alone = np.flatnonzero(weights)
        return df if len(alone) > 1 or min(sizes) < LEAST_FOR_WELCH else float(free[alone[0]])

    covariance = of_mean[..., None] * np.eye(2)
    return Estimates(means, covariance, df_of, "pooled" if min(sizes) < LEAST_FOR_WELCH else "welch",
                     float(free.sum()), pooled, residuals)


def own_scatter(groups: Sequence[np.ndarray]) -> Estimates:
    """Three or more groups of units, (..., units) each of at least three, none supposed to scatter like another: each
    pair by Welch's t, as Games and Howell (1976, J. Educ. Stat. 1:113-125; from memory) do for all pairs."""
    counts = np.array([group.shape[-1] for group in groups])
    means = np.stack([group.mean(-1) for group in groups], axis=-1)
    variances = np.stack([group.var(-1, ddof=1) for group in groups], axis=-1)
    free, of_mean = counts - 1, variances / counts

    def df_of(weights: np.ndarray) -> np.ndarray | float:
        part = weights**2 * of_mean
        return part.sum(-1) ** 2 / np.maximum((part**2 / free).sum(-1), 1e-300)

    return Estimates(means, of_mean[..., None] * np.eye(len(groups)), df_of, "welch", float(free.sum()),
                     variances @ free / free.sum())


def least_squares(values: np.ndarray, x: np.ndarray, groups: int) -> Estimates:
    """Analysis of variance by least squares, one error variance for all: values (..., units) on x (units, columns), of
    which the first `groups` columns stand for a group each, the rest for blocks (`units.design_matrix`)."""
    inverse = np.linalg.inv(x.T @ x)
    coefficients = values @ (x @ inverse)
    residuals = values - coefficients @ x.T
    df = float(x.shape[0] - x.shape[1])
    variance = (residuals**2).sum(-1) / df
    covariance = variance[..., None, None] * inverse[:groups, :groups]
    return Estimates(coefficients[..., :groups], covariance, lambda _: df, "least squares", df, variance, residuals)


@dataclass(frozen=True)
class Overall:
    """Whether the groups differ at all. `mean_square` between groups over `error_mean_square` is F."""

    f: float
    df: float
    error_df: float
    p: float
    mean_square: float
    error_mean_square: float


def overall(estimates: Estimates) -> Overall:
    """F over all groups; of a mixed model with denominator degrees of freedom from those of its independent contrasts
    (Fai & Cornelius 1996, J. Stat. Comput. Simul. 54:363-378; from memory)."""
    from scipy.stats import f as f_distribution

    groups = estimates.means.shape[-1]
    contrasts = np.eye(groups)[1:] - np.eye(groups)[:1]
    covariance = contrasts @ estimates.covariance @ contrasts.T
    scales, directions = np.linalg.eigh(covariance)
    independent = directions.T @ contrasts
    f = float(np.mean((independent @ estimates.means) ** 2 / np.maximum(scales, 1e-300)))
    dfs = np.array([float(estimates.df_of(row)) for row in independent])
    df = float(dfs.min())
    if df > 2:
        expected = (dfs / (dfs - 2)).sum()
        df = float(2 * expected / (expected - len(dfs)))
    error = float(estimates.error_variance)
    return Overall(f, groups - 1, df, float(f_distribution.sf(f, groups - 1, df)), f * error, error)

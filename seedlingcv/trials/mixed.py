"""Mixed model: groups as fixed effects, batches and shelves as random ones, nested or crossed; REML by statsmodels.

statsmodels tests fixed effects by z, as if variances were known: with a handful of shelves that claims far too much.
Degrees of freedom here follow Satterthwaite (Giesbrecht & Burns 1985, Biometrics 41:477-486; from memory):
2 v^2 / var(v) for a contrast's variance v, with var(v) from the expected REML information of all variance components,
those estimated as 0 included. So a shelf component of 0 does not turn every flat into an independent witness.
Standard errors have Kenward and Roger's correction for the variances being estimates (1997, Biometrics 53:983-997, for
variances that enter linearly; from memory). Without it, of 1 000 trials of 21 flats in six incomplete batches in which
no light did anything, 7.1 % claimed that one did; with it 3.4 to 5.4 % of 2 000.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from seedlingcv.errors import SeedlingError
from seedlingcv.trials.means import Estimates
from seedlingcv.trials.units import Layout, design_matrix

RESIDUAL = "residual"
SLOPE_LEFT = 1e-5  # of the log-likelihood over a standard error of a component: less moves no digit that is shown
STEPS = 100


@dataclass(frozen=True)
class MixedFit:
    """coefficients (columns,); covariance (columns, columns) with Kenward and Roger's correction, `unadjusted` without;
    components: variances by factor's name, with `residual`.

    information : expected REML information of the components, in their order; slopes (components, columns, columns):
    derivative of the unadjusted covariance with respect to each
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    unadjusted: np.ndarray
    components: dict[str, float]
    log_likelihood: float
    converged: bool
    information: np.ndarray
    slopes: np.ndarray

    @property
    def at_zero(self) -> tuple[str, ...]:
        return tuple(name for name, variance in self.components.items() if variance <= 0)

    def df(self, weights: np.ndarray) -> float:
        """Satterthwaite's degrees of freedom of a contrast over the columns."""
        variance = weights @ self.unadjusted @ weights
        slope = np.einsum("i,cij,j->c", weights, self.slopes, weights)
        return float(2 * variance**2 / (slope @ np.linalg.pinv(self.information) @ slope))


def mixed_estimates(layout: Layout, values: np.ndarray) -> Estimates | None:
    """The layout's groups by the mixed model, values (tested units,); None where the fit can't be trusted.

    Degrees of freedom never exceed those between units (between shelves, where lights hang over shelves). Where the
    shelves' variance is estimated as 0 the data say that shelves hardly differ, but a few shelves can't prove it: then
    least squares with the mean square between shelves as error, on the degrees of freedom between shelves.
    """
    units, groups = layout.tested, len(layout.groups)
    x = design_matrix(layout, layout.blocks)
    fit = fit_mixed(values, x, {name: [getattr(unit, name) for unit in units] for name in layout.random})
    if not fit.converged or not np.all(np.isfinite(fit.covariance)):
        return None
    most = len(units) - x.shape[1]
    if "shelf" in layout.random and not layout.crosses("shelf"):
        most = len({(unit.group, unit.shelf) for unit in units}) - groups
        if "shelf" in fit.at_zero and (estimates := _over_shelves(layout, values)):
            return estimates
    pad = np.zeros(x.shape[1] - groups)
    variance = sum(v for name, v in fit.components.items() if name != "batch")
    return Estimates(fit.coefficients[:groups], fit.covariance[:groups, :groups],
                     lambda weights: min(fit.df(np.concatenate([weights, pad])), most), "mixed", most, variance)


def _over_shelves(layout: Layout, values: np.ndarray) -> Estimates | None:
    """Groups and blocks by least squares, tested over the mean square between shelves within groups and blocks: with
    shelves that don't differ this t is exact. None where blocks leave nothing between shelves."""
    crossed = [name for name in layout.random if layout.crosses(name)]
    x, groups = design_matrix(layout, (*layout.blocks, *crossed)), len(layout.groups)
    shelves = np.column_stack([x, _indicators([unit.shelf for unit in layout.tested])])
    df = int(np.linalg.matrix_rank(shelves)) - x.shape[1]
    if df < 1:
        return None
    coefficients = np.linalg.lstsq(x, values, rcond=None)[0]
    left, least = (float(np.sum((values - m @ np.linalg.lstsq(m, values, rcond=None)[0]) ** 2)) for m in (x, shelves))
    variance = max(left - least, 0.0) / df
    covariance = variance * np.linalg.inv(x.T @ x)[:groups, :groups]
    return Estimates(coefficients[:groups], covariance, lambda _: float(df), "mixed", df, variance)


def fit_mixed(values: np.ndarray, x: np.ndarray, factors: Mapping[str, Sequence[str]], *,
              reml: bool = True) -> MixedFit:
    """values (units,), x (units, columns) of full rank, factors: name -> each unit's level.

    Raises SeedlingError where statsmodels is not installed. `converged` is False where the fit can't be trusted.
    """
    try:
        from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec
    except ImportError as error:
        raise SeedlingError("These flats stood in several batches or shelves in unequal numbers, and comparing them "
                            "needs statsmodels, which is not installed.", where="compare",
                            next_step="Install it: pip install 'seedlingcv[trials]'.") from error

    scale = float(values.std()) or 1.0
    indicators = {name: _indicators(labels) for name, labels in factors.items()}
    spec = VCSpec(list(indicators), [[[str(i) for i in range(z.shape[1])]] for z in indicators.values()],
                  [[z] for z in indicators.values()])
    with warnings.catch_warnings():  # a variance at 0 is warned of; it is told by `at_zero`
        warnings.simplefilter("ignore")
        model = MixedLM(values / scale, x, groups=np.ones(len(values)), exog_vc=spec)
        fit = model.fit(reml=reml, method="bfgs", gtol=0.1)  # `_settled` goes on from there
    start = np.array([*fit.vcomp, fit.scale]) * scale**2
    parts = *(z @ z.T for z in indicators.values()), np.eye(len(values))
    found = _settled(_Variances(values, x, parts, reml), start)
    uncertainty = np.linalg.pinv(found.information)
    covariance = found.covariance + 2 * np.einsum("ij,ijkl->kl", uncertainty, found.bends)
    components = dict(zip([*indicators, RESIDUAL], found.at.tolist(), strict=True))
    return MixedFit(found.coefficients, covariance, found.covariance, components, found.log_likelihood, found.is_top,
                    found.information, found.slopes)


def _indicators(labels: Sequence[str]) -> np.ndarray:
    levels = sorted(set(labels))
    return np.array([[float(label == level) for level in levels] for label in labels])


@dataclass(frozen=True)
class _Variances:
    """The model's likelihood as a function of its variance components; parts: each one's matrix (units, units)."""

    values: np.ndarray
    x: np.ndarray
    parts: tuple[np.ndarray, ...]
    reml: bool

    def look(self, at: np.ndarray) -> _Look:
        x, inverse = self.x, np.linalg.inv(sum(variance * part for variance, part in zip(at, self.parts, strict=True)))
        covariance = np.linalg.inv(x.T @ inverse @ x)
        half = covariance @ x.T @ inverse
        projected = inverse - inverse @ x @ half
        weighed = [projected @ part for part in self.parts]
        misfit = projected @ self.values
        free = len(x) - (x.shape[1] if self.reml else 0)
        determinants = np.linalg.slogdet(inverse)[1] + (np.linalg.slogdet(covariance)[1] if self.reml else 0)
        return _Look(
            at, half @ self.values, covariance,
            log_likelihood=float(determinants - self.values @ misfit - free * np.log(2 * np.pi)) / 2,
            score=np.array([misfit @ part @ misfit - np.sum((projected if self.reml else inverse) * part)
                            for part in self.parts]) / 2,
            information=np.array([[np.sum(one * other.T) / 2 for other in weighed] for one in weighed]),
            slopes=np.array([half @ part @ half.T for part in self.parts]),
            bends=np.array([[half @ one @ projected @ other @ half.T for other in self.parts] for one in self.parts]))


@dataclass(frozen=True)
class _Look:
    """All that is known of one set of variance components `at`; score: slope of the log-likelihood along each.

    bends (components, components, columns, columns): what each pair of uncertain components adds to the covariance
    """

    at: np.ndarray
    coefficients: np.ndarray
    covariance: np.ndarray
    log_likelihood: float
    score: np.ndarray
    information: np.ndarray
    slopes: np.ndarray
    bends: np.ndarray

    @property
    def free(self) -> np.ndarray:
        """The components that may move: all but those at 0 that would fall below it."""
        return (self.at > 0) | (self.score > 0)

    @property
    def is_top(self) -> bool:
        step = self.score[self.free] / np.sqrt(np.diag(self.information)[self.free])
        return bool(np.all(np.isfinite(step)) and np.all(np.abs(step) < SLOPE_LEFT))


def _settled(variances: _Variances, start: np.ndarray) -> _Look:
    """From where statsmodels stopped to the very top by Fisher scoring: close to a variance of 0 its optimisers stop
    short, and say neither so nor that the variance is 0."""
    now = variances.look(np.maximum(start, 0))
    for _ in range(STEPS):
        if now.is_top:
            break
        step = np.zeros(len(start))
        free = now.free
        step[free] = np.linalg.solve(now.information[np.ix_(free, free)], now.score[free])
        for _ in range(STEPS):
            at = np.maximum(now.at + step, 0)
            at[-1] = max(at[-1], now.at[-1] / 10)  # the residual's variance stays above 0
            ahead = variances.look(at)
            if ahead.log_likelihood >= now.log_likelihood:
                break
            step = step / 2
        now = ahead
    return now

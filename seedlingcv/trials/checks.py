"""What the comparison takes for granted, looked at and told in words. Too few flats to look is told too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seedlingcv.trials.design import BY
from seedlingcv.trials.means import Estimates, least_squares
from seedlingcv.trials.pairs import Difference, differences
from seedlingcv.trials.units import PLURALS, WORDS, Layout, design_matrix

LEAST_FOR_SHAPE = 8  # units: below that a test of normality finds next to nothing (judgement)
LEAST_FOR_SPREAD = 4  # units in each group, for the same reason
UNEQUAL_PLANTS = 3  # times as many plants in one unit as in another
DOSE_APART = 1.1  # ratio of daily light integrals that is worth telling
ALPHA = 0.05


@dataclass(frozen=True)
class Check:
    """state: "fine", "look" (something to look into) or "unknown" (too few flats to tell)."""

    about: str
    state: str
    text: str
    p: float | None = None


def check_all(layout: Layout, estimates: Estimates, found: Sequence[Difference]) -> tuple[Check, ...]:
    checks = (_shape(layout, estimates), _spread(layout, estimates), _odd_one(layout, found), _batches(layout),
              _plants(layout), _dose(layout))
    return tuple(check for check in checks if check is not None)


def _residuals(layout: Layout, estimates: Estimates) -> np.ndarray:
    """What is left of each unit's value, from its group's mean and its blocks; random effects left out as blocks."""
    if estimates.residuals is not None and estimates.method == "least squares":
        return estimates.residuals
    crossed = [factor for factor in layout.random if layout.crosses(factor)]
    values, x = np.array([unit.value for unit in layout.tested]), design_matrix(layout, (*layout.blocks, *crossed))
    return values - x @ np.linalg.lstsq(x, values, rcond=None)[0]


def _shape(layout: Layout, estimates: Estimates) -> Check:
    from scipy.stats import shapiro

    units, kinds = len(layout.tested), PLURALS[layout.kind]
    if units < LEAST_FOR_SHAPE:
        return Check("even scatter", "unknown", f"{units} {kinds} are too few to see whether they scatter evenly.")
    p = float(shapiro(_residuals(layout, estimates)).pvalue)
    if p < ALPHA:
        return Check("even scatter", "look", f"The {kinds} don't scatter evenly around their means (Shapiro-Wilk): "
                                             f"with few {kinds} the intervals are then rough.", p)
    return Check("even scatter", "fine", f"The {kinds} scatter evenly around their means.", p)


def _spread(layout: Layout, estimates: Estimates) -> Check:
    """Brown and Forsythe's form of Levene's test: absolute distances from medians (1974, J. Am. Stat. Assoc.
    69:364-367; from memory)."""
    from scipy.stats import levene

    kinds, by = PLURALS[layout.kind], BY[layout.by]
    residuals = _residuals(layout, estimates)
    parts = [[float(r) for r, unit in zip(residuals, layout.tested, strict=True) if unit.group == group]
             for group in layout.groups]
    if min(len(part) for part in parts) < LEAST_FOR_SPREAD:
        supposed = "" if estimates.method == "welch" else " That is taken for granted."
        text = f"Too few {kinds} to see whether all {PLURALS[by]} scatter alike.{supposed}"
        return Check("equal scatter", "unknown", text)
    with np.errstate(invalid="ignore", divide="ignore"):  # all as far from their median: nothing to tell apart
        p = float(np.nan_to_num(levene(*parts, center="median").pvalue, nan=1.0))
    if p < ALPHA:
        allowed = " The method used allows for that." if estimates.method == "welch" else \
            " The intervals suppose that they do: take them as rough."
        return Check("equal scatter", "look", f"The {PLURALS[by]} don't scatter alike (Brown-Forsythe).{allowed}", p)
    return Check("equal scatter", "fine", f"All {PLURALS[by]} scatter about alike.", p)


def _odd_one(layout: Layout, found: Sequence[Difference]) -> Check:
    """The unit furthest off (externally studentised residual, Bonferroni), and what the answer is without it."""
    from scipy.stats import t

    values = np.array([unit.value for unit in layout.tested])
    crossed = [factor for factor in layout.random if layout.crosses(factor)]
    x = design_matrix(layout, (*layout.blocks, *crossed))
    df = len(values) - x.shape[1]
    if df < 3:
        return Check("odd ones", "unknown", f"Too few {PLURALS[layout.kind]} to see whether one is out of line.")
    projection = x @ np.linalg.inv(x.T @ x) @ x.T
    left, free = values - projection @ values, 1 - np.diag(projection)
    safe = np.where(free > 1e-9, free, 1.0)
    of_rest = np.maximum((left @ left - left**2 / safe) / (df - 1), 1e-300)
    off = np.where(free > 1e-9, np.abs(left) / np.sqrt(of_rest * safe), 0.0)
    worst = int(np.argmax(off))
    p = min(1.0, float(2 * t.sf(off[worst], df - 1)) * len(values))
    name = layout.tested[worst].name
    if p < ALPHA:
        after = {True: "Without it the answer would be another one: look at it before you believe either.",
                 False: "Without it the answer is the same.",
                 None: "Without it nothing could be compared."}[_changes(layout, worst, found)]
        return Check("odd ones", "look", f"{name[0].upper()}{name[1:]} is out of line with the others. {after}", p)
    text = f"No {layout.kind} is out of line with the others of its {BY[layout.by]}."
    hangs = [layout.tested[i].name for i in range(len(values)) if _changes(layout, i, found)]
    if hangs and any(difference.real for difference in found):
        few = f"{hangs[0]} or others" if len(hangs) > 3 else " or ".join(hangs)
        text += f" But the answer hangs on single ones: without {few} it would be another. Take it with care."
        return Check("odd ones", "look", text, p)
    return Check("odd ones", "fine", text, p)


def _changes(layout: Layout, leave: int, found: Sequence[Difference]) -> bool | None:
    """Whether any difference becomes real, or stops being it, without that unit; None where nothing is left to tell.

    By least squares with blocks, whatever the method of the answer.
    """
    kept = np.arange(len(layout.tested)) != leave
    x = design_matrix(layout, layout.blocks)[kept]
    if np.linalg.matrix_rank(x) < x.shape[1] or len(x) <= x.shape[1]:
        return None
    values = np.array([unit.value for unit in layout.tested])[kept]
    pairs = [(difference.one, difference.other) for difference in found]
    again = differences(least_squares(values, x, len(layout.groups)), layout.groups, pairs,
                        "t" if len(found) == 1 else "holm")
    return any(new.real != old.real or (old.real and new.estimate * old.estimate < 0)
               for new, old in zip(again, found, strict=True))


def _batches(layout: Layout) -> Check | None:
    """Whether the groups differ by another amount from block to block, where blocks have enough units to show it."""
    from scipy.stats import f as f_distribution

    if not layout.blocks or layout.random:
        return None
    units, x = layout.tested, design_matrix(layout, layout.blocks)
    values = np.array([unit.value for unit in units])
    cells = sorted({(unit.group, *(getattr(unit, b) for b in layout.blocks)) for unit in units})
    own = np.array([[float((unit.group, *(getattr(unit, b) for b in layout.blocks)) == cell) for cell in cells]
                    for unit in units])
    more, free = len(cells) - x.shape[1], len(units) - len(cells)
    by, word = BY[layout.by], " and ".join(WORDS[b] for b in layout.blocks)
    if more < 1 or free < 2:
        return Check("blocks alike", "unknown", f"Whether the {by} works alike in every {word} can't be seen: that "
                                                f"needs several {PLURALS[layout.kind]} of a {by} in each.")
    plain, full = (float(np.sum((values - m @ np.linalg.lstsq(m, values, rcond=None)[0]) ** 2)) for m in (x, own))
    p = float(f_distribution.sf((plain - full) / more / (full / free), more, free)) if full > 0 else 1.0
    if p < ALPHA:
        text = f"The difference is not the same in every {word}: look at each on its own."
        return Check("blocks alike", "look", text, p)
    return Check("blocks alike", "fine", f"The difference is about the same in every {word}.", p)


def _plants(layout: Layout) -> Check | None:
    counts = [unit.plants for unit in layout.tested]
    if max(counts) < UNEQUAL_PLANTS * min(counts):
        return None
    return Check("plants", "look", f"The {PLURALS[layout.kind]} rest on {min(counts)} to {max(counts)} plants; each "
                                   "counts once all the same, so those with few add more chance.")


def _dose(layout: Layout) -> Check | None:
    """Lights that differ in their daily light integral too."""
    if layout.by not in ("light", "spectrum"):
        return None
    doses: dict[str, list[float]] = {}
    for unit in layout.tested:
        for flat in unit.flats:
            if flat.lighting and (dose := flat.lighting.dli_mol) is not None:
                doses.setdefault(unit.group, []).append(dose)
    means = {group: sum(found) / len(found) for group, found in doses.items()}
    if len(means) < len(layout.groups):
        return Check("daily light", "unknown", "How much light each gave in a day isn't known for all (PPFD and hours "
                                               "in lights.csv), so brightness and kind of light can't be told apart.")
    if max(means.values()) <= DOSE_APART * min(means.values()):
        return Check("daily light", "fine", "All gave about the same light in a day.")
    listed = ", ".join(f"{group} {dose:.1f}" for group, dose in means.items())
    return Check("daily light", "look", f"The lights also differ in how much they gave in a day ({listed} mol per m² "
                                        "and day): each was compared as it hung, not for its colour alone.")

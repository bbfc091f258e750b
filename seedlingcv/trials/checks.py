"""What the comparison takes for granted, looked at and told in words. Too few flats to look is told too."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seedlingcv.trials.design import BY, Chosen
from seedlingcv.trials.means import Estimates, least_squares, own_scatter, two_groups
from seedlingcv.trials.pairs import Difference, contrast
from seedlingcv.trials.stage import Stage
from seedlingcv.trials.units import LIGHTS, PLURALS, WORDS, Layout, design_matrix

LEAST_FOR_SHAPE = 8  # units: below that a test of normality finds next to nothing (judgement)
LEAST_FOR_SPREAD = 4  # units in each group, for the same reason
UNEQUAL_PLANTS = 3  # times as many plants in one unit as in another
DOSE_APART = 1.1  # ratio of daily light integrals that is worth telling
FAR_OFF = 3.5  # robust standard deviations: of normal figures one in two thousand
LEAST_FOR_FAR_OFF = 12  # plants of a flat: fewer don't show how much they differ
SOURCES_APART = 0.5  # of the share of flats measured from photos, likewise
ALPHA = 0.05


@dataclass(frozen=True)
class Check:
    """state: "fine", "look" (something to look into) or "unknown" (too few flats to tell)."""

    about: str
    state: str
    text: str
    p: float | None = None


def check_all(layout: Layout, estimates: Estimates, found: Sequence[Difference], chosen: Chosen,
              by_middle_plants: Sequence[Difference] | None = None) -> tuple[Check, ...]:
    """by_middle_plants : the differences found with flats' medians instead of their means, None where not had"""
    checks = (_lamps(layout), _shape(layout, estimates), _spread(layout, estimates),
              _odd_one(layout, estimates, found), _single_plants(layout, found, by_middle_plants), _batches(layout),
              _same_stage(layout, chosen.stage), _potted(layout, chosen), _places(layout), _measured_alike(layout),
              _plants(layout), _dose(layout))
    return tuple(check for check in checks if check is not None)


def lamps_unknown(layout: Layout) -> bool:
    """Whether several flats may have hung under one lamp: then they are one trial, and nobody knows which."""
    return layout.by in LIGHTS and layout.kind == "flat" and any(not unit.shelf for unit in layout.tested)


def _lamps(layout: Layout) -> Check | None:
    if not lamps_unknown(layout):
        return None
    return Check("lamps", "unknown", "Where the flats stood isn't known for all (column shelf), so each counts as if "
                                     "it had a lamp of its own. Flats under one lamp are one trial: if there were "
                                     "such, all this is less sure than it says.")


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
        supposed = "" if estimates.method == "welch" else " That is taken for granted" + (
            "; a light that truly scatters twice as much as one with more flats would bring up to one false claim in "
            "six." if estimates.method == "pooled" else ".")
        text = f"Too few {kinds} to see whether all {PLURALS[by]} scatter alike.{supposed}"
        return Check("equal scatter", "unknown", text)
    with np.errstate(invalid="ignore", divide="ignore"):  # all as far from their median: nothing to tell apart
        p = float(np.nan_to_num(levene(*parts, center="median").pvalue, nan=1.0))
    if p < ALPHA:
        allowed = " The method used allows for that." if estimates.method == "welch" else \
            " The intervals suppose that they do: take them as rough."
        return Check("equal scatter", "look", f"The {PLURALS[by]} don't scatter alike (Brown-Forsythe).{allowed}", p)
    return Check("equal scatter", "fine", f"All {PLURALS[by]} scatter about alike.", p)


def _odd_one(layout: Layout, estimates: Estimates, found: Sequence[Difference]) -> Check:
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
        changed = _changed(layout, estimates, worst, found)
        after = ("Without it nothing could be compared." if changed is None else
                 "Without it the answer would be another one: look at it before you believe either." if changed else
                 "Without it the answer is the same.")
        return Check("odd ones", "look", f"{name[0].upper()}{name[1:]} is out of line with the others. {after}", p)
    text = f"No {layout.kind} is out of line with the others of its {BY[layout.by]}."
    if told := _hangs(layout, estimates, found):
        return Check("odd ones", "look", f"{text} But {told} Take it with care.", p)
    return Check("odd ones", "fine", text, p)


def _hangs(layout: Layout, estimates: Estimates, found: Sequence[Difference]) -> str:
    """What would be said otherwise without a single unit, in words; empty where nothing real would change."""
    names: dict[int, list[str]] = {}
    for i, unit in enumerate(layout.tested):
        for pair in _changed(layout, estimates, i, found) or ():
            names.setdefault(pair, []).append(unit.name)
    if not names or not any(difference.real for difference in found):
        return ""
    first, units = next(iter(names.items()))
    few = f"{units[0]} or others" if len(units) > 3 else " or ".join(units)
    if len(found) == 1:
        return f"the answer hangs on single ones: without {few} it would be another."
    pair = f"{found[first].one} and {found[first].other}"
    more = f" The same goes for {len(names) - 1} more of the {len(found)} pairs." if len(names) > 1 else ""
    return f"what is said of {pair} hangs on single ones: without {few} it would be another.{more}"


def _changed(layout: Layout, estimates: Estimates, leave: int, found: Sequence[Difference]) -> list[int] | None:
    """Which of the differences become real, or stop being it, without that unit; None where nothing is left to tell.

    By t or least squares as in the answer; of a mixed model by least squares with all as blocks, and only where that
    says with all units what the mixed model says.
    """
    rest = _claims(layout, estimates, np.arange(len(layout.tested)) != leave, found)
    if rest is None:
        return None
    every = _claims(layout, estimates, np.ones(len(layout.tested), bool), found) or rest
    own = [_claim(difference) for difference in found]
    return [i for i, (before, after) in enumerate(zip(every, rest, strict=True)) if before == own[i] != after]


def _claims(layout: Layout, estimates: Estimates, kept: np.ndarray, found: Sequence[Difference]) -> list[int] | None:
    """What is claimed of each pair from the units kept: 1 more, -1 less, 0 nothing. The critical value is that of the
    answer, as it grows with fewer degrees of freedom for a single pair."""
    from scipy.stats import t

    units = [unit for unit, stays in zip(layout.tested, kept, strict=True) if stays]
    values = np.array([unit.value for unit in units])
    parts = [values[[unit.group == group for unit in units]] for group in layout.groups]
    if estimates.method in ("welch", "pooled"):
        if min(len(part) for part in parts) < 2:
            return None
        rest = two_groups(*parts) if len(parts) == 2 else own_scatter(parts)
    else:
        crossed = [factor for factor in layout.random if layout.crosses(factor)]
        x = design_matrix(layout, (*layout.blocks, *crossed))[kept]
        if np.linalg.matrix_rank(x) < x.shape[1] or len(x) <= x.shape[1]:
            return None
        rest = least_squares(values, x, len(layout.groups))
    claims = []
    for difference in found:
        size, se, df = (float(v) for v in rest.contrast(contrast(layout.groups, difference.one, difference.other)))
        wider = float(t.ppf(1 - ALPHA / 2, df) / t.ppf(1 - ALPHA / 2, difference.df))
        claims.append(int(np.sign(size)) if abs(size) > (difference.critical or 0) * wider * se else 0)
    return claims


def _claim(difference: Difference) -> int:
    return int(np.sign(difference.estimate)) if difference.real else 0


def _single_plants(layout: Layout, found: Sequence[Difference], again: Sequence[Difference] | None) -> Check | None:
    """Whether a few plants far off, or cells measured wrong, carry the answer: flats' medians hardly feel them.

    They are not left out by themselves: in the eight rendered flats that have stems such a rule would also take true
    plants of two, and brings the photos' mean legginess nearer to the truth in two and further from it in two.
    """
    if again is None:
        return None
    flats = [flat for unit in layout.tested for flat in unit.flats]
    far = {flat.tray: number for flat in flats if (number := far_off(flat.cells))}
    where = ("Some flats have too few plants to see whether one stands far off" if
             any(len(flat.cells) < LEAST_FOR_FAR_OFF for flat in flats) else
             "No plant stands far off the others of its flat")
    if far:
        most = max(far, key=lambda tray: far[tray])
        where = f"Single plants stand far off the others of their flats, most of them in {most} ({far[most]})"
    if [_claim(d) for d in found] == [_claim(d) for d in again]:
        return Check("single plants", "fine", f"{where}; with middle plants instead of means the answer is the same.")
    return Check("single plants", "look", f"{where}; with middle plants instead of means the answer would be another. "
                                          "Look whether they were measured right.")


def far_off(cells: Sequence[float]) -> int:
    """Plants further from the middle one than FAR_OFF robust standard deviations: the median distance x 1.4826, which
    is the standard deviation of normal figures."""
    if len(cells) < LEAST_FOR_FAR_OFF:
        return 0
    away = np.abs(np.array(cells) - np.median(cells))
    return int(np.sum(away > FAR_OFF * 1.4826 * np.median(away))) if np.median(away) > 0 else 0


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


def stage_means(layout: Layout, stage: Stage) -> dict[str, float]:
    """The mean age or leaf stage of the groups' flats."""
    own: dict[str, list[float]] = {}
    for unit in layout.tested:
        own.setdefault(unit.group, []).extend(
            at for flat in unit.flats
            if (at := flat.age_days if stage.age_days is not None else flat.true_leaves) is not None)
    return {group: sum(values) / len(values) for group, values in own.items()}


def _same_stage(layout: Layout, stage: Stage) -> Check | None:
    """Within its tolerance the stage leaves room for one group to be older than another by the way it was measured."""
    means = stage_means(layout, stage)
    low, high = (pick(means, key=lambda group: means[group]) for pick in (min, max))
    apart = means[high] - means[low]
    if apart < stage.most_apart / 2:
        return None
    ahead = f"{stage.told(apart)} {'older than' if stage.age_days is not None else 'ahead of'}"
    return Check("same stage", "look", f"When measured, the flats of {high} were {ahead} those of {low} in the mean: "
                                       "some of the difference is from that.")


def _potted(layout: Layout, chosen: Chosen) -> Check | None:
    """Flats go to the pots when they are ready: those that are left are not the same sort of flats."""
    gone = Counter(out.potted_from for out in chosen.left_out if out.potted_from)
    if not gone:
        return None
    there = Counter(value.group for value in chosen.values)
    listed = ", ".join(f"{group} {gone[group]} of {gone[group] + there[group]}"
                       for group in sorted({*layout.groups, *gone}))
    return Check("who is missing", "look", f"Flats potted up before they came to this stage are missing: {listed}. If "
                                           "the most grown went first, what is left doesn't speak for all; compare at "
                                           "an earlier stage too.")


def _places(layout: Layout) -> Check | None:
    """Varieties in one flat that always had the same side of it."""
    if "tray" not in (*layout.blocks, *layout.random):
        return None
    parts: dict[str, set[str]] = {}
    for unit in layout.tested:
        parts.setdefault(unit.group, set()).update(flat.part for flat in unit.flats)
    if any(len(found) > 1 for found in parts.values()):
        return None
    listed = ", ".join(f"{group} in {' and '.join(found)}" for group, found in parts.items())
    return Check("places in the flat", "look", f"Each stood in the same place in every flat ({listed}): what that "
                                               "place does would look like a difference. Swap the places.")


def _measured_alike(layout: Layout) -> Check | None:
    """Photos and rulers err in their own ways; where one group has more of either, that looks like a difference."""
    sources = {group: [flat.source for unit in layout.tested if unit.group == group for flat in unit.flats]
               for group in layout.groups}
    shares = {group: sum(source == "photo" for source in of_group) / len(of_group)
              for group, of_group in sources.items()}
    if max(shares.values()) - min(shares.values()) < SOURCES_APART:
        return None
    listed = ", ".join(f"{group} {of.count('photo')} of {len(of)}" for group, of in sources.items())
    return Check("measured alike", "look", f"Flats measured from photos: {listed}; the others by ruler. What the two "
                                           "ways of measuring differ by would look like a difference.")


def _plants(layout: Layout) -> Check | None:
    kinds, counts = PLURALS[layout.kind], [unit.plants for unit in layout.tested]
    if 0 in counts:
        return Check("plants", "unknown", f"On how many plants {'all' if not any(counts) else 'some'} {kinds} rest "
                                          "isn't known: one line stands for a whole flat.")
    if max(counts) < UNEQUAL_PLANTS * min(counts):
        return None
    return Check("plants", "look", f"The {kinds} rest on {min(counts)} to {max(counts)} plants; each counts once all "
                                   "the same, so those with few add more chance.")


def _dose(layout: Layout) -> Check | None:
    """Lights that differ in their daily light integral too."""
    if layout.by not in ("light", "spectrum"):
        return None
    doses: dict[str, list[float]] = {}
    for unit in layout.tested:
        for flat in unit.flats:
            if flat.lighting and (dose := flat.lighting.dli_mol) is not None:
                doses.setdefault(unit.group, []).append(dose)
    flats = Counter(unit.group for unit in layout.tested for _ in unit.flats)
    if any(len(doses.get(group, ())) < count for group, count in flats.items()):
        return Check("daily light", "unknown", "How much light each gave in a day isn't known for all (PPFD and hours "
                                               "in lights.csv), so brightness and kind of light can't be told apart.")
    if uneven := [group for group, found in doses.items() if max(found) > DOSE_APART * min(found)]:
        ends = min(doses[uneven[0]]), max(doses[uneven[0]])
        return Check("daily light", "look", f"Not every flat under {uneven[0]} got as much light in a day: "
                                            f"{ends[0]:.1f} to {ends[1]:.1f} mol per m².")
    means = {group: sum(found) / len(found) for group, found in doses.items()}
    if max(means.values()) <= DOSE_APART * min(means.values()):
        return Check("daily light", "fine", "All gave about the same light in a day.")
    listed = ", ".join(f"{group} {dose:.1f}" for group, dose in means.items())
    return Check("daily light", "look", f"The lights also differ in how much they gave in a day ({listed} mol per m² "
                                        "and day): each was compared as it hung, not for its colour alone.")

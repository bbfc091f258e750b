"""Lights (or varieties, batches …) compared: flats chosen, units laid out, differences with intervals: one result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import fmean, harmonic_mean

import numpy as np

from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.errors import CropError, SeedlingError
from seedlingcv.records.history import History, Lighting
from seedlingcv.records.standing import plain_name
from seedlingcv.trials.checks import Check, check_all, lamps_unknown, stage_means
from seedlingcv.trials.design import BY, Chosen, LeftOut, Question, choose_flats
from seedlingcv.trials.matters import Matter, what_matters
from seedlingcv.trials.means import LEAST_FOR_WELCH, Estimates, Overall, least_squares, overall, own_scatter, two_groups
from seedlingcv.trials.mixed import mixed_estimates
from seedlingcv.trials.pairs import LEVEL, Difference, differences, pairs_to_compare
from seedlingcv.trials.planning import Planning, plan
from seedlingcv.trials.stage import Stage
from seedlingcv.trials.units import (
    NO_PARTNER,
    PLURALS,
    WORDS,
    Layout,
    Unit,
    design_matrix,
    lay_out,
    without_random,
)


@dataclass(frozen=True)
class Group:
    """mean over units (blocks counted alike), with its own 95 % interval where groups were tested.

    plants : measured one by one; whole_flats : flats of which one line stands for all plants
    """

    name: str
    units: int
    flats: int
    plants: int
    mean: float
    low: float | None = None
    high: float | None = None
    lightings: tuple[Lighting, ...] = ()
    whole_flats: int = 0


@dataclass(frozen=True)
class Comparison:
    """All that a page, a terminal or a program is told.

    kind : what the units are, `flat` or `shelf` mostly; blocks, random : what was taken out, as labels of a unit
    why_nothing : why nothing can be claimed, None where something was tested; differences then have no intervals
    shown_only : (group, why it was not tested), to be read one after the other
    """

    question: Question
    crop: str | None
    stage: Stage
    groups: tuple[Group, ...]
    units: tuple[Unit, ...]
    kind: str
    differences: tuple[Difference, ...]
    method: str
    left_out: tuple[LeftOut, ...] = ()
    overall: Overall | None = None
    blocks: tuple[str, ...] = ()
    random: tuple[str, ...] = ()
    matter: Matter | None = None
    checks: tuple[Check, ...] = ()
    planning: Planning | None = None
    why_nothing: str | None = None
    shown_only: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    lamps_unknown: bool = False

    @property
    def kinds(self) -> str:
        return PLURALS[self.kind]


def compare(history: History, question: Question, own_crops: Path | None = None) -> Comparison:
    """Raises SeedlingError where the question can't be put to these flats: the crop is to be named, nothing was
    measured, or a group that was named is not there."""
    chosen = choose_flats(history, question)
    names = tuple(dict.fromkeys(value.group for value in chosen.values))
    question = _as_spelt(question, names)
    _check_names(question, names, chosen)
    layout = _of_one_stage(lay_out(chosen.values, question.by), chosen.stage)
    layout, estimates, notes = analyse(layout) if layout.groups else (layout, None, ())
    matter = what_matters(question, _crop(chosen.crop, own_crops), chosen.values)
    if estimates is not None and not np.all(np.asarray(estimates.error_variance) > 1e-12 * _scale(layout)):
        alike = f"has {PLURALS[layout.kind]} that don't scatter at all, so how much they differ by chance isn't known"
        layout, estimates = replace(layout, groups=(), shown_only=dict.fromkeys(names, alike)), None
    bare = Comparison(
        question, chosen.crop, chosen.stage, tuple(_group(layout, name) for name in names), layout.units, layout.kind,
        (), "", chosen.left_out, blocks=layout.blocks, random=layout.random, matter=matter,
        shown_only=tuple(layout.shown_only.items()), notes=notes)
    if estimates is None:
        return _claim_nothing(bare, names)
    tested = tuple(name for name in names if name in layout.groups)
    pairs, way = pairs_to_compare(tested, question.against, question.pairs)
    if not pairs:
        return _claim_nothing(bare, names)
    estimates = _in_order(estimates, layout.groups, tested)
    found = tuple(differences(estimates, tested, pairs, way))
    return replace(
        bare, groups=tuple(_with_interval(group, estimates, tested) for group in bare.groups), differences=found,
        method=_method(estimates.method, way, layout), overall=overall(estimates) if len(tested) > 2 else None,
        checks=check_all(layout, estimates, found, chosen, _by_middle_plants(layout, pairs, way, question)),
        planning=_planning(layout, estimates, found, matter), lamps_unknown=lamps_unknown(layout))


def _of_one_stage(layout: Layout, stage: Stage) -> Layout:
    """Nothing to test where the tolerances leave one group that much older than another."""
    means = stage_means(layout, stage)
    if not means or max(means.values()) - min(means.values()) <= stage.most_apart:
        return layout
    older, younger = (pick(means, key=lambda group: means[group]) for pick in (max, min))
    why = f"was measured at another stage ({stage.told(means[older])} of {older}, {stage.told(means[younger])} of " \
          f"{younger}, in the mean)"
    return replace(layout, groups=(), shown_only=dict.fromkeys(means, why))


def analyse(layout: Layout) -> tuple[Layout, Estimates | None, tuple[str, ...]]:
    """Estimates of the groups by the method the design wants, the layout they are of (a simpler one where a mixed model
    can't be fitted), and what is to be told of it.

    Raises SeedlingError where a mixed model is wanted and statsmodels is not installed.
    """
    values = np.array([unit.value for unit in layout.tested])
    if not layout.random:
        return layout, estimate(layout, values), ()
    estimates = mixed_estimates(layout, values)
    if estimates is not None:
        return layout, estimates, ()
    simpler = without_random(layout)
    if simpler is None:
        return layout, None, ("The mixed model could not be fitted, and there is too little for anything simpler.",)
    told = f"The mixed model could not be fitted: {PLURALS[simpler.kind]} were compared by their means instead."
    return *analyse(simpler)[:2], (told,)


def estimate(layout: Layout, values: np.ndarray) -> Estimates:
    """By unit means, for a layout without random effects; values (..., tested units)."""
    if layout.blocks:
        return least_squares(values, design_matrix(layout, layout.blocks), len(layout.groups))
    parts = [values[..., [unit.group == group for unit in layout.tested]] for group in layout.groups]
    sizes = {part.shape[-1] for part in parts}
    if len(parts) == 2:
        return two_groups(*parts)
    if len(sizes) > 1 and min(sizes) >= LEAST_FOR_WELCH:
        return own_scatter(parts)
    return least_squares(values, design_matrix(layout, ()), len(layout.groups))


def _by_middle_plants(layout: Layout, pairs: Sequence[tuple[str, str]], way: str,
                      question: Question) -> Sequence[Difference] | None:
    """The same differences with each flat's median instead of its mean, which a few wild plants can't move. None where
    that says nothing: of counts, of flats of one or two plants, or where all medians are alike."""
    if question.figure == "true_leaves" or all(len(f.cells) < 3 for unit in layout.tested for f in unit.flats):
        return None
    units = tuple(replace(unit, value=unit.value + fmean(flat.median - flat.mean for flat in unit.flats))
                  for unit in layout.units)
    layout, estimates, _ = analyse(replace(layout, units=units))
    if estimates is None or not np.all(np.asarray(estimates.error_variance) > 1e-12 * _scale(layout)):
        return None
    return differences(estimates, layout.groups, pairs, way)


def _scale(layout: Layout) -> float:
    return max(unit.value**2 for unit in layout.tested)


def _in_order(estimates: Estimates, now: Sequence[str], wanted: Sequence[str]) -> Estimates:
    order = [list(now).index(name) for name in wanted]
    back = np.argsort(order)
    return replace(estimates, means=estimates.means[order], covariance=estimates.covariance[np.ix_(order, order)],
                   df_of=lambda weights, df_of=estimates.df_of: df_of(weights[back]))


def _as_spelt(question: Question, names: Sequence[str]) -> Question:
    """With the groups named as the records spell them, whatever the capitals."""
    spelt = {plain_name(name): name for name in names}

    def spell(name: str) -> str:
        return spelt.get(plain_name(name), name)

    return replace(question, against=spell(question.against) if question.against else None,
                   pairs=tuple((spell(one), spell(other)) for one, other in question.pairs))


def _check_names(question: Question, names: Sequence[str], chosen: Chosen) -> None:
    wanted = [question.against] if question.against else []
    unknown = [name for name in (*wanted, *(n for pair in question.pairs for n in pair)) if name not in names]
    if unknown:
        raise SeedlingError(f"No flat compared is of the {BY[question.by]} '{unknown[0]}'.", where="records",
                            next_step=f"Those that are: {', '.join(names) or 'none'}.")
    if not names:
        reasons = "; ".join(f"{out.place}: {out.why}" for out in chosen.left_out[:3])
        raise SeedlingError(f"No flat can be compared at {chosen.stage} ({reasons}).", where="records",
                            next_step="Name another age with --age, or a leaf stage with --leaves.")


def _crop(name: str | None, own: Path | None) -> Crop | None:
    try:
        return load_crop(name, own) if name else None
    except CropError:
        if own is not None and own.exists():
            load_crop("tomato", own)  # a fault of the grower's file is told; a crop it doesn't know is no fault
        return None


def _group(layout: Layout, name: str) -> Group:
    units = [unit for unit in layout.units if unit.group == name]
    flats = [flat for unit in units for flat in unit.flats]
    lightings = dict.fromkeys(flat.lighting for flat in flats if flat.lighting)
    return Group(name, len(units), len({flat.tray for flat in flats}), sum(flat.plants for flat in flats),
                 fmean(unit.value for unit in units), lightings=tuple(lightings),
                 whole_flats=sum(flat.whole for flat in flats))


def _with_interval(group: Group, estimates: Estimates, tested: Sequence[str]) -> Group:
    from scipy.stats import t

    if group.name not in tested:
        return group
    mean, se, df = (float(part) for part in estimates.contrast(np.array([float(group.name == n) for n in tested])))
    half = float(t.ppf((1 + LEVEL) / 2, df)) * se
    return replace(group, mean=mean, low=mean - half, high=mean + half)


def _claim_nothing(bare: Comparison, names: Sequence[str]) -> Comparison:
    """The differences as they are seen, without interval or p."""
    why = _why_nothing(bare.shown_only)
    if len(names) < 2:
        why = f"there is one {BY[bare.question.by]} only"
        if bare.left_out:
            why += " among the flats that could be used"
    means = {group.name: group.mean for group in bare.groups}
    pairs, _ = pairs_to_compare(names, bare.question.against, bare.question.pairs) if len(names) > 1 else ([], "")
    return replace(bare, why_nothing=why, method="none",
                   differences=tuple(Difference(one, other, means[one] - means[other]) for one, other in pairs))


def _why_nothing(shown_only: Sequence[tuple[str, str]]) -> str:
    """`each has one flat only, so …`, or each group with its own reason."""
    reasons: dict[str, list[str]] = {}
    for group, why in shown_only:
        if why != NO_PARTNER:
            reasons.setdefault(why, []).append(group)
    if len(reasons) == 1 and len(shown_only) == len(next(iter(reasons.values()))) > 1:
        return f"each {next(iter(reasons))}"
    return "; ".join(f"{' and '.join(groups)} {why}" for why, groups in reasons.items()) or "too few flats are left"


GAMES_HOWELL = "; intervals of all pairs hold together (Games-Howell)"
WAYS = {"t": "", "tukey": "; intervals of all pairs hold together (Tukey-Kramer)",
        "dunnett": "; intervals against the one named hold together (Dunnett)",
        "holm": "; p by Holm, intervals by Bonferroni, for the pairs named"}


def _method(method: str, way: str, layout: Layout) -> str:
    units = PLURALS[layout.kind]
    out = " and ".join(PLURALS[WORDS[factor]] for factor in layout.blocks)
    taken = f", {out} taken out as blocks" if out else ""
    words = {
        "welch": f"Welch's t test between {units}",
        "pooled": f"t test between {units}, one scatter for both",
        "least squares": f"analysis of variance between {units}{taken}",
        "mixed": "mixed model (REML) with " + " and ".join(PLURALS[WORDS[f]] for f in layout.random)
                 + f" as random effects{taken}; standard errors after Kenward and Roger, degrees of freedom after "
                 "Satterthwaite",
    }[method]
    return words + (GAMES_HOWELL if (method, way) == ("welch", "tukey") else WAYS[way])


def _planning(layout: Layout, estimates: Estimates, found: Sequence[Difference],
              matter: Matter | None) -> Planning | None:
    """What the trial could show is told of its least certain pair."""
    if matter is None or matter.size <= 0:
        return None
    worst = max(found, key=lambda difference: difference.se or 0.0)
    flats = [unit.flats[0] for unit in layout.tested if len(unit.flats) == 1 and unit.flats[0].sd is not None]
    free = sum(len(flat.cells) - 1 for flat in flats)
    within = sum((len(flat.cells) - 1) * (flat.sd or 0.0) ** 2 for flat in flats) / free if free else None
    plants = harmonic_mean([len(flat.cells) for flat in flats]) if flats and layout.kind == "flat" else None
    return plan(matter.size, float(estimates.error_variance), estimates.error_df, se=worst.se, se_df=worst.df,
                critical=worst.critical, plant_variance=within, plants=plants)

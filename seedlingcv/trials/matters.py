"""How large a difference must be to matter for the crop: judgement, told as such, and the grower may name another.

    legginess                     half the step from the crop's "normal below" to its "leggy above": half-way to leggy
    stem, to seed leaves, height  that, times the crop's usual leaf spread at the stage
    leaf spread                   a tenth of the crop's usual spread
    canopy cover                  10 % of the cell
    true leaves                   half a leaf
    stem diameter, leaf area      a tenth, a fifth of the mean seen
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from seedlingcv.crops.crop import Crop
from seedlingcv.trials.design import FlatValue, Question
from seedlingcv.trials.pairs import Difference

COVER, LEAVES, OF_SPREAD, OF_DIAMETER, OF_AREA = 0.10, 0.5, 0.1, 0.1, 0.2


@dataclass(frozen=True)
class Matter:
    """The smallest difference that matters, in the figure's own unit, and where it is from."""

    size: float
    why: str


def what_matters(question: Question, crop: Crop | None, values: Sequence[FlatValue]) -> Matter | None:
    """None where the crop's file doesn't tell."""
    if question.difference is not None:
        return Matter(abs(question.difference), "as named with --difference")
    seen = fmean(value.mean for value in values)
    plain = {"canopy_cover": (COVER, "a tenth of the cell"), "true_leaves": (LEAVES, "half a leaf"),
             "stem_diameter_mm": (OF_DIAMETER * seen, "a tenth of the mean"),
             "leaf_area_mm2": (OF_AREA * seen, "a fifth of the mean")}.get(question.figure)
    if plain:
        return Matter(plain[0], f"{plain[1]}; judgement")
    if crop is None:
        return None
    leaves = [value.true_leaves for value in values if value.true_leaves is not None]
    bands = crop.legginess
    young = bands is not None and bool(leaves) and fmean(leaves) < bands.from_true_leaves
    sizes = crop.spread_mm.get("seed_leaves" if young else "pot_up")
    spread = sum(sizes) / 2 if sizes else None
    if question.figure == "leaf_spread_mm":
        why = f"a tenth of {crop.name}'s usual spread; judgement"
        return None if spread is None else Matter(OF_SPREAD * spread, why)
    if bands is None:
        return None
    step = (bands.leggy_above - bands.normal_below) / 2
    if young:  # before that the narrow first leaves make the index higher, limits and steps alike
        step *= bands.young_leggy_above / bands.leggy_above
    if question.figure == "legginess":
        return Matter(step, f"half the step from a well-lit {crop.name} to a leggy one; judgement")
    if spread is None:
        return None
    return Matter(step * spread, f"what would carry {crop.name} of usual spread half-way to leggy; judgement")


def verdict(difference: Difference, matter: Matter | None) -> str:
    """What can be said: "nothing" (no test), "unsure", "real", "matters", "surely matters", "maybe matters", "small"
    (real but too small), "none" (no difference that would matter)."""
    if difference.low is None or difference.high is None:
        return "nothing"
    if matter is None:
        return "real" if difference.real else "unsure"
    inside = -matter.size < difference.low and difference.high < matter.size
    if not difference.real:
        return "none" if inside else "unsure"
    if inside:
        return "small"
    if min(abs(difference.low), abs(difference.high)) >= matter.size:
        return "surely matters"
    return "matters" if abs(difference.estimate) >= matter.size else "maybe matters"

"""A crop's stretch limits moved to where a grower's own marks put them.

One number is fitted, the same for all limits of a crop: the logarithm of the factor they are multiplied by. A flat of
index x, whose leggy limit at its stage is L, is taken to be marked leggy with the chance

    1 / (1 + exp(-(log(x / L) - shift) / SCALE))                 a logistic curve around the shifted limit

and before any mark the shift is taken to be 0, give or take PRIOR_SD (normal). The shift taken is the most probable one
(maximum a posteriori). The curve's steepness is not fitted: marks on one side only, or marks that part cleanly, would
make it endless. So a few marks move the limits little, many that agree move them to the grower's own; a leggy mark
never raises them, a fine one never lowers them; and a slip of the pen, however far off, weighs no more than one mark.

Both constants are judgement. SCALE: at 1.25 times a grower's limit nine flats of ten are called leggy (1.25 = exp(0.1 x
log 9)). PRIOR_SD: two growers of three have their limit within 10 % of the file's. Together the file weighs as much as
4 x 0.1² / 0.1² = 4 marks right at the limit. Marks far from it on their own side tell next to nothing: a hundred fine
flats at 0.6 of the limit raise it by 4 %.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import exp, log

from seedlingcv.crops.crop import Bands, Crop
from seedlingcv.crops.values import LIMITS
from seedlingcv.records.marks import Mark

SCALE = 0.1  # of the logistic curve, in log(index)
PRIOR_SD = 0.1  # of the shift, in log(index)
MOST = log(2)  # limits are at most doubled or halved (judgement): beyond, index and mark don't mean the same thing


def shift(bands: Bands, marks: Iterable[Mark]) -> Bands:
    """A crop file's limits, shifted by marks of that crop. Marks without a legginess are passed over, not counted."""
    used = [m for m in marks if m.legginess is not None]
    factor = exp(log_shift(bands, used))
    limits = {name: getattr(bands, name) * factor for name in LIMITS}
    return replace(bands, **limits, marks=len(used))


def with_marks(crop: Crop, marks: Iterable[Mark]) -> Crop:
    """The crop with its limits shifted and their source saying so; unchanged if it has none or no mark can be used."""
    if crop.legginess is None:
        return crop
    bands = shift(crop.legginess, marks)
    if not bands.marks:
        return crop
    source = f"own marks ({bands.marks}); {crop.sources.get('legginess', 'own file')}"
    return replace(crop, legginess=bands, sources=crop.sources | {"legginess": source})


def log_shift(bands: Bands, marks: list[Mark]) -> float:
    """The most probable shift, in log(index), between -MOST and MOST; 0 without marks. All marks have a legginess."""
    over = [(log(m.legginess / bands.leggy_limit(m.true_leaves)), m.leggy) for m in marks]

    def slope(at: float) -> float:  # of the negative log posterior, rising in `at`: it has one zero
        return at / PRIOR_SD**2 + sum(leggy - _chance((x - at) / SCALE) for x, leggy in over) / SCALE

    low, high = -MOST, MOST
    for _ in range(60):  # halving: to the last digit
        middle = (low + high) / 2
        low, high = (low, middle) if slope(middle) > 0 else (middle, high)
    return (low + high) / 2 if over else 0.0


def _chance(u: float) -> float:
    return 1 / (1 + exp(-u)) if u >= 0 else exp(u) / (1 + exp(u))  # either way without overflow

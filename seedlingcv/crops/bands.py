"""How the stretch (legginess) limits in the crop files were worked out.

Legginess = stem length (soil to shoot apex, hypocotyl included) / leaf spread (largest width from above).
No published limit of it was found, so the limits are computed here from published measurements. They are
provisional: a grower's own earlier batches of the same crop and age are the better yardstick, and a grower's
own marks ("fine", "leggy") shift them (marks.py).

1. Three crops have tables. The published tomato tables do not hold the photographed leaf spread, only two
yardsticks that bracket it:
    two longest petioles added up   narrower than the real spread (blades left out): the index comes out high
    2 x (petiole + leaf length)     a fully stretched pair of leaves, wider than real: it comes out low

Tomato, each rounded to one decimal because the tables carry no more:
    compact below       mean of full-sun plants by the wide yardstick
    normal below        mean of full-sun plants by the narrow yardstick: a well-lit plant really has less
    leggy above         half-way (geometric mean) between full sun and shade, both by the narrow yardstick
    young leggy above   the same half-way point at 21 days, with at most two small leaves: the narrow first
                        leaves alone make the index 1.4 even in full light
By stage: the young limit is the seed-leaf stage's; the others hold from the pot-up stage to the sale, since the
index hardly changes between them (full sun 0.83 at 28 days, 0.80 at 35).

Rosettes (lettuce, strawberry) are published as height / width only. An upright stem is no longer than the
plant is high, so a stem that alone reaches a good rosette's whole height / width is stretched:
    leggy above         mean height / width
    normal below        lowest published group mean
    compact below       half of that (judgement)
    young leggy above   leggy above x the tomato's ratio of young to grown

2. Every other crop takes over the limits of the crop it grows like (its file's `growth_form`), scaled by its
target size (its file's `heights_mm` and `spread_mm`):
    upright      tomato's
    rosette      lettuce's
    short stem   half-way (geometric mean) between the two: leaves rise above a short stem, as in cabbage
    scale        (own height / own spread) / (the same of the crop it takes over from), middles of the ranges; at
                 seed leaves for the young limit, at pot-up for the others. Target sizes are common practice,
                 not measurements, so only half of it is believed: the limits are multiplied by its square root.
"""

from __future__ import annotations

from math import sqrt
from statistics import geometric_mean, mean

# Tomato 'Moneymaker', growth chamber, sun or simulated shade (low red : far-red), 6 plants each, mm. Data
# file figure4phyE.csv of Schrager-Lavelle, Herrera & Maloof 2016, Front. Plant Sci. (repository
# MaloofLab/Lavelle-phyE-Frontiers-2016): seen, means computed from the plant rows; the one shade plant that
# lost its second leaf (petiole 0) is left out at 28 and 35 days.
# (light, days): (epicotyl + internodes 1-3, two longest petioles)
MONEYMAKER_MM = {
    ("sun", 21): (10.29, 18.48), ("sun", 28): (42.33, 69.72), ("sun", 35): (92.83, 135.87),
    ("shade", 21): (12.60, 21.87), ("shade", 28): (53.17, 79.28), ("shade", 35): (155.66, 156.06),
}  # fmt: skip
# Mean hypocotyls printed in the same record (75 plants, another run): seen.
MONEYMAKER_HYPOCOTYL_MM = {"sun": 15.62, "shade": 28.89}

# Wild tomatoes in sun at 28 days, stem with hypocotyl / 2 (petiole + leaf length), mean of 97 plants. Data
# file TomatoR2CSHL.csv, teaching data of the Maloof laboratory, UC Davis: seen, mean computed.
WILD_TOMATO_SUN_WIDE_INDEX = 0.47

# Lettuce, height / largest width: (mean ratio, plants). Film culture in a hoophouse, 26 days (repository
# CEAOD/Data, 2018), then Hemming et al., third greenhouse challenge, 4TU.ResearchData 15023088: varieties
# Aphylion, Salanova, Satine at successive harvests. Seen, ratios computed.
LETTUCE = [
    (0.54, 54), (0.47, 6), (0.42, 12), (0.63, 10), (0.45, 8), (0.38, 8), (0.45, 8), (0.44, 5), (0.54, 12),
]  # fmt: skip

# Strawberry, 23 cultivars x 3 mature plants, height / diameter of a disc of the canopy's area: mean, and
# lowest cultivar mean ('Marshall'). Lin et al. 2025, Front. Hortic., doi 10.3389/fhort.2025.1621763: seen,
# computed.
STRAWBERRY_MEAN, STRAWBERRY_LOWEST = 0.67, 0.53


def tomato_index(light: str, days: int) -> float:
    """Mean stem with hypocotyl / two longest petioles of 'Moneymaker' (the narrow yardstick)."""
    stem_mm, petioles_mm = MONEYMAKER_MM[light, days]
    return (stem_mm + MONEYMAKER_HYPOCOTYL_MM[light]) / petioles_mm


def tomato_bands() -> dict[str, float]:
    sun = mean([tomato_index("sun", 28), tomato_index("sun", 35)])
    shade = mean([tomato_index("shade", 28), tomato_index("shade", 35)])
    young = sqrt(tomato_index("sun", 21) * tomato_index("shade", 21))
    return {
        "compact_below": round(WILD_TOMATO_SUN_WIDE_INDEX, 1),
        "normal_below": round(sun, 1),
        "leggy_above": round(sqrt(sun * shade), 1),
        "young_leggy_above": round(young, 1),
    }


def rosette_bands(mean_ratio: float, lowest_ratio: float) -> dict[str, float]:
    tomato = tomato_bands()
    return {
        "compact_below": round(lowest_ratio / 2, 1),
        "normal_below": round(lowest_ratio, 1),
        "leggy_above": round(mean_ratio, 1),
        "young_leggy_above": round(mean_ratio * tomato["young_leggy_above"] / tomato["leggy_above"], 1),
    }


def lettuce_bands() -> dict[str, float]:
    plants = sum(n for _, n in LETTUCE)
    return rosette_bands(sum(r * n for r, n in LETTUCE) / plants, min(r for r, _ in LETTUCE))


def strawberry_bands() -> dict[str, float]:
    return rosette_bands(STRAWBERRY_MEAN, STRAWBERRY_LOWEST)


Sizes = dict[str, tuple[float, float]]  # stage -> mm, from and to

# Target sizes of the two crops that others take over from: those of their files, to which a test holds them.
TOMATO_SIZES: tuple[Sizes, Sizes] = (
    {"seed_leaves": (25, 45), "pot_up": (60, 100)}, {"seed_leaves": (30, 45), "pot_up": (80, 130)},
)  # fmt: skip
LETTUCE_SIZES: tuple[Sizes, Sizes] = (
    {"seed_leaves": (10, 20), "pot_up": (30, 50)}, {"seed_leaves": (15, 25), "pot_up": (60, 100)},
)  # fmt: skip
PUBLISHED = {"tomato": tomato_bands, "lettuce": lettuce_bands, "strawberry": strawberry_bands}
TAKES_OVER = {"upright": ("tomato",), "rosette": ("lettuce",), "short stem": ("tomato", "lettuce")}


def slenderness(heights_mm: Sizes, spread_mm: Sizes, stage: str) -> float:
    """Target height / target spread at a stage."""
    return sum(heights_mm[stage]) / sum(spread_mm[stage])


def limits_of(crop: str, form: str, heights_mm: Sizes, spread_mm: Sizes) -> tuple[dict[str, float], str]:
    """A crop's limits, and the crop or crops whose tables they rest on.

    form        : the file's `growth_form`, one of TAKES_OVER
    heights_mm  : its target heights, `spread_mm` its target spreads, at seed_leaves and pot_up
    """
    if crop in PUBLISHED:
        return PUBLISHED[crop](), crop
    origins = TAKES_OVER[form]
    sizes = {"tomato": TOMATO_SIZES, "lettuce": LETTUCE_SIZES}
    limits = {}
    for limit in tomato_bands():
        stage = "seed_leaves" if limit == "young_leggy_above" else "pot_up"
        taken = geometric_mean(PUBLISHED[origin]()[limit] for origin in origins)
        theirs = geometric_mean(slenderness(*sizes[origin], stage) for origin in origins)
        limits[limit] = round(taken * sqrt(slenderness(heights_mm, spread_mm, stage) / theirs), 1)
    for lower, upper in (("compact_below", "normal_below"), ("normal_below", "leggy_above")):
        limits[upper] = max(limits[upper], round(limits[lower] + 0.1, 1))  # very flat targets: rounding joins no two
    limits["young_leggy_above"] = max(limits["young_leggy_above"], limits["leggy_above"])
    return limits, " and ".join(origins)

"""What the accuracy page says besides measured figures: goals, others' figures, what was learned from what, and
times taken by hand. Change it here; the page is written by `accuracy.py`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Goal:
    """At most `limit` (at least, where `at_least`) of a kind of score; `share` of plants answered at the least."""

    kind: str  # a field of `scores.Score`, or the name of a single figure
    limit: float
    share: float = 0.0


GOALS = {  # the project's own
    "canopy_cover": Goal("mae", 0.014),
    "leaf_spread_mm": Goal("mae", 6.0),
    "leaf_area_mm2": Goal("median_rel", 0.10),
    "true_leaves": Goal("mae", 0.5),
    "height_mm": Goal("mae", 3.0, 0.85),
    "hypocotyl_length_mm": Goal("mae", 2.0),
    "stem_diameter_mm": Goal("mae", 0.12),
    "stem_side": Goal("mae", 3.5, 0.85),
    "stem_parallax": Goal("mae", 6.0, 0.80),
    "legginess_side": Goal("median_rel", 0.10),
    "legginess_parallax": Goal("median_rel", 0.15),
}
FLAT_LEGGINESS_GOAL = 0.07
EMPTY_F1_GOAL, DOUBLE_F1_GOAL = 0.96, 0.70
IOU_GOALS, DICE_GOAL = (0.94, 0.82), 0.78  # from above and from the side; plants apart
INTERVALS_GOAL = (0.85, 0.95)
FIELD_IOU_GOALS = {"peanut_field": 0.87, "carrot_weed": 0.94}
CLOSEUP_GOAL = 0.70

# By measure: what others report, and the number of its source below. Other plants, cameras and truths: no contest.
PUBLISHED = {
    "canopy_cover": ("people judging by eye can't be relied on to see changes below 0.10", 1),
    "leaf_spread_mm": ("plant and leaf sizes within 13 mm, from several stereo pairs", 2),
    "leaf_area_mm2": ("cucumbers, from above and from the side: 4 to 13 %", 3),
    "true_leaves": ("leaves of rosettes: 1.6 miscounted on average", 4),
    "height_mm": ("one photo and a depth network: tomato 5.7, pepper 6.2, cabbage 3.3 mm", 5),
    "stem_diameter_mm": ("tomato, depth camera: 5 %; an optical gauge repeats to 0.1–0.2 mm", 6),
    "hypocotyl_length_mm": ("a network on scans of small seedlings: as good as a person", 7),
    "empty": ("cells lacking a good plant, cabbage kin in a lit box: accuracy 0.96–0.99, precision 0.82–0.84", 8),
}
SOURCES = (
    "Macfarlane & Ogden 2012, Methods in Ecology and Evolution, doi 10.1111/j.2041-210X.2011.00151.x (abstract seen)",
    "Sensors 2015, PMC4570338, plants rebuilt from stereo pairs (abstract seen)",
    "Ngo et al. 2022, Indonesian J. Electrical Engineering and Computer Science 25(1):317-328 (abstract seen)",
    "Aich & Stavness 2017, leaf counting workshop of ICCV 2017 (abstract seen; authors from memory)",
    "Transactions of the CSAE 2022, 38(3), paper 20220318, mean absolute errors up to 105 cm away (abstract seen)",
    "Liang et al. 2025, Agronomy 15(1):120, mean absolute percentage error of stem thickness; van der Kolk et al., "
    "PMC13030289, repeatability on tomato and cucumber stems (abstracts seen)",
    "Dobos et al. 2019, Plant Physiology (abstract seen; journal from memory)",
    "Su, Chen & Jeng 2025, Agriculture 15(21):2227 (abstract seen)",
)

# What was learned or chosen | on what | were the measured flats left out?
LEARNED = (
    ("network from above: whose leaf, how many plants, how many leaves", "invented scenes only",
     "yes from the training; but its scenes were widened after looking at these flats"),
    ("network for the edges of vegetation", "invented scenes, the flats, peanut photos",
     "yes in this page's figures, by crop; no in the shipped weights"),
    ("network for the side photo: stems, nodes, shoot tips", "invented scenes only",
     "yes from the training; but its scenes were made with these flats in view"),
    ("chance from which a pixel is vegetation, a cell empty or a double",
     "these flats, by weights that had not seen them", "no; values around them do as well"),
    ("thresholds of vegetation by colour", "these flats and both sets of field photos", "no"),
    ("other settings (stems, nodes, heights)", "these flats; most checked by leaving out one at a time", "no"),
    ("stated standard errors", "these flats", "no; the column “left out” above shows what leaving out changes"),
    ("pixel classifier (comparison only)", "the other seven flats; peanut photos by folds", "yes"),
    ("excess green, CIELAB a* (comparison only)", "nothing; Otsu's threshold comes from each picture", "yes"),
)

SPEED = """On one core of a small server, 28 photos of 12 megapixels (8 flats with two overhead and one side photo, 4
bad ones) take 58 s of processor time, 2.1 s a photo. Memory peaks at 640 MB. Taken by hand
with `time -v`, not by this page's program."""

"""The accuracy page, from scores to Markdown: whatever depends on a measurement is worked out here, not typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from seedlingcv.benchmarks import published as p
from seedlingcv.benchmarks.calibrate import Calibration
from seedlingcv.benchmarks.closeups import Closeups
from seedlingcv.benchmarks.evaluation import Evaluation, FlatTruth, crop_plants
from seedlingcv.benchmarks.scores import (
    MEASURES,
    Answer,
    CellCounts,
    PhotoCounts,
    Score,
    flat_legginess_errors,
    inside,
    of,
    score,
)
from seedlingcv.benchmarks.tables import NAMES, error, number, percent, table, value
from seedlingcv.benchmarks.ways import CLASSIFIER, PROGRAM, WAYS, Comparison, OnFieldPhoto
from seedlingcv.benchmarks.worst import Bad

CLEARLY = 0.01  # IoU
MAIN = ("canopy_cover", "leaf_spread_mm", "leaf_area_mm2", "true_leaves", "height_mm", "stem_side", "stem_parallax")


@dataclass(frozen=True)
class Measured:
    """Everything the page tells. masks : by flat, IoU from above, IoU from the side, best Dice of plants."""

    evaluation: Evaluation
    answers: Sequence[Answer]
    counts: CellCounts
    photos: PhotoCounts
    masks: Mapping[str, tuple[float, float, float]]
    comparison: Comparison
    calibrations: Sequence[Calibration]
    pictures: Mapping[Bad, str]  # path of each picture, relative to the page
    day: date
    version: str
    left_out: bool = False  # whether each flat was measured by weights that had not learnt from it
    closeups: Closeups | None = None


def write_page(m: Measured) -> str:
    parts = [_head(m), _short(m), _what(m), _by_measure(m), _by_flat(m), _ways(m), _intervals(m), _field(m),
             _failures(m), _learned(), "## Speed and memory\n\n" + p.SPEED, _sources()]
    return "\n\n".join(parts) + "\n"


def _head(m: Measured) -> str:
    return f"""# How accurate is it?

Written by `python -m seedlingcv.benchmarks.accuracy EVAL_FOLDER` on {m.day.isoformat()}, version {m.version}. Not
edited by hand, but for the goals, others' figures and times, which stand in `published.py`."""


def _short(m: Measured) -> str:
    def typical(measure: str) -> str:
        return value(measure, score(of(m.answers, measure)).mae)

    legginess = flat_legginess_errors(m.answers)
    worst = max(legginess, key=legginess.get) if legginess else None
    spread = {f.name: score(of(m.answers, "leaf_spread_mm", f.name)).mae for f in m.evaluation.flats}
    spread = {flat: mae for flat, mae in spread.items() if mae is not None}
    lines = [
        "- Every plant figure below was compared with an exact truth on **rendered** flats, not on real ones. "
        "Expect somewhat more error on yours, and compare with your own ruler.",
        f"- On average leaf spread is {typical('leaf_spread_mm')} off, plant height {typical('height_mm')}, stem "
        f"length {typical('stem_side')} in the front row and {typical('stem_parallax')} elsewhere, canopy cover "
        f"{100 * (score(of(m.answers, 'canopy_cover')).mae or 0):.1f} % of the cell's area.",
    ]
    if worst:
        lines.append(f"- A flat's median legginess, which the pot-up list rests on, is off by "
                     f"{percent(_mean(legginess.values()))} on average and by {percent(legginess[worst])} on the worst "
                     f"flat ({_crop_of(m, worst)}).")
    if spread:
        low, high = min(spread, key=spread.get), max(spread, key=spread.get)
        lines.append(f"- It depends on the flat: leaf spread is {value('leaf_spread_mm', spread[low])} off on the best "
                     f"({_crop_of(m, low)}) and {value('leaf_spread_mm', spread[high])} on the worst "
                     f"({_crop_of(m, high)}). Trust a flat's median more than a single cell.")
    return "## In short\n\n" + "\n".join(lines)


def _what(m: Measured) -> str:
    flats = m.evaluation.flats
    cells = [c for f in flats for c in f.cells]
    singles = [c for c in cells if len(crop_plants(c)) == 1]
    front = sum(c["row"] == 0 for c in singles)
    rows = [[f.name, f.crop, f.layout, f.stage, f.light] for f in flats]
    field = ", ".join(f"{len(photos)} photos {name}" for name, photos in m.evaluation.field.items()) or "none at hand"
    return f"""## What was measured, on what

{len(flats)} **rendered** flats, each with two photos from above and one from the side, 12 megapixels, with exact truth
in mm from the geometry: {len(cells)} cells, {len(singles)} with exactly one plant, {front} of these in the front row.
The settings were chosen while looking at these flats (see "What was learned from what"). Rendered leaves are
thin and clean: no torn, diseased or red leaves, no water drops, no seed coats, cards perfectly flat, one kind of phone.
No real flat with a ruler beside it has been measured yet.

{_which_weights(m)}

{table(["flat", "crop", "cells", "stage", "light"], rows)}

Real field photos with outlines drawn by people, without any scale in mm: {field}.

A cell's figures are compared where truth has one crop plant. *Answered*: share of those cells where the program, too,
saw one plant and gave the figure; it leaves out what it can't tell. *Error*: mean absolute error. *Median*: half the
plants are less than this share off. *Leans*: mean of measured minus true."""


def _which_weights(m: Measured) -> str:
    if m.left_out:
        return ("The network for edges learnt from these flats among others. So each flat was measured here by weights "
                "of the same making that never saw it, nor any flat of its crop. The shipped weights saw all of them.")
    return "The network for edges learnt from these flats: its outlines are better here than they will be on others."


def _by_measure(m: Measured) -> str:
    rows = []
    for measure in MEASURES:
        found, goal = score(of(m.answers, measure)), p.GOALS.get(measure)
        text, source = p.PUBLISHED.get(measure, ("", 0))
        rows.append([NAMES[measure].text, f"{found.answered} of {found.asked}", error(measure, found),
                     percent(found.median_rel) if measure != "true_leaves" else f"{percent(found.exact)} exact",
                     value(measure, found.bias, signed=True), _goal(measure, found, goal),
                     f"{text} [{source}]" if source else ""])
    flats = flat_legginess_errors(m.answers)
    if flats:
        mean = _mean(flats.values())
        rows.append(["a flat's median legginess", f"{len(flats)} of {len(m.evaluation.flats)} flats", percent(mean), "",
                     "", f"{percent(p.FLAT_LEGGINESS_GOAL)}, {_met(mean <= p.FLAT_LEGGINESS_GOAL)}", ""])
    text, source = p.PUBLISHED["empty"]
    empty, double = m.counts.empty_f1, m.counts.double_f1
    rows += [["cells without a plant (F1)", "", number(empty, 2), "", "",
              f"{p.EMPTY_F1_GOAL}, {_met((empty or 0) >= p.EMPTY_F1_GOAL)}", f"{text} [{source}]"],
             ["cells with two or more plants (F1)", "", number(double, 2), "", "",
              f"{p.DOUBLE_F1_GOAL:.2f}, {_met((double or 0) >= p.DOUBLE_F1_GOAL)}", ""]]
    for k, (text, goal) in enumerate((("outlines from above (IoU)", p.IOU_GOALS[0]),
                                      ("outlines from the side (IoU)", p.IOU_GOALS[1]),
                                      ("plants told apart (symmetric best Dice)", p.DICE_GOAL))):
        mean = _mean(masks[k] for masks in m.masks.values())
        rows.append([text, "", number(mean, 3), "", "", f"{goal}, {_met((mean or 0) >= goal)}", ""])
    return f"""## Figure by figure

{table(["figure", "answered", "error", "median", "leans", "goal, met?", "others report"], rows)}

F1 is 1 when every such cell is found and none claimed wrongly. Goals are the project's own. Others
measured other plants with other cameras and other truths: their figures show what is usual, not who is better.

Photos: {m.photos.good_used} of {m.photos.good} good ones used for the right flat, {m.photos.bad_named} of
{m.photos.bad} bad ones refused for the right reason."""


def _goal(measure: str, found: Score, goal: p.Goal | None) -> str:
    if goal is None:
        return ""
    limit = percent(goal.limit) if goal.kind == "median_rel" else value(measure, goal.limit)
    reached = getattr(found, goal.kind)
    met = reached is not None and reached <= goal.limit and found.share >= goal.share
    kind = " median" if goal.kind == "median_rel" else ""
    answered = f" for {percent(goal.share)}" if goal.share else ""
    return f"{limit}{kind}{answered}, {_met(met)}"


def _met(yes: bool) -> str:
    return "yes" if yes else "**no**"


def _by_flat(m: Measured) -> str:
    legginess = flat_legginess_errors(m.answers)
    rows = []
    for f in m.evaluation.flats:
        found = {measure: score(of(m.answers, measure, f.name)) for measure in MAIN}
        above, side, dice = (number(x, 2) for x in m.masks[f.name])
        rows.append([f"**{f.crop}**, {f.stage}, {f.layout}<br>{f.light}",
                     *(error(k, s, "median_rel" if k == "leaf_area_mm2" else "mae").removesuffix(" leaves")
                       + (f" ({percent(s.share)})" if s.share < 0.995 else "") for k, s in found.items()),
                     percent(legginess.get(f.name)), f"{above}; {side}", dice])
    header = ["flat", "cover", "spread", "area (median)", "true leaves", "height", "stem, front", "stem, others",
              "flat's legginess", "outline IoU, above; side", "plants apart (Dice)"]
    return f"""## Flat by flat

Mean absolute errors; leaf area as the median relative error; in brackets how much was answered, where not all was.

{table(header, rows)}

IoU: overlap of what was called plant with what is plant, 1 at best, in the photo's own pixels. Dice: how well each
plant's outline matches its own, 1 at best (symmetric best Dice)."""


def _ways(m: Measured) -> str:
    flats = m.comparison.flats
    rows = []
    for way in WAYS:
        own = [x for x in flats if x.way == way]
        found = [a for x in own for a in x.answers]
        spread, area = score(of(found, "leaf_spread_mm")), score(of(found, "leaf_area_mm2"))
        rows.append([way, number(_mean(x.iou for x in own), 3), number(_mean(x.dice for x in own), 3),
                     error("canopy_cover", score(of(found, "canopy_cover"))),
                     f"{error('leaf_spread_mm', spread)} ({percent(spread.share)})",
                     f"{percent(area.median_rel)} ({percent(area.share)})"])
    by_flat = [[_crop_of(m, f.name), *(number(_mean(x.iou for x in flats if (x.way, x.flat) == (way, f.name)), 2)
                                       for way in WAYS)] for f in m.evaluation.flats]
    header = ["way", "vegetation IoU", "plants apart (Dice)", "cover error", "spread error (answered)",
              "area, median (answered)"]
    return f"""## Beside simpler ways

Same photo from above, same camera and cell grid (the program's). **Excess green** and **CIELAB a\\*** are the textbook
recipe: index, Otsu's threshold, opening, watershed from the cells' middles, without light correction. The
**pixel classifier** learned the colour of plants, corrected by the cards' white, from the other flats, never from the
one measured; it splits plants as the recipe does. **{PROGRAM}** also has the second photo from above and the side
photo.

{table(header, rows)}

Vegetation IoU by flat:

{table(["flat", *WAYS], by_flat)}

{_where_others_win(m)} The program's outlines are its label images: vegetation that it gives to no plant counts against
it here.

{_reliability(m.comparison)}"""


def _where_others_win(m: Measured) -> str:
    better = []
    for f in m.evaluation.flats:
        own = {x.way: x.iou for x in m.comparison.flats if x.flat == f.name}
        better += [f"{way} on {_crop_of(m, f.name)}" for way, iou in own.items() if iou > own[PROGRAM] + CLEARLY]
    if not better:
        return "No other way is clearly better on any flat."
    return f"Clearly better than the program (by more than {CLEARLY}): {', '.join(better)}."


def _reliability(comparison: Comparison) -> str:
    if comparison.reliability is None:
        return ""
    before, after = comparison.reliability
    bins = [f"{low / 10:.1f}–{(low + 1) / 10:.1f}" for low in range(10)]
    return f"""Can the {CLASSIFIER}'s chances be believed? On flats left out, of the pixels to which it gives a
chance of so much, this share is plant. Brier score {before.brier:.4f} before calibrating, {after.brier:.4f} after;
expected calibration error {before.ece:.4f} and {after.ece:.4f}.

{table(["chance said", *bins], [["came true", *(number(x, 2) if n else "–" for x, n in zip(after.came, after.count,
                                                                                             strict=True))]])}"""


def _intervals(m: Measured) -> str:
    stated = [a for a in m.answers if a.se]
    share = inside(stated)
    names = [f.name for f in m.evaluation.flats]
    rows = [[NAMES[c.measure].text, str(c.n), percent(c.stated_inside), *(percent(c.stated.get(n)) for n in names),
             f"{c.factor:.2f}", percent(c.left_out_inside)] for c in m.calibrations]
    low, high = p.INTERVALS_GOAL
    met = share is not None and low <= share <= high
    header = ["figure", "n", "all flats", *(_crop_of(m, n) for n in names), "factor", "left out"]
    return f"""## Can the stated errors be believed?

Many figures come with a standard error. If it is right, the truth lies within 1.645 of them for nine plants in ten.
Over all figures it does so for {percent(share)} of {len(stated)} (goal {percent(low)} to {percent(high)}, {_met(met)}).
By figure and flat, as stated:

{table(header, rows)}

*Factor*: by which the stated error had to be multiplied for nine in ten on all flats together. *Left out*: the share
inside on each flat in turn with the factor taken from the other flats only."""


def _field(m: Measured) -> str:
    field = m.comparison.field
    if not field:
        return "## Real photos\n\nThere were no field photos at hand."
    rows, lines = [], []
    for name in dict.fromkeys(x.set for x in field):
        for way in WAYS:
            own = [x for x in field if (x.set, x.way) == (name, way)]
            if own:
                rows.append([name, str(len(own)), way, *_field_figures(own)])
        ours, goal = _mean(x.iou for x in field if (x.set, x.way) == (name, PROGRAM)), p.FIELD_IOU_GOALS.get(name)
        if goal is not None:
            lines.append(f"{name}: goal {goal:.2f}, {_met(ours >= goal)}")
    return f"""## Real photos

Field photos from above with plants outlined by people; no cards, so no light correction and no mm.

{table(["set", "photos", "way", "vegetation IoU, mean", "worst photo", "cover error"], rows)}

{"; ".join(lines)}. Two people who outline the carrots agree to about 0.97. The {CLASSIFIER} learned from peanut photos
other than those measured; for the carrots from all flats and all peanuts, never from carrots. Whether the program's own
settings were chosen with these photos in view stands in "What was learned from what".{_closeups(m.closeups)}"""


def _closeups(found: Closeups | None) -> str:
    if found is None:
        return ""
    return f"""

Close-ups of single seedlings from above, all leaves counted, seed leaves included: within the range that a person gave
in {found.within} of {found.photos} photos ({found.answered} answered; goal {percent(p.CLOSEUP_GOAL)},
{_met(found.within >= p.CLOSEUP_GOAL * found.photos)}). Always saying {found.usual} would be right in
{found.usual_within} of {found.photos}, so the goal asks little. The way was found with these photos in view."""


def _field_figures(own: Sequence[OnFieldPhoto]) -> list[str]:
    return [number(_mean(x.iou for x in own), 3), number(min(x.iou for x in own), 2),
            number(_mean(abs(x.cover_error) for x in own), 3)]


def _failures(m: Measured) -> str:
    shown = [f"![{bad.what}]({path})\n\n*{bad.cell}, {_crop_of(m, bad.flat)}: {bad.what}.*"
             for bad, path in m.pictures.items()]
    return ("## Where it fails\n\nFor each figure the cell furthest off, each time on a flat not shown before in that "
            "view. Orange: what the program took for this cell's plant. Cyan: the true plant, as far as it is seen; in "
            "side photos also the true ends of the stem. Grey: the cell on the rim.\n\n" + "\n\n".join(shown))


def _learned() -> str:
    return f"""## What was learned from what

{table(["what", "learned or chosen on", "were the measured flats left out?"], p.LEARNED)}"""


def _sources() -> str:
    listed = "\n".join(f"{n}. {source}" for n, source in enumerate(p.SOURCES, start=1))
    return f"## Sources of others' figures\n\n{listed}"


def _crop_of(m: Measured, name: str) -> str:
    """A flat in few words: its crop, and what tells it from others of that crop."""
    flats = m.evaluation.flats
    flat: FlatTruth = next(f for f in flats if f.name == name)
    for text in (lambda f: f.crop, lambda f: f"{f.crop} {f.layout}"):
        if sum(text(f) == text(flat) for f in flats) == 1:
            return text(flat)
    return f"{flat.crop} {flat.layout}, flat {flat.tag}"


def _mean(values: Iterable[float]) -> float | None:
    had = list(values)
    return float(np.mean(had)) if had else None

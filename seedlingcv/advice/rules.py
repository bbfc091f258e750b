"""The rules: what to do with a flat. A pure function of measurements, crop and dates.

What they decide on stands in findings.py, the rules in decide.py, the days in dates.py, the depth in burial.py, the
sentences in reasons.py. In the order in which they decide (numbers: the crop's file; without a file the answer is
`unsure`), as of the day the flat was seen:

1. A crop that isn't transplanted (tap root): do_not_transplant.
2. Nothing measured, stems only, or no plant seen: unsure.
3. Moved once only and past its leaf window: by more than two leaves: sow_again. By more than one: pot_up where roots
   are known to have room yet, else unsure.
4. Stretched. If deeper potting takes the stem up: pot_up_early (pot_up once past the window, wait before the first
   true leaf, unsure without a leaf count). If not and the crop is moved once only: sow_again, but unsure when the
   median could be over the limit by chance or by measuring error. If not but the crop is easily moved: the leaf
   rules, with a caution.
5. True leaves counted: in or past the window: pot_up. Roots surely fill the cell: pot_up (unsure before the first
   true leaf). Crowded: pot_up_early. Else: wait.
6. No leaf count. Crowded and old enough: pot_up. Neither: wait. Else unsure: dates alone don't tell.
7. A plug that a root check found not ready waits, unless the crop is easily moved and the flat stretched or crowded.

Then by today's date: a flat that was to wait and by reckoning is ready since: unsure, look. Figures older than ten
days give the answer of their day, and the list says so.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from seedlingcv.advice import reasons as because
from seedlingcv.advice.burial import burial_depth
from seedlingcv.advice.dates import settle
from seedlingcv.advice.findings import find
from seedlingcv.advice.pots import Pot
from seedlingcv.advice.verdict import Verdict
from seedlingcv.advice.whatif import would_change
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement


def advise(measurement: FlatMeasurement, crop: Crop | None, today: date, *, inch: bool = False,
           roots: str | None = None, roots_from: str = "hand", pot: Pot | None = None,
           earlier: FlatMeasurement | None = None) -> Verdict:
    """What to do with a flat on `today`. Lengths in sentences are mm, or inches with `inch`.

    roots : a root check of the day the flat was seen, `not_ready`, `firm` or `root_bound`; `roots_from` hand or photo
    pot : the pot that is used, else the usual one for the cell size
    earlier : the same flat some days before, to measure its growth
    """
    if crop is None:
        return because.without_crop(measurement)
    if crop.transplant_tolerance == "avoid":
        return because.not_transplanted(crop)
    found = find(measurement, crop, today, roots=roots, roots_from=roots_from, earlier=earlier)
    outcome = settle(found)
    potting = outcome.decision.action in ("pot_up", "pot_up_early")
    stretched = found.band == "leggy" and crop.burial_mends_stretch
    depth = burial_depth(measurement, crop, pot=pot, stretched=stretched) if potting else None
    if depth and depth.way != "upright":
        outcome = replace(outcome, decision=replace(outcome.decision, more=(because.room_reason(depth, inch),)))
    told = because.Case(measurement, found, outcome, depth, pot is not None, inch)
    return Verdict(
        action=outcome.decision.action,
        burial=crop.burial if potting else None,
        burial_depth_mm=depth.depth_mm if depth else None,
        earliest=outcome.earliest,
        latest=outcome.latest,
        reasons=because.reasons(told),
        cautions=because.cautions(told),
        legginess_band=found.band,
        leggy_share=found.leggy_share,
        assumed=because.assumed(told),
        missing=because.missing(told),
        due=outcome.due,
        binding=outcome.limits[0].kind if outcome.limits else None,
        limits=outcome.limits,
        delay_mends=crop.burial_mends_stretch,
        would_change=would_change(found, outcome),
        bands_from=because.bands_from(crop) if found.stretch_limit else None,
        as_of=found.measured_on if found.old else None,
        depth=depth,
    )

"""The rules: what to do with a flat. A pure function of measurements, crop and dates.

In the order in which they decide (numbers: the crop's file; without a file the answer is `unsure`):

1. A crop that isn't transplanted (tap root): do_not_transplant.
2. Nothing measured, stems only, or no plant seen: unsure.
3. Stretched. If deeper potting takes the stem up: pot_up_early (pot_up once past the window, wait before the
   first true leaf). If not and the crop is moved once only: sow_again, but unsure when the median could be
   over the limit by chance. If not but the crop is easily moved: the leaf rules, with a caution.
4. True leaves counted: well past the window and moved once only: sow_again. In or past the window: pot_up.
   Roots surely fill the cell: pot_up (unsure before the first true leaf). Crowded: pot_up_early. Else: wait.
5. No leaf count. Crowded and old enough: pot_up. Neither: wait. Else unsure: dates alone don't tell.

Urgency, in days: 14 + days past the last sensible day, between 0 and 42 (0: two weeks or more in hand), plus
10 where there is work now (pot up, sow again), 5 where someone should look (unsure), 8 for stretch that
deeper potting can't mend, 4 for stretch that it can, 3 for crowding. 0 for what is not transplanted. The
weights are judgement: a delay that can't be mended weighs twice one that can.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil

from seedlingcv import units
from seedlingcv.advice import wording as say
from seedlingcv.advice.burial import HEADSPACE_MM, LAID_SLANTWISE, Depth, burial_depth
from seedlingcv.advice.findings import CROWDED_COVER, MIN_PLANTS, Findings, find
from seedlingcv.advice.verdict import Action, Verdict
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement

STRETCH_DAYS = 3  # a stretched flat shouldn't wait longer: common practice, no source
STALE_DAYS = 3  # a photo older than this no longer shows the leaf stage (judgement)
SHARE_WORTH_SAYING = 0.25  # of leggy plants in a flat that isn't leggy as a whole (judgement)
LEAF_COUNT_DOUBT = 1  # leaves; counts from photos, and crews, differ by one
ROOM_WORTH_SAYING_MM = 5  # of stem that finds no room in the pot (judgement)
ROOM_CLEARLY_SHORT_MM = 15  # from here the usual pot doesn't mend a stretched stem (judgement)
# Flags that tell how a figure was come by: nothing went wrong with the photo.
HEIGHT_ASSUMED = {
    "height_from_side": "leaves stand as high in the whole flat as in row A's side photo",
    "height_from_crop": "leaves stand at the crop's usual height",
    "height_unknown": "leaves lie level with the rim, as their height is unknown: high leaves look too large",
}


@dataclass(frozen=True)
class _Decision:
    action: Action
    why: str  # the first reason
    more: tuple[str, ...] = ()


def advise(measurement: FlatMeasurement, crop: Crop | None, today: date, *, inch: bool = False) -> Verdict:
    """What to do with a flat on `today`. Lengths in sentences are mm, or inches with `inch`."""
    if crop is None:
        return _without_crop(measurement)
    if crop.transplant_tolerance == "avoid":
        return _not_transplanted(crop)
    found = find(measurement, crop, today)
    decision = _decide(found)
    potting = decision.action in ("pot_up", "pot_up_early")
    depth = burial_depth(measurement, crop) if potting else None
    if _pot_too_shallow(found, depth):
        decision = replace(decision, more=(_room_reason(crop, depth, inch),))
    earliest, latest = _dates(found, decision.action)
    return Verdict(
        action=decision.action,
        burial=crop.burial if potting else None,
        burial_depth_mm=depth.depth_mm if depth else None,
        earliest=earliest,
        latest=latest,
        reasons=_reasons(found, decision),
        cautions=_cautions(measurement, found, decision, depth, inch),
        urgency=_urgency(found, decision.action, latest),
        legginess_band=found.band,
        leggy_share=found.leggy_share,
        assumed=_assumed(measurement, found, decision, depth, inch),
        missing=_missing(measurement, found, depth),
    )


def _without_crop(measurement: FlatMeasurement) -> Verdict:
    row = f"flat {measurement.flat}'s row in the register"
    if measurement.crop:
        why = f"No rules for '{measurement.crop[:30]}': it has no crop file"
        missing = f"a crop file for '{measurement.crop}', or a known crop in {row}"
    else:
        why = f"Flat {measurement.flat}'s crop is unknown: the register doesn't name it"
        missing = f"the crop in {row}"
    measured = []
    for field, text in (
        ("true_leaves", "{0:g} true leaves"),
        ("canopy_cover", "{0:.0%} of the cell covered"),
        ("legginess", "stems {0:.1f} x the leaf spread"),
    ):
        if summary := measurement.summary(field):
            measured.append(f"{text.format(summary.median)} (median of {say.count(summary.plants, 'plant')})")
    reasons = (why, "Measured: " + "; ".join(measured)) if measured else (why, "Nothing was measured either")
    return Verdict(action="unsure", reasons=reasons, urgency=5.0, missing=(missing,))


def _not_transplanted(crop: Crop) -> Verdict:
    why = f"{crop.name.capitalize()} has a tap root and isn't transplanted: moved roots grow crooked"
    return Verdict(action="do_not_transplant", reasons=(why,), cautions=crop.cautions)


def _decide(found: Findings) -> _Decision:
    if found.empty:
        return _Decision("unsure", "No seedling was seen in any cell: look at the flat")
    if found.leaves is None and found.cover is None and found.legginess is None:
        if found.only_stems:
            plants = say.count(found.only_stems, "plant")
            return _Decision("unsure", f"Only stems were measured ({plants}): take an overhead photo")
        if found.too_few:
            return _Decision("unsure", "Too few plants could be measured: look at the flat")
        return _Decision("unsure", "No leaves, cover or stems could be measured: look at the flat")
    if found.band == "leggy":
        decision = _decide_leggy(found)
        if decision:
            return decision
    return _decide_by_leaves(found) if found.leaves else _decide_by_cover(found)


def _decide_leggy(found: Findings) -> _Decision | None:
    crop, leaves = found.crop, found.leaf_count
    why = _stretch_reason(found)
    if crop.burial_mends_stretch:
        if leaves is not None and leaves < 1:
            return _Decision(
                "wait", why, ("No true leaf yet: more light now, pot up at the first true leaf",)
            )
        late = leaves is not None and leaves > crop.pot_up_true_leaves[1]
        return _Decision(
            "pot_up" if late else "pot_up_early", why, ("Deeper potting takes up the long stem",)
        )
    if crop.transplant_tolerance != "once":
        return None
    more = f"A stretched stem of {crop.name} can't be buried: a delay can't be mended"
    if found.stretch_clear:
        return _Decision("sow_again", why, (more,))
    return _Decision(
        "unsure", why, ("Too close to the limit to throw the flat away: look at the plants", more)
    )


def _decide_by_leaves(found: Findings) -> _Decision:
    crop, leaves = found.crop, found.leaf_count
    first, last = crop.pot_up_true_leaves
    why = f"{say.true_leaves(leaves)} (pot-up window {first}-{last})"
    if crop.transplant_tolerance == "once" and leaves > last + LEAF_COUNT_DOUBT:
        more = f"Overgrown {crop.name} is better sown again: its roots don't stand being moved"
        if leaves > last + 2 * LEAF_COUNT_DOUBT:
            return _Decision("sow_again", why, (more,))
        doubt = "Too close to throw the flat away on a leaf count: count a few plants by hand"
        return _Decision("unsure", why, (doubt, more))
    if leaves >= first:
        return _Decision("pot_up", why)
    full = found.roots_full is not None and found.today >= found.roots_full
    if full and leaves < 1:
        doubt = f"{found.age_days} days old and no true leaf: check warmth and the sown date"
        return _Decision("unsure", doubt, (why,))
    if full:
        return _Decision("pot_up", _roots_reason(found), (why,))
    if found.crowded and leaves >= 1:
        return _Decision("pot_up_early", _cover_reason(found), (why,))
    return _Decision("wait", why)


def _decide_by_cover(found: Findings) -> _Decision:
    if found.cover is None or found.age_days is None:
        return _Decision("unsure", "No leaf count, and the rest doesn't tell the stage: count a few plants")
    weeks = f"{found.age_days} days old, usually potted up at {found.crop.weeks_to_pot_up[0] * 7:g} or more"
    old_enough = found.age_days >= found.crop.weeks_to_pot_up[0] * 7
    if found.crowded and old_enough:
        return _Decision("pot_up", _cover_reason(found), (weeks,))
    if not found.crowded and not old_enough:
        return _Decision("wait", weeks, (_cover_reason(found),))
    doubt = "No leaf count, and age and size disagree: count a few plants"
    return _Decision("unsure", doubt, (weeks, _cover_reason(found)))


def _dates(found: Findings, action: Action) -> tuple[date | None, date | None]:
    """The first and the last sensible day to pot up, neither before the photo; None where there is none."""
    latest = found.latest
    if action == "sow_again":
        return None, None
    if action == "unsure":
        return None, latest
    if found.band == "leggy" and action == "pot_up_early":
        soon = found.measured_on + timedelta(STRETCH_DAYS)
        latest = min(latest, soon) if latest else soon
    if action != "wait":
        return found.measured_on, max(latest, found.measured_on) if latest else None
    opens = found.window_opens
    if opens is None and found.age_days is not None:
        usual = ceil(found.crop.weeks_to_pot_up[0] * 7)
        opens = found.today + timedelta(max(0, usual - found.age_days))
    opens = max(opens, found.today + timedelta(1)) if opens else None
    return opens, max(latest, opens) if latest and opens else latest


def _urgency(found: Findings, action: Action, latest: date | None) -> float:
    due = min((d for d in (latest, found.latest) if d), default=None)
    points = min(42, max(0, 14 + (found.today - due).days)) if due else 0
    points += {"wait": 0, "unsure": 5}.get(action, 10)
    if found.band in ("watch", "leggy"):
        points += 4 if found.crop.burial_mends_stretch else 8
    return float(points + (3 if found.crowded else 0))


def _stretch_reason(found: Findings) -> str:
    index, limit = found.legginess.median, found.stretch_limit
    which = "unproved" if found.crop.bands_unproved else "provisional"
    if found.band == "leggy":
        return f"Stems {say.ratio(index, limit)} x the leaf spread: leggy above {limit:.1f} ({which} limit)"
    stems = f"Stems {say.ratio(index, limit)} x the leaf spread"
    if found.band is None:
        stage = "too young" if found.leaves else "leaves not counted, perhaps too young"
        return f"{stems}: {stage} to tell stretch below {limit:.1f}"
    return f"{stems}: {found.band} (leggy above {limit:.1f}, {which} limit)"


def _pot_too_shallow(found: Findings, depth: Depth | None) -> bool:
    """Whether deeper potting would mend the stretch, but not in the pot commonly used."""
    mends = found.band == "leggy" and found.crop.burial_mends_stretch
    return mends and depth is not None and depth.short_mm > ROOM_CLEARLY_SHORT_MM


def _room_reason(crop: Crop, depth: Depth, inch: bool) -> str:
    pot, fits, needed = (
        units.length(mm, inch=inch) for mm in (depth.pot.width_mm, depth.depth_mm, _next_10(depth.pot_needed_mm))
    )
    lay = " or lay the stem slantwise" if crop.name in LAID_SLANTWISE else ""
    return f"In a {pot} pot only {fits} of the long stem fits: take a pot {needed} deep{lay}"


def _next_10(mm: float) -> float:
    return 10 * ceil(mm / 10)


def _cover_reason(found: Findings) -> str:
    state = "crowded" if found.crowded else "not crowded"
    limit = say.percent(CROWDED_COVER)
    return f"Leaves cover {say.percent(found.cover.median)} of the cell: {state} (crowded above {limit})"


def _roots_reason(found: Findings) -> str:
    days = found.crop.root_bound_days(found.cells)
    age = f"{say.count(found.age_days, 'day')} in a flat of {found.cells}"
    return f"{age}: roots circle from day {days[0]}, surely by {days[1]}"


def _reasons(found: Findings, decision: _Decision) -> tuple[str, ...]:
    lines = [decision.why, *decision.more]
    if found.leaves:
        first, last = found.crop.pot_up_true_leaves
        lines.append(f"{say.true_leaves(found.leaf_count)} (pot-up window {first}-{last})")
    if found.legginess and found.stretch_limit:
        lines.append(_stretch_reason(found))
    if found.cover:
        lines.append(_cover_reason(found))
    if found.roots_circle:
        lines.append(_roots_reason(found))
    if decision.action in ("pot_up", "pot_up_early"):
        first, last = found.crop.weeks_in_pot
        lines.append(f"Allow {first:g} to {last:g} weeks in the pot before planting out")
    return tuple(dict.fromkeys(lines))  # the decision's own lines come first and aren't repeated


def _cautions(
    measurement: FlatMeasurement, found: Findings, decision: _Decision, depth: Depth | None, inch: bool
) -> tuple[str, ...]:
    crop, lines = found.crop, []
    full = found.roots_full is not None and found.today >= found.roots_full
    if decision.action in ("pot_up", "pot_up_early") and full:
        again = ", sow again if they circle thickly" if crop.transplant_tolerance == "once" else ""
        lines.append(f"Tip out three plugs first: roots may circle{again}.")
    if found.band == "leggy" and decision.action != "sow_again" and not crop.burial_mends_stretch:
        lines.append("The stem stays long: don't bury it; give more light and space.")
    if decision.action == "sow_again":
        lines.append("Look at the flat before you throw it away.")
    if found.band != "leggy" and (found.leggy_share or 0) >= SHARE_WORTH_SAYING:
        advice = "pot those first" if depth else "give them more light"
        lines.append(f"{say.percent(found.leggy_share)} of the measured plants are leggy: {advice}.")
    if depth and depth.short_mm > ROOM_WORTH_SAYING_MM and not _pot_too_shallow(found, depth):
        deeper = units.length(depth.wanted_mm, inch=inch)
        pot = units.length(_next_10(depth.pot_needed_mm), inch=inch)
        lines.append(f"The stems could go {deeper} deeper: that takes a pot {pot} deep.")
    doubles = sum((c.plants or 0) > 1 for c in measurement.cells)
    if doubles:
        cells = say.count(doubles, "cell holds", "cells hold")
        lines.append(f"{cells} more than one plant: keep the best one.")
    if decision.action in ("pot_up", "pot_up_early"):
        lines.append(f"Keep nights at {say.night_temperature(crop.min_night_c, inch=inch)} or more.")
        lines += crop.cautions
    return (*lines, *_photo_cautions(measurement.flags))


def _photo_cautions(flags: tuple[str, ...]) -> list[str]:
    lines = []
    warnings = "; ".join(say.warning(f) for f in flags if f != "days_apart" and f not in HEIGHT_ASSUMED)
    if warnings:
        lines.append(f"The photos had warnings ({warnings}): the figures may be off.")
    if "days_apart" in flags:
        lines.append(
            "The side photo and the overhead photo have different dates: "
            "legginess mixes the two, check the phone's clock."
        )
    return lines


def _assumed(
    measurement: FlatMeasurement, found: Findings, decision: _Decision, depth: Depth | None, inch: bool
) -> tuple[str, ...]:
    lines = []
    if measurement.day is None:
        lines.append("the photos were taken today")
    lines += [text for flag, text in HEIGHT_ASSUMED.items() if flag in measurement.flags]
    if found.leaves:
        lines.append(f"a new true leaf about every {found.days_per_leaf:.0f} days")
    if found.roots_circle:
        lines.append(f"a standard flat (about 280 x 540 mm) of {found.cells} cells, grown at 18-22 °C")
    sources = {c.stem_from for c in measurement.singles if c.stem_length_mm is not None}
    if found.legginess and "parallax" in sources:
        lines.append("stems that no side photo shows are reckoned from plant heights")
    elif found.legginess and "side" in sources:
        lines.append("row A stands for the whole flat: stems are seen in row A only")
    if depth and depth.wanted_mm and "parallax" in sources:
        lines.append("row A's seed leaves stand for the whole flat's: how deep rests on them")
    if found.legginess and found.crop.bands_unproved:
        other = found.crop.legginess.derived_from
        lines.append(f"{other}'s stretch limits hold for {found.crop.name} (unproved)")
    if found.leaves is None and found.band == "leggy" and decision.action == "pot_up_early":
        lines.append("the plants have at least one true leaf")
    if depth and found.crop.burial in ("deep", "to_seed_leaves"):
        width, pot, plug, space = (
            units.length(mm, inch=inch)
            for mm in (depth.pot.width_mm, depth.pot.depth_mm, depth.plug_mm, HEADSPACE_MM)
        )
        lines.append(f"a {width} pot {pot} deep, plugs {plug} deep, {space} left below the rim for water")
    return tuple(lines)


def _missing(measurement: FlatMeasurement, found: Findings, depth: Depth | None) -> tuple[str, ...]:
    lines = list(found.too_few)
    stems = [c for c in measurement.singles if c.stem_length_mm is not None]
    side_photo = "" if any(c.stem_from != "parallax" for c in stems) else ": a side photo of row A"
    stretch = "the leaf spread of plants whose stems were measured" if stems else f"stem lengths{side_photo}"
    for summary, field, text in (
        (found.leaves, "true_leaves", "a count of true leaves"),
        (found.cover, "canopy_cover", "canopy cover: an overhead photo"),
        (found.legginess, "legginess", stretch),
    ):
        useful = field != "legginess" or found.crop.legginess is not None
        if summary is None and measurement.summary(field) is None and useful:
            lines.append(text)
    if measurement.sown is None:
        lines.append("the sown date in the register")
    elif found.age_days is None:
        lines.append("a sown date that isn't in the future")
    if found.photo_age_days > STALE_DAYS:
        lines.append(f"a new photo: this one is {found.photo_age_days} days old")
    if depth and depth.depth_mm is None:
        lines.append(f"the height of the seed leaves, to say how deep{side_photo}")
    hypocotyl = measurement.summary("hypocotyl_length_mm")
    if depth and depth.wanted_mm and hypocotyl and hypocotyl.plants < MIN_PLANTS:
        lines.append(f"more plants for the depth: it rests on {say.count(hypocotyl.plants, 'plant')}")
    return tuple(lines)

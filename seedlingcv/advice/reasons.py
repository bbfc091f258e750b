"""Why: reasons with their numbers, cautions, what is taken for granted, and what would make the answer surer."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from seedlingcv import units
from seedlingcv.advice import wording as say
from seedlingcv.advice.burial import HEADSPACE_MM, Depth
from seedlingcv.advice.dates import Outcome
from seedlingcv.advice.decide import cover_reason, roots_reason, stage_reason, stretch_reason
from seedlingcv.advice.findings import MIN_PLANTS, Findings
from seedlingcv.advice.verdict import Verdict
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement

STALE_DAYS = 3  # figures older than this no longer show the leaf stage (judgement)
SHARE_WORTH_SAYING = 0.25  # of leggy plants in a flat that isn't leggy as a whole (judgement)
ROOM_WORTH_SAYING_MM = 5  # of stem that finds no room in the pot (judgement)
# Flags that tell how a figure was come by: nothing went wrong with the photo.
HEIGHT_ASSUMED = {
    "height_from_side": "leaves stand as high in the whole flat as in row A's side photo",
    "height_from_crop": "leaves stand at the crop's usual height",
    "height_unknown": "leaves lie level with the rim, as their height is unknown: high leaves look too large",
}


@dataclass(frozen=True)
class Case:
    """All that the sentences draw on. `pot_named`: the grower named the pot."""

    measurement: FlatMeasurement
    found: Findings
    outcome: Outcome
    depth: Depth | None
    pot_named: bool
    inch: bool

    @property
    def action(self) -> str:
        return self.outcome.decision.action

    @property
    def potting(self) -> bool:
        return self.action in ("pot_up", "pot_up_early")

    def length(self, mm: float) -> str:
        return units.length(mm, inch=self.inch)


def without_crop(measurement: FlatMeasurement) -> Verdict:
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
    return Verdict(action="unsure", reasons=reasons, missing=(missing,))


def not_transplanted(crop: Crop) -> Verdict:
    why = f"{crop.name.capitalize()} has a tap root and isn't transplanted: moved roots grow crooked"
    return Verdict(action="do_not_transplant", reasons=(why,), cautions=crop.cautions)


def bands_from(crop: Crop) -> str:
    """Whose limits of stretch were used."""
    bands = crop.legginess
    if bands.marks:
        return f"limits for {crop.name}, shifted by {say.count(bands.marks, 'mark')} of your own"
    if crop.bands_unproved:
        return f"limits carried over from {bands.derived_from}, unproved for {crop.name}"
    return f"provisional limits for {crop.name}"


def room_reason(depth: Depth, inch: bool) -> str:
    """How a stem that finds no room upright gets into the soil."""
    pot, fits, needed = (units.length(mm, inch=inch)
                         for mm in (depth.pot.width_mm, depth.depth_mm, _next_10(depth.pot_needed_mm)))
    upright = f"Upright in a {pot} pot only {fits} of the long stem fits"
    if depth.way == "laid":
        return f"{upright}: lay the plug on its side and the stem slantwise, top out, or take a pot {needed} deep"
    usual = f", such as {depth.pot_suggested.name}" if depth.pot_suggested else ""
    lay = f", or lay the stem slantwise in one of {depth.lay_in.name}" if depth.lay_in else ""
    return f"{upright}: take a pot {needed} deep{usual}{lay}"


def _next_10(mm: float) -> float:
    return 10 * ceil(mm / 10)


def reasons(case: Case) -> tuple[str, ...]:
    found, outcome = case.found, case.outcome
    lines = [outcome.decision.why, *outcome.decision.more]
    if outcome.limits and case.action not in ("sow_again", "unsure"):
        end = outcome.limits[0]
        sure = " (reckoned)" if end.assumed else ""
        lines.append(f"What sets the last day{sure}: {end.text[0].lower()}{end.text[1:]}")
    if found.leaves:
        lines.append(stage_reason(found))
    if found.legginess and found.stretch_limit:
        lines.append(stretch_reason(found))
    if found.cover:
        lines.append(cover_reason(found))
    if found.roots or found.root_days:
        lines.append(roots_reason(found))
    if case.potting:
        first, last = found.crop.weeks_in_pot
        lines.append(f"Allow {first:g} to {last:g} weeks in the pot before sale or planting out")
    return tuple(dict.fromkeys(lines))  # the decision's own lines come first and aren't repeated


def cautions(case: Case) -> tuple[str, ...]:
    found, depth, crop = case.found, case.depth, case.found.crop
    lines = []
    if found.old:
        lines.append(f"Seen on {say.day(found.measured_on)}, {found.seen_days_ago} days ago: look at the flat first.")
    full = found.roots_full is not None and found.today >= found.roots_full
    if case.potting and full and found.roots is None:
        again = ", sow again if they circle thickly" if crop.transplant_tolerance == "once" else ""
        lines.append(f"Tip out three plugs first: roots may circle{again}.")
    if found.roots == "root_bound" and case.potting and crop.transplant_tolerance != "once":
        lines.append("Loosen roots that circle at the plug's foot before planting.")
    if found.roots == "not_ready" and case.potting:
        lines.append("The plug may fall apart: water an hour before, push from below, hold by a leaf.")
    if found.band == "leggy" and case.action != "sow_again" and not crop.burial_mends_stretch:
        lines.append("The stem stays long: don't bury it; give more light and space.")
    if case.action == "sow_again":
        lines.append("Look at the flat before you throw it away.")
    if found.band != "leggy" and (found.leggy_share or 0) >= SHARE_WORTH_SAYING:
        advice = "pot those first" if depth else "give them more light"
        lines.append(f"{say.percent(found.leggy_share)} of the measured plants are leggy: {advice}.")
    if depth:
        lines += _pot_cautions(case, depth)
    lines += doubles_caution(case.measurement)
    if case.potting:
        lines.append(f"Keep nights at {say.night_temperature(crop.min_night_c, inch=case.inch)} or more.")
        lines += crop.cautions
    return (*lines, *_photo_cautions(case.measurement.flags))


def doubles_caution(measurement: FlatMeasurement) -> tuple[str, ...]:
    doubles = sum((c.plants or 0) > 1 for c in measurement.cells)
    cells = say.count(doubles, "cell holds", "cells hold")
    return (f"{cells} more than one plant: keep the best one.",) if doubles else ()


def _pot_cautions(case: Case, depth: Depth) -> list[str]:
    lines = []
    if not depth.plug_fits:
        lines.append(f"A pot {case.length(depth.pot.depth_mm)} deep is too shallow for a plug of "
                     f"{case.length(depth.plug_mm)}: take a deeper one.")
    elif depth.way == "upright" and depth.short_mm > ROOM_WORTH_SAYING_MM:
        lines.append(f"The stems could go {case.length(depth.wanted_mm)} deeper: that takes a pot "
                     f"{case.length(_next_10(depth.pot_needed_mm))} deep.")
    return lines


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


def assumed(case: Case) -> tuple[str, ...]:
    measurement, found, depth = case.measurement, case.found, case.depth
    lines = []
    if measurement.day is None:
        lines.append("the flat was seen today")
    if found.whole:
        lines.append("one line of the sheet stands for all plants of the flat")
    lines += [text for flag, text in HEIGHT_ASSUMED.items() if flag in measurement.flags]
    if found.leaves and not found.growth.leaf_measured:
        lines.append(f"a new true leaf about every {found.growth.per_leaf:.0f} days")
    if found.touch and not found.growth.cover_measured and not found.crowded:
        lines.append(f"cover doubles about every {found.growth.doubling:.0f} days")
    if found.root_days and found.roots is None:
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
    if depth and depth.plug_mm and found.crop.burial in ("deep", "to_seed_leaves"):
        lines.append(_pot_assumed(case, depth))
    return tuple(lines)


def _pot_assumed(case: Case, depth: Depth) -> str:
    width, pot, plug, space = map(case.length, (depth.pot.width_mm, depth.pot.depth_mm, depth.plug_mm, HEADSPACE_MM))
    name = "your" if case.pot_named else "a"
    return f"{name} {width} pot {pot} deep, plugs {plug} deep, {space} left below the rim for water"


def missing(case: Case) -> tuple[str, ...]:
    measurement, found, depth = case.measurement, case.found, case.depth
    lines = list(found.too_few)
    stems = [c for c in measurement.singles if c.stem_length_mm is not None]
    by_hand = any(c.stem_from == "ruler" for c in stems) or found.whole
    side_photo = "" if by_hand or any(c.stem_from != "parallax" for c in stems) else ": a side photo of row A"
    stretch = "the leaf spread of plants whose stems were measured" if stems else f"stem lengths{side_photo}"
    for summary, field, text in (
        (found.leaves, "true_leaves", "a count of true leaves"),
        (found.cover, "canopy_cover", "canopy cover: an overhead photo"),
        (found.legginess, "legginess", stretch),
    ):
        useful = field != "legginess" or found.crop.legginess is not None
        if summary is None and measurement.summary(field) is None and useful:
            lines.append(text)
    if found.cells <= 0:
        lines.append("the flat's layout, such as 6x12: cell size tells how long roots have room, and the plug's depth")
    if measurement.sown is None:
        lines.append("the sown date in the register")
    elif found.age_days is None:
        lines.append("a sown date that isn't after the day the flat was seen")
    if found.seen_days_ago > STALE_DAYS:
        lines.append(f"a new photo: this one is {found.seen_days_ago} days old" if not by_hand else
                     f"a new measurement: this one is {found.seen_days_ago} days old")
    if depth and depth.wanted_mm is None:
        lines.append(f"the height of the seed leaves, to say how deep{side_photo}")
    hypocotyl = measurement.summary("hypocotyl_length_mm")
    if depth and depth.wanted_mm and hypocotyl and hypocotyl.plants < MIN_PLANTS and not found.whole:
        lines.append(f"more plants for the depth: it rests on {say.count(hypocotyl.plants, 'plant')}")
    return tuple(lines)



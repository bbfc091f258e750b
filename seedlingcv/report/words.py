"""The same words on the terminal and on paper: what to do, by when, how deep, and how figures are printed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from seedlingcv.advice.burial import Depth
from seedlingcv.advice.verdict import Verdict
from seedlingcv.flags import CELL, PHOTO
from seedlingcv.measure.gradient import stem_gradient
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.result import PhotoResult
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.units import MM_PER_INCH, length

NONE = "–"

ACTION = {
    "pot_up": "Pot up",
    "pot_up_early": "Pot up early",
    "wait": "Wait",
    "sow_again": "Sow again",
    "do_not_transplant": "Do not transplant",
    "unsure": "Check by eye",
}

BURIAL = {
    "deep": "Bury the stem deep",
    "to_seed_leaves": "Bury up to the seed leaves",
    "same_depth": "Plant at the same depth as now",
    "crown_above": "Keep the crown above the soil",
}

# What the crew can see, for `Depth.mark`.
MARK = {
    "first_true_leaves": "to just under the first true leaves",
    "lowest_kept_leaves": "to just under the lowest leaves left on",
    "seed_leaves": "to just under the seed leaves",
    "part_way": "part of the way to the seed leaves",
    "plug_on_bottom": "with the plug on the bottom of the pot",
    "old_depth": "as deep as it stood",
    "crown_level": "with the crown level with the surface",
}

TAKE_OFF = {
    "seed_leaves": "the seed leaves",
    "lowest_leaf": "the lowest true leaf",
    "lowest_2_leaves": "the lowest two true leaves",
}

BAND = {"compact": "compact", "normal": "normal", "watch": "stretching a little", "leggy": "leggy"}

LIMITS = (
    "The figures come from photos, not from a ruler. Where the program is not sure it says nothing: "
    "those cells are hatched. If a plant in front of you looks different, trust the plant."
)

LIMITS_BY_HAND = (
    "The figures were measured by hand. If a plant in front of you looks different, trust the plant."
)

SAFETY = (
    "Safety: lift wet trays with two people or a cart, keep leads and lamps dry, and leave heaters, gas and "
    "electrics to licensed people under your local code."
)

STURDINESS = (
    "Sturdiness quotient: height in cm divided by stem diameter in mm. A small number is a sturdy plant. "
    "(Some books print it upside down.)"
)


@dataclass(frozen=True)
class Figure:
    """A line of a flat's table of figures. `kind` says how it is printed."""

    field: str
    name: str
    kind: str  # "ratio", "length", "thickness", "area", "share", "count", "degrees"
    on_page: bool = True  # the others are in the JSON only


FIGURES = (
    Figure("legginess", "Legginess", "ratio"),
    Figure("stem_length_mm", "Stem length", "length"),
    Figure("hypocotyl_length_mm", "Stem to seed leaves", "length"),
    Figure("stem_diameter_mm", "Stem diameter", "thickness"),
    Figure("height_mm", "Height", "length"),
    Figure("sturdiness_quotient", "Sturdiness quotient", "ratio"),
    Figure("leaf_spread_mm", "Leaf spread", "length"),
    Figure("leaf_area_mm2", "Leaf area", "area"),
    Figure("canopy_cover", "Canopy cover", "share"),
    Figure("true_leaves", "True leaves", "count"),
    Figure("row_spread_mm", "Width along the row", "length", on_page=False),
    Figure("lean_deg", "Lean", "degrees", on_page=False),
    Figure("greenness", "Greenness (green leaf index, −1 to 1)", "ratio", on_page=False),
    Figure("yellow_fraction", "Leaf yellowing", "share"),
)


def listed(names: Sequence[str]) -> str:
    """`31, 32 and 35`."""
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)


def count(number: int, noun: str) -> str:
    """`1 flat`, `4 flats`."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def unbroken(text: str) -> str:
    """Numbers stay with their units, and dates in one piece, at the end of a line: `95 %`, `4 flats`, `Fri 28 Mar`."""
    return re.sub(r"(?<=\d) (?=%|mm|in\b|days?\b|flats?\b|µmol|[A-Z][a-z]|\d/)|(?<=[A-Z][a-z]{2}) (?=\d)", "\u00a0",
                  text)


def figure(value: float | None, kind: str, *, inch: bool = False) -> str:
    """A figure with its unit as a grower reads it; `–` for one not had."""
    if value is None:
        return NONE
    if kind == "length":
        return length(value, inch=inch)
    if kind == "thickness":  # eighths of an inch are too coarse for a stem
        return f"{value / MM_PER_INCH:.2f} in" if inch else f"{value:.1f} mm"
    if kind == "area":
        return f"{value / MM_PER_INCH**2:.1f} sq in" if inch else f"{value / 100:.1f} cm²"
    if kind == "share":
        return f"{100 * value:.0f}%"
    if kind == "count":
        return f"{value:.1f}".removesuffix(".0")
    if kind == "degrees":
        return f"{value:.0f}°"
    return f"{value:.2f}"


def parted(text: str) -> tuple[str, str]:
    """A printed figure as (number, unit): `97 mm` gives `97` and `mm`."""
    for unit in (" mm", " sq in", " in", " cm²", "%", "°"):
        if text.endswith(unit):
            return text.removesuffix(unit), unit.strip()
    return text, ""


def day(when: date | None, today: date) -> str:
    """`Tue 25 Mar`, with the year where it is not this year's."""
    if when is None:
        return NONE
    return f"{when:%a} {when.day} {when:%b}" + (f" {when.year}" if when.year != today.year else "")


def by_when(verdict: Verdict, today: date) -> str:
    if verdict.action == "do_not_transplant":
        return "no date"
    if verdict.as_of is not None:
        return f"seen {day(verdict.as_of, today)}: look first"
    first, last = verdict.earliest, verdict.latest
    ahead = first is not None and first > today
    if verdict.action == "sow_again":
        return "today"
    due = verdict.due if verdict.due is not None and not ahead else last  # overdue counts from the last sensible day
    if due is not None and due < today:
        if verdict.action == "unsure":  # nothing is overdue that nobody has decided yet
            return "look today"
        late = (today - due).days
        return f"now, {late} day{'s' if late != 1 else ''} late"
    if last is not None and last == today:
        return "today, last good day"
    if first == last and ahead:
        return f"on {day(last, today)}"
    if ahead and last is not None:
        return f"{day(first, today)} to {day(last, today)}"
    if ahead:
        return f"not before {day(first, today)}"
    return f"by {day(last, today)}" if last is not None else "no date"


def burial(verdict: Verdict, *, inch: bool = False) -> str:
    """How to plant, on one line; nothing where the verdict is silent."""
    first, *rest = burial_lines(verdict, inch=inch) or ("",)
    return "; ".join((first, *(line[0].lower() + line[1:] for line in rest)))


def burial_lines(verdict: Verdict, *, inch: bool = False) -> tuple[str, ...]:
    """How to plant, as orders: how deep and by which mark, in which pot, what comes off first."""
    depth = verdict.depth
    if verdict.burial is None:
        return ()
    if depth is None:
        if verdict.burial_depth_mm is None or verdict.burial in ("same_depth", "crown_above"):
            return (BURIAL[verdict.burial],)
        return (f"{BURIAL[verdict.burial]}, {length(verdict.burial_depth_mm, inch=inch)} deeper than now",)
    lines = [_how(depth, inch)]
    if depth.way == "deeper_pot":
        pot = length(10 * ceil(depth.pot_needed_mm / 10), inch=inch)
        lay = f", or lay the stem slantwise in a pot of {depth.lay_in.name}" if depth.lay_in else ""
        lines.append(f"Take a pot {pot} deep{lay}")
    if depth.take_off:
        lines.append(f"Take off {' and '.join(TAKE_OFF[part] for part in depth.take_off)} first")
    return tuple(lines)


def _how(depth: Depth, inch: bool) -> str:
    mark = MARK[depth.mark]
    if depth.mark == "old_depth":
        return f"Plant {mark}"
    if depth.mark == "crown_level":
        return f"Plant {mark}, not buried"
    if depth.covered_mm is None:
        return f"Bury the stem {mark}, as far as the pot allows"
    deep = length(depth.covered_mm, inch=inch)
    if depth.way == "laid":
        return f"Lay the plug on its side and the stem slantwise, {mark}: {deep} of stem covered"
    verb = "Plant" if depth.mark == "plug_on_bottom" else "Bury the stem"
    return f"{verb} {mark}, {deep} deeper than now"


def what_stays(verdict: Verdict, *, inch: bool = False) -> str:
    """`20 mm of stem stays above the surface`; nothing where that isn't known."""
    depth = verdict.depth
    if depth is None or depth.above_mm is None or depth.mark == "crown_level":
        return ""
    return f"about {length(depth.above_mm, inch=inch)} of stem stays above the surface"


def last_day(verdict: Verdict) -> str:
    """What sets the last day, as a sentence; nothing where no day is set."""
    if verdict.binding is None or not verdict.limits or verdict.action in ("sow_again", "do_not_transplant"):
        return ""
    end = verdict.limits[0]
    return end.text + (" (reckoned)" if end.assumed else "")


def plants(measurement: FlatMeasurement) -> int | None:
    """Plants counted in the flat; None where no cell was counted."""
    counted = [c.plants for c in measurement.cells if c.plants is not None and c.cell != WHOLE_FLAT]
    return sum(counted) if counted else None


def plant_count(measurement: FlatMeasurement) -> str:
    """`68`, or `68+` where some cells could not be counted."""
    counted = plants(measurement)
    if counted is None:
        return NONE
    return f"{counted}+" if any(c.plants is None for c in measurement.cells) else f"{counted}"


def middle(measurement: FlatMeasurement, field: str, kind: str, *, inch: bool = False) -> str:
    """A flat's median figure, as printed."""
    had = measurement.summary(field)
    return figure(had.median if had else None, kind, inch=inch)


def leggy_share(verdict: Verdict) -> str:
    return "" if verdict.leggy_share is None else f"{figure(verdict.leggy_share, 'share')} leggy"


def crop_name(measurement: FlatMeasurement) -> str:
    """`Tomato, Harbor Lantern`, as far as it is known."""
    crop = (measurement.crop or "crop not known").capitalize()
    return f"{crop}, {measurement.variety}" if measurement.variety else crop


def not_used(photos: Iterable[PhotoResult]) -> tuple[list[PhotoResult], int]:
    """The photos that were refused, and how many more were merely spare."""
    refused = [p for p in photos if not p.usable]
    spare = [p for p in refused if {q.code for q in p.problems} == {"spare"}]
    return [p for p in refused if p not in spare], len(spare)


def spare_photos(number: int) -> str:
    return f"{number} spare {'photo was' if number == 1 else 'photos were'} left aside. Nothing to do."


def photo_why(photo: PhotoResult) -> str:
    """Why a photo was not used, or what was odd about it; without a stop at the end."""
    if _note_says_all(photo):
        return photo.note.rstrip(". ")
    said = [p.text for p in photo.problems if p.code != "spare"]
    if not said and not photo.note:
        said = [p.text for p in photo.problems]
    if photo.note:
        said.append(photo.note.rstrip(". "))
    text = "; ".join(said) or "no reason was noted"
    return text[0].upper() + text[1:]


def photo_advice(photo: PhotoResult) -> str:
    """What to do about it, each advice once, the fatal problems' first."""
    if _note_says_all(photo):
        return ""
    ordered = sorted(photo.problems, key=lambda p: not p.fatal)
    return " ".join(dict.fromkeys(p.advice for p in ordered if p.code != "spare"))


def _note_says_all(photo: PhotoResult) -> bool:
    """The reader's own words on a file tell what is wrong and what to do."""
    return bool(photo.note) and any(p.code == "unreadable" for p in photo.problems)


def flat_warnings(measurement: FlatMeasurement, photos: Sequence[PhotoResult]) -> list[str]:
    """The flat's warnings that none of its photos at hand already tells, in words."""
    told = {q.code for p in photos if p.flat == measurement.flat for q in p.problems}
    said = []
    for code in measurement.flags:
        if code not in told:  # a text with numbers to fill in is no use without the photo that had them
            text = PHOTO[code].text if code in PHOTO else "{"
            said.append(code.replace("_", " ") if "{" in text else text)
    return said


def gradient(measurement: FlatMeasurement, *, inch: bool = False) -> str:
    """One sentence on how stem length changes across the flat; empty where too few cells have a stem."""
    found = stem_gradient(measurement) if measurement.rows else None
    if found is None:
        return ""
    if not found.clear:
        return f"No clear change of stem length across the flat ({found.plants} plants)."
    low, middle_, high = (f"{mm / 100 * 4:.2f}" if inch else f"{mm:.1f}"  # mm for 100 mm is a plain ratio
                          for mm in (found.low, found.mm_per_100mm, found.high))
    unit, reach = ("in", "4 in") if inch else ("mm", "100 mm")
    return (f"Stems get longer towards {found.towards}: by {middle_} {unit} for each {reach} "
            f"(95 % interval {low} to {high}, {found.plants} plants).")


def why_not_measured(measurement: FlatMeasurement, field: str) -> list[tuple[int, str]]:
    """(how many cells, reason) for the cells without this figure, the commonest reason first."""
    codes = [c for cell in measurement.cells if getattr(cell, field) is None for c in cell.flags]
    counts = {code: codes.count(code) for code in dict.fromkeys(codes) if code != "empty"}
    return sorted(((n, CELL.get(code, code.replace("_", " "))) for code, n in counts.items()), reverse=True)

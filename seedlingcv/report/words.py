"""The same words on the terminal and on paper: what to do, by when, how deep, and how figures are printed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from seedlingcv.advice.verdict import Verdict
from seedlingcv.flags import CELL, PHOTO
from seedlingcv.measure.gradient import stem_gradient
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.result import PhotoResult
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

BAND = {"compact": "compact", "normal": "normal", "watch": "stretching a little", "leggy": "leggy"}

LIMITS = (
    "The figures come from photos, not from a ruler. Where the program is not sure it says nothing: "
    "those cells are hatched. If a plant in front of you looks different, trust the plant."
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
    first, last = verdict.earliest, verdict.latest
    ahead = first is not None and first > today
    if last is not None and last < today:
        if verdict.action == "unsure":  # nothing is overdue that nobody has decided yet
            return "look today"
        late = (today - last).days
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
    """How deep to plant, or nothing where the verdict leaves it open."""
    if verdict.burial is None:
        return ""
    if verdict.burial_depth_mm is None or verdict.burial in ("same_depth", "crown_above"):
        return BURIAL[verdict.burial]
    return f"{BURIAL[verdict.burial]}, {length(verdict.burial_depth_mm, inch=inch)} deeper than now"


def plants(measurement: FlatMeasurement) -> int | None:
    """Plants counted in the flat; None where no cell was counted."""
    counted = [c.plants for c in measurement.cells if c.plants is not None]
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


def photo_why(photo: PhotoResult) -> str:
    """Why a photo was not used, or what was odd about it; without a stop at the end."""
    if _note_says_all(photo):
        return photo.note.rstrip(". ")
    said = [p.text for p in photo.problems if p.code != "spare"] or [p.text for p in photo.problems]
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
    found = stem_gradient(measurement)
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

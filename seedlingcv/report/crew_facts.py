"""What the crew sheet says, in words and numbers: counts, steps, marks on the cell map, labels. No drawing here.

Steps of potting up: common practice, no source, where none stands beside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import ceil
from pathlib import Path

from seedlingcv.advice.burial import Depth
from seedlingcv.advice.pots import HEADSPACE_MM
from seedlingcv.advice.reasons import doubles_caution
from seedlingcv.advice.verdict import Verdict
from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.errors import CropError
from seedlingcv.flat.layout import cell_name
from seedlingcv.plan.potup import Entry, pot_up_list
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.report import words
from seedlingcv.report.depth_plan import DepthPlan, depth_plan
from seedlingcv.units import length

POTTED = ("pot_up", "pot_up_early")
FIRST_SHARE = 0.5  # of leggy plants; where more are, marking them tells nothing (judgement)
EMPTY, SINGLE, DOUBLE, FIRST, UNKNOWN = "empty", "single", "double", "first", "unknown"

# Lifting, electricity, dust: common practice, no source. Heaters: Dudek, Michigan State University Extension, and Ohio
# State University's greenhouse pages 2014; bleach: Utah State University's vegetable guide (all seen second hand).
SAFETY = (
    ("Lifting", "A wet tray of 18 pots weighs about 8 to 10 kg (18 to 22 lb). Bend your knees, not your back, keep the "
                "load close, carry half trays, or take a cart or a second person. Change tasks often."),
    ("Heaters", "Fuel-burning heaters give off carbon monoxide, which nobody can smell. Headache, dizziness, sickness, "
                "or the alarm: everyone out at once, then call for help. A yellow flame: tell whoever is in charge, "
                "keep away. Repairs are for licensed people."),
    ("Electricity", "Keep leads, plugs and lamps dry and off the floor. Switch lamps off before you water near them. "
                    "Wet places need a ground-fault (RCD) protected socket. Wiring is for licensed people."),
    ("Clean", "Clean hands, tools and pots. Soak used pots, then 1 part household bleach in 9 parts water, rinse. "
              "Gloves, goggles, open air. NEVER mix bleach with anything but water."),
    ("Sap and dust", "Wash hands before eating and after work. Gloves where a flat's sheet says so. Damp the mix "
                     "before you tip it: don't breathe its dust."),
    ("First", "Local rules, the labels on products and what your supervisor says come before this sheet."),
)


@dataclass(frozen=True)
class Counts:
    """Cells by what stands in them; all None where the flat was not counted cell by cell."""

    singles: int | None
    doubles: int | None
    empty: int | None
    unknown: int

    @property
    def pots(self) -> int | None:
        """Pots and labels: one for each cell with a plant, the best of two being kept."""
        return None if self.singles is None else self.singles + self.doubles


@dataclass(frozen=True)
class CrewFlat:
    """A flat to pot up, as its work page says it. Thinning is a step, so it is not among the cautions again."""

    number: int
    part: str | None
    crop: str
    variety: str
    do: str
    when: str
    counts: Counts
    pot: str
    deep: str
    steps: tuple[str, ...]
    special: tuple[str, ...]
    cautions: tuple[str, ...]
    rows: int
    columns: int
    marks: dict[str, str]
    plan: DepthPlan | None


@dataclass(frozen=True)
class LabelRow:
    """Labels to write for one variety: flats in working order, cells that could not be counted besides."""

    crop: str
    variety: str
    labels: int
    uncounted: int
    flats: tuple[str, ...]
    pots: tuple[str, ...]


@dataclass(frozen=True)
class OtherFlat:
    """A flat that is not potted up today, and why."""

    place: str
    crop: str
    do: str
    why: str


def crew_flats(entries: Sequence[Entry], *, today: date, inch: bool = False,
               own_crops: Path | None = None) -> list[CrewFlat]:
    """The flats to pot up, in working order."""
    return [_flat(e, today, inch, own_crops) for e in pot_up_list(entries) if _is_work(e)]


def other_flats(entries: Sequence[Entry], *, today: date) -> list[OtherFlat]:
    """All the others, in the order of the list."""
    return [OtherFlat(_place(e), words.crop_name(e.measurement), _other_action(e, today), _why(e, today))
            for e in pot_up_list(entries) if not _is_work(e)]


def label_rows(entries: Sequence[Entry], *, inch: bool = False) -> list[LabelRow]:
    """Labels by variety in working order; a variety in several flats stands once, at its first flat."""
    rows: dict[tuple[str, str], list[Entry]] = {}
    for entry in pot_up_list(entries):
        if _is_work(entry):
            rows.setdefault((entry.measurement.crop or "", entry.measurement.variety or ""), []).append(entry)
    out = []
    for (crop, variety), found in rows.items():
        counts = [count(e) for e in found]
        places = tuple(_place(e) + (f" ({c.pots or 'count'})" if len(found) > 1 else "")
                       for e, c in zip(found, counts, strict=True))
        pots = tuple(dict.fromkeys(_pot_size(e.verdict.depth, inch) for e in found if e.verdict.depth))
        out.append(LabelRow(crop or "crop not known", variety, sum(c.pots or 0 for c in counts),
                            sum(c.unknown for c in counts), places, pots))
    return out


def count(entry: Entry) -> Counts:
    cells = [c for c in entry.measurement.cells if c.cell != WHOLE_FLAT]
    seen = [c.plants for c in cells if c.plants is not None]
    if not seen:
        whole = entry.measurement.rows * entry.measurement.columns if not entry.part else 0
        return Counts(None, None, None, len(cells) or whole)
    return Counts(seen.count(1), sum(n > 1 for n in seen), seen.count(0), len(cells) - len(seen))


def _is_work(entry: Entry) -> bool:
    """To be potted up, by figures young enough for today's list."""
    return entry.verdict.action in POTTED and entry.verdict.as_of is None


def _place(entry: Entry) -> str:
    return entry.place.removeprefix("flat ")


def _why(entry: Entry, today: date) -> str:
    verdict = entry.verdict
    why = verdict.reasons[0] if verdict.reasons else "no reason was noted"
    return f"{why}. To be potted up {words.by_when(verdict, today)}." if verdict.action == "wait" else why


def _other_action(entry: Entry, today: date) -> str:
    if entry.verdict.as_of is not None:
        return f"Look first: seen {words.day(entry.verdict.as_of, today)}"
    return words.ACTION[entry.verdict.action]


def _flat(entry: Entry, today: date, inch: bool, own_crops: Path | None) -> CrewFlat:
    measured, verdict = entry.measurement, entry.verdict
    crop = _crop(measured.crop, own_crops)
    counts = count(entry)
    return CrewFlat(
        number=measured.flat, part=entry.part, crop=(measured.crop or "crop not known").capitalize(),
        variety=measured.variety or "", do=words.ACTION[verdict.action], when=words.by_when(verdict, today),
        counts=counts, pot=pot_words(verdict.depth, inch), deep=_sentences(words.burial_lines(verdict, inch=inch)),
        steps=_steps(verdict.depth, crop, counts, _planting(verdict, inch), inch),
        special=_special(crop),
        cautions=tuple(c for c in dict.fromkeys(verdict.cautions) if c not in doubles_caution(measured)),
        rows=measured.rows, columns=measured.columns,
        marks=_marks(entry, crop), plan=depth_plan(measured, verdict.depth, crop),
    )


def _crop(name: str | None, own_crops: Path | None) -> Crop | None:
    try:
        return load_crop(name, own_crops) if name else None
    except CropError:
        return None


def pot_words(depth: Depth | None, inch: bool) -> str:
    """`3 1/2 in square: 90 mm wide, 80 mm deep`; empty where no pot is known."""
    if depth is None:
        return ""
    if depth.way == "deeper_pot" and depth.pot_needed_mm is not None:
        usual = depth.pot_suggested
        such = f", such as {usual.name}" if usual and usual.name else ""
        return f"a DEEP pot, {_pot_size(depth, inch)}{such}"
    name = f"{depth.pot.name}: " if depth.pot.name else ""
    return name + _pot_size(depth, inch)


def _pot_size(depth: Depth, inch: bool) -> str:
    if depth.way == "deeper_pot" and depth.pot_needed_mm is not None:
        return f"{length(10 * ceil(depth.pot_needed_mm / 10), inch=inch)} or more"
    return f"{length(depth.pot.width_mm, inch=inch)} wide, {length(depth.pot.depth_mm, inch=inch)} deep"


def general_steps(*, inch: bool = False) -> tuple[str, ...]:
    """The steps of any flat."""
    return _steps(None, None, Counts(0, 1, 0, 0), "Plant as deep as the flat's own entry says.", inch)


def _steps(depth: Depth | None, crop: Crop | None, counts: Counts, deep: str, inch: bool) -> tuple[str, ...]:
    """What to do and what never to do, in order, one short line each."""
    free = length(depth.headspace_mm if depth else HEADSPACE_MM, inch=inch)
    steps = [
        "Water the flat an hour before. Plugs and mix evenly moist, neither dry nor dripping.",
        "Label the clean, dry pot before you fill it: at the top, where it is read in the tray, in pencil or ink that "
        "sun won't bleach.",
        f"Fill loosely, no air pockets, {free} free below the rim at the end. NEVER press.",
        "Tip the tray, squeeze the cell, slide the plug out. NEVER pull by the stem.",
    ]
    if crop is not None and crop.transplant_tolerance == "once":
        steps.append("Keep the plug whole, the roots unbroken.")
    if counts.doubles:
        steps.append("Two in a cell: keep the better one, snip the other off at the soil.")
    if depth is not None and depth.take_off:
        steps.append(f"Pinch off {_listed_parts(depth)}: they would rot under the mix.")
    if deep:
        steps.append(deep)
    if crop is not None and crop.crown_rule:
        steps.append(crop.crown_rule)
    steps.append("Close the gaps with loose mix, water gently until it drips below.")
    return tuple(steps)


def _planting(verdict: Verdict, inch: bool) -> str:
    """How deep, and what then still stands out: a check. What comes off first is a step of its own."""
    if verdict.depth is not None:
        verdict = replace(verdict, depth=replace(verdict.depth, take_off=()))
    return _sentences((*words.burial_lines(verdict, inch=inch), words.what_stays(verdict, inch=inch)))


def _sentences(lines: Sequence[str]) -> str:
    return " ".join(f"{text[0].upper()}{text[1:].rstrip('.')}." for text in lines if text)


def _special(crop: Crop | None) -> tuple[str, ...]:
    """What other flats don't have, for the short form: health first to be said, so that it is never what is cut."""
    if crop is None:
        return ()
    whole = ("Keep the plug whole.",) if crop.transplant_tolerance == "once" else ()
    return (*whole, *((crop.crown_rule,) if crop.crown_rule else ()), *crop.hazards)


def _listed_parts(depth: Depth) -> str:
    return " and ".join(words.TAKE_OFF[part] for part in depth.take_off)


def _marks(entry: Entry, crop: Crop | None) -> dict[str, str]:
    """A mark for each counted cell, by cell name."""
    measured, share = entry.measurement, entry.verdict.leggy_share
    limit = None
    if crop is not None and crop.legginess is not None and share is not None and 0 < share < FIRST_SHARE:
        leaves = measured.summary("true_leaves")
        limit = crop.legginess.leggy_limit(leaves.median if leaves else None)
    marks = {}
    for cell in measured.cells:
        if cell.cell == WHOLE_FLAT:
            continue
        kind = {None: UNKNOWN, 0: EMPTY, 1: SINGLE}.get(cell.plants, DOUBLE)
        if kind == SINGLE and limit is not None and cell.legginess is not None and cell.legginess > limit:
            kind = FIRST
        marks[cell.cell] = kind
    return marks


def map_names(flat: CrewFlat) -> list[list[str]]:
    """Cell names row by row; empty where no cell was counted, and the map would be blank."""
    if not flat.marks or all(m == UNKNOWN for m in flat.marks.values()):
        return []
    return [[cell_name(row, column) for column in range(1, flat.columns + 1)] for row in range(flat.rows)]

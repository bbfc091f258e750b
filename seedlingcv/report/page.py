"""The report: one HTML file that needs nothing else, for a phone in the greenhouse and for paper.

The crew's list comes first; then a page for each flat with its reasons, pictures, maps and figures.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from markupsafe import Markup

from seedlingcv import __version__
from seedlingcv.advice.verdict import Verdict
from seedlingcv.crops.crop import Crop
from seedlingcv.files import write_whole
from seedlingcv.measure.pictures import FlatPictures
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.potup import NOTHING, OLD, WORK, Entry, is_hurried, pot_up_list, turn
from seedlingcv.records.history import FlatHistory
from seedlingcv.records.parts import cell_place
from seedlingcv.report import charts, drawings, words
from seedlingcv.report.ramp import Scale, cover_scale, stretch_scale

Past = Mapping[tuple[int, str | None], tuple[FlatHistory, Crop | None]]  # by flat number and part

TEMPLATES = Path(__file__).parent / "templates"
CELL_PX = 29  # on a phone a map's cell is never narrower; twelve columns just fit, more scroll sideways


@dataclass(frozen=True)
class Row:
    """A line of the table of figures, as printed."""

    name: str
    median: str
    middle_half: str
    plants: str


@dataclass(frozen=True)
class Map:
    title: str
    note: str
    drawing: str
    legend: str
    reasons: tuple[tuple[int, str], ...]  # (cells, why they have no figure)


@dataclass(frozen=True)
class Flat:
    """All that a flat's place in the list and its own page show, in words."""

    number: int
    anchor: str
    place: str
    part: str | None
    group: str
    crop: str
    variety: str | None
    facts: tuple[str, ...]
    do: str
    when: str
    late: bool
    bury: str
    bury_more: tuple[str, ...]
    last: str
    sign: str
    label: str
    plants: str
    verdict: Verdict
    legginess: str
    rows: tuple[Row, ...]
    maps: tuple[Map, ...]
    overhead: str
    front_row: str
    stems_drawn: bool
    map_width: int
    columns: int
    warnings: tuple[str, ...]
    photos: tuple[PhotoResult, ...]
    stays: str
    limits: tuple[str, ...]
    left_band: str
    past: Markup | None


# The list's headings.
GROUPS = {
    "first": "First, from the top down",
    "then": "Then, no hurry",
    "old": "Seen too long ago: look first",
    "waits": "These wait",
    "nothing": "Not to be potted up",
}


def render_page(entries: Sequence[Entry], photos: Sequence[PhotoResult] = (),
                pictures: Mapping[int, FlatPictures] | None = None, complaints: Sequence[str] = (), *,
                today: date, inch: bool = False, past: Past | None = None) -> str:
    """The whole report as one HTML document. Flats go in the order in which they want work; all text is escaped.

    past : what the records show of flats before today, for a chart on their pages
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    ordered = pot_up_list(entries)
    scale = stretch_scale(c.legginess for e in ordered for c in e.measurement.cells)
    flats = [_flat(e, photos, (pictures or {}).get(e.measurement.flat, FlatPictures()), scale, today, inch, past or {})
             for e in ordered]
    refused, spare = words.not_used(photos)
    jinja = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)
    jinja.globals.update(photo_why=words.photo_why, photo_advice=words.photo_advice, sentence=sentence,
                         spare_photos=words.spare_photos, swatch=charts.swatch, inch=inch)
    return jinja.get_template("report.html").render(
        today=today, flats=flats, groups=_groups(flats), tally=tally(ordered), cautions=shared_cautions(ordered),
        refused=refused, spare=spare, complaints=complaints, hatch=charts.HATCH, safety=words.SAFETY,
        limits=words.LIMITS if photos else words.LIMITS_BY_HAND, sturdiness=words.STURDINESS, version=__version__,
    )


def _groups(flats: Sequence[Flat]) -> list[tuple[str, list[Flat]]]:
    """(heading, flats) for each group that has any."""
    calm = {} if any(flat.group == "first" for flat in flats) else {"then": "Nothing is in a hurry"}
    found = [(heading, [flat for flat in flats if flat.group == group]) for group, heading in (GROUPS | calm).items()]
    return [(heading, members) for heading, members in found if members]


def write_page(path: Path, entries: Sequence[Entry], photos: Sequence[PhotoResult] = (),
               pictures: Mapping[int, FlatPictures] | None = None, complaints: Sequence[str] = (), *,
               today: date, inch: bool = False, past: Past | None = None) -> None:
    """Raises OutputError where the file can't be written."""
    write_whole(path, render_page(entries, photos, pictures, complaints, today=today, inch=inch, past=past))


def tally(entries: Sequence[Entry]) -> str:
    """`3 flats: pot up 2, wait 1`, in the order of the list."""
    actions = [words.ACTION[e.verdict.action].lower() for e in entries]
    if not actions:
        return "No flat was measured"
    counts = ", ".join(f"{action} {actions.count(action)}" for action in dict.fromkeys(actions))
    return f"{len(actions)} flat{'' if len(actions) == 1 else 's'}: {counts}"


def shared_cautions(entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """Each caution once, with the flats or parts of flats it is for (`all flats` where it is for every one)."""
    flats: dict[str, list[str]] = {}
    for entry in entries:
        for caution in entry.verdict.cautions:
            flats.setdefault(caution, []).append(entry.place.removeprefix("flat "))
    return [(caution, "all flats" if len(places) == len(entries) > 1 else
             f"flat{'s' if len(places) > 1 else ''} {', '.join(places)}")
            for caution, places in flats.items()]


def sentence(text: str) -> str:
    """With a capital at the front and a stop at the end."""
    text = text.strip()
    return text and text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def _flat(entry: Entry, photos: Sequence[PhotoResult], pictures: FlatPictures, scale: Scale, today: date,
          inch: bool, past: Past) -> Flat:
    measured, verdict = entry.measurement, entry.verdict
    orders = words.burial_lines(verdict, inch=inch)
    pictures = _own_pictures(pictures, measured) if entry.part else pictures
    return Flat(
        number=measured.flat, anchor=_anchor(entry), place=entry.place, part=entry.part,
        group=_group(verdict, today), crop=(measured.crop or "crop not known").capitalize(), variety=measured.variety,
        facts=_facts(measured, today),
        do=words.ACTION[verdict.action], when=words.unbroken(words.by_when(verdict, today)),
        late=words.by_when(verdict, today).endswith("late"),
        bury=words.unbroken(orders[0]) if orders else "", bury_more=tuple(words.unbroken(line) for line in orders[1:]),
        last=words.unbroken(words.last_day(verdict)), sign=drawings.burial_sign(verdict.burial),
        label=drawings.plant_label(measured.flat), plants=words.plant_count(measured), verdict=verdict,
        legginess=_legginess(entry), rows=tuple(_row(measured, f, inch) for f in words.FIGURES if f.on_page),
        maps=_maps(measured, scale, inch), overhead=drawings.overhead(pictures, measured.flat),
        front_row=drawings.front_row(pictures, measured, inch=inch), stems_drawn=bool(pictures.stems),
        map_width=CELL_PX * measured.columns + 10, columns=measured.columns,
        warnings=tuple(words.flat_warnings(measured, photos)),
        photos=tuple(p for p in photos if p.flat == measured.flat),
        stays=words.unbroken(words.what_stays(verdict, inch=inch)), limits=_limits(verdict, today),
        left_band=entry.left_band or "", past=_past(past.get((measured.flat, entry.part)), inch),
    )


def _past(known: tuple[FlatHistory, Crop | None] | None, inch: bool) -> Markup | None:
    """A chart of the flat through the season; None where the records know no more than one day of it."""
    if known is None or len(known[0].days) < 2:
        return None
    from seedlingcv.report.stretch_page import flat_chart

    return flat_chart(*known, inch=inch)


def _anchor(entry: Entry) -> str:
    part = re.sub(r"[^A-Za-z0-9]+", "-", f"-{entry.part}") if entry.part else ""
    return f"flat-{entry.measurement.flat}{part}"


def _group(verdict: Verdict, today: date) -> str:
    stage = turn(verdict)[0]
    if stage == OLD:
        return "old"
    if stage != WORK:
        return "nothing" if stage == NOTHING else "waits"
    return "first" if is_hurried(verdict, today) else "then"


def _limits(verdict: Verdict, today: date) -> tuple[str, ...]:
    """`Sun 30 Mar: roots begin to circle … (reckoned)`, a line for each limit, the binding one first."""
    return tuple(f"{words.day(end.day, today)}: {end.text}{' (reckoned)' if end.assumed else ''}"
                 for end in verdict.limits)


def _own_pictures(pictures: FlatPictures, measured: FlatMeasurement) -> FlatPictures:
    """Of a part's flat, outlines and stems of its own cells only."""
    own = {c.cell for c in measured.cells}
    return replace(pictures, **{name: {k: v for k, v in getattr(pictures, name).items() if k in own}
                                for name in ("outlines", "stems", "nodes")})


def _facts(measured: FlatMeasurement, today: date) -> tuple[str, ...]:
    """What the register and the photos say about the flat, one short line each."""
    facts = [f"{measured.rows} × {measured.columns} cells"] if measured.rows else ["layout not known"]
    if measured.sown is not None:
        seen = measured.day or today
        facts.append(f"sown {words.day(measured.sown, today)}, {(seen - measured.sown).days} days before")
    if measured.light:
        facts.append(measured.light)
    if measured.day is not None:
        age = (today - measured.day).days
        facts.append(f"seen {words.day(measured.day, today)}" + (f", {age} days ago" if age > 1 else ""))
    return tuple(facts)


def _legginess(entry: Entry) -> str:
    """`0.92, leggy; 64% leggy`: the flat's median, its band for the crop, and the share beyond the limit."""
    parts = [words.middle(entry.measurement, "legginess", "ratio")]
    if entry.verdict.legginess_band:
        parts.append(words.BAND.get(entry.verdict.legginess_band, entry.verdict.legginess_band))
    text = ", ".join(parts)
    share = entry.verdict.leggy_share
    return text if share is None else f"{text}; {words.figure(share, 'share')} of the plants are leggy"


def _row(measured: FlatMeasurement, figure: words.Figure, inch: bool) -> Row:
    had = measured.summary(figure.field)
    if had is None:
        return Row(figure.name, words.NONE, words.NONE, words.NONE)
    (low, unit), (median, _), (high, _) = (words.parted(words.figure(v, figure.kind, inch=inch))
                                           for v in (had.quartile_low, had.median, had.quartile_high))
    return Row(f"{figure.name}, {unit}" if unit else figure.name, median, f"{low}–{high}", str(had.plants))


def _maps(measured: FlatMeasurement, scale: Scale, inch: bool) -> tuple[Map, ...]:
    if not measured.rows or not any(cell_place(c.cell) for c in measured.cells):
        return ()
    cover = cover_scale()
    across = words.gradient(measured, inch=inch)
    return (
        Map("Legginess", f"Stem length divided by leaf spread. Darker is leggier. {across}".strip(),
            charts.cell_map(measured, "legginess", scale), charts.legend(scale, end="+"),
            tuple(words.why_not_measured(measured, "legginess"))),
        Map("Canopy cover", "Per cent of the cell under leaves, seen from above. Darker is fuller.",
            charts.cell_map(measured, "canopy_cover", cover, percent=True),
            charts.legend(cover, percent=True, end="%"),
            tuple(words.why_not_measured(measured, "canopy_cover"))),
    )

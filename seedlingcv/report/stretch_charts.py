"""The charts of stretch over time: a group's flats against age or leaf stage, and a single flat's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from markupsafe import Markup

from seedlingcv.advice.findings import CROWDED_COVER
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import summarise
from seedlingcv.records.history import FlatHistory
from seedlingcv.report.line_chart import Course, Frame, Shade, frame_of, line_chart
from seedlingcv.stretch.band import Edge, legginess_edge, target_heights
from seedlingcv.stretch.series import Group, Look, looks_of, mean_curve, values_on
from seedlingcv.units import MM_PER_INCH

AGES, LEAVES, DAYS = "days since sowing", "true leaves (middle plant)", "days since the first look"
TITLES = {"stem_length_mm": "Stem length", "legginess": "Legginess", "canopy_cover": "Canopy cover"}
DRAWN = tuple(TITLES)
LEAST_FOR_BAR = 3  # flats: with two, t makes bars that dwarf all else (12.7 standard errors)


@dataclass(frozen=True)
class Chart:
    """`title` with the unit, as it stands over the drawing."""

    title: str
    drawing: Markup


def title_of(field: str, *, inch: bool = False) -> str:
    unit = {"stem_length_mm": ", in" if inch else ", mm", "canopy_cover": ", %"}.get(field, "")
    return TITLES[field] + unit


def group_charts(group: Group, crop: Crop | None, frames: dict[str, Frame], *, against_leaves: bool = False,
                 inch: bool = False) -> list[Chart]:
    """A chart a figure that was measured; frames by field, shared by groups that are to be compared."""
    charts = []
    for field in DRAWN:
        courses = group_courses(group, field, against_leaves=against_leaves)
        if field in frames and courses:
            charts.append(_chart(field, courses, frames[field], group.flats, crop, f"{group.name}, {group.crop}",
                                 LEAVES if against_leaves else AGES, inch))
    return charts


def shared_frames(groups: Sequence[Group], crop: Crop | None, *, against_leaves: bool = False) -> dict[str, Frame]:
    """One frame a figure for all groups of a crop, so that heights on paper can be compared."""
    frames = {}
    for field in DRAWN:
        courses = [c for group in groups for c in group_courses(group, field, against_leaves=against_leaves)]
        flats = [flat for group in groups for flat in group.flats]
        shades = _shades(field, flats, crop, LEAVES if against_leaves else AGES)
        if frame := frame_of(courses, shades):
            frames[field] = frame
    return frames


def group_courses(group: Group, field: str, *, against_leaves: bool) -> list[Course]:
    """Every flat a thin line, and the mean over flats with its interval where more than half of them were seen."""
    x_of: Callable[[Look], float | None] = (lambda k: k.leaves) if against_leaves else (lambda k: k.age_days)
    courses = [course for flat in group.flats if (course := _flat_course(flat, field, x_of))]
    if len(group.flats) < 2:
        return courses
    mean = [m for m in mean_curve(group.flats, field, against_leaves=against_leaves)
            if m.mean.flats > 1 and 2 * m.mean.flats > len(group.flats)]
    if mean:
        spans = tuple((m.at, m.mean.low, m.mean.high) for m in mean if m.mean.flats >= LEAST_FOR_BAR)
        courses.append(Course("mean", tuple((m.at, m.mean.mean) for m in mean), thick=True, spans=spans))
    return courses


def _flat_course(flat: FlatHistory, field: str, x_of: Callable[[Look], float | None]) -> Course | None:
    placed = [(look.day, x, look.median) for look in looks_of(flat, field) if (x := x_of(look)) is not None]
    if not placed:
        return None
    turns = tuple(point for change in flat.changes_seen if (point := _at(change.day, placed)))
    return Course(str(flat.flat) + (f" {flat.part}" if flat.part else ""), tuple((x, y) for _, x, y in placed),
                  turns=turns)


def _at(day: date, placed: Sequence[tuple[date, float, float]]) -> tuple[float, float] | None:
    """Where a flat's line is on a day, straight between two looks; None before its first and after its last."""
    for (d0, x0, y0), (d1, x1, y1) in pairwise(placed):
        if d0 <= day <= d1:
            share = (day - d0).days / (d1 - d0).days
            return x0 + share * (x1 - x0), y0 + share * (y1 - y0)
    return None


def flat_charts(flat: FlatHistory, crop: Crop | None, *, inch: bool = False) -> list[Chart]:
    """A single flat: medians with bars over the middle half of its plants, and the day the light changed."""
    first = flat.days[0].day if flat.days else date.min
    aged = all(look.age_days is not None for look in looks_of(flat, "canopy_cover") or looks_of(flat, "legginess"))
    x_title = AGES if aged else DAYS
    charts = []
    for field in DRAWN:
        x_of: Callable[[Look], float | None] = (
            (lambda k: k.age_days) if aged else (lambda k: float((k.day - first).days)))
        course = _flat_course(flat, field, x_of)
        if course is None:
            continue
        spans = tuple((x_of(k), s.quartile_low, s.quartile_high) for k in looks_of(flat, field)
                      if (s := summarise(list(values_on(k.at, field).values()))) and s.plants > 1)
        course = Course("", course.points, thick=True, spans=spans, turns=course.turns)
        frame = frame_of([course], _shades(field, [flat], crop, x_title))
        if frame:
            charts.append(_chart(field, [course], frame, [flat], crop, flat.place, x_title, inch))
    return charts


def _chart(field: str, courses: Sequence[Course], frame: Frame, flats: Sequence[FlatHistory], crop: Crop | None,
           of_what: str, x_title: str, inch: bool) -> Chart:
    shades = _shades(field, flats, crop, x_title)
    label = {"legginess": "expected", "stem_length_mm": "up to target height"}.get(field, "") if shades else ""
    guides = [(CROWDED_COVER, "neighbours touch")] if field == "canopy_cover" else []
    title = title_of(field, inch=inch)
    drawing = line_chart(f"{title}, {of_what}, against {x_title}", courses, frame, x_title=x_title,
                         per=_per(field, inch), shades=shades, shade_label=label, guides=guides,
                         uprights=_uprights(flats, courses))
    return Chart(title, drawing)


def _per(field: str, inch: bool) -> float:
    if field == "stem_length_mm":
        return MM_PER_INCH if inch else 1.0
    return 0.01 if field == "canopy_cover" else 1.0


def _uprights(flats: Sequence[FlatHistory], courses: Sequence[Course]) -> list[tuple[float, str]]:
    """A line where the light changed, where all flats changed at one place of the axis."""
    names = {c.after for flat in flats for c in flat.changes_seen}
    places = {round(x, 2) for course in courses for x, _ in course.turns}
    return [(places.pop(), next(iter(names)))] if len(places) == len(names) == 1 else []


def _shades(field: str, flats: Sequence[FlatHistory], crop: Crop | None, x_title: str) -> tuple[Shade, ...]:
    """The crop's expected band over that axis, if it has one."""
    if crop is None or x_title == DAYS and field == "stem_length_mm":
        return ()
    if field == "stem_length_mm":
        edges = target_heights(crop, against_leaves=x_title == LEAVES)
        return (Shade(tuple((e.at, 0.0, e.high) for e in edges)),) if len(edges) > 1 else ()
    if field != "legginess" or crop.legginess is None:
        return ()
    grown_at = float(crop.legginess.from_true_leaves) if x_title == LEAVES else _grown_at(
        flats, crop.legginess.from_true_leaves, x_title)
    young, grown = (legginess_edge(crop.legginess, 0, leaves) for leaves in (0, crop.legginess.from_true_leaves))
    shades = [_flat_shade(young, -1000, grown_at)] if grown_at is None or grown_at > -1000 else []
    return (*shades, *([_flat_shade(grown, grown_at, 1000)] if grown_at is not None else []))


def _flat_shade(edge: Edge, start: float, end: float | None) -> Shade:
    return Shade(((start, edge.low, edge.high), (1000 if end is None else end, edge.low, edge.high)))


def _grown_at(flats: Iterable[FlatHistory], leaves: int, x_title: str) -> float | None:
    """Where the middle flat first has so many true leaves: half-way from the last look with fewer. None if it never
    had, -1000 if it always had."""
    found = []
    for flat in flats:
        looks = looks_of(flat, "legginess")
        xs = [k.age_days if x_title == AGES else (k.day - flat.days[0].day).days for k in looks]
        had = [k.leaves is not None and k.leaves >= leaves for k in looks]
        if not looks or None in xs:
            continue
        first = next((i for i, grown in enumerate(had) if grown), None)
        found.append(1000.0 if first is None else -1000.0 if first == 0 else (xs[first - 1] + xs[first]) / 2)
    middle = sorted(found)[len(found) // 2] if found else 1000.0
    return None if middle == 1000.0 else middle

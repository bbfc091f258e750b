"""A line chart as inline SVG that reads in grey and on a phone: dashes and labels at the lines' ends, no colour needed.

Everything stands in the SVG's own attributes, so that a chart can be put on any page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

from markupsafe import Markup

Point = tuple[float, float]

WIDTH, HEIGHT = 320, 215  # about as wide as shown, three beside each other or one on a phone
LEFT, RIGHT, TOP, BOTTOM = 36, 46, 20, 40
INK, SOFT, SHADE, PAPER = "#17231c", "#4d584f", "#e3e1d2", "#fbfaf5"
DASHES = ("", "7 3", "2 3", "9 3 2 3")  # told apart in grey; used in turn
LABEL_PX = 13  # between labels, and their size
LABELLED, FEW = 10, 6  # labels that there is room for; of more lines only the mean's and the highest ones


@dataclass(frozen=True)
class Course:
    """A line. thick: a group's mean; spans: (x, low, high) of intervals; turns: where the light changed."""

    label: str
    points: tuple[Point, ...]
    thick: bool = False
    spans: tuple[tuple[float, float, float], ...] = ()
    turns: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Shade:
    """An area between two lines over the same x."""

    edges: tuple[tuple[float, float, float], ...]  # (x, low, high)


@dataclass(frozen=True)
class Frame:
    """What the axes span, in the figures' own units."""

    x: tuple[float, float]
    y: tuple[float, float]

    def at(self, x: float, y: float) -> Point:
        (x0, x1), (y0, y1) = self.x, self.y
        across = LEFT + (x - x0) / (x1 - x0) * (WIDTH - LEFT - RIGHT)
        down = HEIGHT - BOTTOM - (y - y0) / (y1 - y0) * (HEIGHT - TOP - BOTTOM)
        return across, down


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers (1, 2 or 5 times a power of ten apart) within low to high, at most so many and at least one."""
    if high <= low:
        return [low]
    size = 10 ** floor(log10((high - low) / most))
    step = next(size * m for m in (1, 2, 5, 10, 20) if (high - low) / (size * m) <= most - 1 or m == 20)
    first = ceil(low / step - 1e-9)
    return [round(i * step, 10) for i in range(first, floor(high / step + 1e-9) + 1)] or [low]


def decimals(numbers: Sequence[float]) -> int:
    """As many as all numbers at an axis need."""
    return next(d for d in range(10) if d == 9 or all(abs(y - round(y, d)) < 1e-9 for y in numbers))


def frame_of(courses: Sequence[Course], shades: Sequence[Shade] = (), guides: Sequence[float] = ()) -> Frame | None:
    """Room for all lines, and for shades and guides near them; None without a point."""
    xs = [x for c in courses for x, _ in c.points]
    ys = [y for c in courses for _, y in c.points] + [v for c in courses for _, *ends in c.spans for v in ends]
    if not xs:
        return None
    low, high = min(ys), max(ys)
    near = [v for shade in shades for x, *ends in shade.edges if min(xs) <= x <= max(xs) for v in ends] + list(guides)
    high = max([high, *(v for v in near if v < 1.5 * high)])
    low = 0.0 if low < 0.5 * high else low - 0.1 * (high - low or 1)
    high += 0.06 * (high - low) or 1.0
    wide = max(xs) - min(xs)
    return Frame((min(xs) - 0.04 * wide, max(xs) + 0.04 * wide) if wide else (min(xs) - 1, max(xs) + 1), (low, high))


def line_chart(name: str, courses: Sequence[Course], frame: Frame, *, x_title: str, per: float = 1.0,
               shades: Sequence[Shade] = (), shade_label: str = "", guides: Sequence[tuple[float, str]] = (),
               uprights: Sequence[tuple[float, str]] = ()) -> Markup:
    """name : for those who can't see it; per : the figure's own unit in one that is shown, such as 25.4 for inches;
    guides : (y, label), uprights : (x, label)"""
    parts = [f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" width="100%" role="img" aria-label="{escape(name)}" '
             f'font-size="{LABEL_PX}" fill="{INK}" style="display:block;height:auto">']
    parts += [_shade(shade, frame) for shade in shades]
    if shade_label and (where := _shade_label_at(shades, frame)):
        parts.append(f'<text x="{where[0]:.1f}" y="{where[1]:.1f}" fill="{SOFT}" font-size="12">'
                     f'{escape(shade_label)}</text>')
    parts += _axes(frame, x_title, per)
    parts += [_guide(y, label, frame) for y, label in guides if frame.y[0] < y < frame.y[1]]
    parts += [_upright(x, label, frame) for x, label in uprights if frame.x[0] <= x <= frame.x[1]]
    thin = [c for c in courses if not c.thick]
    small = 2.2 if len(thin) <= LABELLED else 1.2
    parts += [_course(c, frame, DASHES[i % len(DASHES)], small) for i, c in enumerate(thin)]
    parts += [_course(c, frame, "", small) for c in courses if c.thick]
    parts += _end_labels(courses, frame)
    return Markup("".join(parts) + "</svg>")


def _axes(frame: Frame, x_title: str, per: float) -> list[str]:
    parts = []
    numbers = ticks(*(y / per for y in frame.y), most=5)
    digits = decimals(numbers)
    for y in numbers:
        _, down = frame.at(frame.x[0], y * per)
        parts.append(f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{down:.1f}" y2="{down:.1f}" stroke="#c9c8bb" '
                     f'stroke-width="0.7"/><text x="{LEFT - 6}" y="{down + 4:.1f}" text-anchor="end">'
                     f'{y:.{digits}f}</text>')
    for x in ticks(*frame.x, most=6):
        if x == int(x):
            across, _ = frame.at(x, frame.y[0])
            parts.append(f'<line x1="{across:.1f}" x2="{across:.1f}" y1="{HEIGHT - BOTTOM}" y2="{HEIGHT - BOTTOM + 4}" '
                         f'stroke="{INK}"/><text x="{across:.1f}" y="{HEIGHT - BOTTOM + 17}" text-anchor="middle">'
                         f'{x:g}</text>')
    parts.append(f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{HEIGHT - BOTTOM}" y2="{HEIGHT - BOTTOM}" '
                 f'stroke="{INK}"/><text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 5}" text-anchor="middle" '
                 f'fill="{SOFT}">{escape(x_title)}</text>')
    return parts


def _shade(shade: Shade, frame: Frame) -> str:
    (low, high), inside = frame.y, _cut(shade.edges, *frame.x)
    if len(inside) < 2:
        return ""
    there = [frame.at(x, min(max(top, low), high)) for x, _, top in inside]
    back = [frame.at(x, min(max(bottom, low), high)) for x, bottom, _ in reversed(inside)]
    return f'<polygon points="{_joined((*there, *back))}" fill="{SHADE}"/>'


def _cut(edges: Sequence[tuple[float, float, float]], start: float, end: float) -> list[tuple[float, float, float]]:
    """The edges between two x, those at the ends interpolated."""

    def at(x: float, one: tuple[float, float, float], other: tuple[float, float, float]) -> tuple[float, float, float]:
        share = (x - one[0]) / (other[0] - one[0])
        return x, one[1] + share * (other[1] - one[1]), one[2] + share * (other[2] - one[2])

    found = []
    for one, other in zip(edges, edges[1:], strict=False):
        if other[0] < start or one[0] > end:
            continue
        if not found:
            found.append(at(start, one, other) if one[0] < start else one)
        found.append(at(end, one, other) if other[0] > end else other)
    return found


def _shade_label_at(shades: Sequence[Shade], frame: Frame) -> Point | None:
    inside = [edge for shade in shades for edge in _cut(shade.edges, *frame.x)]
    if not inside:
        return None
    x, _, top = inside[0]
    across, down = frame.at(x, min(top, frame.y[1]))
    return max(across, LEFT) + 4, down + 13


def _guide(y: float, label: str, frame: Frame) -> str:
    _, down = frame.at(frame.x[0], y)
    return (f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{down:.1f}" y2="{down:.1f}" stroke="{INK}" '
            f'stroke-dasharray="1 3" stroke-width="1.4"/><text x="{LEFT + 4}" y="{down - 4:.1f}" fill="{SOFT}" '
            f'font-size="12">{escape(label)}</text>')


def _upright(x: float, label: str, frame: Frame) -> str:
    across, _ = frame.at(x, frame.y[0])
    anchor = "end" if across > WIDTH / 2 else "start"
    shift = -4 if anchor == "end" else 4
    return (f'<line x1="{across:.1f}" x2="{across:.1f}" y1="{TOP - 4}" y2="{HEIGHT - BOTTOM}" stroke="{INK}" '
            f'stroke-dasharray="4 3"/><text x="{across + shift:.1f}" y="{TOP - 6}" text-anchor="{anchor}" '
            f'font-size="12">{escape(label)}</text>')


def _course(course: Course, frame: Frame, dashes: str, small: float) -> str:
    places = [frame.at(*point) for point in course.points]
    width = 2.6 if course.thick else 1.2
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    parts = [f'<polyline points="{_joined(places)}" fill="none" stroke="{INK if course.thick else SOFT}" '
             f'stroke-width="{width}"{dash}/>']
    for x, low, high in course.spans:
        (across, top), (_, bottom) = frame.at(x, high), frame.at(x, low)
        parts.append(f'<path d="M{across:.1f} {top:.1f}V{bottom:.1f}M{across - 4:.1f} {top:.1f}h8M{across - 4:.1f} '
                     f'{bottom:.1f}h8" fill="none" stroke="{INK}" stroke-width="1.2"/>')
    radius = 3.4 if course.thick else small
    parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}"/>' for x, y in places]
    parts += [_diamond(*frame.at(*turn)) for turn in course.turns]
    return "".join(parts)


def _diamond(x: float, y: float) -> str:
    return (f'<path d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z" fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>')


def _end_labels(courses: Sequence[Course], frame: Frame) -> list[str]:
    """Behind each line's end, pushed apart where they would cover each other."""
    ends = [(*frame.at(*course.points[-1]), course) for course in courses if course.points and course.label]
    columns: dict[int, list[tuple[float, float, Course]]] = {}
    for x, y, course in sorted(ends, key=lambda end: (not end[2].thick, end[1])):
        near = next((key for key in columns if abs(key - x) < 24), round(x))
        columns.setdefault(near, []).append((x, y, course))
    parts = []
    for members in columns.values():
        if len(members) > LABELLED:
            members = members[:FEW]
        members = sorted(members, key=lambda end: end[1])
        places = spread([y for _, y, _ in members], LABEL_PX, TOP, HEIGHT - BOTTOM)
        edge = max(x for x, _, _ in members)
        for (x, y, course), down in zip(members, places, strict=True):
            weight = ' font-weight="700"' if course.thick else ""
            if abs(down - y) > 5:
                parts.append(f'<line x1="{x + 3:.1f}" y1="{y:.1f}" x2="{edge + 7:.1f}" y2="{down:.1f}" stroke="{SOFT}" '
                             'stroke-width="0.6"/>')
            parts.append(f'<text x="{edge + 9:.1f}" y="{down + 4.5:.1f}"{weight} stroke="{PAPER}" stroke-width="3" '
                         f'paint-order="stroke">{escape(course.label)}</text>')
    return parts


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Places (ascending) at least `apart`, as near to the wanted ones (ascending) as may be, inside low to high.

    Least squares by pooling neighbours that are too near (pool adjacent violators).
    """
    pools: list[tuple[float, int]] = []  # (mean of what is wanted less its turn's share, how many)
    for turn, want in enumerate(wanted):
        mean, size = want - turn * apart, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean, size = (mean * size + before * many) / (size + many), size + many
        pools.append((mean, size))
    room = high - (len(wanted) - 1) * apart
    shared = [min(max(mean, low), max(room, low)) for mean, size in pools for _ in range(size)]
    return [mean + turn * apart for turn, mean in enumerate(shared)]


def _joined(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)

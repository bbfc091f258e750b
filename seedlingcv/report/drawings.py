"""A flat's pictures with what was measured drawn on them, and two small signs for the list, as inline SVG."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from html import escape

from markupsafe import Markup

from seedlingcv.measure.pictures import FlatPictures, Point
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.report.words import NONE
from seedlingcv.units import length

INK = "#17231c"


def overhead(pictures: FlatPictures, flat: int) -> Markup:
    """The rectified flat with the outlines of its plants, or nothing where there is no picture."""
    if pictures.overhead_jpeg is None or pictures.overhead_size is None:
        return Markup("")
    width, height = pictures.overhead_size
    type_size = width / 44
    margin = 1.5 * type_size
    outlines = "".join(_closed(line) for lines in pictures.outlines.values() for line in lines)
    box = f"{-margin:.0f} {-margin:.0f} {width + margin:.0f} {height + margin:.0f}"
    return Markup("".join([
        f'<svg class="photo" viewBox="{box}" role="img" '
        f'aria-label="Flat {flat} from above, plants outlined">',
        _image(pictures.overhead_jpeg, width, height),
        f'<path class="casing" d="{outlines}"/><path class="line" d="{outlines}"/>',
        *_edge_labels(pictures, type_size),
        "</svg>",
    ]))


def _edge_labels(pictures: FlatPictures, type_size: float) -> list[str]:
    parts = []
    for name, (x0, y0, x1, y1) in pictures.cells.items():
        row, column = name[:1], name[1:]
        if row == "A":
            parts.append(_text((x0 + x1) / 2, -0.4 * type_size, column, type_size))
        if column == "1":
            parts.append(_text(-0.75 * type_size, (y0 + y1) / 2 + 0.35 * type_size, row, type_size))
    return parts


def front_row(pictures: FlatPictures, measured: FlatMeasurement, *, inch: bool = False) -> Markup:
    """The front row with each measured stem, its seed-leaf node, and below it the cell and the length."""
    if pictures.side_jpeg is None or pictures.side_size is None:
        return Markup("")
    width, height = pictures.side_size
    lengths = {c.cell: c.stem_length_mm for c in measured.cells}
    stems = sorted(((name, line) for name, line in pictures.stems.items() if line), key=lambda s: s[1][0][0])
    labels = [(name, _short(lengths.get(name), inch)) for name, _ in stems]
    widest = max((len(t) for pair in labels for t in pair), default=1)
    type_size = min(width / 36, width / max(1, len(labels)) / (0.6 * widest + 0.5))
    places = spread([line[0][0] for _, line in stems], (0.6 * widest + 0.3) * type_size, width)
    strip = 3.8 * type_size if labels else 0
    parts = [f'<svg class="photo" viewBox="0 0 {width} {height + strip:.0f}" role="img" '
             f'aria-label="Front row of flat {measured.flat} with measured stems">',
             _image(pictures.side_jpeg, width, height)]
    for (name, line), place, (_, text) in zip(stems, places, labels, strict=True):
        base = line[0]
        lead = f"M{base[0]:.1f},{base[1]:.1f}V{height}L{place:.1f},{height + 0.9 * type_size:.1f}"
        parts.append(f'<path class="lead-casing" d="{lead}"/><path class="lead" d="{lead}"/>')
        parts.append(f'<path class="casing" d="{_open(line)}"/><path class="line" d="{_open(line)}"/>')
        if name in pictures.nodes:
            x, y = pictures.nodes[name]
            parts.append(f'<circle class="node" cx="{x:.1f}" cy="{y:.1f}" r="{width / 220:.1f}"/>')
        parts.append(_text(place, height + 2.1 * type_size, name, type_size))
        parts.append(_text(place, height + 3.4 * type_size, text, type_size, bold=True))
    return Markup("".join(parts) + "</svg>")


def _short(mm: float | None, inch: bool) -> str:
    """The length without its unit, which the caption names."""
    return NONE if mm is None else length(mm, inch=inch).rsplit(" ", 1)[0]


def spread(places: list[float], gap: float, width: float) -> list[float]:
    """Push sorted label places apart to at least `gap`, keeping them between the edges while they fit."""
    out: list[float] = []
    for place in places:
        out.append(max(place, out[-1] + gap if out else gap / 2))
    limit = width - gap / 2
    for i in reversed(range(len(out))):
        out[i] = min(out[i], limit)
        limit = out[i] - gap
    return out


def _image(jpeg: bytes, width: int, height: int) -> str:
    data = b64encode(jpeg).decode("ascii")
    return f'<image width="{width}" height="{height}" href="data:image/jpeg;base64,{data}"/>'


def _points(line: Iterable[Point]) -> str:
    return "L".join(f"{x:.1f},{y:.1f}" for x, y in line)


def _open(line: Iterable[Point]) -> str:
    return f"M{_points(line)}"


def _closed(line: Iterable[Point]) -> str:
    return f"M{_points(line)}Z"


def _text(x: float, y: float, text: str, size: float, *, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return (f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}"{weight} text-anchor="middle" '
            f'fill="{INK}">{escape(text)}</text>')


def plant_label(flat: int) -> Markup:
    """The flat's number on a plant label, as it would be stuck into the soil."""
    size = {1: 38, 2: 38, 3: 28}.get(len(str(flat)), 24)
    return Markup(
        f'<svg class="plant-label" viewBox="0 0 72 92" role="img" aria-label="Flat {flat}">'
        '<path d="M6 3h60a3 3 0 0 1 3 3v50L36 88 3 56V6a3 3 0 0 1 3-3z" '
        f'fill="#fff" stroke="{INK}" stroke-width="3.4" stroke-linejoin="round"/>'
        f'<g text-anchor="middle" fill="{INK}">'
        '<text x="36" y="18" font-size="11.5" font-weight="600" letter-spacing="1.5">FLAT</text>'
        f'<text x="36" y="{38 + size / 2.7:.0f}" font-size="{size}" font-weight="800">{flat}</text></g></svg>'
    )


# How far the plug's top lies below the soil of the pot in the sign, and whether the plant is a rosette.
_DEPTH = {"deep": 21, "to_seed_leaves": 13, "same_depth": 0, "crown_above": -2}


def burial_sign(burial: str | None) -> Markup:
    """A pot, its soil, and the plug standing in it as deep as it should. Not to scale."""
    if burial not in _DEPTH:
        return Markup("")
    soil, top = 46, 46 + _DEPTH[burial]
    plant = _rosette(top) if burial == "crown_above" else _seedling(top)
    return Markup(
        '<svg class="sign" viewBox="0 0 84 100" aria-hidden="true">'
        f'<path d="M14 {soil}h56l-7 49H21z" fill="#e4dfd0"/>'
        f'<path d="M33 {top}h18l-3.4 22H36.4z" fill="#8a8272"/>'
        f"{plant}"
        f'<path d="M10 40h64M12 40l8.5 56h43L72 40" fill="none" stroke="{INK}" stroke-width="3" '
        'stroke-linejoin="round" stroke-linecap="round"/>'
        f'<path d="M15 {soil}h54" stroke="{INK}" stroke-width="2" stroke-dasharray="5 3"/></svg>'
    )


def _seedling(ground: float) -> str:
    """A stem of 34 with seed leaves 14 up and two true leaves at the top."""
    node, apex = ground - 14, ground - 34
    seed = f"M42 {node}c-5-6-11-5-13-1 4 4 9 4 13 1c5-6 11-5 13-1-4 4-9 4-13 1z"
    true = f"M42 {apex}c-3-12-15-13-22-8 4 9 14 13 22 8c3-12 15-13 22-8-4 9-14 13-22 8z"
    return (f'<path d="M42 {ground}V{apex}" stroke="{INK}" stroke-width="3.4" stroke-linecap="round"/>'
            f'<path d="{seed}" fill="#fff" stroke="{INK}" stroke-width="2" stroke-linejoin="round"/>'
            f'<path d="{true}" fill="#3c7a57" stroke="{INK}" stroke-width="2" stroke-linejoin="round"/>')


def _rosette(ground: float) -> str:
    leaves = (f"M42 {ground}c-8-1-22-4-26-16 12-3 22 4 26 16c8-1 22-4 26-16-12-3-22 4-26 16z",
              f"M42 {ground}c-9-8-11-24 0-32 11 8 9 24 0 32z")
    return "".join(f'<path d="{d}" fill="#3c7a57" stroke="{INK}" stroke-width="2" stroke-linejoin="round"/>'
                   for d in leaves)

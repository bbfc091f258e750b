"""Maps of a flat, cell by cell, as inline SVG. They must read in grey, by any eye and in small print:
shades only get darker, every cell carries its number, and what was not measured is hatched."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from seedlingcv.flags import CELL
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.parts import cell_place
from seedlingcv.report.ramp import Scale, css, ink_on
from seedlingcv.report.words import NONE

CELL_W, CELL_H, GAP, GUTTER = 44, 38, 3, 26
BAND_H = 8  # the hatched foot of a cell that was measured but is not certain
UNSURE = frozenset({"overlap_unsure"})
INK = "#17231c"

# Defined once a page: patterns are found by name across a whole document.
HATCH = Markup(
    '<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>'
    '<pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="7" height="7" fill="#fff"/><rect width="1.6" height="7" fill="#8b948d"/></pattern>'
    "</defs></svg>"
)


def cell_map(measured: FlatMeasurement, field: str, scale: Scale, *, percent: bool = False) -> Markup:
    """The flat from above, row A along the top and A1 at the left, shaded by one figure.

    `percent` prints a fraction as whole per cents, without the sign.
    """
    width = GUTTER + measured.columns * CELL_W
    height = GUTTER + measured.rows * CELL_H
    name = f"Flat {measured.flat}: {field.replace('_', ' ')} of each cell"
    parts = [f'<svg class="map" viewBox="0 0 {width} {height}" role="img" aria-label="{escape(name)}">']
    parts += _headings(measured.rows, measured.columns)
    for cell in measured.cells:  # of a part of a flat, only its own
        place = cell_place(cell.cell)
        if place is None:
            continue
        x, y = GUTTER + (place[1] - 1) * CELL_W, GUTTER + place[0] * CELL_H
        parts.append(_cell(cell, getattr(cell, field), x, y, scale, percent))
    return Markup("".join(parts) + "</svg>")


def _headings(rows: int, columns: int) -> list[str]:
    across = [_label(GUTTER + (c + 0.5) * CELL_W, GUTTER - 9, str(c + 1)) for c in range(columns)]
    down = [_label(GUTTER / 2 - 2, GUTTER + (r + 0.5) * CELL_H + 5, chr(ord("A") + r)) for r in range(rows)]
    return across + down


def _label(x: float, y: float, text: str) -> str:
    return f'<text class="axis" x="{x:g}" y="{y:g}">{text}</text>'


def _cell(cell: CellMeasurement, value: float | None, x: float, y: float, scale: Scale, percent: bool) -> str:
    empty = cell.plants == 0
    unsure = value is not None and not empty and bool(UNSURE & set(cell.flags))
    text = "empty" if empty else cell_text(value, percent)
    if empty:
        fill, ink, css_class = "#fff", INK, "cell empty"
    elif value is None:
        fill, ink, css_class = "url(#hatch)", INK, "cell none"
    else:
        colour = scale.colour(value)
        fill, ink, css_class = css(colour), css(ink_on(colour)), "cell"
    w, h = CELL_W - GAP, CELL_H - GAP
    middle = y + h / 2 + 5 - (BAND_H / 2 if unsure else 0)
    parts = [
        f'<g><title>{escape(_tip(cell, cell_text(value, percent)))}</title>',
        f'<rect class="{css_class}" x="{x}" y="{y}" width="{w}" height="{h}" fill="{fill}"/>',
    ]
    if unsure:
        parts.append(f'<rect x="{x}" y="{y + h - BAND_H}" width="{w}" height="{BAND_H}" fill="url(#hatch)"/>')
    if value is None and not empty:  # a clear ground for the dash
        parts.append(f'<circle cx="{x + w / 2:g}" cy="{y + h / 2:g}" r="9" fill="#fff"/>')
    parts.append(f'<text class="{"word" if empty else "number"}" x="{x + w / 2:g}" y="{middle:g}" '
                 f'fill="{ink}">{text}</text></g>')
    return "".join(parts)


def cell_text(value: float | None, percent: bool) -> str:
    if value is None:
        return NONE
    return f"{100 * value:.0f}" if percent else f"{value:.2f}"


def _tip(cell: CellMeasurement, text: str) -> str:
    plants = "" if cell.plants is None else f", {cell.plants} plant{'' if cell.plants == 1 else 's'}"
    flags = "".join(f"; {CELL.get(code, code)}" for code in cell.flags)
    return f"{cell.cell}: {text}{plants}{flags}"


def legend(scale: Scale, *, percent: bool = False, end: str = "") -> Markup:
    """The steps of a scale with the values between them, pale to dark; `end` follows the last."""
    step, height = 44, 18
    n = len(scale.stops)
    parts = [f'<svg class="legend" viewBox="0 0 {n * step + 60} 42" role="img" '
             'aria-label="Scale of shades">']
    for i, colour in enumerate(scale.stops):
        parts.append(f'<rect x="{20 + i * step}" y="1" width="{step - 1}" height="{height}" '
                     f'fill="{css(colour)}" stroke="{INK}" stroke-width="0.6"/>')
    for i, edge in enumerate(scale.edges):
        text = cell_text(edge, percent) + (end if i == n else "")
        parts.append(f'<text class="axis" x="{20 + i * step}" y="36">{escape(text)}</text>')
    return Markup("".join(parts) + "</svg>")


def swatch(kind: str) -> Markup:
    """A sample cell for the legend: "none", "unsure" or "empty"."""
    inside = {
        "none": '<rect class="cell none" x="1" y="1" width="32" height="24" fill="url(#hatch)"/>',
        "unsure": '<rect class="cell" x="1" y="1" width="32" height="24" fill="#dcd9cd"/>'
                  '<rect x="1" y="17" width="32" height="8" fill="url(#hatch)"/>',
        "empty": '<rect class="cell empty" x="1" y="1" width="32" height="24" fill="#fff"/>',
    }[kind]
    return Markup(f'<svg class="swatch" viewBox="0 0 34 26" aria-hidden="true">{inside}</svg>')

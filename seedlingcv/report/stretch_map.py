"""The map of where under a light plants stretch. Shades only get darker, and every cell carries its number."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from seedlingcv.report.charts import CELL_H, CELL_W, GAP, INK
from seedlingcv.report.ramp import Scale, css, ink_on, stretch_scale
from seedlingcv.stretch.place import Place

EDGE, MARGIN = 30, 62  # around the cells, for the names of rows and columns and for the window
WIDE = 90  # at the left, where rows have long names


def place_scale(places: list[Place] | tuple[Place, ...]) -> Scale:
    """One scale for all maps of a page."""
    return stretch_scale(value for place in places for row in place.cells for value in row)


def place_map(place: Place, scale: Scale) -> Markup:
    """Row A along the top, column 1 at the left; each cell's legginess against its flats' means, signed."""
    left = EDGE if place.same_layout else WIDE
    width, height = left + place.columns * CELL_W + MARGIN, EDGE + place.rows * CELL_H + EDGE
    name = f"{place.name}: legginess of each place against the flat's mean"
    parts = [f'<svg class="map" viewBox="0 0 {width} {height}" role="img" aria-label="{escape(name)}">']
    parts += _headings(place, left)
    for row, values in enumerate(place.cells):
        for column, value in enumerate(values):
            parts.append(_cell(value, left + column * CELL_W, EDGE + row * CELL_H, scale))
    parts += [_window(side, left, width, height) for side in _window_sides(place)]
    return Markup("".join(parts) + "</svg>")


def signed(value: float) -> str:
    """`+0.12`, `−0.08`, `0.00`."""
    text = f"{value:+.2f}".replace("-", "−")
    return "0.00" if text[1:] == "0.00" else text


def _cell(value: float | None, x: float, y: float, scale: Scale) -> str:
    w, h = CELL_W - GAP, CELL_H - GAP
    if value is None:
        return f'<rect class="cell none" x="{x}" y="{y}" width="{w}" height="{h}" fill="url(#hatch)"/>'
    colour = scale.colour(value)
    return (f'<rect class="cell" x="{x}" y="{y}" width="{w}" height="{h}" fill="{css(colour)}"/>'
            f'<text class="axis" x="{x + w / 2:g}" y="{y + h / 2 + 5:g}" style="fill:{css(ink_on(colour))}">'
            f"{signed(value)}</text>")


def _headings(place: Place, left: float) -> list[str]:
    if place.same_layout:
        across = [(left + (c + 0.5) * CELL_W, str(c + 1)) for c in range(place.columns)]
        down = [(EDGE + (r + 0.5) * CELL_H + 5, chr(ord("A") + r)) for r in range(place.rows)]
    else:
        across = [(left + CELL_W, "column 1"), (left + (place.columns - 1) * CELL_W, "last column")]
        down = [(EDGE + 0.5 * CELL_H + 5, "row A"), (EDGE + (place.rows - 0.5) * CELL_H + 5, "last row")]
    return ([f'<text class="axis" x="{x:g}" y="{EDGE - 9}">{text}</text>' for x, text in across] +
            [f'<text class="axis" x="{left / 2 - 2:g}" y="{y:g}">{text}</text>' for y, text in down])


def _window_sides(place: Place) -> list[str]:
    return [across.window_side for across in (place.length, place.width) if across and across.window_side]


def _window(side: str, left: float, width: float, height: float) -> str:
    """A thick bar along the side, with its name."""
    x0, x1, y0, y1 = left, width - MARGIN - GAP, EDGE, height - EDGE - GAP
    line, word = {
        "column 1": ((x0 - 6, y0, x0 - 6, y1), (x0, y1 + 20)), "last column": ((x1 + 6, y0, x1 + 6, y1), (x1, y1 + 20)),
        "row A": ((x0, y0 - 5, x1, y0 - 5), (x1 + 32, y0)), "last row": ((x0, y1 + 6, x1, y1 + 6), (x1, y1 + 24)),
    }[side]
    return ('<line x1="{:g}" y1="{:g}" x2="{:g}" y2="{:g}" stroke="{}" stroke-width="5"/>'.format(*line, INK) +
            '<text class="axis" x="{:g}" y="{:g}">window</text>'.format(*word))

"""Small drawing tools for the printed cards. The canvas is scaled so that every length is in mm, y up.

A grey level or an (r, g, b) triple is a colour; type sizes are in points.
"""

from __future__ import annotations

import math
from functools import cache

from seedlingcv.tags.family import CARD_MM, MODULE_MM, SQUARE_MM

MM = 72 / 25.4  # points in a mm: 1 pt = 1/72 in, as PDF (ISO 32000-1) counts
BLACK, WHITE, INK, FAINT = 0.0, 1.0, 0.13, 0.55
GREEN, PALE = (0.11, 0.36, 0.22), (0.90, 0.95, 0.89)
LEAF, LEAF_EDGE, SOIL, TRAY = (0.45, 0.67, 0.34), (0.22, 0.45, 0.20), (0.50, 0.40, 0.32), (0.25, 0.27, 0.27)
BOARD, VIEW = (0.74, 0.78, 0.83), (0.99, 0.95, 0.80)

CHECK_MM = 100.0
CHECK_WORDS = "Print at 100 %, then measure me: this line is 100 mm"


def fill(c, colour) -> None:
    c.setFillGray(colour) if isinstance(colour, float) else c.setFillColorRGB(*colour)


def stroke(c, colour, width=0.25, dash=()) -> None:
    c.setStrokeGray(colour) if isinstance(colour, float) else c.setStrokeColorRGB(*colour)
    c.setLineWidth(width)
    c.setDash(*([list(dash)] if dash else []))


def box(c, x, y, width, height, colour, *, edge=None, radius=0.0) -> None:
    """A filled rectangle, its lower left corner at (x, y); without `edge` it has exactly this size."""
    fill(c, colour)
    if edge is not None:
        stroke(c, edge)
    c.roundRect(x, y, width, height, radius, stroke=int(edge is not None), fill=1)


def shape(c, points, colour, *, edge=None, dash=()) -> None:
    """A closed polygon; `colour` None leaves it empty."""
    path = c.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    if colour is not None:
        fill(c, colour)
    if edge is not None:
        stroke(c, edge, dash=dash)
    c.drawPath(path, stroke=int(edge is not None), fill=int(colour is not None))


def line(c, x0, y0, x1, y1, colour=INK, width=0.25, dash=()) -> None:
    stroke(c, colour, width, dash)
    c.line(x0, y0, x1, y1)


def arrow(c, x0, y0, x1, y1, *, both=False, colour=INK) -> None:
    line(c, x0, y0, x1, y1, colour, 0.35)
    for x, y, turn in ((x1, y1, 0.0), *(((x0, y0, math.pi),) if both else ())):
        back = math.atan2(y1 - y0, x1 - x0) + turn + math.pi
        wings = [(x + 2.2 * math.cos(back + a), y + 2.2 * math.sin(back + a)) for a in (0.35, -0.35)]
        shape(c, [(x, y), *wings], colour)


def text(c, x, y, words, size, *, bold=False, align="left", colour=INK) -> None:
    """One line of type, its baseline at y."""
    fill(c, colour)
    c.setFont("Helvetica-Bold" if bold else "Helvetica", size / MM)
    {"left": c.drawString, "centre": c.drawCentredString, "right": c.drawRightString}[align](x, y, words)


def paragraph(c, x, y, width, words, size, *, bold=False, align="left", colour=INK) -> float:
    """Type broken into lines, the first line's baseline at y; returns the next free baseline."""
    from reportlab.lib.utils import simpleSplit

    for words_of_line in simpleSplit(words, "Helvetica-Bold" if bold else "Helvetica", size / MM, width):
        text(c, x + (width / 2 if align == "centre" else 0), y, words_of_line, size,
             bold=bold, align=align, colour=colour)
        y -= 1.25 * size / MM
    return y


@cache
def marker(tag_id: int):
    """A tag's modules as OpenCV's dictionary has them: bool array (8, 8), top row first, True is white."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return dictionary.generateImageMarker(tag_id, 8, borderBits=1) > 127


def tag(c, tag_id: int, x: float, y: float) -> None:
    """A black square of SQUARE_MM with its lower left corner at (x, y).

    All white modules go into one filled path, in runs: painted apart, a printer may leave hairlines between.
    """
    box(c, x, y, SQUARE_MM, SQUARE_MM, BLACK)
    path = c.beginPath()
    for row, modules in enumerate(marker(tag_id)):
        bottom, column = y + SQUARE_MM - (row + 1) * MODULE_MM, 0
        while column < 8:
            run = next((i for i in range(column, 8) if not modules[i]), 8) - column
            if run:
                path.rect(x + column * MODULE_MM, bottom, run * MODULE_MM, MODULE_MM)
            column += run + 1
    fill(c, WHITE)
    c.drawPath(path, stroke=0, fill=1)


def card(c, tag_id: int, x: float, y: float) -> None:
    """A tag in the middle of its white card; the card's lower left corner at (x, y)."""
    margin = (CARD_MM - SQUARE_MM) / 2
    tag(c, tag_id, x + margin, y + margin)


def cut(c, x, y, width, height) -> None:
    stroke(c, FAINT, 0.15)
    c.rect(x, y, width, height, stroke=1, fill=0)


def fold(c, x0, y0, x1, y1) -> None:
    line(c, x0, y0, x1, y1, FAINT, 0.2, (1.6, 1.2))


def check_line(c, x: float, y: float) -> None:
    """The bar that shows whether a printer has shrunk the page: CHECK_MM from outer end to outer end."""
    text(c, x, y + 3.6, CHECK_WORDS, 8.5, bold=True)
    box(c, x, y + 0.8, CHECK_MM, 0.4, BLACK)
    for end in (x, x + CHECK_MM - 0.4):
        box(c, end, y - 0.5, 0.4, 3.0, BLACK)


def leaf(c, x, y, direction_deg, length, width) -> None:
    """A pointed leaf from its foot at (x, y)."""
    c.saveState()
    c.translate(x, y)
    c.rotate(direction_deg)
    path = c.beginPath()
    path.moveTo(0, 0)
    path.curveTo(length * 0.3, width * 0.75, length * 0.75, width * 0.5, length, 0)
    path.curveTo(length * 0.75, -width * 0.5, length * 0.3, -width * 0.75, 0, 0)
    fill(c, LEAF)
    stroke(c, LEAF_EDGE, 0.12)
    c.drawPath(path, stroke=1, fill=1)
    c.restoreState()


def seedling(c, x, y, height) -> None:
    """From the side: a stem, two seed leaves, two young leaves above."""
    line(c, x, y, x, y + height, LEAF_EDGE, 0.045 * height + 0.1)
    for turn, at, size in ((12, 0.62, 0.42), (48, 0.98, 0.36)):
        for direction in (turn, 180 - turn):
            leaf(c, x, y + at * height, direction, size * height, 0.16 * height)

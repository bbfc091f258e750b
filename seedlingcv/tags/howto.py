"""The first page of the printed cards: how to lay them and how to take the photos, drawn to scale.

The drawn flat is a common 72-cell one (546 x 278 mm, 60 mm deep); card places are the capture protocol's.
"""

from __future__ import annotations

import math

from seedlingcv.tags.draw import (
    BLACK,
    BOARD,
    FAINT,
    GREEN,
    INK,
    PALE,
    SOIL,
    TRAY,
    VIEW,
    WHITE,
    arrow,
    box,
    leaf,
    line,
    paragraph,
    seedling,
    shape,
    text,
)
from seedlingcv.tags.family import (
    BACKDROP_HEIGHT_MM,
    BACKDROP_LEFT,
    BACKDROP_RIGHT,
    BACKDROP_WIDTH_MM,
    CARD_MM,
    CORNER_IDS,
    SQUARE_MM,
)

FLAT_LONG, FLAT_SHORT, FLAT_DEEP = 546.0, 278.0, 60.0
COLUMNS, ROWS, PITCH, FIRST_X, FIRST_Y = 12, 6, 42.6, 17.4, 11.2
OUT_SHORT_END, OUT_LONG_SIDE = 8.0, 14.0  # a corner card's centre lies this far outside the flat
BACKDROP_Y = FIRST_Y + PITCH  # between rows A and B
SIDE_TAG_INSET = CARD_MM / 2 + 5  # centre of a backdrop tag from the board's edges


def corner_places() -> dict[int, tuple[float, float]]:
    """Centre of each corner card in the flat's frame (mm; x along row A, y towards the last row)."""
    left, right = -OUT_SHORT_END, FLAT_LONG + OUT_SHORT_END
    near, far = -OUT_LONG_SIDE, FLAT_SHORT + OUT_LONG_SIDE
    return dict(zip(CORNER_IDS, ((left, near), (right, near), (right, far), (left, far)), strict=True))


def mini_card(c, x, y, scale, number, *, size=7.0) -> None:
    """A card seen small, about its centre: its number stands in for the modules."""
    for side, colour, edge in ((CARD_MM, WHITE, FAINT), (SQUARE_MM, BLACK, None)):
        box(c, x - side * scale / 2, y - side * scale / 2, side * scale, side * scale, colour, edge=edge)
    text(c, x, y - 0.125 * size, str(number), size, bold=True, align="centre", colour=WHITE)


def flat_from_above(c, left, top, scale, *, size=7.0) -> None:
    """The flat with its four corner cards; (left, top) is its outer corner at cell A1, row A on top."""
    box(c, left, top - FLAT_SHORT * scale, FLAT_LONG * scale, FLAT_SHORT * scale, TRAY, radius=8 * scale)
    cell = 38 * scale
    for row in range(ROWS):
        for column in range(COLUMNS):
            x = left + (FIRST_X + (column + 0.5) * PITCH) * scale
            y = top - (FIRST_Y + (row + 0.5) * PITCH) * scale
            box(c, x - cell / 2, y - cell / 2, cell, cell, SOIL, radius=5 * scale)
            if (row, column) != (0, 0):
                for quarter in range(2):
                    leaf(c, x, y, 50 * column + 37 * row + 180 * quarter, 0.42 * cell, 0.2 * cell)
    text(c, left + (FIRST_X + PITCH / 2) * scale, top - (FIRST_Y + PITCH / 2) * scale - 0.125 * size, "A1",
         size, bold=True, align="centre", colour=WHITE)
    for number, (x, y) in corner_places().items():
        mini_card(c, left + x * scale, top - y * scale, scale, number, size=size)


def heading(c, x, y, words) -> None:
    text(c, x, y, words, 13, bold=True, colour=GREEN)


def draw_page(c, width, height) -> None:
    """The whole page, laid out in a block 190 mm wide and 259 mm high: it fits A4 and US Letter alike."""
    x, y = (width - 190) / 2, height - 10
    text(c, x, y - 8, "How to photograph a flat", 25, bold=True, colour=GREEN)
    text(c, x, y - 15, "Print at 100 % on matte paper, cut out the cards, take three photos of each flat.",
         11.5)
    spare = (height - 279) / 4  # on A4 the panels stand further apart
    first, second, third = y - 27 - spare, y - 126 - 2 * spare, y - 199 - 3 * spare
    _lay(c, x, first)
    _above(c, x, second)
    _side(c, x + 84, second)
    _tips(c, x, third)
    _as_seen(c, x + 84, third)


def _lay(c, x, y) -> None:
    heading(c, x, y, "First: lay the cards, tag the flat")
    scale, left, top = 0.222, x + 8, y - 17
    middle = left + FLAT_LONG * scale / 2
    flat_from_above(c, left, top, scale)
    tag_width, lean = CARD_MM * scale, CARD_MM * math.cos(math.radians(36)) * scale
    shape(c, [(middle - tag_width / 2, top + 0.5), (middle + tag_width / 2, top + 0.5),
              (middle + tag_width / 2, top + lean), (middle - tag_width / 2, top + lean)], WHITE, edge=FAINT)
    box(c, middle - SQUARE_MM * scale / 2, top + 1.6, SQUARE_MM * scale, lean - 3.2, BLACK)
    text(c, middle + tag_width / 2 + 2, top + 3, "flat tag, leaning back", 9, bold=True)
    text(c, left + 18, top + 3, "row A", 9, bold=True)
    arrow(c, left + 28.5, top + 4, left + 40, top + 4)
    below = top - FLAT_SHORT * scale
    text(c, middle, below - 5, "seen from above: 0, 1, 2, 3 run clockwise", 9, align="centre")
    _corner_close_up(c, x + 142, y - 1)
    y -= 57
    for words in ("Each card covers a corner of the rim and sticks out beyond it. Put its two small marks on "
                  "the rim's outer edges. Hold it down with putty or tape.",
                  "Hang the flat tag on the outside of the row-A rim, number outwards."):
        y = paragraph(c, x + 142, y, 48, words, 9.5) - 1.5


def _corner_close_up(c, x, y) -> None:
    """Card 0 on the corner at half size: the marks for the rim's edges, and where its middle then lies."""
    side, scale = 50.0, 0.5
    box(c, x, y - side, 48, side, PALE, radius=2)
    corner_x, corner_y, half = x + 27, y - 30, CARD_MM * scale / 2
    middle_x, middle_y = corner_x - OUT_SHORT_END * scale, corner_y + OUT_LONG_SIDE * scale
    right, bottom = x + 48, y - side
    box(c, corner_x, bottom, right - corner_x, corner_y - bottom, TRAY)
    cell_x, cell_y = corner_x + (FIRST_X + 2) * scale, corner_y - (FIRST_Y + 2) * scale
    box(c, cell_x, bottom, right - cell_x, cell_y - bottom, SOIL)
    text(c, (cell_x + right) / 2, (cell_y + bottom) / 2 - 1.2, "A1", 10, bold=True, align="centre",
         colour=WHITE)
    mini_card(c, middle_x, middle_y, scale, 0, size=22)
    line(c, corner_x, middle_y - half, corner_x, middle_y - half + 1.6, INK, 0.5)
    line(c, middle_x + half, corner_y, middle_x + half - 1.6, corner_y, INK, 0.5)
    for at in (middle_x, corner_x):
        line(c, at, middle_y + half + 0.8, at, middle_y + half + 4.5, INK, 0.2)
    for at in (middle_y, corner_y):
        line(c, middle_x - half - 0.8, at, middle_x - half - 4.5, at, INK, 0.2)
    text(c, (middle_x + corner_x) / 2, middle_y + half + 5.5, f"{OUT_SHORT_END:.0f} mm", 9, bold=True,
         align="centre")
    text(c, middle_x - half - 1, (middle_y + corner_y) / 2 - 1.1, f"{OUT_LONG_SIDE:.0f} mm", 9, bold=True,
         align="right")
    text(c, x + 2, bottom + 5.8, "marks on", 9)
    text(c, x + 2, bottom + 2, "the rim's edges", 9)
    arrow(c, x + 16, bottom + 7, corner_x - 0.9, middle_y - half - 0.6)


def _phone(c, x, y, angle_deg, length) -> None:
    """A phone edge on, its lens at (x, y), looking along -y when the angle is 0."""
    c.saveState()
    c.translate(x, y)
    c.rotate(angle_deg)
    box(c, -length / 2, 0, length, 1.6, INK, radius=0.6)
    box(c, -1.1, -0.8, 2.2, 1.0, INK)
    c.restoreState()


def _above(c, x, y) -> None:
    heading(c, x, y, "Then: two photos from above")
    scale, bottom = 0.085, y - 62
    left = x + 6
    middle, rim, eye = left + FLAT_LONG * scale / 2, bottom + FLAT_DEEP * scale, bottom + 45
    second = middle + 150 * scale
    ends = (left - 2, left + FLAT_LONG * scale + 2)
    shape(c, [(middle, eye), (ends[0], rim), (ends[1], rim)], VIEW)
    shape(c, [(second, eye), (ends[0], rim), (ends[1], rim)], None, edge=FAINT, dash=(1.2, 1))
    shape(c, [(left, rim), (left + FLAT_LONG * scale, rim), (left + FLAT_LONG * scale - 1.5, bottom),
              (left + 1.5, bottom)], TRAY)
    for column in range(COLUMNS):
        seedling(c, left + (FIRST_X + (column + 0.5) * PITCH) * scale, rim, 5 + 0.6 * (column * 5 % 4))
    _phone(c, middle, eye, 0, 9)
    _phone(c, second, eye, -12, 9)
    arrow(c, middle, eye + 5, second, eye + 5)
    text(c, (middle + second) / 2, eye + 7, "100–200 mm", 9, bold=True, align="centre")
    note = x + 54
    after = paragraph(c, note, y - 15, 27, "Hold the phone level above the flat. Flat and cards nearly fill "
                      "the picture.", 9.5)
    paragraph(c, note, after - 1.5, 27, "Move sideways, aim at the flat again, take the second.", 9.5)


def _side(c, x, y) -> None:
    heading(c, x, y, "Last: one photo from the side")
    scale, bottom, front = 0.125, y - 54, x + 62
    rim, board = bottom + FLAT_DEEP * scale, front + BACKDROP_Y * scale
    eye_x, eye_y = x + 9, rim + 135 * scale
    aim_x = front + (FIRST_Y + PITCH / 2) * scale
    drop = math.tan(math.radians(8)) * (aim_x - eye_x)
    top = rim + BACKDROP_HEIGHT_MM * scale
    shape(c, [(eye_x, eye_y), (board, top + 1), (board, bottom - 1)], VIEW)
    line(c, eye_x, eye_y, aim_x, eye_y, FAINT, 0.25, (1.2, 1))
    line(c, eye_x, eye_y, aim_x, eye_y - drop, INK, 0.3)
    shape(c, [(front, rim), (front + FLAT_SHORT * scale, rim), (front + FLAT_SHORT * scale - 1.5, bottom),
              (front + 1.5, bottom)], TRAY)
    box(c, board - 0.5, rim - 0.6, 1.0, BACKDROP_HEIGHT_MM * scale, BOARD, edge=INK)
    for row in range(ROWS):
        seedling(c, front + (FIRST_Y + (row + 0.5) * PITCH) * scale, rim, 10)
        text(c, front + (FIRST_Y + (row + 0.5) * PITCH) * scale, bottom + 2.4, "ABCDEF"[row], 8, bold=True,
             align="centre", colour=WHITE)
    lean = math.radians(36)
    down, out = CARD_MM * math.sin(lean) * scale, CARD_MM * math.cos(lean) * scale
    line(c, front, rim, front - out, rim - down, INK, 0.8)
    text(c, front - out - 1, rim - down - 1.5, "flat tag", 9, bold=True, align="right")
    _phone(c, eye_x, eye_y, 90 - 8, 15)
    text(c, x + 16, eye_y + 1.3, "camera looks 3–12° down", 9, bold=True)
    text(c, board + 3, top - 2, "backdrop", 9, bold=True)
    paragraph(c, board + 3, top - 6, 34, "between rows A and B, lower edge at the soil", 9)
    text(c, x, bottom - 5, "Row A towards you. All of the backdrop is in the picture.", 9.5)


def _tips(c, x, y) -> None:
    heading(c, x, y, "Good to know")
    for words in (
        "Measure the 100 mm line on each card page. If it is off, switch off “fit to page” and print again.",
        "Matte paper, matte laminate: gloss mirrors the lamps.",
        "No leaf, hose or finger over a black square.",
        "One flat in front of the camera. Full-size photos, no zoom, no filter, no flash.",
        "Feet on the floor: set the flat lower instead of climbing. Keep phone and lamp leads dry.",
    ):
        box(c, x, y - 6.6, 1.6, 1.6, GREEN)
        y = paragraph(c, x + 4, y - 6.8, 72, words, 9.5) + 4.2


def _as_seen(c, x, y) -> None:
    heading(c, x, y, "What the side photo shows")
    scale, left = 0.16, x + 3
    width, tall = BACKDROP_WIDTH_MM * scale, BACKDROP_HEIGHT_MM * scale
    bottom = y - 5 - tall
    box(c, left, bottom, width, tall, BOARD, edge=INK)
    inset = SIDE_TAG_INSET * scale
    mini_card(c, left + inset, bottom + tall - inset, scale, BACKDROP_LEFT, size=10)
    mini_card(c, left + width - inset, bottom + tall - inset, scale, BACKDROP_RIGHT, size=10)
    text(c, left + width / 2, bottom + tall - 5.5, "backdrop 600 × 250 mm", 9, bold=True, align="centre")
    text(c, left + width / 2, bottom + tall - 9.7, "matte, light grey or mid blue", 9, align="centre")
    flat = left + (BACKDROP_WIDTH_MM - FLAT_LONG) / 2 * scale
    for column in range(COLUMNS):
        seedling(c, flat + (FIRST_X + (column + 0.5) * PITCH) * scale, bottom, 11 + 2.2 * (column * 5 % 4))
    box(c, flat, bottom - FLAT_DEEP * scale + 1, FLAT_LONG * scale, FLAT_DEEP * scale, TRAY, radius=0.8)
    text(c, flat + FLAT_LONG * scale - 3, bottom - 3.6, "A1 on the right", 9, bold=True, align="right",
         colour=WHITE)
    mini_card(c, left + 0.45 * width, bottom - 4, scale, 31, size=9)

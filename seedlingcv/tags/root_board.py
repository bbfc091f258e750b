"""The root board: a printed blue page on which a few plugs lie on their sides to have their roots photographed.

Frame: mm, origin at the board's upper left corner, x right, y down. Places 1 to 3 are left of the middle line,
4 to 6 right of it, from the top; every plug's bottom points to the middle line and its plant outwards.
"""

from __future__ import annotations

from seedlingcv.tags.draw import CHECK_MM, WHITE, arrow, box, card, check_line, line, paragraph, shape, stroke, text
from seedlingcv.tags.family import CARD_MM

# Tags of its own, clockwise from the upper left: none is a corner card (0-3), the backdrop (4, 5) or a flat (10-580).
BOARD_IDS = (581, 582, 583, 584)
BOARD_WIDTH_MM, BOARD_HEIGHT_MM = 190.0, 234.0  # the same on A4 and US Letter: it fits between both papers' margins

MIDDLE_MM = BOARD_WIDTH_MM / 2
PLACE_GAP_MM = 8.0  # from the middle line to a place's bottom end
PLACE_LONG_MM, PLACE_WIDE_MM, PLACE_NARROW_MM = 60.0, 46.0, 34.0  # a plug of a 72-cell flat is about 57 x 39
PLACE_STEP_MM = 50.0
PLACES = 6

# Blue is the one hue that neither potting mix, perlite, vermiculite, roots nor leaves have, in light or shadow.
# Light enough to be printed without soaking the paper.
GROUND = (0.44, 0.58, 0.79)
MARKS = (0.26, 0.41, 0.68)  # darker, the same hue: lines under a plug must not look like part of it
WORDS = (0.05, 0.14, 0.40)  # where no plug lies


def tag_places() -> dict[int, tuple[float, float]]:
    """Centre of each tag in the board's frame."""
    low, right, bottom = CARD_MM / 2, BOARD_WIDTH_MM - CARD_MM / 2, BOARD_HEIGHT_MM - CARD_MM / 2
    return dict(zip(BOARD_IDS, ((low, low), (right, low), (right, bottom), (low, bottom)), strict=True))


def place_centre(place: int) -> tuple[float, float]:
    """Middle of place 1 to 6 in the board's frame. Raises ValueError for any other number."""
    if not 1 <= place <= PLACES:
        raise ValueError(f"places run from 1 to {PLACES}")
    column, row = divmod(place - 1, 3)
    out = PLACE_GAP_MM + PLACE_LONG_MM / 2
    return MIDDLE_MM + (out if column else -out), BOARD_HEIGHT_MM / 2 + (row - 1) * PLACE_STEP_MM


def draw_page(c, width: float, height: float) -> None:
    """The whole page, mm, y up: title, board, and the line to check the print by."""
    left, top = (width - BOARD_WIDTH_MM) / 2, height - 22.0
    text(c, left, height - 16.5, "Root board", 16, bold=True)
    paragraph(c, left + 36, height - 14, BOARD_WIDTH_MM - 36,
              "Print in colour at 100 % on matte paper, laminate it matte if at all, lay it flat. No colour printer: "
              "stick the four tags on matte blue card, exactly as far apart.", 9)
    check_line(c, left, 11)
    box(c, left, top - BOARD_HEIGHT_MM, BOARD_WIDTH_MM, BOARD_HEIGHT_MM, GROUND)
    for number, (x, y) in tag_places().items():
        corner_x, corner_y = left + x - CARD_MM / 2, top - y - CARD_MM / 2
        box(c, corner_x, corner_y, CARD_MM, CARD_MM, WHITE)
        card(c, number, corner_x, corner_y)
    middle = left + MIDDLE_MM
    line(c, middle, top - CARD_MM - 2, middle, top - BOARD_HEIGHT_MM + CARD_MM + 2, MARKS, 0.6, (3, 2))
    for place in range(1, PLACES + 1):
        _place(c, place, left, top)
    _words(c, left, top)


def _place(c, place: int, left: float, top: float) -> None:
    x, y = place_centre(place)
    out = -1 if x < MIDDLE_MM else 1
    bottom, upper = left + x - out * PLACE_LONG_MM / 2, left + x + out * PLACE_LONG_MM / 2
    shape(c, [(bottom, top - y + PLACE_NARROW_MM / 2), (upper, top - y + PLACE_WIDE_MM / 2),
              (upper, top - y - PLACE_WIDE_MM / 2), (bottom, top - y - PLACE_NARROW_MM / 2)],
          None, edge=MARKS, dash=(2, 2))
    text(c, upper + out * 5, top - y - 2.5, str(place), 20, bold=True, align="centre", colour=MARKS)
    arrow(c, upper + out * 9, top - y, upper + out * 20, top - y, colour=MARKS)
    text(c, upper + out * 14, top - y + 2, "plant", 9, align="centre", colour=MARKS)


def _words(c, left: float, top: float) -> None:
    x, wide = left + CARD_MM + 3, BOARD_WIDTH_MM - 2 * CARD_MM - 6
    text(c, x + wide / 2, top - 7, "Lay the flat's own tag here", 13, bold=True, align="centre", colour=WORDS)
    stroke(c, MARKS, 0.3, (2, 2))
    c.rect(x + 4, top - CARD_MM + 1, wide - 8, CARD_MM - 11, stroke=1, fill=0)
    y = top - BOARD_HEIGHT_MM + CARD_MM - 6
    for words in ("3 to 6 plugs on their sides, bottoms to the middle line, plants outwards, none touching. Pots: "
                  "two, on places 2 and 5.",
                  "Bright even light. No sun, no flash, no shadow of the phone. Look straight down; the board fills "
                  "the picture."):
        y = paragraph(c, x, y, wide, words, 10.5, colour=WORDS) - 1
    _ruler(c, x + (wide - CHECK_MM) / 2, top - BOARD_HEIGHT_MM + 3)


def _ruler(c, x: float, y: float) -> None:
    for mm in range(0, round(CHECK_MM) + 1, 5):
        line(c, x + mm, y, x + mm, y + (3.5 if mm % 10 == 0 else 2), WORDS, 0.3)
        if mm % 20 == 0:
            text(c, x + mm, y + 4.3, f"{mm}", 8, align="centre", colour=WORDS)
    line(c, x, y, x + CHECK_MM, y, WORDS, 0.3)
    text(c, x + 50, y + 4.3, "mm", 8, align="centre", colour=WORDS)

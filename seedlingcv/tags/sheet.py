"""The printed cards as a PDF at exact size: corner cards, backdrop tags and flat tags.

One page of drawings, one of corner cards, one of backdrop tags, then four flat tags to a page; last the board
for photographing roots.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from seedlingcv.errors import OutputError
from seedlingcv.files import write_whole
from seedlingcv.tags import howto, root_board
from seedlingcv.tags.draw import (
    BOARD,
    FAINT,
    GREEN,
    INK,
    MM,
    TRAY,
    arrow,
    box,
    card,
    check_line,
    cut,
    fold,
    line,
    paragraph,
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
    FLAT_IDS,
    is_flat,
)
from seedlingcv.units import length

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216 A4; 8 1/2 x 11 in
MARGIN_MM = 10.0

# A card's own label keeps to its outer 2.2 mm: one module, 3.75 mm, stays white round the black square
LABEL_PT, LABEL_MM = 5.5, 0.8
LABEL_CAP_MM = 0.718 * LABEL_PT / MM  # Helvetica's capitals are 0.718 of its size (Adobe's font metrics)
CORNER_NAMES = ("A1 corner", "other end of row A", "diagonal from A1", "column 1, last row")

# A flat tag folds to a three-sided bar: the face leans back by the angle these three sides make, 34 degrees
# from level (law of cosines), and a few degrees more on the sloping wall of a flat. The protocol asks 28-44.
FACE_MM, BASE_MM, BACK_MM = CARD_MM, 35.0, 23.5
FLAP_MM = 10.0  # lies on the rim; the first cell begins about 11 mm in
STRIP_MM = FLAP_MM + FACE_MM + BASE_MM + BACK_MM + FLAP_MM
STRIP_WIDTH_MM = 92.0


def write_cards(out: Path, *, paper: str = "a4", flats: Sequence[int] = (), board: bool = True) -> int:
    """Write the PDF and return how many pages it has. A file already there stays whole if writing fails.

    paper : "a4" or "letter"
    flats : numbers for flat tags, each 10..580
    board : whether the root board, a page of blue ink, comes last
    Raises OutputError for an unknown paper, a number with no tag, or a place that can't be written.
    """
    pdf, pages = cards_pdf(paper=paper, flats=flats, board=board)
    write_whole(out, pdf, what="the cards ", next_step="Name a file in a folder that you may write to.")
    return pages


def cards_pdf(*, paper: str = "a4", flats: Sequence[int] = (), board: bool = True) -> tuple[bytes, int]:
    """The PDF's bytes and its number of pages. Raises OutputError as `write_cards` does."""
    if paper not in PAPERS_MM:
        raise OutputError(f"paper {paper!r} is unknown.", next_step=f"Use one of: {', '.join(PAPERS_MM)}.")
    for number in flats:
        if not is_flat(number):
            raise OutputError(f"there is no tag for flat {number}.",
                              next_step=f"Number flats from {FLAT_IDS[0]} to {FLAT_IDS[-1]}.")
    from reportlab.pdfgen.canvas import Canvas

    width, height = PAPERS_MM[paper]
    buffer = io.BytesIO()
    # invariant: the same cards give the same file, byte for byte
    c = Canvas(buffer, pagesize=(width * MM, height * MM), invariant=1)
    c.setTitle("Cards for photographing seedling flats")
    c.setAuthor("seedlingcv")
    c.setViewerPreference("PrintScaling", "None")  # asks the viewer not to shrink the page
    pages = [howto.draw_page, _corner_page, _backdrop_page]
    pages += [_flat_tag_page(flats[i : i + 4]) for i in range(0, len(flats), 4)]
    if board:
        pages.append(root_board.draw_page)
    for draw in pages:
        c.scale(MM, MM)
        draw(c, width, height)
        c.showPage()
    c.save()
    return buffer.getvalue(), len(pages)


def _title(c, height, words, more) -> None:
    text(c, MARGIN_MM, height - MARGIN_MM - 7, words, 22, bold=True, colour=GREEN)
    text(c, MARGIN_MM, height - MARGIN_MM - 13, more, 10.5)


def _corner_page(c, width, height) -> None:
    """The four cards stand on the page as they lie round the flat, each with a back that folds behind it."""
    _title(c, height, "Corner cards", "One set serves all flats. Lay them as drawn: 0 at A1, then clockwise.")
    check_line(c, MARGIN_MM, MARGIN_MM + 1)
    top, low = height - MARGIN_MM - 18, MARGIN_MM + 12
    left, right = MARGIN_MM, width - MARGIN_MM - CARD_MM
    places = {0: (left, top - 2 * CARD_MM), 1: (right, top - 2 * CARD_MM),
              2: (right, low + CARD_MM), 3: (left, low + CARD_MM)}
    for number, (x, y) in places.items():
        _corner_card(c, number, x, y)

    scale, middle = 0.15, (top + low) / 2
    flat_left, flat_top = (width - howto.FLAT_LONG * scale) / 2, middle + howto.FLAT_SHORT * scale / 2
    howto.flat_from_above(c, flat_left, flat_top, scale, size=8)
    text(c, width / 2, flat_top + 2, "row A", 10, bold=True, align="centre")
    for number, (out_x, out_y) in howto.corner_places().items():
        x, y = places[number]
        inner_x, inner_y = (x if number in CORNER_IDS[1:3] else x + CARD_MM,
                            y + CARD_MM if number in CORNER_IDS[2:] else y)
        mini_x, mini_y = flat_left + out_x * scale, flat_top - out_y * scale
        towards_x, towards_y = (mini_x - inner_x) / 10, (mini_y - inner_y) / 10
        arrow(c, inner_x + 2 * towards_x, inner_y + 2 * towards_y, inner_x + 6 * towards_x,
              inner_y + 6 * towards_y, colour=GREEN)

    x, wide = left + CARD_MM + 8, right - left - CARD_MM - 16
    y = top - 8
    for words in ("Cut along the solid lines.",
                  "Fold the half with the big number behind the card and glue it: the card gets stiff and "
                  "shows its number on both sides.",
                  "Matte paper or matte laminate. Gloss mirrors the lamps."):
        y = paragraph(c, x, y, wide, words, 12) - 3
    y = low + 2 * CARD_MM - 12
    for words in ("Put the two small marks at a card's edge on the outer edges of the rim.",
                  "Its middle then lies 8 mm outside the short end and 14 mm outside the long side.",
                  "Hold it flat with putty or tape underneath: most of the card sticks out beyond the rim."):
        y = paragraph(c, x, y, wide, words, 12) - 3


def _corner_card(c, number, x, y) -> None:
    """A card's front, lower left corner at (x, y), and its back beyond the edge away from the flat."""
    far_row, at_right = number in CORNER_IDS[2:], number in CORNER_IDS[1:3]
    back = y - CARD_MM if far_row else y + CARD_MM
    cut(c, x, min(y, back), CARD_MM, 2 * CARD_MM)
    edge = y if far_row else y + CARD_MM
    fold(c, x, edge, x + CARD_MM, edge)
    card(c, number, x, y)
    _margin_label(c, x, y + LABEL_MM if far_row else y + CARD_MM - LABEL_MM - LABEL_CAP_MM,
                  f"{number} · {CORNER_NAMES[number]}")
    # where the rim's outer edges pass under the card
    rim_x = x + CARD_MM / 2 + (-howto.OUT_SHORT_END if at_right else howto.OUT_SHORT_END)
    rim_y = y + CARD_MM / 2 + (howto.OUT_LONG_SIDE if far_row else -howto.OUT_LONG_SIDE)
    inner_y, step_y = (y + CARD_MM, -2) if far_row else (y, 2)
    inner_x, step_x = (x, 2) if at_right else (x + CARD_MM, -2)
    line(c, rim_x, inner_y, rim_x, inner_y + step_y, INK, 0.5)
    line(c, inner_x, rim_y, inner_x + step_x, rim_y, INK, 0.5)
    text(c, x + CARD_MM / 2, back + 16, str(number), 72, bold=True, align="centre", colour=GREEN)
    text(c, x + CARD_MM / 2, back + 7, CORNER_NAMES[number], 10.5, bold=True, align="centre")


def _margin_label(c, x, y, words) -> None:
    text(c, x + CARD_MM / 2, y, words, LABEL_PT, bold=True, align="centre")


def _backdrop_page(c, width, height) -> None:
    _title(c, height, "Backdrop tags", "4 at the upper left, 5 at the upper right, as the camera sees them.")
    check_line(c, MARGIN_MM, MARGIN_MM + 1)
    top = height - MARGIN_MM - 32
    for number, x, side in ((BACKDROP_LEFT, MARGIN_MM, "left"),
                            (BACKDROP_RIGHT, width - MARGIN_MM - CARD_MM, "right")):
        cut(c, x, top - CARD_MM, CARD_MM, CARD_MM)
        card(c, number, x, top - CARD_MM)
        _margin_label(c, x, top - CARD_MM + LABEL_MM, f"{number} · backdrop, upper {side}")
        text(c, x + CARD_MM / 2, top + 3, f"{number}  upper {side}", 14, bold=True, align="centre",
             colour=GREEN)
    y, x, wide = top - 6, MARGIN_MM + CARD_MM + 8, width - 2 * (MARGIN_MM + CARD_MM + 8)
    for words in ("Cut out and stick one to each upper corner of the board, 5 mm in from both edges, number "
                  "the right way up.", "Matte paper, glued or with matte tape. No gloss film over them."):
        y = paragraph(c, x, y, wide, words, 12) - 3

    scale = 0.29
    left, board_top = (width - BACKDROP_WIDTH_MM * scale) / 2, top - CARD_MM - 26
    wide, tall = BACKDROP_WIDTH_MM * scale, BACKDROP_HEIGHT_MM * scale
    box(c, left, board_top - tall, wide, tall, BOARD, edge=INK)
    inset = howto.SIDE_TAG_INSET * scale
    howto.mini_card(c, left + inset, board_top - inset, scale, BACKDROP_LEFT, size=16)
    howto.mini_card(c, left + wide - inset, board_top - inset, scale, BACKDROP_RIGHT, size=16)
    text(c, width / 2, board_top - tall / 2 + 2, "The board", 16, bold=True, align="centre")
    text(c, width / 2, board_top - tall / 2 - 5, "stiff and flat, matte light grey or matte mid blue", 12,
         align="centre")
    arrow(c, left, board_top + 4, left + wide, board_top + 4, both=True)
    text(c, width / 2, board_top + 6, _both_units(BACKDROP_WIDTH_MM), 11, bold=True, align="centre")
    arrow(c, left - 3, board_top - tall, left - 3, board_top, both=True)
    c.saveState()
    c.translate(left - 4.5, board_top - tall / 2)
    c.rotate(90)
    text(c, 0, 0, _both_units(BACKDROP_HEIGHT_MM), 11, bold=True, align="centre")
    c.restoreState()
    y = board_top - tall - 12
    for words in ("Stand it between rows A and B, lower edge at the level of the soil, row A in front of it.",
                  "It is wider than the flat: if the rim holds it up, cut a notch in each lower corner.",
                  "Stand in front of row A. Cell A1 is then on your right.",
                  "Look 3–12 degrees downwards. The whole board is in the picture, no leaf over a tag."):
        box(c, left, y + 0.4, 2, 2, GREEN)
        y = paragraph(c, left + 5, y, wide - 5, words, 12) - 2.5


def _both_units(mm: float) -> str:
    return f"{length(mm)} ({length(mm, inch=True)})"


def _flat_tag_page(numbers):
    def draw(c, width, height) -> None:
        top = height - MARGIN_MM
        text(c, MARGIN_MM, top - 6, "Flat tags", 16, bold=True, colour=GREEN)
        text(c, MARGIN_MM + 29, top - 6, "Cut out, write on, fold, hang on the outside of the row-A rim.",
             10.5)
        check_line(c, MARGIN_MM, MARGIN_MM + 0.5)
        left = (width - 2 * STRIP_WIDTH_MM) / 2
        for i, number in enumerate(numbers):
            _flat_tag(c, number, left + (i % 2) * STRIP_WIDTH_MM, top - 9 - (i // 2) * STRIP_MM)

    return draw


def _flat_tag(c, number, x, top) -> None:
    """One strip, from its upper edge down: flap, face (tag and label), base, back, hook."""
    wide = STRIP_WIDTH_MM
    cut(c, x, top - STRIP_MM, wide, STRIP_MM)
    face, base = top - FLAP_MM, top - FLAP_MM - FACE_MM
    back, hook = base - BASE_MM, base - BASE_MM - BACK_MM
    for y in (face, base, back, hook):
        fold(c, x, y, x + wide, y)
    for y, words in ((face + 3.6, "FLAP  glue on top of the hook"),
                     (back - 12.5, "BACK  lies against the wall of the flat"),
                     (hook - 6, "HOOK  fold this one forward, lay it on the rim")):
        text(c, x + wide / 2, y, words, 8.5, align="centre", colour=FAINT)

    card(c, number, x, base)
    line(c, x + CARD_MM, base + 3, x + CARD_MM, face - 3, FAINT, 0.15)
    label, end = x + CARD_MM + 4, x + wide - 4
    text(c, (label + end) / 2, face - 18, str(number), 56, bold=True, align="centre")
    for y, words in ((base + 15, "Variety"), (base + 4.5, "Sown")):
        text(c, label, y + 0.8, words, 8.5)
        line(c, label + (11 if words == "Variety" else 9), y, end, y, INK, 0.2)

    _fold_drawing(c, x + 5, base - 6)
    text(c, x + 42, base - 6.5, "BASE", 8.5, colour=FAINT)
    paragraph(c, x + 42, base - 12, wide - 46, "Fold back on the dashed lines, only the hook forward. Glue "
              "the flap on the hook: a three-sided bar. Lay the hook on the rim, hold it with a clip "
              "or tape.", 9)


def _fold_drawing(c, x, top) -> None:
    """The folded tag from its end, hanging on the wall of a flat, at half size."""
    scale = 0.5
    rim_x, rim_y = x + BASE_MM * scale + 1, top - 2
    box(c, rim_x, rim_y - 23, 10, 23, TRAY)
    text(c, rim_x + 5, rim_y - 14, "flat", 8.5, bold=True, align="centre", colour=1.0)
    out, down = BASE_MM * scale, BACK_MM * scale
    shape(c, [(rim_x, rim_y + 0.4), (rim_x - out, rim_y - down), (rim_x - 0.3, rim_y - down)], 1.0, edge=INK)
    line(c, rim_x - out, rim_y - down, rim_x, rim_y + 0.5, GREEN, 1.0)
    line(c, rim_x, rim_y + 0.5, rim_x + FLAP_MM * scale, rim_y + 0.5, INK, 0.6)
    text(c, rim_x - out * 0.62, rim_y - 3.2, "face", 8.5, bold=True, align="right", colour=GREEN)

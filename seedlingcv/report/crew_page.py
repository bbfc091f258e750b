"""One flat's work page, its short form, and type that fits. Sizes in mm, y up; black on white."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from seedlingcv.report.crew_facts import DOUBLE, EMPTY, FIRST, SINGLE, Counts, CrewFlat, map_names
from seedlingcv.report.depth_drawing import draw_depth
from seedlingcv.tags.draw import BLACK, MM, WHITE, box, line, paragraph, stroke, text

LINE = 1.25  # of the type's size, as `draw.paragraph` steps
LEAST_PT = 8.5
HEADER_MM, COUNTS_MM, DRAWING_MM = 34.0, 21.0, 84.0
MAP_MM = 78.0  # width of the cell map with its letters
UNPRINTABLE = "(name: see the register)"
LEGEND = ((SINGLE, "one plant"), (DOUBLE, "two or more: thin"), (EMPTY, "empty"), (FIRST, "stretched: pot first"))


@dataclass(frozen=True)
class Frame:
    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def top(self) -> float:
        return self.bottom + self.height


def plain(words: str) -> str:
    """What the PDF's own fonts can print (cp1252): other letters lose their accents, or become `?`.

    A name mostly in other letters gives way to a note, since a row of `?` is no name.
    """
    out = []
    for sign in " ".join(words.split()):
        try:
            sign.encode("cp1252")
            out.append(sign)
        except UnicodeEncodeError:
            bare = unicodedata.normalize("NFKD", sign).encode("cp1252", "ignore").decode("cp1252")
            out.append(bare or "\0")
    if out.count("\0") > len(out) / 2:
        return UNPRINTABLE
    return "".join(out).replace("\0", "?")


def font(bold: bool) -> str:
    return "Helvetica-Bold" if bold else "Helvetica"


def width_of(words: str, size: float, bold: bool) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return stringWidth(words, font(bold), size) / MM


def fitted(c, x, y, width, words, size, *, bold=False, align="left", least=LEAST_PT) -> None:
    """One line, set smaller where it is too long, cut with an ellipsis where even that is not enough."""
    words = plain(words)
    natural = width_of(words, size, bold)
    if natural > width:
        size = max(least, 0.999 * size * width / natural)  # a hair less: scaled exactly it may still be too wide
    while len(words) > 1 and width_of(words, size, bold) > width:
        words = words.removesuffix("…")[:-1].rstrip() + "…"
    text(c, x + (width if align == "right" else 0), y, words, size, bold=bold, align=align, colour=BLACK)


def lines_of(words: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Lines of at most `width`; a single word that is longer is broken."""
    from reportlab.lib.utils import simpleSplit

    pieces = []
    for word in plain(words).split(" "):
        while width_of(word, size, bold) > width and len(word) > 1:
            cut = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or width_of(word[:n], size, bold) <= width)
            pieces.append(word[:cut])
            word = word[cut:]
        pieces.append(word)
    return simpleSplit(" ".join(pieces), font(bold), size / MM, width)


def height_of(words: str, width: float, size: float, bold: bool = False) -> float:
    return len(lines_of(words, width, size, bold)) * LINE * size / MM


def flow(c, x, y, width, words, size, *, bold=False) -> float:
    """Broken into lines, the first baseline at y; returns the next free baseline."""
    return paragraph(c, x, y, width, " ".join(lines_of(words, width, size, bold)), size, bold=bold, colour=BLACK)


def numbered(c, x, y, width, items: Sequence[str], size: float) -> float:
    """Numbered lines, the first baseline at y; a line with NEVER in it is bold."""
    for number, words in enumerate(items, 1):
        text(c, x, y, f"{number}", size, bold=True, colour=BLACK)
        y = flow(c, x + 0.62 * size, y, width - 0.62 * size, words, size, bold="NEVER" in words) - 0.12 * size
    return y


def numbered_height(items: Sequence[str], width: float, size: float) -> float:
    return sum(height_of(w, width - 0.62 * size, size, "NEVER" in w) + 0.12 * size for w in items)


def fitting_size(height: Callable[[float], float], room: float, largest: float, least: float = LEAST_PT) -> float:
    """The largest size, in half points, at which `height(size)` is within the room; `least` if none is."""
    size = largest
    while size > least and height(size) > room:
        size -= 0.5
    return size


def name(flat: CrewFlat) -> str:
    variety = plain(flat.variety)
    return flat.crop if variety in ("", UNPRINTABLE) else f"{flat.crop}, {variety}"


def pots_said(counts: Counts) -> str:
    if counts.pots is None:
        return "count them"
    return f"{counts.pots}{'+' if counts.unknown else ''} pots"


def work_pages(flat: CrewFlat, frame: Frame, *, inch: bool) -> list[Callable]:
    """The flat's page, and one more where its cautions don't fit on it."""
    caution_room = _right_room(flat, frame)
    width = MAP_MM - 4
    size = fitting_size(lambda s: _cautions_height(flat.cautions, width, s), caution_room, 11.5)
    kept, rest = list(flat.cautions), []
    while kept and _cautions_height(kept, width, size) > caution_room:
        rest.insert(0, kept.pop())
    if rest:  # the ones about health stand last: they are not to be parted from what is left of the list
        kept, rest = [], list(flat.cautions)

    def first(c, f: Frame) -> None:
        _work_page(c, f, flat, kept, size, inch)

    def second(c, f: Frame) -> None:
        y = _header(c, f, flat)
        text(c, f.left, y - 10, "Mind", 20, bold=True, colour=BLACK)
        y -= 20
        fits = fitting_size(lambda s: _cautions_height(rest, f.width, s), y - f.bottom, 15)
        for words in rest:
            y = _caution(c, f.left, y, f.width, words, fits)

    return [first, second] if rest else [first]


def _work_page(c, frame: Frame, flat: CrewFlat, cautions, caution_pt, inch) -> None:
    y = _header(c, frame, flat)
    y = _counts(c, frame, y, flat)
    _drawing(c, Frame(frame.left, y - DRAWING_MM, frame.width, DRAWING_MM), flat, inch)
    y -= DRAWING_MM + 3
    line(c, frame.left, y, frame.right, y, BLACK, 0.8)
    left = frame.width - MAP_MM - 5
    size = fitting_size(lambda s: numbered_height(flat.steps, left, s), y - 6 - frame.bottom, 14.5, 9)
    numbered(c, frame.left, y - 6, left, flat.steps, size)
    x = frame.right - MAP_MM
    y = _map(c, x, y - 3, flat)
    if not cautions and flat.cautions:
        text(c, x + 4, y - 6, "MIND: see the next page", 13, bold=True, colour=BLACK)
    elif cautions:
        text(c, x + 4, y - 6, "Mind", 13, bold=True, colour=BLACK)
        y -= 12
        for words in cautions:
            y = _caution(c, x + 4, y, MAP_MM - 4, words, caution_pt)


def _caution(c, x, y, width, words, size) -> float:
    c.setFillGray(BLACK)
    c.rect(x, y + 0.2, 0.18 * size, 0.18 * size, stroke=0, fill=1)
    return flow(c, x + 4, y, width - 4, words, size) - 0.1 * size


def _cautions_height(items, width, size) -> float:
    return sum(height_of(w, width - 4, size) + 0.1 * size for w in items)


def _right_room(flat: CrewFlat, frame: Frame) -> float:
    used = HEADER_MM + COUNTS_MM + DRAWING_MM + 3 + 3 + _map_height(flat) + 12
    return frame.height - used


def _header(c, frame: Frame, flat: CrewFlat) -> float:
    """Number, crop, variety, what to do and by when; returns the height below it."""
    top = frame.top
    box(c, frame.left, top - 32, 52, 32, WHITE, edge=BLACK)
    stroke(c, BLACK, 1.4)
    c.rect(frame.left, top - 32, 52, 32, stroke=1, fill=0)
    text(c, frame.left + 3, top - 6, "FLAT", 12, bold=True, colour=BLACK)
    if flat.part:
        fitted(c, frame.left + 17, top - 6, 33, flat.part, 14, bold=True)
    number = str(flat.number)
    text(c, frame.left + 26, top - 28, number, min(62, 135 / max(2, len(number))), bold=True, align="centre",
         colour=BLACK)
    x, wide = frame.left + 57, frame.width - 57
    fitted(c, x, top - 9, wide, flat.crop, 28, bold=True)
    _two_lines(c, x, top - 17, wide, flat.variety)
    fitted(c, x, top - 30.5, wide, f"{flat.do}, {flat.when}", 16, bold=True)
    return top - HEADER_MM


def _two_lines(c, x, y, width, words) -> None:
    """A long name goes over two lines before it is cut."""
    if width_of(plain(words), 18, False) <= width:
        text(c, x, y, plain(words), 18, colour=BLACK)
        return
    first, *rest = lines_of(words, width, 13)
    text(c, x, y + 0.5, first, 13, colour=BLACK)
    fitted(c, x, y - 5.5, width, " ".join(rest), 13)


def _counts(c, frame: Frame, y, flat: CrewFlat) -> float:
    counts, plus = flat.counts, "+" if flat.counts.unknown else ""
    if counts.pots is None:
        boxes = [("count them", "pots and labels")]
    else:
        boxes = [(f"{counts.pots}{plus}", "pots and labels"), (str(counts.singles), "single plants"),
                 (str(counts.doubles), "cells to thin"), (str(counts.empty), "empty cells")]
        if counts.unknown:
            boxes.append((str(counts.unknown), "not counted"))
    x, wide = frame.left, 30.0 if len(boxes) > 1 else 62.0
    for number, words in boxes:
        text(c, x + 1, y - 9, number, 26 if len(boxes) > 1 else 20, bold=True, colour=BLACK)
        text(c, x + 1, y - 14, words, 10.5, colour=BLACK)
        x += wide
    text(c, x + 1, y - 4, "Pot", 10.5, colour=BLACK)
    room = frame.right - x - 1
    size = fitting_size(lambda s: height_of(flat.pot or "as usual", room, s, True), 12.5, 14, 9)
    flow(c, x + 1, y - 9.5, room, flat.pot or "as usual", size, bold=True)
    line(c, frame.left, y - COUNTS_MM + 3, frame.right, y - COUNTS_MM + 3, BLACK, 0.8)
    return y - COUNTS_MM


def _drawing(c, area: Frame, flat: CrewFlat, inch: bool) -> None:
    deep = flat.deep or "How deep is not known: as deep as it stood"
    size = fitting_size(lambda s: height_of(deep, area.width, s, True), 14, 17, 11)
    y = flow(c, area.left, area.top - 3, area.width, deep, size, bold=True)
    if flat.plan is None:
        flow(c, area.left, y - 4, area.width, "No drawing: the flat's layout is not known.", 13)
        return
    note = "drawn: one of the flat's smaller plants, three in four are taller"
    if flat.plan.rosette:
        note = "plug and pot are drawn to scale"
    elif not flat.plan.measured:
        note = "the plant was not measured: drawn as an example, go by the words"
    draw_depth(c, area.left, area.bottom, area.width, y + 2 - area.bottom, flat.plan, inch=inch)
    text(c, area.right, area.bottom + 1, note, 9, align="right", colour=BLACK)


def _map_height(flat: CrewFlat) -> float:
    names = map_names(flat)
    if not names:
        return 12.0
    return 11 + len(names) * _cell_mm(names) + 5.0 * ((len(_legend(flat)) + 1) // 2) + 2


def _cell_mm(names) -> float:
    return min(6.6, (MAP_MM - 8) / len(names[0]), 62 / len(names))


def _legend(flat: CrewFlat) -> list[tuple[str, str]]:
    used = set(flat.marks.values())
    return [entry for entry in (*LEGEND, ("unknown", "not counted")) if entry[0] in used]


def _map(c, x, y, flat: CrewFlat) -> float:
    """Cells as they lie when the flat's tag hangs on the far side, row A; returns the height below."""
    names = map_names(flat)
    if not names:
        flow(c, x + 4, y - 5, MAP_MM - 4, "No cell map: the cells were not counted one by one.", 10.5)
        return y - _map_height(flat)
    side, left, top = _cell_mm(names), x + 6, y - 9
    text(c, left, y - 3.5, "Row A: the side where the flat's tag hangs", 9, bold=True, colour=BLACK)
    for column in range(0, len(names[0]), 1 if side > 4.5 else 4):
        text(c, left + (column + 0.5) * side, top + 0.8, str(column + 1), 8.5, align="centre", colour=BLACK)
    for row, line_ in enumerate(names):
        text(c, left - 1.2, top - (row + 0.5) * side - 1.1, line_[0][:1], 8.5, bold=True, align="right", colour=BLACK)
        for column, cell in enumerate(line_):
            if cell in flat.marks:
                _mark(c, left + column * side, top - (row + 1) * side, side, flat.marks[cell])
    y = top - len(names) * side - 5
    for place, (kind, words) in enumerate(_legend(flat)):
        at_x, at_y = left + (place % 2) * 33, y - 5.0 * (place // 2)
        _mark(c, at_x, at_y - 0.8, 4.2, kind)
        text(c, at_x + 5.5, at_y, words, 9, colour=BLACK)
    return y - 5.0 * ((len(_legend(flat)) + 1) // 2) - 2 + 5


def _mark(c, x, y, side, kind) -> None:
    """Empty: crossed out. One plant: a ring. Pot first: a black dot. More plants: 2. Not counted: ?"""
    stroke(c, BLACK, 0.25)
    c.rect(x, y, side, side, stroke=1, fill=0)
    middle_x, middle_y = x + side / 2, y + side / 2
    if kind == EMPTY:
        for step in (side, -side):
            line(c, x, middle_y - step / 2, x + side, middle_y + step / 2, BLACK, 0.25)
    elif kind in (SINGLE, FIRST):
        stroke(c, BLACK, 0.3)
        c.setFillGray(BLACK)
        c.circle(middle_x, middle_y, side * (0.34 if kind == FIRST else 0.2), stroke=1, fill=int(kind == FIRST))
    else:
        size = 0.8 * side * MM
        text(c, middle_x, middle_y - 0.28 * side, "2" if kind == DOUBLE else "?", size, bold=True, align="centre",
             colour=BLACK)


def strip(c, area: Frame, flat: CrewFlat, *, inch: bool) -> None:
    """A third of a page: what is special about the flat, beside a small drawing."""
    top, wide = area.top, 112.0
    stroke(c, BLACK, 1.1)
    c.rect(area.left + 0.5, top - 20, 37, 19, stroke=1, fill=0)
    text(c, area.left + 2.5, top - 5, "FLAT", 9, bold=True, colour=BLACK)
    fitted(c, area.left + 13, top - 5, 23, flat.part or "", 11, bold=True)
    text(c, area.left + 19, top - 17.5, str(flat.number), 36, bold=True, align="centre", colour=BLACK)
    x = area.left + 41
    fitted(c, x, top - 7, wide - 41, flat.crop, 19, bold=True)
    fitted(c, x, top - 13, wide - 41, flat.variety, 14)
    fitted(c, x, top - 19, wide - 41, f"{flat.do}, {flat.when}", 12, bold=True)
    fitted(c, area.left, top - 27, wide, _counts_line(flat.counts), 13, bold=True)
    fitted(c, area.left, top - 33, wide, f"Pot: {flat.pot or 'as usual'}", 12)
    must = [words for words in (flat.deep, *flat.special) if words]
    _short_list(c, area.left, top - 40, wide, area.bottom, must, [w for w in flat.cautions if w not in must])
    if flat.plan is not None:
        draw_depth(c, area.left + wide + 4, area.bottom + 1, area.width - wide - 4, area.height - 2, flat.plan,
                   inch=inch, labels=False)


def _counts_line(counts: Counts) -> str:
    if counts.pots is None:
        return "Count the plants: pots and labels to match"
    more = [f"{n} {words}" for n, words in ((counts.doubles, "to thin"), (counts.empty, "empty"),
                                            (counts.unknown, "not counted")) if n]
    return ", ".join([f"{pots_said(counts)} and labels", *more])


def _short_list(c, x, y, width, bottom, must: list[str], rest: list[str]) -> None:
    """As large as it fits. Of the rest what finds no room is left to the full sheet, and the last line says so."""
    room = y - bottom
    size = fitting_size(lambda s: _cautions_height([*must, *rest], width, s), room, 13)
    shown = [*must, *rest]
    while len(shown) > len(must) and _cautions_height(shown, width, size) > room:
        rest = rest[:-1]
        shown = [*must, *rest, "There is more to mind: see the full sheet."]
        if not rest:
            break
    size = fitting_size(lambda s: _cautions_height(shown, width, s), room, size, 7)
    for words in shown:
        y = _caution(c, x, y, width, words, size)

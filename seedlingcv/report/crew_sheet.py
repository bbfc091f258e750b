"""The crew sheet: a PDF for the potting bench, large type in black and white.

First the order of work with what to set out, then a page for each flat to pot up (or three to a page), and last the
labels to write and the flats that are left alone today, with why. Sizes in mm, y up (`tags/draw.py`).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from seedlingcv.errors import OutputError
from seedlingcv.files import write_whole
from seedlingcv.plan.potup import Entry
from seedlingcv.report import crew_page as page
from seedlingcv.report import words
from seedlingcv.report.crew_facts import (
    SAFETY,
    CrewFlat,
    LabelRow,
    OtherFlat,
    crew_flats,
    general_steps,
    label_rows,
    other_flats,
)
from seedlingcv.tags.draw import BLACK, MM, box, line, text
from seedlingcv.tags.sheet import MARGIN_MM, PAPERS_MM

Draw = Callable[[object, page.Frame], None]
STRIPS = 3  # flats to a page of the compact sheet
ROW_MM, ORDER_ROW_MM = 11.0, 15.0
TITLE_MM = 30.0  # a title with up to two lines under it
SAFETY_PT, SAFETY_LEAST_PT = 17.0, 10.5
SAFETY_ASIDE = 2.6  # mm for the headings, a point of their size
LABEL_COLUMNS = ("order", "crop", "variety", "labels", "uncounted_cells", "flats", "pots")
FORMULA_STARTS = ("=", "+", "-", "@", "\t")  # what a spreadsheet would reckon with


def write_crew_sheet(path: Path, entries: Sequence[Entry], *, today: date, inch: bool = False, compact: bool = False,
                     paper: str = "a4", own_crops: Path | None = None) -> int:
    """Write the PDF and return how many pages it has. A file already there stays whole if writing fails.

    compact : three flats to a page instead of one; paper : "a4" or "letter"; own_crops : the grower's crop file
    Raises OutputError for an unknown paper or a place that can't be written.
    """
    pdf, pages = crew_pdf(entries, today=today, inch=inch, compact=compact, paper=paper, own_crops=own_crops)
    write_whole(path, pdf, what="the crew sheet ", next_step="Name a file in a folder that you may write to.")
    return pages


def write_label_list(path: Path, entries: Sequence[Entry], *, inch: bool = False) -> None:
    """The labels as CSV, columns `LABEL_COLUMNS`, in working order. Raises OutputError."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(LABEL_COLUMNS)
    for order, row in enumerate(label_rows(entries, inch=inch), 1):
        writer.writerow([order, _cell(row.crop), _cell(row.variety), row.labels, row.uncounted,
                         _cell("; ".join(row.flats)), _cell("; ".join(row.pots))])
    write_whole(path, out.getvalue())


def _cell(words_: str) -> str:
    """A spreadsheet must not take a variety's name for a formula."""
    return f"'{words_}" if words_.startswith(FORMULA_STARTS) else words_


def crew_pdf(entries: Sequence[Entry], *, today: date, inch: bool = False, compact: bool = False, paper: str = "a4",
             own_crops: Path | None = None) -> tuple[bytes, int]:
    """The PDF's bytes and its number of pages. Raises OutputError for an unknown paper."""
    if paper not in PAPERS_MM:
        raise OutputError(f"paper {paper!r} is unknown.", next_step=f"Use one of: {', '.join(PAPERS_MM)}.")
    from reportlab.pdfgen.canvas import Canvas

    flats = crew_flats(entries, today=today, inch=inch, own_crops=own_crops)
    width, height = PAPERS_MM[paper]
    frame = page.Frame(MARGIN_MM, MARGIN_MM + 7, width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - 7)
    drawings = _order(flats, today, frame)
    if compact and flats:
        drawings.append(_every_flat(inch))
        drawings += [_strips(flats[i : i + STRIPS], inch) for i in range(0, len(flats), STRIPS)]
    elif flats:
        drawings += [draw for flat in flats for draw in page.work_pages(flat, frame, inch=inch)]
    labels = label_rows(entries) if flats else []
    drawings += _last_pages(labels, other_flats(entries, today=today), frame)
    buffer = io.BytesIO()
    c = Canvas(buffer, pagesize=(width * MM, height * MM), invariant=1)
    c.setTitle(f"Crew sheet, {today.isoformat()}")
    c.setAuthor("seedlingcv")
    for number, draw in enumerate(drawings, 1):
        c.scale(MM, MM)
        draw(c, frame)
        foot = f"{words.day(today, today)} {today.year}"
        text(c, frame.left, MARGIN_MM, foot, 10, colour=BLACK)
        text(c, frame.right, MARGIN_MM, f"page {number} of {len(drawings)}", 10, bold=True, align="right", colour=BLACK)
        c.showPage()
    c.save()
    return buffer.getvalue(), len(drawings)


def _title(c, frame: page.Frame, title: str, under: str = "") -> float:
    text(c, frame.left, frame.top - 9, title, 28, bold=True, colour=BLACK)
    y = frame.top - 12
    if under:
        y = page.flow(c, frame.left, y - 4, frame.width, under, 13)
    line(c, frame.left, y - 1, frame.right, y - 1, BLACK, 0.8)
    return y - 4


def _order(flats: list[CrewFlat], today: date, frame: page.Frame) -> list[Draw]:
    """The order of work and what to set out; below them, where there is room, safety."""
    rows = max(1, int((frame.height - 60) / ORDER_ROW_MM))
    groups = [flats[i : i + rows] for i in range(0, len(flats), rows)] or [[]]
    room = frame.height - 22 - ORDER_ROW_MM * len(groups[-1]) - _set_out_mm(flats)
    with_safety = room > _safety_mm(frame.width, SAFETY_LEAST_PT)

    def sheet(group: list[CrewFlat], first: int, last: bool) -> Draw:
        def draw(c, f) -> None:
            y = _order_rows(c, f, group, first, len(flats), today)
            if last and flats:
                y = _set_out(c, f, y, flats)
            if last and flats and with_safety:
                line(c, f.left, y, f.right, y, BLACK, 0.8)
            if last and with_safety:
                _safety(c, f, y)

        return draw

    drawings = [sheet(group, rows * i, i == len(groups) - 1) for i, group in enumerate(groups)]
    return drawings if with_safety else [*drawings, lambda c, f: _safety(c, f, f.top)]


def _order_rows(c, frame, group, first, total, today) -> float:
    many = "1 flat" if total == 1 else f"{total} flats"
    under = f"{many} to pot up, in this order. Tick off what is done." if total else "No flat is to be potted up today."
    y = _title(c, frame, f"Potting up, {words.day(today, today)}", under)
    for place, flat in enumerate(group, first + 1):
        box(c, frame.left, y - 9, 8, 8, 1.0, edge=BLACK)
        text(c, frame.left + 12, y - 8, f"{place}.", 16, colour=BLACK)
        name = f"FLAT {flat.number}" + (f" {flat.part}" if flat.part else "")
        page.fitted(c, frame.left + 24, y - 8, 52, name, 19, bold=True)
        page.fitted(c, frame.left + 79, y - 5.5, frame.width - 79 - 30, page.name(flat), 14, bold=True, least=11)
        page.fitted(c, frame.left + 79, y - 11, frame.width - 79 - 30, f"{flat.do}, {flat.when}", 12)
        text(c, frame.right, y - 7, page.pots_said(flat.counts), 17, bold=True, align="right", colour=BLACK)
        line(c, frame.left, y - 13, frame.right, y - 13, BLACK, 0.2)
        y -= ORDER_ROW_MM
    return y


def _totals(flats: list[CrewFlat]) -> list[tuple[str, int, bool]]:
    """(pot, how many, whether some cells or flats were not counted)."""
    pots: dict[str, list[CrewFlat]] = {}
    for flat in flats:
        pots.setdefault(flat.pot or "pot not known", []).append(flat)
    return [(pot, sum(f.counts.pots or 0 for f in found), any(f.counts.unknown for f in found))
            for pot, found in pots.items()]


def _set_out_mm(flats: list[CrewFlat]) -> float:
    return 26 + 8 * len(_totals(flats)) if flats else 0


def _set_out(c, frame, y, flats: list[CrewFlat]) -> float:
    text(c, frame.left, y - 7, "Set out", 18, bold=True, colour=BLACK)
    y -= 15
    totals = _totals(flats)
    for pot, number, more in totals:
        plus = "+" if more else ""
        page.fitted(c, frame.left, y, frame.width, f"{number}{plus} pots, clean and dry: {pot}", 14)
        y -= 8
    plus = "+" if any(more for *_, more in totals) else ""
    labels = sum(number for _, number, _ in totals)
    rest = "pencil or UV-fast ink, mix, scissors, water"
    page.fitted(c, frame.left, y, frame.width, f"{labels}{plus} labels, {rest}", 14)
    return y - 6


def _safety(c, frame, top) -> None:
    """As large as the room below `top` allows."""
    size = page.fitting_size(lambda s: _safety_mm(frame.width, s), top - frame.bottom, SAFETY_PT, SAFETY_LEAST_PT)
    text(c, frame.left, top - 8, "Safety", 18, bold=True, colour=BLACK)
    y, aside = top - 10 - 0.5 * size, SAFETY_ASIDE * size
    for heading, told in SAFETY:
        text(c, frame.left, y, heading, size, bold=True, colour=BLACK)
        y = page.flow(c, frame.left + aside, y, frame.width - aside, told, size) - 0.15 * size


def _safety_mm(width: float, size: float) -> float:
    lines = sum(page.height_of(told, width - SAFETY_ASIDE * size, size) + 0.15 * size for _, told in SAFETY)
    return 10 + 0.5 * size + lines


def _every_flat(inch: bool) -> Draw:
    def draw(c, frame) -> None:
        y = _title(c, frame, "For every flat", "The next pages say what is special about each.")
        page.numbered(c, frame.left, y - 6, frame.width, general_steps(inch=inch), 18)

    return draw


def _strips(flats: Sequence[CrewFlat], inch: bool) -> Draw:
    def draw(c, frame) -> None:
        tall = frame.height / STRIPS
        for place, flat in enumerate(flats):
            top = frame.top - place * tall
            page.strip(c, page.Frame(frame.left, top - tall + 3, frame.width, tall - 3), flat, inch=inch)
            line(c, frame.left, top - tall + 1, frame.right, top - tall + 1, BLACK, 0.8)

    return draw


def _last_pages(labels: list[LabelRow], others: list[OtherFlat], frame) -> list[Draw]:
    """Labels, then the flats that are left alone: on one page where both fit."""
    label_pages, other_pages = _labels(labels, frame) if labels else [], _others(others, frame)
    used = TITLE_MM + ROW_MM * (len(labels) + 1)
    if len(label_pages) != 1 or len(other_pages) != 1 or used + TITLE_MM + _others_mm(others, frame) > frame.height:
        return [*label_pages, *other_pages]

    def both(c, f) -> None:
        label_pages[0](c, f)
        other_pages[0](c, page.Frame(f.left, f.bottom, f.width, f.height - used))

    return [both]


def _labels(rows: list[LabelRow], frame) -> list[Draw]:
    per_page = int((frame.height - 40) / ROW_MM)
    total, more = sum(r.labels for r in rows), any(r.uncounted for r in rows)
    note = "One label a pot, before the pot is filled."
    note += " + means: some cells could not be counted, take a few more." if more else ""

    def sheet(some: Sequence[LabelRow], first: int, last: bool) -> Draw:
        def draw(c, f) -> None:
            y = _title(c, f, "Labels to write", note)
            for place, row in enumerate(some, first + 1):
                text(c, f.left, y - 7, f"{place}.", 13, colour=BLACK)
                page.fitted(c, f.left + 12, y - 7, f.width - 86, row.variety or row.crop.capitalize(), 17, bold=True)
                under = row.crop.capitalize() if row.variety else ""
                page.fitted(c, f.right - 72, y - 5.5, 50, f"flat {', '.join(row.flats)}", 11)
                page.fitted(c, f.right - 72, y - 9.8, 50, under, 11)
                text(c, f.right, y - 7.5, f"{row.labels}{'+' if row.uncounted else ''}", 20, bold=True, align="right",
                     colour=BLACK)
                line(c, f.left, y - ROW_MM, f.right, y - ROW_MM, BLACK, 0.2)
                y -= ROW_MM
            if last:
                text(c, f.right, y - 8, f"together {total}{'+' if more else ''}", 18, bold=True, align="right",
                     colour=BLACK)

        return draw

    starts = range(0, max(1, len(rows)), per_page)
    return [sheet(rows[i : i + per_page], i, i + per_page >= len(rows)) for i in starts]


def _other_mm(row: OtherFlat, frame) -> float:
    return 11 + page.height_of(row.why, frame.width - 30, 12)


def _others_mm(rows: list[OtherFlat], frame) -> float:
    return sum(_other_mm(row, frame) for row in rows)


def _others(rows: list[OtherFlat], frame) -> list[Draw]:
    """Pages of flats that are left alone, each with why; one page even where there are none."""
    pages: list[list[tuple[OtherFlat, float]]] = [[]]
    room = frame.height - 30
    for row in rows:
        tall = _other_mm(row, frame)
        if pages[-1] and sum(t for _, t in pages[-1]) + tall > room:
            pages.append([])
        pages[-1].append((row, tall))

    def sheet(some) -> Draw:
        def draw(c, f) -> None:
            under = "Leave these flats alone and say so to whoever plans the work." if rows else "None."
            y = _title(c, f, "Not to be potted up today", under)
            for row, tall in some:
                page.fitted(c, f.left, y - 8, 28, row.place, 20, bold=True)
                page.fitted(c, f.left + 30, y - 6, f.width - 30 - 62, row.crop, 14, bold=True)
                page.fitted(c, f.right - 60, y - 6, 60, row.do.upper(), 14, bold=True)
                page.flow(c, f.left + 30, y - 11.5, f.width - 30, row.why, 12)
                line(c, f.left, y - tall + 1, f.right, y - tall + 1, BLACK, 0.2)
                y -= tall

        return draw

    return [sheet(some) for some in pages]

"""Lights over the shelves, and flats that were moved: `lights.csv` and `moves.csv`, or workbooks of these names.

    shelf,light,type,spectrum,ppfd,hours,distance_mm,red_far_red,window_side,from,to
    rack 2,old panel,LED panel,white 4000 K,180 210 190 / 170 200 185,16,300,,row A,2025-02-01,

    flat,date,shelf,light
    31,2025-03-01,rack 3,

`ppfd` at the canopy in µmol m-2 s-1: one value, or readings as a grid, row A first, its rows parted by `/`, `;` or new
lines. A row is one light over a shelf. It counts from `from` (empty: always) until `to` or, where there is no `to`,
until the shelf's next light begins. A row without a shelf describes the light that the register names of flats without
a shelf.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.records import sheet
from seedlingcv.records.columns import FLAT, LENGTH, LIGHT, NUMBER, SHELF, Figure, Kind, Line, read_figure, read_lines
from seedlingcv.records.history import SIDES, Lighting

LEAST_PPFD, MOST_PPFD = 1, 3000  # µmol m-2 s-1; full summer sun is about 2000 (common practice, no source)
NOT_LUX = ("lux and foot-candles weigh light as the eye sees it, and how much PPFD that is depends on the lamp; "
           "measure PPFD, in µmol m-2 s-1, with a quantum meter")
SIDE_WORDS = {"a": "row a", "row 1": "row a", "first row": "row a", "1": "column 1", "first column": "column 1"}
DISTANCE = LENGTH | {"m": 1000.0, "ft": 12 * LENGTH["in"]}
PPFD = Figure("ppfd", ("ppfd", "ppf", "par", "canopy_ppfd", "ppfd_at_canopy", "umol", "umol_m2_s"),
              NUMBER | {"umol": 1.0}, LEAST_PPFD, MOST_PPFD)
HOURS = Figure("hours", ("hours", "hours_per_day", "hours_a_day", "hours_of_light", "light_hours", "photoperiod",
                         "day_length"), NUMBER | {"h": 1.0}, 0, 24)
LIGHTS = Kind(
    "lights file", "lights", "shelf,light,type,spectrum,ppfd,hours,distance_mm,red_far_red,window_side,from,to", {
        **SHELF, **LIGHT, "type": ("kind", "lamp_type", "light_type", "fixture_type", "light_source"),
        "spectrum": ("colour", "color", "light_colour", "light_color", "colour_temperature", "color_temperature"),
        "window_side": ("window", "side_of_window", "faces_window"),
        "from": ("start", "since", "begin", "first_day", "from_date", "date_from", "start_date", "installed"),
        "to": ("end", "until", "till", "last_day", "to_date", "date_to", "end_date", "removed")},
    needs=("light",),
    figures=(PPFD, HOURS,
             Figure("distance_mm", ("distance", "lamp_distance", "distance_to_canopy", "height", "lamp_height",
                                    "mounting_height", "hanging_height"), DISTANCE, 10, 3000),
             Figure("red_far_red", ("red_far_red", "red_to_far_red", "red_far_red_ratio", "r_fr", "r_fr_ratio"),
                    NUMBER, 0.01, 100)),
    refused=dict.fromkeys(("lux", "klux", "kilolux", "foot_candles", "footcandles", "fc"), NOT_LUX),
    unread=("dli", "dli_mol"))  # reckoned from PPFD and hours
MOVES = Kind("moves file", "moves", "flat,date,shelf,light", {
    **FLAT, "date": ("day", "moved", "moved_on", "date_moved", "from", "since"), **SHELF, **LIGHT}, ("flat", "date"))


@dataclass(frozen=True)
class Move:
    """From `day` on the flat stands on `shelf`. `light` only where no shelf says it."""

    flat: int
    day: date
    shelf: str | None = None
    light: str | None = None


def read_lights(path: Path) -> tuple[list[Lighting], list[str]]:
    """The lights in the file's order and what could not be used.

    Raises RegisterError if the file can't be read or has no column named light.
    """
    lines = read_lines(path, LIGHTS)
    decimal_comma = lines.separator in (";", "\t")

    def lighting(line: Line, wrong: list[str]) -> tuple[int, Lighting] | None:
        found = _lighting(line, wrong, decimal_comma=decimal_comma)
        return (line.at, found) if found else None

    return _one_at_a_time(lines.read(lighting), path.name, lines.complaints), lines.complaints


def _lighting(line: Line, wrong: list[str], *, decimal_comma: bool) -> Lighting | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    kind = line.text("type") or None
    light = line.text("light") or kind
    if light is None:
        wrong.append("the light has no name, so the row is left out")
        return None
    days = {key: sheet.day(line.text(key), wrong, f'date in "{key}"') for key in ("from", "to")}
    since, until = days.values()
    if until and until.year == date.max.year:  # what databases write for no end
        until = None
    if any(line.text(key) and day is None for key, day in days.items()):
        wrong.append("without that date nobody knows when the light was on, so the row is left out")
        return None
    if since and until and until < since:
        wrong.append(f"the light ends on {until}, before it begins on {since}, so the row is left out")
        return None
    figures: dict[str, float] = {}
    ppfd: tuple[tuple[float, ...], ...] = ()
    for column, text in line.figures:
        assert column.figure is not None
        if column.figure is PPFD:
            ppfd = _readings(text, wrong, decimal_comma=decimal_comma)
            continue
        value = read_figure(column, _hours(text) if column.figure is HOURS else text, wrong) if text else None
        if value is not None:
            figures[column.figure.field] = value
    return Lighting(line.text("shelf"), light, kind, line.text("spectrum") or None, ppfd, since=since, until=until,
                    window_side=_side(line.text("window_side"), wrong), **figures)


def _hours(text: str) -> str:
    """`16:30` and `16 h` as a number of hours."""
    clock = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])(?::00)?", text)
    if clock:
        return f"{int(clock[1]) + int(clock[2]) / 60:g}"
    return re.sub(r" ?(h|hrs?|hours?)\.?$", "", text.lower())


def _readings(text: str, wrong: list[str], *, decimal_comma: bool) -> tuple[tuple[float, ...], ...]:
    """A grid of PPFD readings; empty where nothing is written or not all of it can be told."""
    said = sheet.short(text)
    if re.search(r"lux|candle|\bfc\b", text.lower()):
        wrong.append(f'the PPFD "{said}" is left out: {NOT_LUX}')
        return ()
    text = re.sub(r"[µμu]mol( ?[/·*]? ?m[⁻−^-]*[2²] ?[/·*]? ?s([⁻−^-]*[1¹])?)?", " ", text.lower())
    if decimal_comma:
        text = re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text)
    elif re.search(r"[0-9],[0-9]", text):
        wrong.append(f'the PPFD "{said}" is left out: nobody knows whether its commas part readings or mean decimals; '
                     "put a blank between readings and write decimals with a point")
        return ()
    rows = [row.replace(",", " ").split() for row in re.split(r"[/;\n]", text)]
    grid = tuple(tuple(r for r in map(sheet.read_number, row) if r is not None) for row in rows if row)
    if sum(map(len, grid)) < sum(map(len, rows)):
        wrong.append(f'the PPFD "{said}" is left out; write one value, or readings as 180 210 190 / 170 200 185')
        return ()
    if not all(LEAST_PPFD <= reading <= MOST_PPFD for row in grid for reading in row):
        wrong.append(f'the PPFD "{said}" is left out: readings lie between {LEAST_PPFD} and {MOST_PPFD} µmol m-2 s-1')
        return ()
    if len({len(row) for row in grid}) > 1:
        wrong.append(f'the PPFD "{said}" is left out: its rows have different numbers of readings')
        return ()
    return grid


def _side(text: str, wrong: list[str]) -> str | None:
    """One of SIDES, or None where nothing is written."""
    words = re.sub(r"\b(the|side|end|of|flats?)\b", " ", text.lower().replace("-", " ").replace("_", " ")).split()
    said = re.sub(r"\bcol\b", "column", " ".join(words))
    found = next((side for side in SIDES if SIDE_WORDS.get(said, said) == side.lower()), None)
    if found is None and text:
        wrong.append(f'the window side "{sheet.short(text)}" is left out; write which side of the flats faces the '
                     f"window: {', '.join(SIDES[:-1])} or {SIDES[-1]}")
    return found


def _one_at_a_time(found: list[tuple[int, Lighting]], name: str, complaints: list[str]) -> list[Lighting]:
    """Lights of one shelf that are said to be on together: the one that began first counts, since the PPFD of two adds
    up only where it was measured under both."""
    kept: list[tuple[int, Lighting]] = []
    left = list(found)
    while left:
        at, light = left.pop(left.index(min(left, key=lambda row: row[1].since or date.min)))
        rival = next(((n, x) for n, x in kept if _same_place(x, light) and _together(x, light)), None)
        if rival is None:
            kept.append((at, light))
            continue
        first_at, first = rival
        begins = first.until + timedelta(days=1) if first.until and first.since != light.since else None
        if begins and (light.until is None or light.until >= begins):
            left.append((at, replace(light, since=begins)))
        until = f"until {first.until}, and counts until then" if begins else "from the same day, and counts"
        complaints.append(f"{name} row {at}: the light of row {first_at} is on there {until}. If both are on, measure "
                          "the PPFD under both together and write one row for the two; PPFD measured apart can't be "
                          "added.")
    return [light for _, light in sorted(kept, key=lambda row: row[0])]


def _together(first: Lighting, second: Lighting) -> bool:
    """Whether both are said to be on, given that the first began no later; on the day of a change both may be."""
    if first.since == second.since:
        return True
    return first.until is not None and second.since is not None and first.until > second.since


def _same_place(one: Lighting, other: Lighting) -> bool:
    """The same shelf; lights without a shelf are told by their names."""
    if one.shelf.casefold() != other.shelf.casefold():
        return False
    return bool(one.shelf) or one.light.casefold() == other.light.casefold()


def read_moves(path: Path) -> tuple[list[Move], list[str]]:
    """The moves in the file's order and what could not be used.

    Raises RegisterError if the file can't be read or lacks the columns flat, date and one of shelf and light.
    """
    lines = read_lines(path, MOVES)
    if not any(c and c.key in ("shelf", "light") for c in lines.columns):
        raise RegisterError("The moves file has no column named shelf.", where=path.name,
                            next_step=f"Its first line must name the columns: {MOVES.header}.")
    seen_at: dict[tuple[int, date], int] = {}

    def first(line: Line, wrong: list[str]) -> Move | None:
        move = _move(line, wrong)
        at = seen_at.setdefault((move.flat, move.day), line.at) if move else line.at
        if move and at != line.at:
            wrong.append(f"row {at} has a move of flat {move.flat} on that day already; that one counts")
            return None
        return move

    return lines.read(first), lines.complaints


def _move(line: Line, wrong: list[str]) -> Move | None:
    """None if the row can't be used. What is wrong is added to `wrong`."""
    flat = sheet.flat_number(line.text("flat"), wrong)
    day = sheet.needed_day(line.text("date"), wrong, "date")
    if flat is None or day is None:
        return None
    shelf, light = line.text("shelf") or None, line.text("light") or None
    if not shelf and not light:
        wrong.append("neither shelf nor light says where the flat went, so the row is left out")
        return None
    return Move(flat, day, shelf, light)

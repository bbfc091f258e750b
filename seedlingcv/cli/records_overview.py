"""What `seedlingcv records show` says: plain lines of at most 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING

from seedlingcv.records.sheet import ranges as ranges

if TYPE_CHECKING:
    from seedlingcv.records.history import Lighting
    from seedlingcv.records.summary import Overview

WIDTH, LABEL = 80, 14
LIGHT_COLUMNS = ("Shelf", "Light", "PPFD", "Hours", "DLI", "Distance", "From", "To")
WIDTHS = (15, 15, 5, 6, 5, 9, 11, 11)  # a blank after each is in them
SOURCES = {"photo": "from photos", "ruler": "by ruler"}
BY_HAND = {"corrections": "correction", "root_checks": "root check", "potted": "potting"}


def lines_of(seen: Overview, place: str, *, inch: bool = False) -> Iterator[str]:
    yield f"Records: {place}"
    if not seen.flats and not seen.photos and not seen.lightings:
        yield "Nothing is in them yet. Add tables: `seedlingcv records add flats.csv`."
        return
    yield from _labelled("Flats", [f"{seen.flats} ({seen.potted} of them potted up)"])
    if seen.crops:
        yield from _labelled("", [f"{crop or 'crop unknown'} {number}" for crop, number in
                                  sorted(seen.crops.items(), key=lambda item: (-item[1], item[0] or ""))])
    days = [f"{seen.days[source]} flat-days {words}" for source, words in SOURCES.items() if seen.days.get(source)]
    yield from _labelled("Measured", [*days, f"{seen.first} to {seen.last}"] if days else ["nothing"])
    yield from _labelled("Photos", [f"{seen.photos}, {seen.usable} of them usable" if seen.photos else "none"])
    yield from _labelled("By hand", [counted(seen.by_hand[name], words) for name, words in BY_HAND.items()])
    if seen.lightings:
        yield ""
        yield "Lights (PPFD in µmol m-2 s-1, hours a day, DLI in mol m-2 d-1)"
        yield from _lights(seen.lightings, inch)
    if seen.places:
        yield ""
        yield f"Where the flats stand{f' on {seen.at}' if seen.at else ''}"
        for here in seen.places:
            over = f", under {here.light}" if here.light else ", light unknown"
            where = here.shelf or "shelf unknown"
            yield from _wrapped(f"{where}{over}: {ranges(here.flats)}", "  ")
    missing = list(_missing(seen))
    if missing:
        yield ""
        yield "Missing"
        for text in missing:
            yield from _wrapped(text, "  ")


def _lights(lightings: Sequence[Lighting], inch: bool) -> Iterator[str]:
    from seedlingcv.units import length

    yield _row(LIGHT_COLUMNS)
    for x in lightings:
        yield from _cells((x.shelf or "any", x.light, _rounded(x.mean_ppfd_umol, 0), _rounded(x.hours, 1),
                           _rounded(x.dli_mol, 1), length(x.distance_mm, inch=inch), _day(x.since), _day(x.until)))


def _cells(cells: Sequence[str]) -> Iterator[str]:
    """A row of the table; names that are too long go on in the next line."""
    split = [textwrap.wrap(cell, width - 1) or [""] for cell, width in zip(cells, WIDTHS, strict=True)]
    for turn in range(max(map(len, split))):
        yield _row([lines[turn] if turn < len(lines) else "" for lines in split])


def _row(cells: Iterable[str]) -> str:
    return ("  " + "".join(f"{cell:{width}}" for cell, width in zip(cells, WIDTHS, strict=True))).rstrip()


def _missing(seen: Overview) -> Iterator[str]:
    if seen.undated:
        yield (f"The sowing date of {_flats(seen.undated)}: without it nobody can tell their age, nor whether a number "
               "is used again.")
    if seen.crops.get(None):
        yield "A crop, for some flats: without it there is no advice, and lights can't be compared."
    dark = [flat for here in seen.places if here.light is None for flat in here.flats]
    if dark:
        yield f"The light over {_flats(dark)}: write shelf or light into the register, and lights.csv."
    dim = [f"{x.light}{f' ({x.shelf})' if x.shelf else ''}" for x in seen.lightings if not x.ppfd_umol]
    if dim:
        yield f"The PPFD of {', '.join(dim)}."
    unlit = [f"{x.light}{f' ({x.shelf})' if x.shelf else ''}" for x in seen.lightings if x.hours is None]
    if unlit:
        yield f"The hours of light of {', '.join(unlit)}."


def counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _flats(numbers: Sequence[int]) -> str:
    return f"flat{'s' if len(numbers) > 1 else ''} {ranges(sorted(numbers))}"


def _labelled(label: str, items: Sequence[str]) -> list[str]:
    return textwrap.wrap(", ".join(items), WIDTH, initial_indent=f"{label:{LABEL}}", subsequent_indent=" " * LABEL)


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False)


def _rounded(value: float | None, places: int) -> str:
    return "–" if value is None else f"{value:.{places}f}"


def _day(day: date | None) -> str:
    return str(day) if day else "–"

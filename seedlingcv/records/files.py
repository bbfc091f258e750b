"""The tables that a grower keeps beside the photos: found in a folder, and told apart by their columns.

    flats         flat, and crop, variety, layout or sown, without a date   (the register)
    lights        light, and PPFD, hours or another figure of light; no flat
    moves         flat, date, and shelf or light
    corrections   flat, figure, value
    root_checks   flat, date, roots
    potted        flat, date, pot
    figures       flat, and a figure by ruler, such as stem_length_mm

A file that is called so is of that kind, if its columns allow it. Others are told by their columns as above; where they
fit several or none, a name that begins so decides (`flats_before`); else nobody guesses.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from seedlingcv.errors import RegisterError
from seedlingcv.records import lights, log, marks, register, ruler, sheet
from seedlingcv.records.columns import Kind, find_header, listed, no_column

FIGURES = "figures"
KINDS: dict[str, Kind] = {
    "flats": register.KIND, "lights": lights.LIGHTS, "moves": lights.MOVES, FIGURES: ruler.KIND,
    "root_checks": log.ROOT_CHECKS, "potted": log.POTTED, "corrections": log.CORRECTIONS}
NEEDS = ("flats: flat and crop, layout or sown. lights: light and ppfd. moves: flat, date and shelf. figures: flat and "
         "a figure such as stem_length_mm. root_checks: flat, date and roots. potted: flat, date and pot. "
         "corrections: flat, date, cell, figure, value, who and why.")


@dataclass(frozen=True)
class AnyTable:
    """kind : one of KINDS; content : what that kind's reader gives, a Register, a RulerSheet or a list"""

    path: Path
    kind: str
    content: Any
    complaints: tuple[str, ...] = ()


def flats_before(turn: int) -> str:
    """The name of a register of flats that had their numbers before, as an export writes it; turn 1 the newest."""
    return "flats_before" + (f"_{turn}" if turn > 1 else "")


def find_tables(folder: Path) -> list[Path]:
    """The grower's tables in a folder by their usual names, registers first; before them those of earlier seasons as an
    export writes them, the oldest first. Raises RegisterError."""
    earlier: list[Path] = []
    while path := sheet.find_file(folder, flats_before(len(earlier) + 1)):
        earlier.insert(0, path)
    return [*earlier, *(path for name in KINDS if (path := sheet.find_file(folder, name)))]


def read_table_of_any_kind(path: Path) -> AnyTable:
    """Raises RegisterError if the file can't be read or it can't be told what it is."""
    kind = kind_of(path)
    if kind == "flats":
        flats = register.read_register(path)
        return AnyTable(path, kind, flats, flats.complaints)
    if kind == FIGURES:
        found = ruler.read_ruler(path)
        return AnyTable(path, kind, found, (*found.complaints, *found.of_other_days))
    readers: dict[str, Callable[[Path], tuple[list[Any], list[str]]]] = {
        "lights": lights.read_lights, "moves": lights.read_moves, "root_checks": log.read_root_checks,
        "potted": log.read_pottings, "corrections": log.read_corrections}
    content, complaints = readers[kind](path)
    return AnyTable(path, kind, content, tuple(complaints))


def kind_of(path: Path) -> str:
    """One of KINDS. Raises RegisterError, naming what each needs, if the file is none of them or could be several."""
    table = sheet.read_table(path, "table")
    called = path.stem.lower().replace("-", "_").replace(" ", "_")
    allowed = [kind for kind in KINDS if set(KINDS[kind].needs) <= _named(table, KINDS[kind])[0]]
    if called in allowed:
        return called
    could_be = [kind for kind in allowed if _columns_of(table, kind)]
    if len(could_be) == 1:
        return could_be[0]
    by_name = [kind for kind in could_be or allowed if called.startswith(f"{kind}_")]
    if by_name:
        return by_name[0]
    if set(marks.KIND.needs) <= _named(table, marks.KIND)[0]:
        raise RegisterError("These are marks of fine and leggy flats, which the records don't keep.", where=path.name,
                            next_step="Give them to the list: `seedlingcv assess --marks FILE`.")
    if called in KINDS:
        kind = KINDS[called]
        raise no_column(path.name, kind, [key for key in kind.needs if key not in _named(table, kind)[0]],
                        find_header(table, kind)[3])
    several = f": it could be {' or '.join(could_be)}" if could_be else ""
    wrong = list(dict.fromkeys(said for kind in KINDS.values() for said in find_header(table, kind)[3]))
    named = f" ({'; '.join(wrong)})" if wrong and not could_be else ""
    raise RegisterError(f"It can't be told what kind of table this is{several}{named}.", where=path.name,
                        next_step=f"Name its columns, or call the file {listed(list(KINDS), 'or')}. {NEEDS}")


def _named(table: sheet.Table, kind: Kind) -> tuple[set[str], set[str]]:
    """The columns of words and the figures that the table has for a kind."""
    columns = find_header(table, kind)[2]
    return ({c.key for c in columns if c and c.key},
            {c.figure.field for c in columns if c and c.figure and not c.is_se})


def _columns_of(table: sheet.Table, kind: str) -> bool:
    """Whether the columns are those of the kind and of no other, given that it has what the kind needs."""
    keys, figures = _named(table, KINDS[kind])
    of_register = _named(table, register.KIND)[0]
    sown = of_register & {"crop", "variety", "layout", "sown"}
    measured = _named(table, ruler.KIND)[1] - {"plants"}
    if kind == "flats":
        return bool(sown) and not measured and "date" not in _named(table, lights.MOVES)[0]
    if kind == "lights":
        return bool(figures) and "flat" not in of_register
    if kind == "moves":
        return bool(keys & {"shelf", "light"}) and not sown and not measured and "roots" not in of_register
    if kind == FIGURES:
        return bool(measured)
    if kind == "root_checks":
        return not sown and not measured and not of_register & {"shelf", "light"}
    if kind == "potted":
        return "pot" in keys and not sown and not measured
    return True

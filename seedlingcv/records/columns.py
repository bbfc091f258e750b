"""Columns of a grower's tables: found by their names, however they are written, and in which unit.

`Seed lot`, `seed-lot` and `SEED_LOTS` are one name, and so are the trade's words for one thing, such as tray and flat.
A name that only looks like a known one is complained of and not used. A column of the grower's own is no trouble.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import TypeVar
from unicodedata import normalize

from seedlingcv.errors import RegisterError
from seedlingcv.records import sheet
from seedlingcv.units import MM_PER_INCH

LENGTH = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}
AREA = {"mm2": 1.0, "cm2": 100.0, "in2": MM_PER_INCH**2}
SHARE = {"": 1.0, "fraction": 1.0, "pct": 0.01}
NUMBER = {"": 1.0}
COUNTED = ("plants",)  # figures of which there are no parts
UNITS = {"inch": "in", "millimetre": "mm", "millimeter": "mm", "centimetre": "cm", "centimeter": "cm", "metre": "m",
         "meter": "m", "foot": "ft", "feet": "ft", "percent": "pct", "percentage": "pct", "sq_in": "in2",
         "sq_cm": "cm2", "sq_mm": "mm2", "degree": "deg", "hour": "h", "hr": "h", "umol_m2_s": "umol",
         "umol_m2_s1": "umol", "umol_s_m2": "umol", "umol_per_m2_per_s": "umol", "micromol": "umol"}

Names = tuple[str, ...]
FLAT: dict[str, Names] = {"flat": (
    "tray", "flat_number", "flat_no", "flat_nr", "flat_id", "tray_number", "tray_no", "tray_nr", "tray_id", "tag",
    "tag_number", "tag_no", "plug_tray", "plug_flat")}
SHELF: dict[str, Names] = {"shelf": ("rack", "bench", "shelf_name", "rack_name", "bench_name", "location")}
LIGHT: dict[str, Names] = {"light": ("lamp", "fixture", "luminaire", "light_name", "lamp_name", "fixture_name",
                                        "light_fixture", "grow_light")}
WHO: dict[str, Names] = {"who": ("by", "person", "by_whom", "initials", "checked_by", "done_by")}
T = TypeVar("T")
SEARCHED_ROWS = 10  # so far down a header is looked for, under titles and remarks
TOO_MANY = "there are more values than columns: put text with a comma in it between quotation marks"


@dataclass(frozen=True)
class Figure:
    """A column with a number: the field it fills, other names for it, the units it may be in, and what is possible."""

    field: str
    names: Names
    units: dict[str, float]  # unit in the column's name -> factor to the field's own unit; "" where none is needed
    least: float
    most: float


@dataclass(frozen=True)
class Column:
    """`key` for a column of words, else a figure with its factor; `is_se` for its standard error."""

    key: str | None = None
    figure: Figure | None = None
    factor: float = 1.0
    is_se: bool = False

    @property
    def fills(self) -> tuple[str | None, bool]:
        return self.figure.field if self.figure else self.key, self.is_se


UNREAD = Column()  # one that says again what another says


@dataclass(frozen=True)
class Kind:
    """A kind of table.

    name : what messages call it; file : its usual name in a folder; header : what its first line may look like
    keys : its columns of words and other names for each; needs : those it can't do without
    refused : columns that can't be used, and why; unread : columns that need not be read
    """

    name: str
    file: str
    header: str
    keys: Mapping[str, Names]
    needs: Names
    figures: tuple[Figure, ...] = ()
    refused: Mapping[str, str] = field(default_factory=dict)
    unread: Names = ()


@dataclass(frozen=True)
class Line:
    """A row. `at` : its number; `texts` : words by key; `figures` : numbers as written; `extra` : columns of the
    grower's own; `wrong` : what is wrong with the row itself."""

    at: int
    texts: dict[str, str]
    figures: tuple[tuple[Column, str], ...]
    extra: dict[str, str]
    wrong: tuple[str, ...] = ()

    def text(self, key: str) -> str:
        """In one line, empty where nothing is written."""
        return " ".join(self.texts.get(key, "").split())


@dataclass(frozen=True)
class Lines:
    """A table's rows under its header; `columns` as found in the header, `complaints` of the whole file."""

    file: str
    rows: list[Line]
    columns: list[Column | None]
    separator: str | None
    complaints: list[str]

    def read(self, one: Callable[[Line, list[str]], T | None]) -> list[T]:
        """What `one` makes of each row, but None; what it finds wrong becomes a complaint that names the row."""
        found = []
        for line in self.rows:
            wrong = list(line.wrong)
            entry = one(line, wrong)
            if entry is not None:
                found.append(entry)
            if wrong:
                self.complaints.append(_said(self.file, line.at, wrong))
        return found


def read_lines(path: Path, kind: Kind) -> Lines:
    """Raises RegisterError if the file can't be read as a table or lacks a column that the kind needs."""
    table = sheet.read_table(path, kind.name)
    header_at, header, columns, wrong = find_header(table, kind)
    missing = [key for key in kind.needs if not _has(columns, key)]
    if missing:
        raise no_column(path.name, kind, missing, wrong)
    complaints = [*sheet.not_read(path, kind.file), *table.complaints,
                  *(_said(path.name, header_at, [text]) for text in wrong)]
    rows = [_line(at, header, columns, values, table.separator) for at, values in _filled(table) if at > header_at]
    return Lines(path.name, rows, columns, table.separator, complaints)


def no_column(file: str, kind: Kind, missing: Sequence[str], wrong: Sequence[str] = ()) -> RegisterError:
    """What to raise where columns are missing; `wrong` : what is wrong with the names of those that are there."""
    many = "s" if len(missing) > 1 else ""
    close = f" ({'; '.join(wrong)})" if wrong else ""
    return RegisterError(f"The {kind.name} has no column{many} named {listed(missing)}{close}.", where=file,
                         next_step=f"Its first line must name the columns: {kind.header}.")


def _said(file: str, at: int, wrong: Sequence[str]) -> str:
    return f"{file} row {at}: {'; '.join(wrong)}{'' if wrong[-1].endswith('?') else '.'}"


def find_header(table: sheet.Table, kind: Kind) -> tuple[int, list[str], list[Column | None], list[str]]:
    """The row that names all the kind needs, and most columns; the first with anything in it if there is none.

    Returns its number, its cells, what they name, and what is wrong with the names.
    """
    found = []
    for at, row in islice(_filled(table), SEARCHED_ROWS):
        header = [" ".join(name.split()) for name in row]
        found.append((at, header, *name_columns(header, kind)))

    def fitness(row: tuple[int, list[str], list[Column | None], list[str]]) -> tuple[int, int]:
        had = sum(_has(row[2], key) for key in kind.needs)
        return had == len(kind.needs), len(row[2]) - row[2].count(None) if had else 0

    return max(found, key=fitness, default=(0, [], [], []))


def name_columns(header: Sequence[str], kind: Kind) -> tuple[list[Column | None], list[str]]:
    """What each column is, and what is wrong with the names. Of two that mean the same the first counts, or the one
    that has the plain name."""
    known = [read_name(name, kind)[0] for name in header]
    there = {column.fills[0] for column in known if column}
    told = [read_name(name, kind, there) for name in header]
    columns = [column for column, _ in told]
    wrong = [words for _, words in told if words]
    for at, column in enumerate(columns):
        same = [i for i, c in enumerate(columns[:at]) if column and c and c is not UNREAD and c.fills == column.fills]
        if column is None or not same:
            continue
        other = same[0]
        if column.key and plain(header[at]) == plain(column.key) != plain(header[other]):
            at, other = other, at
        columns[at] = UNREAD
        twice = plain(header[at]) == plain(header[other])
        wrong.append(f'the column "{sheet.short(header[at])}" stands twice; the first counts' if twice else
                     f'the column "{sheet.short(header[at])}" means the same as "{sheet.short(header[other])}", which '
                     "counts")
    return columns, wrong


def read_name(name: str, kind: Kind, there: Collection[str | None] = ()) -> tuple[Column | None, str]:
    """The column and what is wrong with its name; neither for a column of the grower's own.

    there : what other columns fill, which a misspelt one is hardly meant to fill too
    """
    words = plain(name).split("_")
    is_se = words[-1] == "se"
    bare = "".join(words[:-1] if is_se else words)
    for key, others in kind.keys.items():
        if not is_se and bare in {_bare(other) for other in (key, *others)}:
            return Column(key=key), ""
    if bare in {_bare(other) for other in kind.unread}:
        return None, ""
    for figure in kind.figures:
        if bare in {_bare(other) for other in figure.names} and "" not in figure.units:
            ways = " or ".join(f"{figure.names[0]}_{unit}" for unit in figure.units)
            return None, f'the column "{sheet.short(name)}" names no unit, so it is left out; name it {ways}'
        for unit, factor in figure.units.items():
            spellings = (unit, *(word for word, meant in UNITS.items() if meant == unit and unit))
            if bare in {_bare(f"{other}_{spelling}") for other in figure.names for spelling in spellings}:
                return Column(figure=figure, factor=factor, is_se=is_se), ""
    for refused, why in kind.refused.items():
        if _bare(refused) in (bare, words[-1]):
            return None, f'the column "{sheet.short(name)}" can\'t be used: {why}'
    close = _close(words, kind, there)
    return None, f'the column "{sheet.short(name)}" isn\'t known, so it is left out; did you mean {close}?' if close \
        else ""


@lru_cache(maxsize=4096)
def plain(name: str) -> str:
    """A column's name in small letters, words parted by `_`, in the singular."""
    text = normalize("NFKC", name).lower().replace("μ", "u").replace("%", " pct ")  # NFKC makes 2 of ², μ of µ
    return "_".join(_singular(word) for word in re.split(r"[^a-z0-9]+", text) if word)


def read_figure(column: Column, text: str, wrong: list[str]) -> float | None:
    """A number in its field's own unit, if it is a possible one. What is wrong is added to `wrong`."""
    figure, number = column.figure, sheet.read_number(text)
    assert figure is not None
    what = figure.field
    if number is None:
        wrong.append(no_number(text, what))
        return None
    if what in COUNTED and number != int(number):
        wrong.append(f'"{sheet.short(text)}" is no number of {what}, so it is left out')
        return None
    # a share written with its sign needs no unit
    number *= SHARE["pct"] if text.endswith("%") and figure.units is SHARE else column.factor
    if not figure.least <= number <= figure.most:
        hint = "; for per cent name the column canopy_cover_pct" if what == "canopy_cover" and number > 1 else ""
        wrong.append(f'{what} can\'t be "{sheet.short(text)}", so it is left out; check the unit{hint}')
        return None
    return number


def no_number(text: str, what: str) -> str:
    return f'"{sheet.short(text)}" is no number for {what}, so it is left out'


def listed(names: Sequence[str], word: str = "and") -> str:
    return f" {word} ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _singular(word: str) -> str:
    for end, one in (("ies", "y"), ("ves", "f"), ("ches", "ch"), ("s", "")):
        if word.endswith(end) and len(word) > len(end) + 1:
            return word.removesuffix(end) + one
    return word


def _bare(name: str) -> str:
    return plain(name).replace("_", "")


def _close(words: Sequence[str], kind: Kind, there: Collection[str | None]) -> str | None:
    """A known name that this one is a slip of: as many words, each the same or nearly."""
    for key, others in kind.keys.items():
        for name in (key, *others) if key not in there else ():
            if _like(words, name):
                return name
    for figure in kind.figures if words[-1] != "se" else ():
        units = [plain(unit) for unit in figure.units if unit]
        unit = words[-1] if words[-1] in units else "" if "" in figure.units or not units else units[0]
        bare = words[:-1] if unit and words[-1] == unit else words
        for name in figure.names if figure.field not in there else ():
            if _like(bare, name):
                return f"{name}_{unit}" if unit else name
    return None


def _like(words: Sequence[str], name: str) -> bool:
    own = plain(name).split("_")
    return len(own) == len(words) and all(map(_alike, own, words))


def _alike(one: str, other: str) -> bool:
    """Slips of the pen keep the first letter. Short words are much alike anyway: there two letters may have changed
    places, or one be missing."""
    if one == other:
        return True
    shorter, longer = sorted((one, other), key=len)
    if len(shorter) < 3 or one[0] != other[0]:
        return False
    if len(shorter) >= 4 and SequenceMatcher(None, one, other).ratio() >= 0.8:
        return True
    if len(shorter) == len(longer):
        apart = [i for i in range(len(one)) if one[i] != other[i]]
        return len(apart) == 2 and apart[1] == apart[0] + 1 and sorted(one) == sorted(other)
    return any(longer[:i] + longer[i + 1:] == shorter for i in range(len(longer)))


def _has(columns: Sequence[Column | None], key: str) -> bool:
    return any(c is not None and c.key == key for c in columns)


def _filled(table: sheet.Table) -> Iterator[tuple[int, list[str]]]:
    return ((at, row) for at, row in table.rows if any(row) and not sheet.is_comment(row[0]))


def _line(at: int, header: Sequence[str], columns: Sequence[Column | None], values: Sequence[str],
          separator: str | None) -> Line:
    texts: dict[str, str] = {}
    figures: list[tuple[Column, str]] = []
    extra: dict[str, str] = {}
    for name, column, value in zip(header, columns, values, strict=False):
        if column is None:
            if name:
                extra.setdefault(name, " ".join(value.split()))
        elif column.key is not None:
            texts[column.key] = value
        elif column.figure is not None:
            figures.append((column, value))
    # in a workbook nothing shifts to the right: what stands beside the named columns is the grower's own
    too_many = separator is not None and any(values[len(header):])
    return Line(at, texts, tuple(figures), extra, (TOO_MANY,) if too_many else ())

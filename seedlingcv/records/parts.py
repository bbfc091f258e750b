"""Flats that hold several crops or varieties: which cells are whose.

In the register's column `cells`: rows (`A-C`, `A`), columns (`1-6`), blocks from corner to corner (`A1-B6`), single
cells (`A1`), or several of these (`A-B, D1-D6`).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from seedlingcv.flat.layout import MAX_COLUMNS, MAX_ROWS
from seedlingcv.measure.table import FlatMeasurement

Block = tuple[int, int, int, int]  # first row, last row (A is 0), first column, last column; both ends belong to it
REST = "other cells"


@dataclass(frozen=True)
class Part:
    """Some cells of a flat. `label` is how the list calls them, such as `rows A-C`."""

    label: str
    blocks: tuple[Block, ...]

    def holds(self, cell: str) -> bool:
        place = cell_place(cell)
        return place is not None and any(a <= place[0] <= b and c <= place[1] <= d for a, b, c, d in self.blocks)

    def overlaps(self, other: Part) -> bool:
        return any(a <= f and e <= b and c <= h and g <= d
                   for a, b, c, d in self.blocks for e, f, g, h in other.blocks)

    def fits(self, rows: int, columns: int) -> bool:
        """Whether every block begins inside a flat of so many rows and columns, and ends there if it names an end."""
        return all(b < rows and c <= columns and (d <= columns or d == MAX_COLUMNS) or
                   (b == MAX_ROWS - 1 and a == 0 and d <= columns) for a, b, c, d in self.blocks)


def cell_place(cell: str) -> tuple[int, int] | None:
    """(row from 0, column from 1) of `A1`; None for what is no cell's name."""
    match = re.fullmatch(r"([A-Z])0*([1-9][0-9]?)", cell.upper())
    return (ord(match[1]) - ord("A"), int(match[2])) if match and int(match[2]) <= MAX_COLUMNS else None


def read_part(text: str) -> Part:
    """Raises ValueError, saying how cells are written, if the text names none."""
    plain = re.sub(r"\b(rows?|columns?|cols?|cells?|and)\b", " ", text, flags=re.IGNORECASE)
    plain = re.sub(r"\s*(-|–|—|\bto\b|\.\.+)\s*", "-", plain, flags=re.IGNORECASE)
    pieces = [piece for piece in re.split(r"[\s,;+&]+", plain.upper()) if piece]
    if not pieces:
        raise ValueError(HOW)
    kinds, names, blocks = set(), [], []
    for piece in pieces:
        kind, name, block = _block(piece)
        kinds.add(kind)
        names.append(name)
        blocks.append(block)
    kind = kinds.pop() if len(kinds) == 1 else "cell"
    many = len(names) > 1 or "-" in names[0]
    return Part(f"{kind}{'s' if many else ''} {', '.join(names)}", tuple(blocks))


HOW = "write rows as A-C, columns as 1-6, a block as A1-B6"


def _block(piece: str) -> tuple[str, str, Block]:
    first, dash, last = piece.partition("-")
    last = last if dash else first
    if re.fullmatch(r"[A-Z]", first) and re.fullmatch(r"[A-Z]", last) and first <= last:
        return "row", piece, (ord(first) - ord("A"), ord(last) - ord("A"), 1, MAX_COLUMNS)
    if first.isdecimal() and last.isdecimal() and 1 <= int(first) <= int(last) <= MAX_COLUMNS:
        return "column", piece, (0, MAX_ROWS - 1, int(first), int(last))
    one, other = cell_place(first), cell_place(last)
    if one and other:
        rows, columns = sorted((one[0], other[0])), sorted((one[1], other[1]))
        return "cell", piece, (*rows, *columns)
    raise ValueError(HOW)


def covered(part: str | None, said: Iterable[str], named: Collection[str], rows: int | None = None,
            columns: int | None = None) -> bool:
    """Whether cells that were told of take in all of a part, however they are written: `A, B, C` is `A-C`.

    part : a label, None for the whole flat; said : labels of what was told of, empty for the whole flat
    named : the labels of the flat's parts, which leave it the rest; rows, columns : the flat's, as far as known
    """
    said = list(said)
    if part in said or "" in said:
        return True
    grid = _grid(rows, columns)
    wanted = _places(part or "", named, grid)
    return bool(wanted) and wanted <= set().union(*(_places(label, named, grid) for label in said))


def share_cells(one: str | None, other: str | None, named: Collection[str], rows: int | None = None,
                columns: int | None = None) -> bool:
    """Whether two labels, empty for the whole flat, have a cell in common; the rest as `covered` has it."""
    grid = _grid(rows, columns)
    return bool(_places(one or "", named, grid) & _places(other or "", named, grid))


def _grid(rows: int | None, columns: int | None) -> set[tuple[int, int]]:
    return {(row, column) for row in range(rows or MAX_ROWS) for column in range(1, (columns or MAX_COLUMNS) + 1)}


def _places(label: str, named: Collection[str], grid: set[tuple[int, int]]) -> set[tuple[int, int]]:
    if not label:
        return grid
    if label == REST:
        return grid.difference(*(_places(other, (), grid) for other in named if other and other != REST))
    try:
        blocks = read_part(label).blocks
    except ValueError:
        return set()
    return {(row, column) for row, column in grid if any(a <= row <= b and c <= column <= d for a, b, c, d in blocks)}


def split(measurement: FlatMeasurement, parts: list[Part | None]) -> list[tuple[int, FlatMeasurement, str | None]]:
    """The flat's parts: (which of `parts`, that part's cells alone, its label).

    None among `parts` stands for the cells that no other part names. Without it, cells of nobody come with -1 where
    a plant was seen in one of them. One part alone that is None is the whole flat, without a label.
    """
    named = [part for part in parts if part is not None]
    if not named:
        return [(0, measurement, None)]
    rest = tuple(c for c in measurement.cells if not any(part.holds(c.cell) for part in named))
    found = []
    for index, part in enumerate(parts):
        cells = rest if part is None else tuple(c for c in measurement.cells if part.holds(c.cell))
        if cells or part is not None:
            found.append((index, replace(measurement, cells=cells), part.label if part else REST))
    if None not in parts and any(c.plants for c in rest):
        found.append((-1, replace(measurement, cells=rest), REST))
    return found

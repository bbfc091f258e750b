"""A flat's cells: their names and where they lie on the rim plane.

Frame: origin at the outer corner of the flat next to A1, x along row A, y towards the last row, lengths in
mm. Heights above the rim are positive z. Rows A, B, C ... run along the short side's steps, columns from 1.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from seedlingcv.errors import LayoutError

MAX_ROWS, MAX_COLUMNS = 26, 60


@dataclass(frozen=True)
class Cell:
    """One cell's share of the flat, divider middle to divider middle: (x0, y0, x1, y1) in mm."""

    name: str
    row: int  # from 0
    column: int  # from 1
    rect_mm: tuple[float, float, float, float]

    @property
    def centre_mm(self) -> tuple[float, float]:
        x0, y0, x1, y1 = self.rect_mm
        return (x0 + x1) / 2, (y0 + y1) / 2


@dataclass(frozen=True)
class FlatLayout:
    rows: int
    columns: int
    outer_mm: tuple[float, float]
    pitch_mm: tuple[float, float]  # along x, along y
    corner_mm: tuple[float, float]  # of A1's rectangle

    def __post_init__(self) -> None:
        if not (1 <= self.rows <= MAX_ROWS and 1 <= self.columns <= MAX_COLUMNS):
            raise LayoutError(f"A layout of {self.rows} x {self.columns} cells is not known.",
                              next_step=f"Give rows x columns, at most {MAX_ROWS} x {MAX_COLUMNS}, such as 6x12.")

    @property
    def cells(self) -> list[Cell]:
        (px, py), (cx, cy) = self.pitch_mm, self.corner_mm
        return [
            Cell(cell_name(row, column), row, column,
                 (cx + (column - 1) * px, cy + row * py, cx + column * px, cy + (row + 1) * py))
            for row in range(self.rows) for column in range(1, self.columns + 1)
        ]


def cell_name(row: int, column: int) -> str:
    """`A1` for row 0, column 1."""
    return f"{chr(ord('A') + row)}{column}"


def standard_layout(rows: int, columns: int) -> FlatLayout:
    """The layout as it would lie on a common flat, before the picture has settled it."""
    table = _formats()
    (width, height), (span_x, span_y) = table["outer_mm"], table["cells_span_mm"]
    return FlatLayout(rows, columns, (width, height), (span_x / columns, span_y / rows),
                      ((width - span_x) / 2, (height - span_y) / 2))


def known_layouts() -> list[tuple[int, int]]:
    return [tuple(v) for v in _formats()["layouts"].values()]


@cache
def _formats() -> dict:
    return tomllib.loads((files("seedlingcv.flat") / "formats.toml").read_text(encoding="utf-8"))

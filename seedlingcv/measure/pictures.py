"""The pictures that go with a flat's figures, small enough for a report. The last place with pixels."""

from __future__ import annotations

from dataclasses import dataclass, field

Point = tuple[float, float]


@dataclass(frozen=True)
class FlatPictures:
    """JPEG bytes and, in the pixels of each picture, what to draw on it.

    overhead_jpeg    the rectified flat, A1 at the top left, row A along the top
    cells            cell name -> (x0, y0, x1, y1)
    outlines         cell name -> closed polygons around its plants
    side_jpeg        the front row before its backdrop, as the camera saw it (column 1 at the right)
    stems            cell name -> the measured stem from soil to apex
    nodes            cell name -> the cotyledon node
    """

    overhead_jpeg: bytes | None = None
    overhead_size: tuple[int, int] | None = None  # width, height
    cells: dict[str, tuple[float, float, float, float]] = field(default_factory=dict)
    outlines: dict[str, list[list[Point]]] = field(default_factory=dict)
    side_jpeg: bytes | None = None
    side_size: tuple[int, int] | None = None
    stems: dict[str, list[Point]] = field(default_factory=dict)
    nodes: dict[str, Point] = field(default_factory=dict)

"""Which plant each bit of vegetation belongs to, seen from above, and which cells are empty.

A leaf belongs to the stem it is joined to, not to the cell it hangs over. So the way from each stem runs
along leaves and stems, where a mm costs 1; a gap (a stem too brown or thin to be seen) costs more. Every
place goes to the stem with the cheapest way (Dijkstra's shortest paths from all stems at once). Where a stem
is seen on the canopy plane is known: straight above the cell's middle at its top, shifted towards the point
below the camera at its foot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import PlaneView, lift_points
from seedlingcv.segment.canopy import SOIL_BELOW_RIM_MM

GAP_COST = 4.0
STEM_PARTS = (0.5, 1.0)  # of the way from the foot to the top: where the stem is surely near its expected place
WORK_PX_PER_MM = 1.5
LONGEST_WAY_MM = 110.0  # beyond the reach of any seedling sold in a plug flat; common practice, no source
# A cell is empty when it has much less of its own, and much less over its middle, than the flat's other cells
# (geometric mean of both ratios). Chosen on eight drawn flats, where anything from 0.25 to 0.35 did as well.
EMPTY_BELOW = 0.30
INNER_SHARE = 0.6  # of a cell's width and depth
# Where more than this share of a plant's outline borders on other plants, whose leaves those are is a guess.
MOST_CONTACT = 0.30
LEAST_PLANT_MM2 = 8.0  # two cotyledons just open; a speck is smaller
LEAST_INNER_COVER = 0.02


@dataclass(frozen=True)
class Plants:
    """labels : uint16 (M, N) on `view` (the canopy plane), 0 = none, else 1 + index of the cell in `layout.cells`.

    count : int (cells,), plants standing in each cell; 2 means two or more
    sure : bool (cells,), whether it is clear which leaves are the cell's own
    """

    labels: np.ndarray
    view: PlaneView
    count: np.ndarray
    sure: np.ndarray

    @cached_property
    def boxes(self) -> dict[int, tuple[slice, slice]]:
        """Cell index -> row and column slices around its plant."""
        from scipy.ndimage import find_objects

        return {n: box for n, box in enumerate(find_objects(self.labels)) if box is not None}


def split_plants(mask: np.ndarray, view: PlaneView, layout: FlatLayout, eye_mm: np.ndarray,
                 known: Mapping[int, int] | None = None) -> Plants:
    """Give each vegetation pixel to a cell.

    mask : bool (view.height, view.width), vegetation on the canopy plane
    eye_mm : (3,) the camera's place
    known : cell index -> how many plants stand there, where another view has told
    """
    scale = WORK_PX_PER_MM / view.px_per_mm
    small = cv2.resize(mask.astype(np.uint8) * 255, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) > 127
    tops = np.array([cell.centre_mm for cell in layout.cells])
    feet = lift_points(tops, eye_mm, -SOIL_BELOW_RIM_MM, view.z_mm)
    stems = np.stack([top_share * tops + (1 - top_share) * feet for top_share in STEM_PARTS])
    seeds = np.round(view.to_px(stems) * scale).astype(int)
    seeds = np.clip(seeds, 0, [small.shape[1] - 1, small.shape[0] - 1])
    count = len(tops)
    owner, way = _nearest_stem(small, seeds, np.arange(count))
    is_planted = _planted(np.where(small, owner, 0), mask, view, layout)
    for cell, told in (known or {}).items():
        is_planted[cell] = told > 0
    planted = np.flatnonzero(is_planted)
    if 0 < len(planted) < count:  # a neighbour's leaf over an empty cell goes back to the neighbour
        owner, way = _nearest_stem(small, seeds, planted)
    elif not len(planted):
        owner = np.zeros_like(owner)
    owner = np.where(way <= LONGEST_WAY_MM * WORK_PX_PER_MM, owner, 0).astype(np.uint16)
    labels = cv2.resize(owner, (mask.shape[1], mask.shape[0]), interpolation=cv2.INTER_NEAREST)
    labels[~mask] = 0
    contact = _contact(np.where(small, owner, 0), count)
    has = np.bincount(labels.ravel(), minlength=count + 1)[1:] > 0
    plants = has.astype(int)
    for cell, told in (known or {}).items():
        plants[cell] = told
    return Plants(labels, view, plants, contact <= MOST_CONTACT)


def _nearest_stem(small: np.ndarray, seeds: np.ndarray, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Owner (1 + cell index) of every pixel, and the way's cost in px.

    seeds : int (parts, all cells, 2) px; cells : indices of the cells that take part
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import dijkstra

    height, width = small.shape
    cost = np.where(small, 1.0, GAP_COST)
    index = np.arange(height * width).reshape(height, width)
    rows, columns, weights = [], [], []
    for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
        a = index[: height - dy, max(0, -dx) : width - max(0, dx)]
        b = index[dy:, max(0, dx) : width + min(0, dx)]
        rows.append(a.ravel())
        columns.append(b.ravel())
        weights.append((cost.ravel()[a] + cost.ravel()[b]).ravel() / 2 * np.hypot(dx, dy))
    graph = coo_matrix((np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))),
                       shape=(height * width, height * width)).tocsr()
    chosen = seeds[:, cells].reshape(-1, 2)
    starts = index[chosen[:, 1], chosen[:, 0]]
    way, _, source = dijkstra(graph, directed=False, indices=starts, min_only=True, return_predecessors=True)
    number = np.zeros(height * width, np.int32)
    number[starts] = np.tile(cells + 1, len(seeds))
    return number[source].reshape(height, width), way.reshape(height, width)


def _planted(seen: np.ndarray, mask: np.ndarray, view: PlaneView, layout: FlatLayout) -> np.ndarray:
    """Bool for each cell: a plant of its own stands there."""
    cells = layout.cells
    area = np.bincount(seen.ravel(), minlength=len(cells) + 1)[1:] / WORK_PX_PER_MM**2
    inner = np.array([mask[view.box(_inner(cell.rect_mm))].mean() for cell in cells])
    enough = area >= LEAST_PLANT_MM2
    if not enough.any():
        return enough
    usual_area = float(np.median(area[enough]))
    usual_inner = max(LEAST_INNER_COVER, float(np.median(inner[enough])))
    return enough & (np.sqrt(area / usual_area * inner / usual_inner) >= EMPTY_BELOW)


def _inner(rect_mm: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = rect_mm
    dx, dy = (1 - INNER_SHARE) / 2 * (x1 - x0), (1 - INNER_SHARE) / 2 * (y1 - y0)
    return x0 + dx, y0 + dy, x1 - dx, y1 - dy


def _contact(seen: np.ndarray, count: int) -> np.ndarray:
    """Share of each plant's outline that borders on another plant."""
    touching, outline = np.zeros(count + 1), np.zeros(count + 1)
    for a, b in ((seen[:, 1:], seen[:, :-1]), (seen[1:], seen[:-1])):
        differ = a != b
        for one, other in ((a[differ], b[differ]), (b[differ], a[differ])):
            outline += np.bincount(one, minlength=count + 1)
            touching += np.bincount(one[other > 0], minlength=count + 1)
    return touching[1:] / np.maximum(outline[1:], 1)

"""Which plant each bit of vegetation belongs to, seen from above.

A leaf belongs to the base it is joined to, not to the cell it hangs over. So the way from each base runs
along leaves and stems, where a mm costs 1; a gap (a stem too brown or thin to be seen) costs more. Every
place goes to the base with the cheapest way (Dijkstra's shortest paths from all bases at once).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from seedlingcv.flat.rectify import PlaneView

GAP_COST = 3.0
WORK_PX_PER_MM = 1.5
LEAST_PLANT_MM2 = 8.0  # two cotyledons just open; a speck is smaller
LEAST_SHARE = 0.1  # of the flat's median plant: less is a neighbour's leaf tip
LONGEST_WAY_MM = 110.0  # beyond the reach of any seedling sold in a plug flat; common practice, no source


@dataclass(frozen=True)
class Plants:
    """labels : uint16 (M, N) on the canopy plane, 0 = none, else 1 + index of the cell in `layout.cells`.

    way_mm : for each cell, the cheapest way from its base to its nearest vegetation (inf if it has none)
    contact : for each cell, the share of its outline that touches another cell's plant, 0-1
    """

    labels: np.ndarray
    view: PlaneView
    way_mm: np.ndarray
    contact: np.ndarray

    @cached_property
    def boxes(self) -> dict[int, tuple[slice, slice]]:
        """Cell index -> row and column slices around its plant."""
        from scipy.ndimage import find_objects

        return {n: box for n, box in enumerate(find_objects(self.labels)) if box is not None}


def split_plants(mask: np.ndarray, view: PlaneView, bases_mm: np.ndarray) -> Plants:
    """Give each vegetation pixel to a cell.

    mask : bool (view.height, view.width), vegetation on the canopy plane
    bases_mm : (cells, 2), where each cell's stem base appears on that plane
    """
    scale = WORK_PX_PER_MM / view.px_per_mm
    small = cv2.resize(mask.astype(np.uint8) * 255, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) > 127
    height, width = small.shape
    seeds = np.round(view.to_px(bases_mm) * scale).astype(int)
    seeds = np.clip(seeds, 0, [width - 1, height - 1])
    owner, way = _nearest_base(small, seeds, np.ones(len(seeds), bool))
    active = _occupied(small, owner, len(seeds))
    if active.any() and not active.all():  # a neighbour's leaf over an empty cell goes back to the neighbour
        owner, way = _nearest_base(small, seeds, active)
    owner = np.where(way <= LONGEST_WAY_MM * WORK_PX_PER_MM, owner, 0).astype(np.uint16)
    labels = cv2.resize(owner, (mask.shape[1], mask.shape[0]), interpolation=cv2.INTER_NEAREST)
    labels[~mask] = 0
    seen = np.where(small, owner, 0)
    return Plants(labels, view, _nearest_way(seen, way, len(seeds)) / WORK_PX_PER_MM, _contact(seen, len(seeds)))


def _nearest_base(small: np.ndarray, seeds: np.ndarray, active: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Owner (1 + seed index) of every pixel, and the way's cost in px."""
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
    starts = index[seeds[:, 1], seeds[:, 0]]
    way, _, source = dijkstra(graph, directed=False, indices=starts[active], min_only=True, return_predecessors=True)
    number = np.zeros(height * width, np.int32)
    number[starts[active]] = np.flatnonzero(active) + 1
    return number[source].reshape(height, width), way.reshape(height, width)


def _occupied(small: np.ndarray, owner: np.ndarray, count: int) -> np.ndarray:
    """Cells with enough of their own to be a plant beside the flat's other plants."""
    area = np.bincount(owner[small], minlength=count + 1)[1:] / WORK_PX_PER_MM**2
    some = area[area >= LEAST_PLANT_MM2]
    if not some.size:
        return np.zeros(count, bool)
    return area >= max(LEAST_PLANT_MM2, LEAST_SHARE * float(np.median(some)))


def _nearest_way(seen: np.ndarray, way: np.ndarray, count: int) -> np.ndarray:
    nearest = np.full(count + 1, np.inf)
    np.minimum.at(nearest, seen.ravel(), way.ravel())
    return nearest[1:]


def _contact(seen: np.ndarray, count: int) -> np.ndarray:
    """Share of each plant's outline that borders on another plant."""
    touching, outline = np.zeros(count + 1), np.zeros(count + 1)
    for a, b in ((seen[:, 1:], seen[:, :-1]), (seen[1:], seen[:-1])):
        differ = a != b
        for one, other in ((a[differ], b[differ]), (b[differ], a[differ])):
            outline += np.bincount(one, minlength=count + 1)
            touching += np.bincount(one[other > 0], minlength=count + 1)
    return touching[1:] / np.maximum(outline[1:], 1)

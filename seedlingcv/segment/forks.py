"""Where a plant forks, seen from the side.

The way along the plant from its soil is measured for every pixel. Pixels of equal way that touch make a piece of
stem, stalk or blade; where a piece is followed by several, the plant forks. (The pieces and their neighbours are
the Reeb graph of the way.) The middle lines of stem and stalk meet below the bottom of the V that is seen between
them: the stalk's line is followed back to the stem's.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.segment.side import PX_PER_MM

PIECE_PX = 3  # of way to a piece
GAP_COST = 6.0  # a px of gap in a stalk (thin or pale) against one of plant
WIDEST_GAP_PX, SMALLEST_PX = 12, 25  # loose parts further off, or smaller, are left out
SHORTEST_MM = 2.0  # of what goes on from a fork
TRUNK_PIECES = (6, 1)  # of the stem's line, counted down from a fork
STALK_PIECES = (2, 6)  # of the stalk's line, counted up from it
LEAST_SINE = np.sin(np.radians(15))  # at a smaller angle where the lines meet is not well told
BACK_MM = (-3.0, 0.5)  # the lines meet no further below, or above, the stem's last piece below the V


@dataclass(frozen=True)
class Fork:
    """Where the middle lines meet, (column, row) in px, and the way on along the shorter of the fork's arms."""

    place_px: tuple[float, float]
    side_mm: float


def find_forks(plant: np.ndarray, start: tuple[int, int]) -> list[Fork]:
    """plant : bool (M, N), one plant; start : (row, column) on it, low down on its stem."""
    from skimage.graph import MCP_Geometric
    from skimage.measure import label

    rows, columns = np.nonzero(plant)
    top, left = max(rows.min() - 2, 0), max(columns.min() - 2, 0)
    plant = plant[top : rows.max() + 3, left : columns.max() + 3]
    start = (start[0] - top, start[1] - left)
    plant = _joined(plant, start, MCP_Geometric)
    way, _ = MCP_Geometric(np.where(plant, 1.0, -1.0)).find_costs([start])
    level = np.where(np.isfinite(way), way, -PIECE_PX).astype(int) // PIECE_PX  # -1 off the plant
    piece = label(level, connectivity=2, background=-1)  # from 1
    return [Fork((f.place_px[0] + left, f.place_px[1] + top), f.side_mm) for f in _forks(piece, level)]


def _joined(plant: np.ndarray, start: tuple[int, int], graph) -> np.ndarray:
    """The plant with its loose parts joined to it by the cheapest ways."""
    search = graph(np.where(plant, 1.0, GAP_COST))
    way, _ = search.find_costs([start])
    out = plant.copy()
    _, parts, stats, _ = cv2.connectedComponentsWithStats(plant.astype(np.uint8))
    for number in range(1, len(stats)):
        part = parts == number
        if part[start] or stats[number, cv2.CC_STAT_AREA] < SMALLEST_PX:
            continue
        nearest = np.unravel_index(np.where(part, way, np.inf).argmin(), way.shape)
        bridge = tuple(np.array(search.traceback(nearest)).T)
        if np.count_nonzero(~plant[bridge]) <= WIDEST_GAP_PX:
            out[bridge] = True
    return out


def _forks(piece: np.ndarray, level: np.ndarray) -> list[Fork]:
    count = int(piece.max()) + 1
    height = np.zeros(count, int)
    height[piece.ravel()] = level.ravel()
    parent = _parents(piece, height, count)
    size = np.maximum(np.bincount(piece.ravel(), minlength=count), 1)
    at = np.indices(piece.shape)[::-1]
    middle = np.column_stack([np.bincount(piece.ravel(), a.ravel(), count) / size for a in at])
    furthest, longest = height.copy(), np.full(count, -1)  # the highest level from a piece on, and by which child
    arms: dict[int, list[int]] = {}
    for child in np.argsort(-height, kind="stable"):
        below = parent[child]
        if below < 0:
            continue
        if furthest[child] > furthest[below] or longest[below] < 0:
            furthest[below], longest[below] = max(furthest[child], furthest[below]), child
        arms.setdefault(below, []).append(child)
    shortest = SHORTEST_MM * PX_PER_MM / PIECE_PX
    out = []
    for fork, children in arms.items():
        children = [c for c in children if furthest[c] - height[fork] >= shortest]
        if len(children) < 2:
            continue
        side = sorted(furthest[c] - height[fork] for c in children)[-2]
        out.append(Fork(_meeting_px(fork, children, parent, longest, middle), float(side * PIECE_PX / PX_PER_MM)))
    return out


def _parents(piece: np.ndarray, height: np.ndarray, count: int) -> np.ndarray:
    """For each piece the one below it that it touches most, -1 for none."""
    below, above = [], []
    for a, b in ((piece[:, 1:], piece[:, :-1]), (piece[1:], piece[:-1]), (piece[1:, 1:], piece[:-1, :-1]),
                 (piece[1:, :-1], piece[:-1, 1:])):
        for low, high in ((a, b), (b, a)):
            follows = (low > 0) & (high > 0) & (height[high] == height[low] + 1)
            below.append(low[follows])
            above.append(high[follows])
    pairs, touches = np.unique(np.concatenate(above).astype(np.int64) * count + np.concatenate(below),
                               return_counts=True)
    parent = np.full(count, -1)
    order = np.argsort(touches, kind="stable")  # the last written touches most
    parent[pairs[order] // count] = pairs[order] % count
    return parent


def _meeting_px(fork: int, children: list[int], parent: np.ndarray, longest: np.ndarray,
                middle: np.ndarray) -> tuple[float, float]:
    """Where the children's middle lines meet the stem's, which is that of the pieces below the fork."""
    low, high = (middle[_walk(fork, n, parent)] for n in TRUNK_PIECES)
    stem = (high - low) / max(np.linalg.norm(high - low), 1e-6)
    backs = []
    for child in children:
        near, far = (middle[_walk(child, n, longest)] for n in STALK_PIECES)
        stalk = (far - near) / max(np.linalg.norm(far - near), 1e-6)
        sine = stem[0] * stalk[1] - stem[1] * stalk[0]
        if abs(sine) > LEAST_SINE:
            off = near - high
            backs.append((off[0] * stalk[1] - off[1] * stalk[0]) / sine)
    back = np.clip(np.median(backs) / PX_PER_MM, *BACK_MM) * PX_PER_MM if backs else 0.0
    return tuple((high + back * stem).tolist())


def _walk(start: int, steps: int, following: np.ndarray) -> int:
    for _ in range(steps):
        if following[start] < 0:
            break
        start = int(following[start])
    return start

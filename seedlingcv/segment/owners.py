"""From the network's reading to plants: how many stand in each cell, and whose each bit of vegetation is.

Each pixel of vegetation has two opinions: the network's chances for the cells around it, and its vote for
where its stem's base is. Both are joined, cells without a plant are left out, and a blade decides as a whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import PlaneView
from seedlingcv.segment.model import FlatReading

VEGETATION = 0.5
# A cell is empty, or holds two plants or more, from this chance on. On eight flats that the network had not seen
# limits of 0.25 to 0.4 found most; a half would take a weed in an empty cell for the crop.
EMPTY_FROM, SEVERAL_FROM = 0.35, 0.4
LEAST_PLANT_MM2 = 2.0  # a seedling that has just broken the soil shows more
REACH = 3  # cells, of the network's owner window (7 x 7)
WINDOW = (2 * REACH + 1) ** 2
VOTE_SPREAD = 0.4  # pitches, of a pixel's vote for its stem base around the right cell's centre
VOTE_WEIGHT = 0.5  # the two opinions come from one network and are not independent
LEAST_LOG_CHANCE = -12.0
BLADE_SCORE = 0.2
BLADE_REACH_MM = 7.0  # a blade's pixel that votes further from any blade's middle decides for itself
FRAGMENT_SHARE = 0.08  # a smaller piece of a plant, apart from the rest, goes to the plant around it


@dataclass(frozen=True)
class Owners:
    """labels : uint16 (M, N) over `view` (the rim plane), 0 = none, else 1 + index into `layout.cells`

    plants : int (cells,), 0, 1 or 2 (two or more) crop plants; 0 also where the network takes a cell for planted
        but shows nothing that grows there
    sureness : float (cells,), mean chance that the pixels given to the cell are its own; nan where it has none
    """

    labels: np.ndarray
    view: PlaneView
    plants: np.ndarray
    sureness: np.ndarray


def owners_from_reading(reading: FlatReading, layout: FlatLayout,
                        known: Mapping[int, int] | None = None) -> Owners:
    """Count the plants of each cell and give each pixel of vegetation to one of the cells that has a plant.

    known : cell index -> how many plants stand there, where another view has told
    """
    none, one, several = reading.count.T
    plants = np.where(none > EMPTY_FROM, 0, np.where(several > SEVERAL_FROM * (one + several), 2, 1))
    for cell, told in (known or {}).items():
        plants[cell] = told
    height, width = reading.way_mm.shape[:2]
    seen = cv2.resize(reading.vegetation, (width, height), interpolation=cv2.INTER_AREA) > VEGETATION / 2
    rows, columns = np.nonzero(seen)
    best, sure = np.zeros((height, width), np.uint16), np.zeros((height, width), np.float32)
    if len(rows) and (plants > 0).any():
        cells, chances = _chances(reading, layout, rows, columns, plants > 0)
        blade = _blade_of(reading, rows, columns)
        best[rows, columns], sure[rows, columns] = _decided(cells, chances, blade, len(plants))
        best = _without_fragments(best, len(plants))
    view = reading.view
    labels = cv2.resize(best, (view.width, view.height), interpolation=cv2.INTER_NEAREST)
    labels[reading.vegetation < VEGETATION] = 0
    counts = np.bincount(best.ravel(), minlength=len(plants) + 1)[1:]
    sums = np.bincount(best.ravel(), weights=sure.ravel(), minlength=len(plants) + 1)[1:]
    shown = np.bincount(labels.ravel(), minlength=len(plants) + 1)[1:] / view.px_per_mm**2
    ghost = (plants > 0) & (shown < LEAST_PLANT_MM2)
    plants = np.where(ghost, 0, plants)
    labels[np.isin(labels, np.flatnonzero(ghost) + 1)] = 0
    return Owners(labels, view, plants, np.where(counts > 0, sums / np.maximum(counts, 1), np.nan))


def _places_mm(reading: FlatReading, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """(P, 2) mm of pixels of the half-resolution picture."""
    return reading.view.to_mm(np.column_stack([columns, rows]) * 2 + 0.5)


def _chances(reading, layout, rows, columns, occupied) -> tuple[np.ndarray, np.ndarray]:
    """For P pixels and the WINDOW cells around each: cell index (-1 = none or empty) and chance, (WINDOW, P)."""
    at = _places_mm(reading, rows, columns)
    place = (at - layout.corner_mm) / layout.pitch_mm
    own = np.clip(np.floor(place), 0, [layout.columns - 1, layout.rows - 1]).astype(int)
    vote = place + reading.way_mm[rows, columns] / layout.pitch_mm - 0.5
    standing = np.log(np.clip(1 - reading.count[:, 0], 1e-3, 1))
    quarter = reading.owner.shape[1:]
    seen = reading.owner[:, np.minimum(rows // 2, quarter[0] - 1), np.minimum(columns // 2, quarter[1] - 1)]
    cells = np.full((WINDOW, len(rows)), -1, np.int32)
    chance = np.full((WINDOW, len(rows)), -np.inf, np.float32)
    for k in range(WINDOW):
        column, row = own[:, 0] + k % 7 - REACH, own[:, 1] + k // 7 - REACH
        inside = (row >= 0) & (row < layout.rows) & (column >= 0) & (column < layout.columns)
        index = np.where(inside, row * layout.columns + column, 0)
        inside &= occupied[index]
        off = np.minimum(np.hypot(vote[:, 0] - column, vote[:, 1] - row) / VOTE_SPREAD, 5)
        log_chance = np.maximum(seen[k], LEAST_LOG_CHANCE) - VOTE_WEIGHT * off**2 / 2 + standing[index]
        cells[k], chance[k] = np.where(inside, index, -1), np.where(inside, log_chance, -np.inf)
    top = chance.max(axis=0)
    chance = np.exp(chance - np.where(np.isfinite(top), top, 0))
    return cells, chance / np.maximum(chance.sum(axis=0), 1e-9)


def _decided(cells, chances, blade, count) -> tuple[np.ndarray, np.ndarray]:
    """Owner of each pixel (1 + cell, 0 = none in reach) and its chance; pixels of one blade decide together."""
    pixel = np.arange(cells.shape[1])
    choice = chances.argmax(axis=0)
    best, sure = cells[choice, pixel] + 1, chances[choice, pixel]
    on = blade >= 0
    if on.any():
        key = (blade[on] * (count + 1))[None] + cells[:, on] + 1
        votes = np.bincount(key.ravel(), weights=chances[:, on].ravel(), minlength=(blade.max() + 1) * (count + 1))
        votes = votes.reshape(-1, count + 1)
        votes[:, 0] = 0
        total = votes.sum(axis=1)
        winner = np.where(total > 0, votes.argmax(axis=1), 0)
        best[on] = winner[blade[on]]
        sure[on] = (votes.max(axis=1) / np.maximum(total, 1e-9))[blade[on]]
    return best.astype(np.uint16), np.where(best > 0, sure, 0)


def _blade_of(reading: FlatReading, rows, columns) -> np.ndarray:
    """int (P,): number of the blade that a pixel belongs to, -1 for stems and pixels of no known blade."""
    from scipy.spatial import cKDTree

    middles = np.concatenate([p.places_mm[p.scores > BLADE_SCORE] for p in (reading.leaves, reading.cotyledons)])
    out = np.full(len(rows), -1, np.int64)
    if not len(middles):
        return out
    size = reading.way_mm.shape[1::-1]
    blade = cv2.resize(reading.stem, size, interpolation=cv2.INTER_AREA)[rows, columns] < 0.5
    vote = _places_mm(reading, rows, columns)[blade] + reading.inner_mm[rows[blade], columns[blade]]
    far, nearest = cKDTree(middles).query(vote)
    out[blade] = np.where(far < BLADE_REACH_MM, nearest, -1)
    return out


def _without_fragments(best: np.ndarray, count: int) -> np.ndarray:
    """Small pieces of a plant that lie in another plant's leaves go to that plant."""
    out = best.copy()
    area = np.bincount(best.ravel(), minlength=count + 1)
    ring = np.ones((3, 3), np.uint8)
    for cell in np.flatnonzero(area[1:]) + 1:
        rows, columns = np.nonzero(best == cell)
        top, left = max(rows.min() - 2, 0), max(columns.min() - 2, 0)
        box = np.s_[top : rows.max() + 3, left : columns.max() + 3]
        number, pieces, stats, _ = cv2.connectedComponentsWithStats((best[box] == cell).astype(np.uint8))
        for k in range(1, number):
            if stats[k, cv2.CC_STAT_AREA] >= FRAGMENT_SHARE * area[cell]:
                continue
            piece = (pieces == k).astype(np.uint8)
            around = best[box][cv2.dilate(piece, ring) > piece]
            around = around[(around > 0) & (around != cell)]
            if around.size:
                out[box][piece > 0] = np.bincount(around).argmax()
    return out

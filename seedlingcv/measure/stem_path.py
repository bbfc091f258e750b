"""A followed stem read in millimetres: how long it is from the soil, and how far plant reaches on either side."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.flat.backdrop import CELLS_WIDTH_MM, SidePose
from seedlingcv.segment.forks import find_forks
from seedlingcv.segment.side import PX_PER_MM, SideStrip
from seedlingcv.segment.stem import Trace

BRIDGE_PX = 7
MOST_BACK_MM = 1.5  # an arm's beginning is followed back no further than this
LOWEST_ARM_MM = 2.0
OFF_STEM_MM = 2.5  # forks further from the followed path are a leaf's own; 2 to 3 did as well
SOIL_SD_MM = 1.2  # of a cell's soil and a stem's place in depth, as seen on the row-A plane


class StemPath:
    """A trace read as a stem.

    points (n, 2) right and up in mm from the soil on, with `arc` (n,) the length from there; `along` (rows,) the
    same at each traced row; `left`, `right` (rows,) mm of unbroken plant on either side of the stem's middle,
    `bridged` the same with narrow gaps closed; `width` of the tube low down; `height_mm` of the plant above its soil;
    `forks` of the plant near the path: arc length and mm of the shorter arm
    """

    def __init__(self, strip: SideStrip, pose: SidePose, trace: Trace, own: np.ndarray) -> None:
        self.trace = trace
        rows = trace.points[:, 1]
        x = _smooth(trace.points[:, 0], 8)
        self.base_mm, self.base_sd_mm = base_height_mm(strip, pose, trace)
        start = strip.to_mm(trace.points[:1])[0]
        points = strip.to_mm(np.column_stack([x, rows]))
        slope = _low_slope(points)
        below = start[1] - self.base_mm
        if below > 0:
            foot = np.array([[points[0, 0] - slope * below, self.base_mm]])
            points = np.vstack([foot, points])
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        if below < 0:  # the tube runs on into the soil: count from the soil on
            steps = np.where(points[1:, 1] > self.base_mm, steps, 0)
        self.points, self.arc = points, np.concatenate([[0], np.cumsum(steps)])
        self.first = 1 if below > 0 else 0
        ahead = np.hypot(np.gradient(x), 1)
        plant = (strip.tube > 0.5).astype(np.uint8)
        narrow_gaps = np.ones((1, BRIDGE_PX), np.uint8)
        across = [[side / ahead / PX_PER_MM for side in _reach(p > 0, _smooth(trace.points[:, 0], 3), rows.astype(int))]
                  for p in (plant, cv2.morphologyEx(plant, cv2.MORPH_CLOSE, narrow_gaps))]
        (self.left, self.right), self.bridged = across
        self.width = self._low_width(strip)
        top = np.flatnonzero(np.count_nonzero(own, axis=1) >= 2)
        high = strip.to_mm(np.array([[0.0, top[0] - 0.5]]))[0, 1] if len(top) else points[-1, 1]
        self.height_mm = float(high - self.base_mm)
        self.forks = self._forks(own)

    @property
    def along(self) -> np.ndarray:
        return self.arc[self.first :]

    def at(self, arc_mm: float) -> np.ndarray:
        """(right, up) mm."""
        return np.array([np.interp(arc_mm, self.arc, self.points[:, k]) for k in (0, 1)])

    def _forks(self, own: np.ndarray) -> list[tuple[float, float]]:
        columns, rows = np.round(self.trace.points).astype(int).T
        on = np.flatnonzero(own[rows, columns])
        if not len(on):
            return []
        x, y = self.trace.points.T
        forks = []
        for fork in find_forks(own, (int(rows[on[0]]), int(columns[on[0]]))):
            column, row = fork.place_px
            if abs(column - np.interp(-row, -y, x)) < OFF_STEM_MM * PX_PER_MM:
                over = max(y[-1] - row, 0) / PX_PER_MM  # above where the path ends
                forks.append((float(np.interp(-row, -y, self.along)) + over, fork.side_mm))
        return forks

    def _low_width(self, strip: SideStrip) -> float:
        """Of the tube before the backdrop, low down; leaves before it are left out by the low percentile."""
        line = strip.line[np.clip(self.trace.points[:, 0].astype(int), 0, len(strip.line) - 1)]
        above = np.flatnonzero(self.trace.points[:, 1] < line - 3)[: 10 * PX_PER_MM]
        width = (self.left + self.right + 1 / PX_PER_MM)[above]
        width = width[width > 2 / PX_PER_MM]
        return float(np.percentile(width, 35)) if len(width) > 5 else self.trace.width / PX_PER_MM

    def arms(self, sides: tuple[np.ndarray, np.ndarray]) -> list[tuple[float, float, bool]]:
        """(arc length where it begins, how far it reaches in mm, on the left) of what sticks out of the stem, by
        plant on its (left, right). An arm that goes up at a slant clears the stem only some way above its beginning:
        its outline is followed back."""
        clear = max(0.9, 0.5 * self.width)
        arms = []
        for reach, left in zip(sides, (True, False), strict=True):
            out = reach > self.width / 2 + clear
            edges = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(int), [0]]))).reshape(-1, 2)
            for first, last in edges:
                ahead = min(last - 1, first + 2 * PX_PER_MM)
                rise = max(self.along[ahead] - self.along[first], 1 / PX_PER_MM)
                steepness = max((reach[ahead] - reach[first]) / rise, 0.1)
                start = float(self.along[first]) - min(clear / steepness, MOST_BACK_MM)
                if start > LOWEST_ARM_MM:
                    arms.append((start, float(reach[first:last].max()), left))
        return arms

    def bend_deg(self, node_mm: float) -> float | None:
        """How much the path turns at the node."""
        below = (self.along > node_mm - 6) & (self.along < node_mm - 0.5)
        above = (self.along > node_mm + 1) & (self.along < node_mm + 5)
        if below.sum() < 5 or above.sum() < 5:
            return None
        points = self.points[self.first :]
        turn = [np.degrees(np.arctan(np.polyfit(points[z, 1], points[z, 0], 1)[0])) for z in (below, above)]
        return float(abs(turn[1] - turn[0]))

    def upper_width(self, node_mm: float) -> float | None:
        """Width where the usual apex is, over the width below the node."""
        width = self.left + self.right + 1 / PX_PER_MM
        below = (self.along > node_mm - 6) & (self.along < node_mm - 1)
        share = (self.along - node_mm) / max(self.height_mm - node_mm, 1)
        above = (share > 0.3) & (share < 0.5)
        if below.sum() < 4 or above.sum() < 2:
            return None
        return float(np.percentile(width[above], 25) / max(np.median(width[below]), 0.3))


def base_height_mm(strip: SideStrip, pose: SidePose, trace: Trace) -> tuple[float, float]:
    """Height on the row-A plane where the stem leaves the soil, and its standard error.

    The soil's height comes from the backdrop. Where the tube is followed down past it, the plant stands nearer to
    the camera, and its seen lower end holds. A tube that ends a little higher is a weak sign, one that ends much
    higher only lost the stem before the soil.
    """
    sd = SOIL_SD_MM * CELLS_WIDTH_MM / pose.rows / 42.6 if pose.rows < 6 else SOIL_SD_MM
    soil = pose.soil_up_mm
    x, row = trace.points[0]
    seen = strip.to_mm(np.array([[x, row]]))[0, 1] - 0.4
    front = strip.front[int(np.clip(x, 0, len(strip.front) - 1))]
    rim = strip.top_mm - (front + 0.5) / PX_PER_MM
    if seen < rim + 0.8:  # hidden behind the rim: lower than that, as far as the soil's spread allows
        a = (rim - soil) / sd
        density, share = np.exp(-a * a / 2) / np.sqrt(2 * np.pi), _normal_share(a)
        return float(soil - sd * density / max(share, 0.02)), sd
    if seen < soil + 1.5 * sd:
        return float((2 * seen + soil) / 3), 0.7 * sd
    return float(soil), sd


def _smooth(values: np.ndarray, sigma: float) -> np.ndarray:
    from scipy.ndimage import gaussian_filter1d

    return gaussian_filter1d(values, sigma, mode="nearest")


def _low_slope(points: np.ndarray) -> float:
    """Sideways mm for each mm up over the lowest 6 mm."""
    low = points[: 6 * PX_PER_MM]
    return float(np.clip((low[-1, 0] - low[0, 0]) / max(low[-1, 1] - low[0, 1], 1.0), -0.7, 0.7))


def _normal_share(a: float) -> float:
    from math import erf, sqrt

    return 0.5 * (1 + erf(a / sqrt(2)))


def _reach(plant: np.ndarray, x: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """px of unbroken plant to the left and right of each place; 0 where the place itself is none."""
    height, width = plant.shape
    left, right = np.zeros(len(x)), np.zeros(len(x))
    for i, (at, row) in enumerate(zip(np.clip(np.round(x).astype(int), 0, width - 1), rows, strict=True)):
        line = plant[row]
        if not line[at]:
            continue
        before, after = np.flatnonzero(~line[:at]), np.flatnonzero(~line[at + 1 :])
        left[i] = at - before[-1] - 1 if len(before) else at
        right[i] = after[0] if len(after) else width - at - 1
    return left, right

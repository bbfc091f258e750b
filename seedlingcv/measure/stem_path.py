"""A followed stem read in millimetres: where it leaves the soil, how long it is from there, what is seen along it."""

from __future__ import annotations

import numpy as np

from seedlingcv.flat.backdrop import SidePose
from seedlingcv.segment.network import Peaks
from seedlingcv.segment.side import PX_PER_MM, SideStrip
from seedlingcv.segment.stem import Trace

BASE_REACH_MM = (2.5, 8.0)  # a soil point belongs to a stem that is this near, sideways and up or down
# The seen soil point against the soil's height from the backdrop, by the inverse of their squared errors: 0.84 and
# 1.46 mm on 79 stems of eight drawn flats.
SEEN_WEIGHT = 0.75
BASE_SD_MM, SOIL_SD_MM = 0.9, 1.5  # with and without a seen soil point
POINT_REACH_MM = 3.0  # a node or apex further from the path is another plant's
ON_MM = 30.0  # the path is thought to go straight on by this


class StemPath:
    """A trace read as a stem.

    points (n, 2) right and up in mm from the soil on, with `arc` (n,) the length from there; `base_mm` height on the
    row-A plane where the stem leaves the soil and `base_sd_mm` its standard error; `height_mm` of the plant above it
    """

    def __init__(self, strip: SideStrip, pose: SidePose, trace: Trace, own: np.ndarray, soil: Peaks) -> None:
        seen = strip.to_mm(np.column_stack([_smooth(trace.points[:, 0], 8), trace.points[:, 1]]))
        self.base_mm, self.base_sd_mm = base_height_mm(seen, pose.soil_up_mm, soil)
        above = seen[seen[:, 1] > self.base_mm]  # the tube may run on into the soil
        first = above[0] if len(above) else seen[-1]
        foot = [first[0] - _low_slope(seen) * (first[1] - self.base_mm), self.base_mm]
        self.points = np.vstack([foot, above])
        self.arc = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(self.points, axis=0), axis=1))])
        top = np.flatnonzero(np.count_nonzero(own, axis=1) >= 2)
        high = strip.to_mm(np.array([[0.0, top[0] - 0.5]]))[0, 1] if len(top) else self.points[-1, 1]
        self.height_mm = float(high - self.base_mm)

    def at(self, arc_mm: float) -> np.ndarray:
        """(right, up) mm."""
        return np.array([np.interp(arc_mm, self.arc, self.points[:, k]) for k in (0, 1)])

    def along(self, peaks: Peaks) -> tuple[np.ndarray, np.ndarray]:
        """Arc lengths (n,) of the peaks on this stem, and their chances (n,)."""
        ahead = self.points[-1] - self.points[max(0, len(self.points) - 3 * PX_PER_MM)]
        ahead = ahead / max(float(np.linalg.norm(ahead)), 1e-6)
        on = np.arange(1 / PX_PER_MM, ON_MM, 1 / PX_PER_MM)
        line = np.vstack([self.points, self.points[-1] + on[:, None] * ahead])
        arc = np.concatenate([self.arc, self.arc[-1] + on])
        away = np.linalg.norm(line[None] - peaks.places_mm[:, None], axis=2)
        near = away.min(axis=1) < POINT_REACH_MM
        return arc[away.argmin(axis=1)[near]], peaks.scores[near]


def soil_point(seen: np.ndarray, soil_up_mm: float, soil: Peaks) -> tuple[float, float] | None:
    """(height on the row-A plane, chance) of the surest point near which a tube may leave the soil.

    seen : (n, 2) right and up of the followed tube, bottom to top
    soil_up_mm : the soil's height, from the backdrop
    """
    right, up = soil.places_mm[:, 0], soil.places_mm[:, 1]
    beside = np.abs(right - np.interp(up, seen[:, 1], seen[:, 0]))
    near = np.flatnonzero((beside < BASE_REACH_MM[0]) & (np.abs(up - soil_up_mm) < BASE_REACH_MM[1]))
    return (float(up[near[0]]), float(soil.scores[near[0]])) if len(near) else None  # the first is the surest


def base_height_mm(seen: np.ndarray, soil_up_mm: float, soil: Peaks) -> tuple[float, float]:
    """Height on the row-A plane where a stem leaves the soil, and its standard error; see `soil_point`."""
    point = soil_point(seen, soil_up_mm, soil)
    if point is None:
        return float(soil_up_mm), SOIL_SD_MM
    return SEEN_WEIGHT * point[0] + (1 - SEEN_WEIGHT) * float(soil_up_mm), BASE_SD_MM


def _smooth(values: np.ndarray, sigma: float) -> np.ndarray:
    from scipy.ndimage import gaussian_filter1d

    return gaussian_filter1d(values, sigma, mode="nearest")


def _low_slope(points: np.ndarray) -> float:
    """Sideways mm for each mm up over the lowest 6 mm."""
    low = points[: 6 * PX_PER_MM]
    return float(np.clip((low[-1, 0] - low[0, 0]) / max(low[-1, 1] - low[0, 1], 1.0), -0.7, 0.7))

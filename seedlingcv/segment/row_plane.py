"""The side photo flattened onto the plane of row A: millimetres right and up, column 1 at the right."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.flat.backdrop import CELLS_WIDTH_MM, FLAT_LENGTH_MM, SidePose

HIGHEST_MM = 205.0  # below the backdrop's tags
LOWEST_MM = -25.0  # past the front rim, where leaves may hang over it
LEFT_MM, WIDTH_MM = -FLAT_LENGTH_MM / 2 - 10, 568  # a whole number of the network's coarsest pixels, 8 mm
STEP_PX = 16


def row_plane(image, pose, px_per_mm, left, right, bottom, top, away=0.0) -> np.ndarray:
    """The picture on the plane `away` mm behind the row-A line, mm limits as `right` and `up`."""
    width, height = round((right - left) * px_per_mm), round((top - bottom) * px_per_mm)
    x, y = _plane_map(pose, px_per_mm, left, top, width, height, away)
    return cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _plane_map(pose, px_per_mm, left, top, width, height, away):
    """The map is smooth: reckoned every STEP_PX and filled in between (to about 0.01 px)."""
    across, down = (np.arange(-STEP_PX, size + 2 * STEP_PX, STEP_PX) for size in (width, height))
    right, up = np.meshgrid(left + (across + 0.5) / px_per_mm, top - (down + 0.5) / px_per_mm)
    coarse = pose.project(np.dstack([right, -up, np.full_like(right, away)])).astype(np.float32)
    gx, gy = np.meshgrid((np.arange(width, dtype=np.float32) + STEP_PX) / STEP_PX,
                         (np.arange(height, dtype=np.float32) + STEP_PX) / STEP_PX)
    dense = cv2.remap(coarse, gx, gy, cv2.INTER_LINEAR)
    return np.ascontiguousarray(dense[..., 0]), np.ascontiguousarray(dense[..., 1])


def sight_line_mm(pose: SidePose, right_mm: np.ndarray, *, front: bool = False) -> np.ndarray:
    """Height on the row-A plane at which the divider behind row A (or the rim in front of it) is seen."""
    half_pitch = CELLS_WIDTH_MM / pose.rows / 2
    away = 1.5 - half_pitch if front else half_pitch - 1
    edge = np.column_stack([right_mm, np.full_like(right_mm, -1.0), np.full_like(right_mm, away)])
    return pose.to_row(pose.project(edge))[:, 1]


def card_area(pose: SidePose, left: float, top: float, px_per_mm: float, size: tuple[int, int]) -> np.ndarray:
    """bool (height, width) of `size` (width, height): where on the row plane the backdrop is behind, a few mm
    inside its edges."""
    corners = pose.to_row(pose.project(pose.backdrop))
    area = np.zeros((size[1], size[0]), np.uint8)
    polygon = np.column_stack([corners[:, 0] - left, top - corners[:, 1]]) * px_per_mm
    cv2.fillConvexPoly(area, polygon.astype(np.int32), 1)
    margin = 3 * px_per_mm
    return cv2.erode(area, np.ones((2 * margin + 1, 2 * margin + 1), np.uint8),
                     borderType=cv2.BORDER_REPLICATE).astype(bool)

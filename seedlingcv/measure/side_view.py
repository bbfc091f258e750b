"""What the measured front row looks like: a picture for the report, and labels at the photo's own pixels."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.measure.pictures import Point
from seedlingcv.measure.side import SideRow

PICTURE_WIDTH = 1600
JPEG_QUALITY = 85
STRIP = 512  # rows of the photo at a time
STEP = 16  # px between reckoned places; the view changes smoothly in between


def side_picture(row: SideRow) -> tuple[bytes, tuple[int, int], dict[str, list[Point]], dict[str, Point]]:
    """(JPEG, (width, height), stems, nodes) of the flattened front row, column 1 at the right; stems and nodes by
    cell in the JPEG's pixels (see `seedlingcv.measure.pictures.FlatPictures`)."""
    image = row.strip.image
    scale = min(1.0, PICTURE_WIDTH / image.shape[1])
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    stems = {m.cell: [_scaled(p, scale) for p in m.stem_px] for m in row.stems if m.stem_px}
    nodes = {m.cell: _scaled(m.node_px, scale) for m in row.stems if m.node_px is not None}
    return data.tobytes(), (small.shape[1], small.shape[0]), stems, nodes


def side_labels(row: SideRow) -> np.ndarray:
    """uint16 (height, width) at the photo's stored pixels: 0 none, else the plant's column."""
    width, height = row.pose.size
    strip = row.strip
    rows, columns = strip.plant.shape
    rim = strip.to_mm(np.array([[0, 0], [columns / 2, 0], [columns, 0], [columns, rows], [columns / 2, rows],
                                [0, rows]]))
    corners = row.pose.project(np.column_stack([rim[:, 0], -rim[:, 1], np.zeros(len(rim))]))
    low = np.clip(np.floor(corners.min(axis=0)).astype(int) - STEP, 0, [width, height])
    high = np.clip(np.ceil(corners.max(axis=0)).astype(int) + STEP, 0, [width, height])
    out = np.zeros((height, width), np.uint16)
    if (high <= low).any():
        return out
    across, down = np.arange(low[0], high[0] + STEP, STEP), np.arange(low[1], high[1] + STEP, STEP)
    x, y = np.meshgrid(across, down)
    on_row = row.pose.to_row(np.column_stack([x.ravel(), y.ravel()]).astype(float))
    coarse = strip.to_px(on_row).astype(np.float32).reshape(*x.shape, 2)
    for top in range(low[1], high[1], STRIP):  # the places of a whole photo's pixels would take 200 MB
        bottom = min(top + STRIP, high[1])
        gx, gy = np.meshgrid(np.arange(high[0] - low[0], dtype=np.float32) / STEP,
                             np.arange(top - low[1], bottom - low[1], dtype=np.float32) / STEP)
        place = cv2.remap(coarse, gx, gy, cv2.INTER_LINEAR)
        out[top:bottom, low[0] : high[0]] = cv2.remap(
            row.labels, np.ascontiguousarray(place[..., 0]), np.ascontiguousarray(place[..., 1]), cv2.INTER_NEAREST,
            borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return out


def _scaled(point: tuple[float, float], scale: float) -> Point:
    """INTER_AREA keeps pixel edges, so centres move by half a pixel of either size."""
    return ((point[0] + 0.5) * scale - 0.5, (point[1] + 0.5) * scale - 0.5)

"""Plants before the backdrop: the side photo flattened onto the row-A plane, and what of it is plant."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.backdrop import SidePose
from seedlingcv.segment.row_plane import LEFT_MM, WIDTH_MM, card_area, row_plane, sight_line_mm
from seedlingcv.segment.side_model import SideReading

PX_PER_MM = 5


@dataclass(frozen=True)
class SideStrip:
    """The row-A plane at PX_PER_MM px a mm, column 1 at the right, up is up.

    image    uint8 (height, width, 3), BGR
    plant    uint8 (height, width), 255 on plants, also before tray and soil
    tube     float32 (height, width), 0-1, how surely a plant is there
    line     (width,) px row where the backdrop goes out of sight behind the divider between rows A and B
    front    (width,) px row where the soil goes out of sight behind the front rim
    left_mm, top_mm   row-plane place of the strip's upper left corner
    """

    image: np.ndarray
    plant: np.ndarray
    tube: np.ndarray
    line: np.ndarray
    front: np.ndarray
    left_mm: float
    top_mm: float

    def to_mm(self, px: np.ndarray) -> np.ndarray:
        """(n, 2) strip px -> right, up in mm."""
        px = np.asarray(px, float)
        return np.column_stack([self.left_mm + (px[:, 0] + 0.5) / PX_PER_MM,
                                self.top_mm - (px[:, 1] + 0.5) / PX_PER_MM])

    def to_px(self, mm: np.ndarray) -> np.ndarray:
        mm = np.asarray(mm, float)
        return np.column_stack([(mm[:, 0] - self.left_mm) * PX_PER_MM - 0.5,
                                (self.top_mm - mm[:, 1]) * PX_PER_MM - 0.5])


def side_strip(image: np.ndarray, pose: SidePose, seen: SideReading) -> SideStrip:
    """Flatten one side photo (BGR uint8 as stored), with the plants that the network sees in it."""
    bottom = seen.top_mm - seen.vegetation.shape[0] * WIDTH_MM / seen.vegetation.shape[1]
    fine = row_plane(image, pose, PX_PER_MM, LEFT_MM, LEFT_MM + WIDTH_MM, bottom, seen.top_mm)
    height, width = fine.shape[:2]
    columns = LEFT_MM + (np.arange(width) + 0.5) / PX_PER_MM
    line = (seen.top_mm - sight_line_mm(pose, columns)) * PX_PER_MM - 0.5
    front = (seen.top_mm - sight_line_mm(pose, columns, front=True)) * PX_PER_MM - 0.5
    chance = cv2.resize(seen.vegetation, (width, height), interpolation=cv2.INTER_LINEAR)
    above = np.arange(height)[:, None] < line[None, :]  # there only what stands before the card is of this row
    chance[above & ~card_area(pose, LEFT_MM, seen.top_mm, PX_PER_MM, (width, height))] = 0
    plant = np.where(chance > 0.5, 255, 0).astype(np.uint8)
    return SideStrip(fine, plant, chance, line, front, LEFT_MM, seen.top_mm)

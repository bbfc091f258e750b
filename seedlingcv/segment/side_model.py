"""What a small neural network sees in the flattened side view: vegetation, stems, soil points, nodes, apices.

The network was trained only on invented scenes; see training/MODEL_CARD.md. It runs through OpenCV on the
processor and gives the same numbers each time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seedlingcv.flat.backdrop import SidePose
from seedlingcv.flat.white import WhiteReference, balance
from seedlingcv.segment.network import FOLDER, Peaks, chance, load, tops, woven
from seedlingcv.segment.row_plane import LEFT_MM, LOWEST_MM, WIDTH_MM, row_plane, sight_line_mm

PX_PER_MM = 4
COARSEST_MM = 8  # 32 px
WAY_MM = 50.0
LEAST_PEAK = 0.1


@dataclass(frozen=True)
class SideReading:
    """The network's answer on the row-A plane at PX_PER_MM px a mm, M x N pixels; chances are float32 0-1.

    vegetation, petiole : (M, N), what is seen
    hypocotyl, epicotyl : (M, N), also where a leaf or the tray's rim hides them
    soil, node, apex : peaks (right and up) where stems leave the soil, of seed-leaf nodes, of shoot apices
    home_mm (M/4, N/4) : sideways from a plant's pixel to its soil point
    node_mm, apex_mm (M/4, N/4, 2) : right and up from there to its node and apex
    diameter_mm (M/4, N/4) : of the stem there, half-way up its hypocotyl
    left_mm, top_mm : row-plane place of the upper left corner
    """

    vegetation: np.ndarray
    petiole: np.ndarray
    hypocotyl: np.ndarray
    epicotyl: np.ndarray
    soil: Peaks
    node: Peaks
    apex: Peaks
    home_mm: np.ndarray
    node_mm: np.ndarray
    apex_mm: np.ndarray
    diameter_mm: np.ndarray
    left_mm: float
    top_mm: float

    def to_mm(self, px: np.ndarray, px_per_mm: float = PX_PER_MM) -> np.ndarray:
        """(n, 2) px -> (n, 2) right, up in mm."""
        px = (np.asarray(px, float) + 0.5) / px_per_mm
        return np.column_stack([self.left_mm + px[:, 0], self.top_mm - px[:, 1]])

    def to_px(self, mm: np.ndarray, px_per_mm: float = PX_PER_MM) -> np.ndarray:
        mm = np.asarray(mm, float)
        return np.column_stack([mm[:, 0] - self.left_mm, self.top_mm - mm[:, 1]]) * px_per_mm - 0.5

    def diameter_at(self, mm: np.ndarray) -> float:
        """Of the stem at (right, up) in mm."""
        rows, columns = self.diameter_mm.shape
        column, row = np.round(self.to_px(np.asarray(mm)[None], 1.0)[0]).astype(int)
        return float(self.diameter_mm[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)])


def read_side(image: np.ndarray, pose: SidePose, highest_mm: float,
              white: WhiteReference | None = None) -> SideReading:
    """Run the network.

    image : uint8 BGR, the side photo as stored
    highest_mm : height above the rim up to which to look
    white : of the photo's cards; the network has learnt from pictures balanced by it
    """
    rows = int(np.ceil((highest_mm - LOWEST_MM) / COARSEST_MM)) * COARSEST_MM
    top = LOWEST_MM + rows
    picture = row_plane(image, pose, PX_PER_MM, LEFT_MM, LEFT_MM + WIDTH_MM, LOWEST_MM, top)
    network = load(FOLDER / "side.onnx")
    network.setInput(_input(balance(picture, white), pose, top))
    fine, ways = (a[0] for a in network.forward(["fine", "ways"]))
    masks = [chance(woven(fine[4 * k : 4 * k + 4])) for k in range(4)]
    peaks = [_peaks(chance(fine[16 + k]), top) for k in range(3)]
    unit = np.array([1, -1]) * WAY_MM
    return SideReading(*masks, *peaks, ways[0] * WAY_MM, ways[1:3].transpose(1, 2, 0) * unit,
                       ways[3:5].transpose(1, 2, 0) * unit, np.exp(np.clip(ways[5], -3, 3)), LEFT_MM, float(top))


def _input(picture: np.ndarray, pose: SidePose, top: float) -> np.ndarray:
    """float32 (1, 7, M, N); the meaning of the planes is told in training/side_network.py."""
    height, width = picture.shape[:2]
    planes = np.empty((1, 7, height, width), np.float32)
    np.multiply(picture.transpose(2, 0, 1), np.float32(1 / 255), out=planes[0, :3])
    up = top - (np.arange(height) + 0.5) / PX_PER_MM
    planes[0, 3] = ((up - pose.soil_up_mm) / 50)[:, None]
    across = LEFT_MM + (np.arange(width) + 0.5) / PX_PER_MM
    for plane, front in ((4, False), (5, True)):
        line = sight_line_mm(pose, across, front=front)
        planes[0, plane] = np.clip((up[:, None] - line[None, :]) / 10, -2, 2)
    planes[0, 6] = pose.pitch_mm / 100
    return planes


def _peaks(heat: np.ndarray, top_mm: float) -> Peaks:
    px, scores = tops(heat, LEAST_PEAK)
    places = (px + 0.5) / PX_PER_MM
    return Peaks(np.column_stack([LEFT_MM + places[:, 0], top_mm - places[:, 1]]), scores)

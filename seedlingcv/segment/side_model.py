"""What a small neural network sees in the flattened side view: vegetation, stems, soil points, nodes, apices.

The network was trained only on invented scenes; see training/MODEL_CARD.md. It runs through OpenCV on the
processor and gives the same numbers each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.flat.backdrop import SidePose
from seedlingcv.flat.white import WhiteReference, balance
from seedlingcv.segment.row_plane import LEFT_MM, LOWEST_MM, WIDTH_MM, row_plane, sight_line_mm

PX_PER_MM = 4
COARSEST_MM = 8  # 32 px
WAY_MM = 50.0
LEAST_PEAK = 0.1


@dataclass(frozen=True)
class SidePeaks:
    """places_mm (n, 2) right and up on the row-A plane; scores (n,) 0-1, highest first."""

    places_mm: np.ndarray
    scores: np.ndarray


@dataclass(frozen=True)
class SideReading:
    """The network's answer on the row-A plane at PX_PER_MM px a mm, M x N pixels; chances are float32 0-1.

    vegetation, petiole : (M, N), what is seen
    hypocotyl, epicotyl : (M, N), also where a leaf or the tray's rim hides them
    soil, node, apex : peaks where stems leave the soil, of seed-leaf nodes, of shoot apices
    home_mm (M/4, N/4) : sideways from a plant's pixel to its soil point
    node_mm, apex_mm (M/4, N/4, 2) : right and up from there to its node and apex
    diameter_mm (M/4, N/4) : of the stem there, half-way up its hypocotyl
    left_mm, top_mm : row-plane place of the upper left corner
    """

    vegetation: np.ndarray
    petiole: np.ndarray
    hypocotyl: np.ndarray
    epicotyl: np.ndarray
    soil: SidePeaks
    node: SidePeaks
    apex: SidePeaks
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


def read_side(image: np.ndarray, pose: SidePose, highest_mm: float, white: WhiteReference | None = None,
              model: Path | None = None) -> SideReading:
    """Run the network.

    image : uint8 BGR, the side photo as stored
    highest_mm : height above the rim up to which to look
    white : of the photo's cards; the network has learnt from pictures balanced by it
    """
    rows = int(np.ceil((highest_mm - LOWEST_MM) / COARSEST_MM)) * COARSEST_MM
    top = LOWEST_MM + rows
    picture = row_plane(image, pose, PX_PER_MM, LEFT_MM, LEFT_MM + WIDTH_MM, LOWEST_MM, top)
    network = _network(model)
    network.setInput(_input(balance(picture, white), pose, top))
    fine, ways = (a[0] for a in network.forward(["fine", "ways"]))
    masks = [_chance(_woven(fine[4 * k : 4 * k + 4])) for k in range(4)]
    peaks = [_peaks(_chance(fine[16 + k]), top) for k in range(3)]
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


def _network(model: Path | None) -> cv2.dnn.Net:
    if model is not None:
        return cv2.dnn.readNetFromONNX(str(model))
    with as_file(files("seedlingcv.segment") / "side.onnx") as path:
        return cv2.dnn.readNetFromONNX(str(path))


def _chance(logits: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(logits, -30, 30)))


def _woven(four: np.ndarray) -> np.ndarray:
    """(4, m, n), the 2 x 2 pixels of each, -> (2m, 2n)."""
    _, height, width = four.shape
    return four.reshape(2, 2, height, width).transpose(2, 0, 3, 1).reshape(2 * height, 2 * width)


def _peaks(heat: np.ndarray, top_mm: float) -> SidePeaks:
    """Places higher than all around them (half resolution), refined by a parabola."""
    top = (heat >= cv2.dilate(heat, np.ones((3, 3), np.uint8))) & (heat > LEAST_PEAK)
    top[[0, -1]] = top[:, [0, -1]] = False
    rows, columns = np.nonzero(top)
    if not len(rows):
        return SidePeaks(np.empty((0, 2)), np.empty(0))
    shift = []
    for dr, dc in ((0, 1), (1, 0)):
        before, here, after = heat[rows - dr, columns - dc], heat[rows, columns], heat[rows + dr, columns + dc]
        curve = np.minimum(before + after - 2 * here, -1e-6)
        shift.append(np.clip((before - after) / (2 * curve), -0.5, 0.5))
    right = LEFT_MM + (columns + shift[0] + 0.5) * 2 / PX_PER_MM
    up = top_mm - (rows + shift[1] + 0.5) * 2 / PX_PER_MM
    order = np.argsort(-heat[rows, columns], kind="stable")
    return SidePeaks(np.column_stack([right, up])[order], heat[rows, columns][order].astype(float))

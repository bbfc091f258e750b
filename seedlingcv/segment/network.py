"""What the readers of the networks share: loading a file, and its answers as chances, pixels and peaks."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import as_file, files
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

FOLDER = files("seedlingcv.segment")


@dataclass(frozen=True)
class Peaks:
    """places_mm (n, 2) on the plane that the network reads; scores (n,) 0-1, highest first."""

    places_mm: np.ndarray
    scores: np.ndarray


def load(weights: Traversable) -> cv2.dnn.Net:
    """Loaded anew each time, in some 20 ms: kept, it would hold on to 250 MB between flats."""
    with as_file(weights) as path:
        return cv2.dnn.readNetFromONNX(str(path))


def chance(logits: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(logits, -30, 30)))


def logit(chances: np.ndarray) -> np.ndarray:
    inner = np.clip(chances, 1e-4, 1 - 1e-4)
    return np.log(inner / (1 - inner))


def woven(four: np.ndarray) -> np.ndarray:
    """(4, m, n), the 2 x 2 pixels of each, -> (2m, 2n)."""
    _, height, width = four.shape
    return four.reshape(2, 2, height, width).transpose(2, 0, 3, 1).reshape(2 * height, 2 * width)


def tops(heat: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """Places higher than all around them, refined by a parabola: (n, 2) px of the picture, scores, highest first.

    heat : chances at half the picture's resolution; least : lower ones are left out
    """
    top = (heat >= cv2.dilate(heat, np.ones((3, 3), np.uint8))) & (heat > least)
    top[[0, -1]] = top[:, [0, -1]] = False
    rows, columns = np.nonzero(top)
    if not len(rows):
        return np.empty((0, 2)), np.empty(0)
    shift = []
    for dr, dc in ((0, 1), (1, 0)):
        before, here, after = heat[rows - dr, columns - dc], heat[rows, columns], heat[rows + dr, columns + dc]
        curve = np.minimum(before + after - 2 * here, -1e-6)
        shift.append(np.clip((before - after) / (2 * curve), -0.5, 0.5))
    px = np.column_stack([columns + shift[0], rows + shift[1]]) * 2 + 0.5
    order = np.argsort(-heat[rows, columns], kind="stable")
    return px[order], heat[rows, columns][order].astype(float)

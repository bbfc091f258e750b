"""A stem's diameter to a fraction of a pixel, across a short piece of it in the photo itself."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.flat.backdrop import SidePose
from seedlingcv.segment.side import GAMMA

SAMPLES_MM = 12  # samples a mm across the stem
PIECE_MM = 2.5  # of stem to either side of the place
HALF_MM = 4.5  # looked at to either side of the stem's middle


def stem_diameter(image: np.ndarray, pose: SidePose, points: np.ndarray, arc: np.ndarray, place_mm: float,
                  guess_mm: float) -> tuple[float | None, float]:
    """(diameter in mm or None, its standard error) at arc length `place_mm` of the path `points` (right, up mm).

    The colours across the stem are laid on the line that parts stem from surroundings best (Fisher's linear
    discriminant), which gives a profile from 0 beside the stem to 1 on it. Its width at half height and its area
    are two measures of the diameter: their mean is taken, and no answer where they disagree.
    """
    guess = float(np.clip(guess_mm, 0.8, 4.5))
    places = np.clip(place_mm + np.arange(-PIECE_MM, PIECE_MM + 0.01, 0.15), 0.5, arc[-1])
    middle = np.column_stack([np.interp(places, arc, points[:, k]) for k in (0, 1)])
    along = middle[-1] - middle[0]
    along /= max(float(np.linalg.norm(along)), 1e-6)
    offsets = np.arange(-HALF_MM, HALF_MM + 1e-6, 1 / SAMPLES_MM)
    grid = middle[:, None, :] + np.array([along[1], -along[0]]) * offsets[None, :, None]
    px = pose.project(np.dstack([grid[..., 0], -grid[..., 1], np.zeros(grid.shape[:2])])).astype(np.float32)
    light = (cv2.remap(image, px[..., 0], px[..., 1], cv2.INTER_LINEAR).astype(np.float64) / 255) ** GAMMA
    profile = _profile(light, offsets, guess)
    if profile is None:
        return None, 0.0
    half, area = _at_half(profile, offsets), _area(profile, offsets, guess)
    if half is None or not 0.5 < half < 6 or abs(half - area) > 0.35 * max(half, area):
        return None, 0.0
    return float((half + area) / 2), float(0.17 + 0.5 * abs(half - area))


def _profile(light: np.ndarray, offsets: np.ndarray, guess: float) -> np.ndarray | None:
    inner = np.abs(offsets) < 0.3 * guess
    beside = (np.abs(offsets) > 0.5 * guess + 0.7) & (np.abs(offsets) < 0.5 * guess + 1.8)
    around = light[:, beside].reshape(-1, 3)
    ground = np.median(around, axis=0)
    direction = np.linalg.solve(np.cov(around.T) + 1e-6 * np.eye(3), light[:, inner].mean(axis=(0, 1)) - ground)
    value = ((light - ground) @ direction).mean(axis=0)
    value -= np.median(value[beside])
    peak = value[inner].mean()
    return value / peak if peak > 1e-6 else None


def _at_half(profile: np.ndarray, offsets: np.ndarray) -> float | None:
    middle = len(offsets) // 2
    edges = []
    for step in (-1, 1):
        i = middle
        while 0 < i < len(offsets) - 1 and profile[i] > 0.5:
            i += step
        if profile[i] > 0.5 or i == middle:
            return None
        part = (profile[i - step] - 0.5) / (profile[i - step] - profile[i])
        edges.append(abs(offsets[i - step] + (offsets[i] - offsets[i - step]) * part))
    return float(sum(edges))


def _area(profile: np.ndarray, offsets: np.ndarray, guess: float) -> float:
    near = np.abs(offsets) < 0.5 * guess + 1.2
    return float(np.clip(profile[near], 0, 1.3).sum() / SAMPLES_MM)

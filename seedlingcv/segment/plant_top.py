"""How high the plants before the backdrop reach, by colour alone: how far up the network has to look.

The backdrop is one matte colour under light that changes slowly across it. A plant's shadow darkens it but
hardly turns its colour, so plants are told by the ratios between the channels (log chromaticity), against the
backdrop's own colour at that place.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from seedlingcv.flat.backdrop import FLAT_LENGTH_MM, SidePose
from seedlingcv.segment.row_plane import HIGHEST_MM, LOWEST_MM, card_area, row_plane, sight_line_mm

GAMMA, FLOOR = 2.2, 0.002  # stored values to light (about sRGB's curve, IEC 61966-2-1); FLOOR tames black's noise
CARD_KEEP_OFF_MM = 62.0  # a tag's card reaches 47 mm from the backdrop's corner
SURE, PLANT = 0.28, 0.18  # log chromaticity off the backdrop
LOCAL_MM = 7
USUAL_TOP_MM = 30.0  # where no plant is seen


def highest_plant_mm(image: np.ndarray, pose: SidePose) -> float:
    """Above the rim. image : uint8 BGR, the side photo as stored"""
    left, right = -FLAT_LENGTH_MM / 2 - 10, FLAT_LENGTH_MM / 2 + 10
    picture = row_plane(*_shrunk(image, pose), 1, left, right, LOWEST_MM, HIGHEST_MM)  # 1 px a mm
    light = log_light(cv2.GaussianBlur(picture, (0, 0), 1))
    height, width = light.shape[:2]
    across, up = np.meshgrid(left + np.arange(width) + 0.5, HIGHEST_MM - np.arange(height) - 0.5)
    inside = _inside(pose, across, up)
    lumps = cv2.morphologyEx(_plants(light, inside, across, up), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    rows = np.flatnonzero(lumps.any(axis=1))
    return float(up[rows[0], 0]) if len(rows) else USUAL_TOP_MM


def _plants(light: np.ndarray, inside: np.ndarray, across: np.ndarray, up: np.ndarray) -> np.ndarray:
    """uint8 (height, width), 1 on plants: what turns from a cubic surface of the backdrop's colour."""
    surface = _cubic(across / (FLAT_LENGTH_MM / 2), (up - 100) / 100)
    clean = inside.copy()
    for _ in range(4):
        every = np.flatnonzero(clean)[::23]
        fit = np.linalg.lstsq(surface.reshape(-1, surface.shape[-1])[every], light.reshape(-1, 3)[every],
                              rcond=None)[0]
        change = light - (surface @ fit).astype(np.float32)
        chroma = chroma_distance(change)
        clean = inside & (chroma < 5 * _noise(change, inside) + 0.02)
    # what the surface leaves: soft shadows, green light from leaves near by. Thin stems weigh little in it.
    good = (inside & (chroma < SURE)).astype(np.float32)
    weight = cv2.GaussianBlur(good, (0, 0), LOCAL_MM)[..., None] + 0.02
    local = cv2.GaussianBlur(change * good[..., None], (0, 0), LOCAL_MM) / weight
    return (inside & (chroma_distance(change - local) > PLANT)).astype(np.uint8)


def _inside(pose: SidePose, across: np.ndarray, up: np.ndarray) -> np.ndarray:
    line = sight_line_mm(pose, across[0]) + 1.5
    left = across[0, 0] - 0.5
    inside = card_area(pose, left, HIGHEST_MM, 1, up.shape[::-1]) & (up > line[None, :])
    for corner in pose.to_row(pose.project(pose.backdrop))[:2]:
        near = (np.abs(across - corner[0]) < CARD_KEEP_OFF_MM) & (np.abs(up - corner[1]) < CARD_KEEP_OFF_MM)
        inside &= ~near
    return inside


_LOG = np.log((np.arange(256) / 255.0) ** GAMMA + FLOOR).astype(np.float32)


def log_light(image: np.ndarray) -> np.ndarray:
    return cv2.LUT(image, _LOG)


def chroma_distance(change: np.ndarray) -> np.ndarray:
    """How far the colour turns the way plants turn it: less blue than the backdrop (chlorophyll and carotenoids
    absorb blue), or redder (anthocyanin). A shadow lit by the sky turns bluer and less red, which counts little.
    """
    green_red = change[..., 1] - change[..., 2]
    green_red = np.where(green_red > 0, 0.5 * green_red, green_red)
    return cv2.magnitude(green_red, np.maximum(change[..., 1] - change[..., 0], 0))


def _noise(change: np.ndarray, inside: np.ndarray) -> float:
    """Standard deviation of the backdrop's green-blue ratio (median absolute deviation x 1.4826)."""
    ratio = (change[::3, ::3, 1] - change[::3, ::3, 0])[inside[::3, ::3]]
    return 1.4826 * float(np.median(np.abs(ratio))) if len(ratio) else 0.0


def _shrunk(image: np.ndarray, pose: SidePose) -> tuple[np.ndarray, SidePose]:
    by = max(1, int(pose.px_per_mm / 1.5))
    if by == 1:
        return image, pose
    small = cv2.resize(image, None, fx=1 / by, fy=1 / by, interpolation=cv2.INTER_AREA)
    return small, replace(pose, focal_px=pose.focal_px / by, size=(pose.size[0] / by, pose.size[1] / by))


def _cubic(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=-1)

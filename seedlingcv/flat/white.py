"""The cards' white margins as a white reference: what light fell on the flat."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import CARD_MM, MODULE_MM, SQUARE_MM

PAPER_REFLECTANCE = 0.85  # of white matte paper and laminate; common practice, no source
RING_MM = SQUARE_MM / 2 + 0.55 * MODULE_MM  # middle of the quiet zone
assert CARD_MM / 2 > RING_MM


@dataclass(frozen=True)
class WhiteReference:
    """Light at each card: levels (N, 3) BGR in linear light, 0-1."""

    levels: np.ndarray

    def gains(self) -> np.ndarray:
        """(3,) BGR factors that make the cards' mean white neutral and as bright as paper."""
        return PAPER_REFLECTANCE / np.exp(np.log(self.levels).mean(axis=0))


def linear(values: np.ndarray) -> np.ndarray:
    """Stored 8-bit values to linear light 0-1, the sRGB curve (IEC 61966-2-1)."""
    v = np.asarray(values, np.float32) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def encoded(light: np.ndarray) -> np.ndarray:
    """Linear light 0-1 to stored 8-bit values; inverse of `linear`."""
    v = np.clip(light, 0, 1)
    return np.round(255 * np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)).astype(np.uint8)


def white_reference(image: np.ndarray, tags: list[Tag]) -> WhiteReference | None:
    """Read the white margins of `tags`; None where no margin is bright enough to trust.

    image : uint8 (height, width, 3) BGR as stored
    """
    levels = []
    for tag in tags:
        level = linear(_margin(image, tag))
        if level.size and level.mean() > 0.02:
            # a leaf or a shadow may lie on part of the margin: the median of what is left
            levels.append(np.maximum(np.median(level, axis=0), 1e-3))
    if not levels:
        return None
    return WhiteReference(np.array(levels))


def balance(image: np.ndarray, white: WhiteReference | None) -> np.ndarray:
    """The picture as under neutral light of full brightness, uint8 BGR like the input.

    Without a white reference the picture is returned as it is.
    """
    if white is None:
        return image
    table = np.stack([encoded(linear(np.arange(256)) * gain) for gain in white.gains()], axis=-1)
    return cv2.LUT(image, table[None])


def _margin(image: np.ndarray, tag: Tag) -> np.ndarray:
    """(N, 3) stored values around the black square, in the white quiet zone."""
    half = SQUARE_MM / 2
    square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]], np.float32)
    to_px = cv2.getPerspectiveTransform(square, tag.corners.astype(np.float32))
    t = np.linspace(-RING_MM, RING_MM, 25)
    edge = np.full_like(t, RING_MM)
    ring = np.concatenate([np.column_stack(s) for s in ((t, edge), (t, -edge), (edge, t), (-edge, t))])
    at = cv2.perspectiveTransform(ring[None].astype(np.float64), to_px)[0].astype(np.float32)
    height, width = image.shape[:2]
    inside = (at >= 1).all(1) & (at[:, 0] < width - 2) & (at[:, 1] < height - 2)
    at = np.ascontiguousarray(at[inside])
    if not len(at):
        return np.empty((0, 3))
    return cv2.remap(image, at[:, 0].copy(), at[:, 1].copy(), cv2.INTER_LINEAR).reshape(-1, 3)

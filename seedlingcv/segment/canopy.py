"""How high the leaves stand, as one level plane for the whole flat.

A leaf above the rim is seen displaced outwards and too large. On the level plane through most leaves it is
seen in its true place and size. Single plants stand higher or lower than that plane; their own heights are
a later step's work.
"""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.flat.backdrop import SOIL_BELOW_RIM_MM
from seedlingcv.flat.rectify import PlaneView, lift

# Leaves seen from above lie mostly below a plant's highest point. On eight drawn flats of six crops the
# displacement of the whole canopy was best undone at 0.7-0.8 of the median plant height.
CANOPY_SHARE = 0.75
LOWEST_MM, HIGHEST_MM, STEP_MM = -10.0, 200.0, 4.0
SWEEP_PX_PER_MM = 1.0
LEAST_BASELINE_MM = 40.0
LEAST_COVER = 0.01


def canopy_plane_mm(plant_height_mm: float) -> float:
    """Height above the rim of the plane through most leaves, from a plant height above soil."""
    return CANOPY_SHARE * plant_height_mm - SOIL_BELOW_RIM_MM


def canopy_from_pair(masks: tuple[np.ndarray, np.ndarray], view: PlaneView,
                     eyes_mm: tuple[np.ndarray, np.ndarray]) -> float | None:
    """The height at which two photos of the same flat agree best on where vegetation is.

    masks : bool (view.height, view.width), each seen on `view` from its own camera place
    Returns mm above the rim, or None where the cameras stood too close together or there is too little to see.
    """
    baseline = float(np.linalg.norm(np.asarray(eyes_mm[0])[:2] - np.asarray(eyes_mm[1])[:2]))
    if baseline < LEAST_BASELINE_MM or min(m.mean() for m in masks) < LEAST_COVER:
        return None
    scale = SWEEP_PX_PER_MM / view.px_per_mm
    small = [cv2.resize(m.astype(np.uint8) * 255, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) > 127
             for m in masks]
    coarse = PlaneView(view.x0, view.y0, small[0].shape[1], small[0].shape[0], SWEEP_PX_PER_MM, view.z_mm)
    heights = np.arange(LOWEST_MM, HIGHEST_MM + 0.1, STEP_MM)
    agreement = np.array([_overlap(*(lift(m, coarse, e, z)[0] for m, e in zip(small, eyes_mm, strict=True)))
                          for z in heights])
    best = int(agreement.argmax())
    if best in (0, len(heights) - 1):
        return None
    left, top, right = agreement[best - 1 : best + 2]
    bend = left - 2 * top + right
    return float(heights[best] + (0.5 * STEP_MM * (left - right) / bend if bend < 0 else 0.0))


def _overlap(a: np.ndarray, b: np.ndarray) -> float:
    """Intersection over union."""
    return float((a & b).sum() / max((a | b).sum(), 1))

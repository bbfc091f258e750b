"""Side scenes as the arrays that training needs (numpy and OpenCV only)."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.training.side_scenes import PX_PER_MM, make_side_scene

MOST_PLANTS = 40
PEAK_MM = 1.1


def sample(seed: int) -> dict[str, np.ndarray]:
    """The scene of a seed. M pixels a side at 4 px a mm.

    image (M, M, 3) uint8; share (4, M, M) uint8: vegetation, petiole, hypocotyl, epicotyl; owner and stem_owner
    (M/4, M/4) uint8 from 1; heat (3, M/2, M/2) uint8 of soil points, nodes, apices; plants (MOST_PLANTS, 7): x, y
    in px of soil point, node and apex, diameter in mm (all 0 for grass); place (4): rows of soil, line and front
    in px, pitch in mm
    """
    cv2.setNumThreads(1)
    scene = make_side_scene(seed)
    size = scene.image.shape[0]
    count = min(len(scene.plants), MOST_PLANTS)
    plants = np.zeros((MOST_PLANTS, 7), np.float32)
    for i in range(count):
        if np.isfinite(scene.points[i]).all():
            plants[i, :6], plants[i, 6] = scene.points[i].ravel(), scene.plants[i].diameter_mm
    quarter = slice(2, None, 4)
    owner, stem_owner = (np.where(o > MOST_PLANTS, 0, o)[quarter, quarter] for o in (scene.owner, scene.stem_owner))
    heat = np.stack([_peaks(plants[:count][plants[:count, 6] > 0][:, k : k + 2], size // 2) for k in (0, 2, 4)])
    return {
        "image": scene.image,
        "share": np.stack([scene.vegetation, scene.petiole, scene.hypocotyl, scene.epicotyl]),
        "owner": owner.astype(np.uint8),
        "stem_owner": stem_owner.astype(np.uint8),
        "heat": heat,
        "plants": plants,
        "place": np.array([scene.soil_px, scene.line_px, scene.front_px, scene.tray.pitch_mm], np.float32),
    }


def _peaks(points_px, size: int) -> np.ndarray:
    """Gaussian bumps at half resolution, the pixel nearest to each point at 255."""
    out = np.zeros((size, size), np.float32)
    sigma = PEAK_MM * PX_PER_MM / 2
    reach = int(np.ceil(3 * sigma))
    for x, y in (np.asarray(points_px, float).reshape(-1, 2) + 0.5) / 2 - 0.5:
        c, r = round(x), round(y)
        x0, x1, y0, y1 = max(c - reach, 0), min(c + reach + 1, size), max(r - reach, 0), min(r + reach + 1, size)
        if x0 >= x1 or y0 >= y1:
            continue
        gx, gy = np.arange(x0, x1) - x, np.arange(y0, y1) - y
        bump = np.exp(-(gx[None] ** 2 + gy[:, None] ** 2) / (2 * sigma**2))
        if x0 <= c < x1 and y0 <= r < y1:
            bump[r - y0, c - x0] = 1
        out[y0:y1, x0:x1] = np.maximum(out[y0:y1, x0:x1], bump)
    return np.round(out * 255).astype(np.uint8)

"""Scenes as the arrays that training needs (numpy and OpenCV only)."""

from __future__ import annotations

import numpy as np

from seedlingcv.training.forms import COTYLEDON, COUNTED_BLADE_MM, LEAF
from seedlingcv.training.scenes import PX_PER_MM, make_scene

MOST_PLANTS, MOST_CELLS, MOST_BLADES = 900, 288, 6000
BASE_PEAK_MM = 1.7
BLADE_PEAK_SHARE = 0.12  # of the blade's length


def sample(seed: int) -> dict[str, np.ndarray]:
    """The scene of a seed.

    image (2M, 2N, 3), vegetation (2M, 2N) 0-255, owner and blade (M, N) int16, stem (M, N) 0/1,
    heat (4, M/2, N/2) uint8; eye (3)
    bases (MOST_PLANTS, 5): x, y, column and row of its cell (-9 outside), weed; middles (MOST_BLADES, 2) of blades
    cells (MOST_CELLS, 6): x, y, crop plants (-1 = no cell), true leaves, spread, height of a single plant
    place (8): see `place_of`; parts 1: blades and stems are told apart
    """
    scene = make_scene(seed)
    layout, view = scene.layout, scene.view
    bases, middles = np.zeros((MOST_PLANTS, 5), np.float32), np.zeros((MOST_BLADES, 2), np.float32)
    for i, (plant, base) in enumerate(zip(scene.plants[:MOST_PLANTS], scene.bases_mm, strict=False)):
        cell = layout.cells[plant.cell]
        place = (cell.column - 1, cell.row) if plant.cell >= 0 else (-9, -9)
        bases[i] = (*base, *place, plant.weed)
    middles[: len(scene.blades)] = scene.blades[:MOST_BLADES, :2]
    blade = np.where(scene.blade > MOST_BLADES, 0, scene.blade).astype(np.int16)
    owner = np.where(scene.owner > MOST_PLANTS, 0, scene.owner).astype(np.int16)
    weed = np.array([p.weed for p in scene.plants], bool)
    x_y, what, length, shown = scene.blades[:, :2], scene.blades[:, 2], scene.blades[:, 4], scene.blades[:, 5] > 0
    leaf, cotyledon = shown & (what == LEAF) & (length > COUNTED_BLADE_MM), shown & (what == COTYLEDON)
    wide = np.clip(BLADE_PEAK_SHARE * length, 1.3, 4)
    heat = np.stack(
        [
            base_peaks(scene.bases_mm[~weed], view),
            base_peaks(scene.bases_mm[weed], view),
            _peaks(x_y[leaf], wide[leaf], view),
            _peaks(x_y[cotyledon], wide[cotyledon], view),
        ]
    )
    cells = np.full((MOST_CELLS, 6), -1, np.float32)
    for i, cell in enumerate(layout.cells):
        cells[i, :3] = (*cell.centre_mm, scene.count[i])
    for plant in scene.plants:
        if plant.cell >= 0 and not plant.weed and scene.count[plant.cell] == 1:
            cells[plant.cell, 3:] = plant.true_leaves, plant.spread_mm, plant.height_mm
    return {
        "image": scene.image,
        "vegetation": scene.vegetation,
        "owner": owner,
        "blade": blade,
        "stem": (scene.kind == 1).astype(np.uint8),
        "heat": heat,
        "bases": bases,
        "middles": middles,
        "cells": cells,
        "eye": scene.eye_mm.astype(np.float32),
        "place": place_of(view, layout),
        "parts": np.array(1, np.uint8),
    }


def place_of(view, layout) -> np.ndarray:
    """(8,): x0, y0 of the view, corner x, y, pitch x, y, columns, rows."""
    return np.array([view.x0, view.y0, *layout.corner_mm, *layout.pitch_mm, layout.columns, layout.rows], np.float32)


def base_peaks(points_mm, view) -> np.ndarray:
    return _peaks(points_mm, BASE_PEAK_MM, view)


def _peaks(points_mm, sigma_mm, view) -> np.ndarray:
    """Gaussian bumps of height 255, the highest where they overlap, at half the view's resolution."""
    height, width = view.height // 2, view.width // 2
    out = np.zeros((height, width), np.float32)
    # pixel (column j) of the half picture covers pixels 2j and 2j + 1
    at = (np.asarray(points_mm, float).reshape(-1, 2) - [view.x0, view.y0]) * PX_PER_MM / 2 - 0.25
    for (x, y), sigma in zip(at, np.broadcast_to(sigma_mm, len(at)) * (PX_PER_MM / 2), strict=True):
        reach = int(np.ceil(3 * sigma))
        c, r = round(x), round(y)
        x0, x1, y0, y1 = max(c - reach, 0), min(c + reach + 1, width), max(r - reach, 0), min(r + reach + 1, height)
        if x0 >= x1 or y0 >= y1:
            continue
        gx, gy = np.arange(x0, x1) - x, np.arange(y0, y1) - y
        if x0 <= c < x1 and y0 <= r < y1:  # the nearest pixel counts as the peak itself
            gx[c - x0], gy[r - y0] = 0, 0
        bump = np.exp(-(gx[None] ** 2 + gy[:, None] ** 2) / (2 * sigma**2))
        out[y0:y1, x0:x1] = np.maximum(out[y0:y1, x0:x1], bump)
    return np.round(out * 255).astype(np.uint8)

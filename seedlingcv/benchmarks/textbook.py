"""The textbook recipe, as any tutorial on leaf area from photos shows it: the baseline.

Colour index, Otsu's threshold, opening, distance transform, watershed from one seed a cell, region properties;
all from scikit-image. No light correction, no height of leaves, no abstaining.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

INDICES = ("excess_green", "a_star")
OPENING_PX = 2
SEED_SHARE = 0.15  # of the cells' distance: a stem rarely stands in the very middle of its cell
LEAST_AREA_PX = 20


def excess_green(picture: np.ndarray) -> np.ndarray:
    """2g - r - b of shares of the pixel's sum, float (M, N); picture : uint8 BGR.

    Woebbecke et al. 1995, Trans. ASAE 38(1):259-269 (from memory).
    """
    blue, green, red = np.moveaxis(picture.astype(float), -1, 0)
    return (2 * green - red - blue) / np.maximum(red + green + blue, 1)


def a_star(picture: np.ndarray) -> np.ndarray:
    """CIELAB a*, green negative, float (M, N); picture : uint8 BGR."""
    from skimage.color import rgb2lab

    return rgb2lab(picture[..., ::-1])[..., 1]


def vegetation(picture: np.ndarray, index: str) -> np.ndarray:
    """bool (M, N). index : one of INDICES."""
    from skimage.filters import threshold_otsu
    from skimage.morphology import disk, opening

    values = excess_green(picture) if index == "excess_green" else -a_star(picture)
    return opening(values > threshold_otsu(values), disk(OPENING_PX))


def split_by_cell(mask: np.ndarray, centres_px: np.ndarray) -> np.ndarray:
    """int (M, N): 1 + the cell's number, 0 = none. Vegetation joined to no seed gets no label.

    centres_px : (cells, 2) column and row
    """
    from scipy.ndimage import distance_transform_edt
    from scipy.spatial import cKDTree
    from skimage.segmentation import watershed

    pitch = float(np.median(cKDTree(centres_px).query(centres_px, k=2)[0][:, 1])) if len(centres_px) > 1 else 20.0
    seeds = np.zeros(mask.shape, np.int32)
    reach = max(1, round(SEED_SHARE * pitch))
    for number, (column, row) in enumerate(np.round(centres_px).astype(int), start=1):
        box = np.s_[max(row - reach, 0) : row + reach + 1, max(column - reach, 0) : column + reach + 1]
        seeds[box] = number
    return watershed(-distance_transform_edt(mask), seeds * mask, mask=mask)


@dataclass(frozen=True)
class CellFigures:
    """canopy_cover : fraction of the cell's box; leaf_spread_mm, leaf_area_mm2 : None where the cell has no label."""

    canopy_cover: float
    leaf_spread_mm: float | None
    leaf_area_mm2: float | None


def figures(mask: np.ndarray, labels: np.ndarray, boxes: list[tuple[slice, slice]],
            px_per_mm: float) -> list[CellFigures]:
    """One for each cell, in the boxes' order."""
    from skimage.measure import regionprops

    regions = {r.label: r for r in regionprops(labels) if r.area >= LEAST_AREA_PX}
    out = []
    for number, box in enumerate(boxes, start=1):
        region = regions.get(number)
        out.append(CellFigures(float(mask[box].mean()), region and region.feret_diameter_max / px_per_mm,
                               region and float(region.area) / px_per_mm**2))
    return out

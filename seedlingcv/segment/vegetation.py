"""Which pixels are vegetation.

Excess green, 2G - R - B (Woebbecke et al. 1995, Trans. ASAE 38(1):259-269; from memory), on light-corrected
colour. A leaf's edge pixel mixes leaf and background, so the border lies where the index is about halfway
between the two. Both are taken from the picture itself: first as a whole, then around each place, since
a leaf in shade is dimmer and a bright one bleeds colour past its edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

SMOOTH_PX = 0.8  # colour in a JPEG is stored at half size: single pixels say little
FIRST_THRESHOLD = 35.0  # of 510: greener than any neutral surface under a slight cast
LEAST_THRESHOLD = 15.0  # below it, camera noise passes for leaves
LEAF_PERCENTILE = 60
# Shares of the way from ground to leaf. Chosen on drawn flats and two sets of field photos together: lower
# values fatten leaves by bled colour, higher ones lose dull leaves.
HALFWAY = 0.45  # to the leaf around a place
FLOOR_SHARE = 0.40  # to the typical leaf: no pixel below it counts
BRIGHTEST_SHARE = 1.3  # leaves greener than this don't raise the threshold further
AROUND_PX = 15
TRAY_MARGIN = 0.35  # a green tray: this share of the way from tray to leaf
# A speck or a patch of moss is thin and torn: smoothed over CORE_MM it falls below this share of a leaf.
CORE_MM, CORE_SHARE = 0.8, 0.6
LEAST_AREA_MM2 = 6.0
PIXELS_TO_LEARN_FROM = 50

_EXCESS_GREEN = np.array([[-1.0, 2.0, -1.0]], np.float32)


@dataclass(frozen=True)
class Vegetation:
    """mask : bool (M, N); index : float32 (M, N) excess green, smoothed; leaf_index : the typical leaf's."""

    mask: np.ndarray
    index: np.ndarray
    leaf_index: float


def excess_green(image: np.ndarray) -> np.ndarray:
    """2G - R - B of a BGR uint8 picture, float32 (M, N), -510 to 510, smoothed against JPEG noise."""
    return cv2.GaussianBlur(cv2.transform(image.astype(np.float32), _EXCESS_GREEN), (0, 0), SMOOTH_PX)


def find_vegetation(image: np.ndarray, *, where: np.ndarray | None = None, tray: np.ndarray | None = None,
                    px_per_mm: float | None = None) -> Vegetation:
    """Vegetation in a light-corrected picture.

    image : uint8 (M, N, 3), BGR
    where : bool (M, N), the part from which leaf and background are learned; all of it if None
    tray : bool (M, N), pixels of the flat's own rim, whose colour is not a leaf's
    px_per_mm : scale; without it specks are not removed, since their size is unknown
    """
    index = excess_green(image)
    part = np.ones(index.shape, bool) if where is None else where
    ground, leaf = _ground_and_leaf(index, part)
    floor = max(LEAST_THRESHOLD, ground + FLOOR_SHARE * (leaf - ground))
    if tray is not None and tray.any():
        tray_index = float(np.median(index[tray]))
        floor = max(floor, tray_index + TRAY_MARGIN * (leaf - tray_index))
    around = cv2.blur(cv2.dilate(index, np.ones((AROUND_PX, AROUND_PX), np.uint8)), (AROUND_PX, AROUND_PX))
    around = np.minimum(around, ground + BRIGHTEST_SHARE * (leaf - ground))
    mask = index > np.maximum(floor, ground + HALFWAY * (around - ground))
    if px_per_mm is not None:
        mask = _without_specks(mask, index, leaf, px_per_mm)
    return Vegetation(mask, index, leaf)


def _ground_and_leaf(index: np.ndarray, part: np.ndarray) -> tuple[float, float]:
    """The index of bare ground and in the middle of leaves.

    A threshold is found again and again from what lies above and below it (Ridler & Calvard 1978, IEEE
    Trans. SMC 8:630-632; from memory), with leaves' edges left out.
    """
    values = index[part]
    threshold, ground, leaf = FIRST_THRESHOLD, 0.0, 2 * FIRST_THRESHOLD
    for _ in range(6):
        inner = cv2.erode((index > threshold).astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool) & part
        if inner.sum() < PIXELS_TO_LEARN_FROM:
            break
        leaf = float(np.percentile(index[inner], LEAF_PERCENTILE))
        ground = float(np.median(values[values <= threshold]))
        threshold = max(LEAST_THRESHOLD, ground + 0.45 * (leaf - ground))
    return ground, leaf


def _without_specks(mask: np.ndarray, index: np.ndarray, leaf: float, px_per_mm: float) -> np.ndarray:
    smooth = cv2.GaussianBlur(index, (0, 0), CORE_MM * px_per_mm)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    best = np.zeros(count, np.float32)
    inside = labels > 0
    np.maximum.at(best, labels[inside], smooth[inside])
    keep = (best >= CORE_SHARE * leaf) & (stats[:, cv2.CC_STAT_AREA] >= LEAST_AREA_MM2 * px_per_mm**2)
    keep[0] = False
    return keep[labels]


def without_small(mask: np.ndarray, least_px: float) -> np.ndarray:
    """A bool mask without its pieces of fewer pixels."""
    _, pieces, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return keep[pieces]

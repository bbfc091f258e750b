"""Each plant's height, and from it the stem's length, out of two overhead photos.

The highest point of a plant is a narrow tip that two photos from above hardly show: what they do show as the
top of a plant lies a little lower, by much the same share in all crops tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import PlaneView
from seedlingcv.measure.side import NODE_SHARE, NODE_SHARE_SD, SHARE_ABOVE_NODE, StemMeasurement
from seedlingcv.segment.canopy import SOIL_BELOW_RIM_MM
from seedlingcv.segment.heights import HeightMap, HeightPair
from seedlingcv.segment.plants import Plants

TOP_PERCENTILE = 99
# That percentile against the highest point above the soil. Median of 467 plants on eight drawn flats of six crops;
# 0.92 to 0.98 in seven of the flats.
TOP_SHARE = 0.94
LEAST_PIXELS, LEAST_KNOWN = 12, 0.4
# The two photos' heights of a plant may differ by this share, or this many mm, before neither is believed.
MOST_APART, MOST_APART_MM = 0.20, 4.0
HEIGHT_SD, HEIGHT_SD_MM, UNSURE_SD = 0.09, 0.8, 0.08  # of the height, against the truth; more with unsure leaves
FRONT_ROW_ENOUGH = 4
RATIO_SD = 0.10  # of stem to height, relative, between plants of one flat
GENERAL_RATIO = NODE_SHARE + (1 - NODE_SHARE) * SHARE_ABOVE_NODE


@dataclass(frozen=True)
class PlantHeight:
    """One cell. `height_mm` above the soil, None where the photos don't agree or show too little; `leaf_z_mm` is
    the middle height of its leaves above the rim."""

    cell: str
    height_mm: float | None = None
    height_se: float | None = None
    leaf_z_mm: float | None = None


@dataclass(frozen=True)
class StemEstimate:
    cell: str
    stem_length_mm: float
    stem_length_se: float


def plant_heights(maps: HeightPair, plants: tuple[Plants, Plants], layout: FlatLayout) -> tuple[PlantHeight, ...]:
    """Heights of the plants in all cells of `layout`, in its order.

    plants : which pixel is whose in the first and the second photo, on a plane of any height
    """
    tops = [_tops(m, labels_on(m.view, p, m.eye_mm), len(layout.cells))
            for m, p in zip((maps.first, maps.second), plants, strict=True)]
    soil_se = max(maps.first.soil_se_mm, maps.second.soil_se_mm)
    out = []
    for number, cell in enumerate(layout.cells):
        (first, leaf_z), (second, _) = (t[number] for t in tops)
        if first is None or second is None or _apart(first, second):
            out.append(PlantHeight(cell.name, leaf_z_mm=leaf_z))
            continue
        height = (first + second) / 2
        unsure = 0.0 if all(p.sure[number] for p in plants) else UNSURE_SD * height
        se = np.sqrt((HEIGHT_SD * height) ** 2 + HEIGHT_SD_MM**2 + (first - second) ** 2 / 4 + soil_se**2 + unsure**2)
        out.append(PlantHeight(cell.name, height, float(se), leaf_z))
    return tuple(out)


def _apart(first: float, second: float) -> bool:
    return abs(first - second) > max(MOST_APART_MM, MOST_APART * (first + second) / 2)


def labels_on(view: PlaneView, plants: Plants, eye_mm: np.ndarray) -> np.ndarray:
    """The plants' labels carried along the camera's rays to `view`, nearest neighbour."""
    scale = (eye_mm[2] - plants.view.z_mm) / (eye_mm[2] - view.z_mm)
    x = eye_mm[0] + (view.x0 + np.arange(view.width) / view.px_per_mm - eye_mm[0]) * scale
    y = eye_mm[1] + (view.y0 + np.arange(view.height) / view.px_per_mm - eye_mm[1]) * scale
    u, v = np.meshgrid((x - plants.view.x0) * plants.view.px_per_mm, (y - plants.view.y0) * plants.view.px_per_mm)
    return cv2.remap(plants.labels, u.astype(np.float32), v.astype(np.float32), cv2.INTER_NEAREST)


def _tops(seen: HeightMap, labels: np.ndarray, count: int) -> list[tuple[float | None, float | None]]:
    """For each cell the plant's height above the soil, and its leaves' middle height above the rim."""
    owner = np.where(seen.vegetation, labels, 0).ravel()
    order = np.argsort(owner, kind="stable")
    ends = np.searchsorted(owner[order], np.arange(1, count + 2))
    out = []
    for start, end in zip(ends[:-1], ends[1:], strict=True):
        z = seen.z_mm.ravel()[order[start:end]]
        known = z[np.isfinite(z)]
        if len(known) < max(LEAST_PIXELS, LEAST_KNOWN * len(z)):
            out.append((None, None))
            continue
        top = float(np.percentile(known, TOP_PERCENTILE)) + SOIL_BELOW_RIM_MM
        out.append((max(top, 0.0) / TOP_SHARE, float(np.median(known))))
    return out


def stem_from_height(heights: Sequence[PlantHeight], stems: Sequence[StemMeasurement] = ()) -> tuple[StemEstimate, ...]:
    """Stem lengths of all cells whose height is known, by the ratio of stem to height.

    stems : the front row from the side photo. Its plants are of the same sowing, so their ratio is the flat's;
        without them a general one is taken, and the standard errors are much wider.
    """
    above = {h.cell: h.height_mm for h in heights if h.height_mm is not None}
    ratios = [s.stem_length_mm / above[s.cell] for s in stems if s.stem_length_mm and above.get(s.cell)]
    if len(ratios) >= FRONT_ROW_ENOUGH:
        ratio, spread = median(ratios), RATIO_SD
    else:
        ratio, spread = GENERAL_RATIO, NODE_SHARE_SD / NODE_SHARE
    return tuple(StemEstimate(h.cell, ratio * h.height_mm, ratio * float(np.hypot(h.height_se, spread * h.height_mm)))
                 for h in heights if h.height_mm is not None and h.height_se is not None)

"""Each plant's height, and from it the stem's length, out of two overhead photos.

The highest point of a plant is a narrow tip that two photos from above hardly show: what they show as the top lies
a little lower, by much the same few mm for plants of all heights, since that is the size of what the matching of
two photos smooths over.

The stem is reckoned from the height of the crown, mostly the mean of all that is seen of the plant, not from its
top: leaves stand around the shoot apex, some higher and some lower, while the top is one leaf's tip and may be a
neighbour's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import PlaneView
from seedlingcv.measure.side import StemMeasurement
from seedlingcv.segment.canopy import SOIL_BELOW_RIM_MM
from seedlingcv.segment.heights import HeightMap, HeightPair
from seedlingcv.segment.plants import Plants

TOP_PERCENTILE = 99
# How far the highest point lies above that percentile, at most a tenth of it. On 467 plants of eight drawn flats of
# six crops, 20 to 120 mm high, a straight line through both had the slope 1.00 (0.98 to 1.00 leaving out one flat at
# a time), and the offset came out at 2.3 to 3.0 mm.
TIP_MM, TIP_SHARE = 2.7, 0.1
# Of the way from the mean height to the top at which the crown is taken to be. On the eight flats stems by the flat's
# own ratio were off by 2.4 mm by the mean alone, 2.3 by a fifth, 3.1 by the top alone. On 144 kinds of invented plants
# of another make, their heights known without error, the ratio varied by 9, 8 and 7 % within a kind.
CROWN_SHARE = 0.2
LEAST_PIXELS, LEAST_KNOWN = 12, 0.4
# The two photos' heights of a plant may differ by this share, or this many mm, before neither is believed.
MOST_APART, MOST_APART_MM = 0.25, 4.0
# Standard errors as a share and in mm, more with unsure leaves: of the height, and of the crown's as a measure of the
# stem.
HEIGHT_SE, CROWN_SE, UNSURE_SE = (0.08, 1.2), (0.03, 0.5), 0.08
FRONT_ROW_ENOUGH = 4
# Stem against crown height: 0.69 to 1.13 on the eight flats, 1.06 with a spread of 0.2 on the 144 kinds; and its
# relative spread between plants of one flat, beyond the errors of the heights.
USUAL_RATIO, USUAL_RATIO_SD = 1.0, 0.18
RATIO_SD = 0.05


@dataclass(frozen=True)
class PlantHeight:
    """One cell. `height_mm` of the plant, and `crown_mm` of its leaves as a whole, above the soil, each None where the
    photos don't agree on it or show too little."""

    cell: str
    height_mm: float | None = None
    height_se: float | None = None
    crown_mm: float | None = None
    crown_se: float | None = None


@dataclass(frozen=True)
class StemEstimate:
    cell: str
    stem_length_mm: float
    stem_length_se: float


def plant_heights(maps: HeightPair, plants: tuple[Plants, Plants], layout: FlatLayout) -> tuple[PlantHeight, ...]:
    """Heights of the plants in all cells of `layout`, in its order.

    plants : which pixel is whose in the first and the second photo, on a plane of any height
    """
    seen = [_tops_and_crowns(m, labels_on(m.view, p, m.eye_mm), len(layout.cells))
            for m, p in zip((maps.first, maps.second), plants, strict=True)]
    soil_se = max(maps.first.soil_se_mm, maps.second.soil_se_mm)
    out = []
    for number, cell in enumerate(layout.cells):
        unsure = 0.0 if all(p.sure[number] for p in plants) else UNSURE_SE
        (top, crown), (top2, crown2) = (s[number] for s in seen)
        out.append(PlantHeight(cell.name, *_agreed(top, top2, (*HEIGHT_SE, unsure, soil_se)),
                               *_agreed(crown, crown2, (*CROWN_SE, unsure, soil_se))))
    return tuple(out)


def _agreed(first: float | None, second: float | None,
            errors: tuple[float, float, float, float]) -> tuple[float | None, float | None]:
    """Mean of what the two photos say and its standard error, None where they say too different things.

    errors : relative, in mm, relative for unsure leaves, and the soil's in mm
    """
    if first is None or second is None or _apart(first, second):
        return None, None
    relative, mm, unsure, soil = errors
    mean = (first + second) / 2
    se = np.sqrt((relative**2 + unsure**2) * mean**2 + mm**2 + (first - second) ** 2 / 4 + soil**2)
    return mean, float(se)


def _apart(first: float, second: float) -> bool:
    return abs(first - second) > max(MOST_APART_MM, MOST_APART * (first + second) / 2)


def labels_on(view: PlaneView, plants: Plants, eye_mm: np.ndarray) -> np.ndarray:
    """The plants' labels carried along the camera's rays to `view`, nearest neighbour."""
    scale = (eye_mm[2] - plants.view.z_mm) / (eye_mm[2] - view.z_mm)
    x = eye_mm[0] + (view.x0 + np.arange(view.width) / view.px_per_mm - eye_mm[0]) * scale
    y = eye_mm[1] + (view.y0 + np.arange(view.height) / view.px_per_mm - eye_mm[1]) * scale
    u, v = np.meshgrid((x - plants.view.x0) * plants.view.px_per_mm, (y - plants.view.y0) * plants.view.px_per_mm)
    return cv2.remap(plants.labels, u.astype(np.float32), v.astype(np.float32), cv2.INTER_NEAREST)


def _tops_and_crowns(seen: HeightMap, labels: np.ndarray, count: int) -> list[tuple[float | None, float | None]]:
    """For each cell the plant's height and its crown's, above the soil."""
    owner = np.where(seen.vegetation, labels, 0).ravel()
    order = np.argsort(owner, kind="stable")
    ends = np.searchsorted(owner[order], np.arange(1, count + 2))
    out = []
    for start, end in zip(ends[:-1], ends[1:], strict=True):
        z = seen.z_mm.ravel()[order[start:end]]
        known = z[np.isfinite(z)] + SOIL_BELOW_RIM_MM
        if len(known) < max(LEAST_PIXELS, LEAST_KNOWN * len(z)):
            out.append((None, None))
            continue
        top = max(float(np.percentile(known, TOP_PERCENTILE)), 0.0)
        mean = max(float(known.mean()), 0.0)
        out.append((top + min(TIP_MM, TIP_SHARE * top), mean + CROWN_SHARE * (top - mean)))
    return out


def stem_from_height(heights: Sequence[PlantHeight], stems: Sequence[StemMeasurement] = ()) -> tuple[StemEstimate, ...]:
    """Stem lengths of all cells whose crown's height is known, by the ratio of stem to crown height.

    stems : the front row from the side photo. Its plants are of the same sowing, so their ratio is the flat's;
        without them the usual one is taken, and the standard errors are much wider.
    """
    ratio, ratio_sd = _ratio({h.cell: h.crown_mm for h in heights if h.crown_mm}, stems)
    return tuple(StemEstimate(h.cell, ratio * h.crown_mm,
                              ratio * float(np.hypot(h.crown_se, np.hypot(ratio_sd, RATIO_SD) * h.crown_mm)))
                 for h in heights if h.crown_mm and h.crown_se is not None)


def _ratio(crown_mm: dict[str, float], stems: Sequence[StemMeasurement]) -> tuple[float, float]:
    """Stem against crown height in this flat, and its relative standard error."""
    both = [s for s in stems if s.stems == 1 and s.stem_length_mm and s.cell in crown_mm]
    if len(both) < FRONT_ROW_ENOUGH:
        return USUAL_RATIO, USUAL_RATIO_SD
    # what the side photo gets wrong, it gets wrong in the whole row: its error does not shrink with more plants
    side_sd = median(s.se.get("stem_length_mm", 0.0) / s.stem_length_mm for s in both)
    ratio = median(s.stem_length_mm / crown_mm[s.cell] for s in both)
    return ratio, float(np.hypot(side_sd, RATIO_SD / len(both) ** 0.5))

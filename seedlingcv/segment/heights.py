"""How high each bit of vegetation stands, from two overhead photos of one flat.

Both photos are already rectified to the rim plane, where the soil's picture is the same in both and a raised
leaf is seen in two places. Both are turned so that the line from camera to camera runs along the rows; then a
leaf moves along its row only, by more the higher it stands. Matching is OpenCV's semi-global block matching
(Hirschmüller 2008, IEEE Trans. PAMI 30(2):328-341; from memory) on grey, greenness and vegetation together: a
leaf's outline says where its smooth inside does not. It is done from either photo, and only what both agree on
is kept. The soil between plants, seen by the same matching, is the zero of height: an error of the cameras'
places lifts soil and leaves alike and falls out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from seedlingcv.flat.rectify import PlaneView
from seedlingcv.segment.canopy import HIGHEST_MM, LEAST_BASELINE_MM, SOIL_BELOW_RIM_MM, canopy_from_pair
from seedlingcv.segment.vegetation import excess_green

if TYPE_CHECKING:
    from seedlingcv.flat.layout import FlatLayout
    from seedlingcv.measure.reading import OverheadReading

PX_PER_MM = 1.5
MOST_BASELINE = 0.6  # of the cameras' height: beyond it the two photos show different sides of a leaf
STEEPEST = 0.7  # one camera this much higher, against how far aside it stood: nearly the same rays
LOWEST_MM = -20.0
ABOVE_CANOPY_MM, CANOPY_FACTOR = 60.0, 2.5  # no leaf is looked for above this much more than the canopy plane
BLOCK = 3
SMALL_STEP, LARGE_STEP = 8, 64  # per pixel of a block and channel, for a change of height between neighbours
AGREE_PX = 2.0  # about 5 mm of height
GREY_AROUND_MM = 12.0
# Soil matched in squares, to see whether the photos show the same ground and lie row on row.
SQUARE_PX, AWAY_PX = 30, (12, 5)
DIVIDER_EDGE_MM = 3.0  # dividers are left out, since all flats' look alike
LEAST_BARE, LEAST_MATCH = 0.35, 0.5
LEAST_SQUARES, LEAST_MATCHED_SHARE = 8, 0.35
ROW_SIGMA_PX = np.array([1.5, 1.0, 1.0])  # usual misfit of rows: shift, and change over 100 mm
MOST_ROW_SPREAD_PX = 1.5
# The soil's level as the two cameras' places give it: usual error in mm, and per 100 mm across.
LEVEL_SIGMA = np.array([4.0, 2.0, 2.0])
SOIL_EDGE_SHARE = 0.18  # of a cell's width: soil next to the dividers is not taken for the level
ALIKE_PX = 100  # neighbouring soil pixels err alike: so many count as one
NEAR_MM = 4.0  # a pixel of unknown height takes that of a known one so near, else its plant's


@dataclass(frozen=True)
class NoHeights:
    """Why no heights can be had: "no_baseline", "baseline_too_large" or "flat_moved"."""

    reason: str


@dataclass(frozen=True)
class HeightMap:
    """Heights as one camera sees them.

    z_mm : float32 (M, N), mm above the rim with the soil at its usual depth, on `view` (the rim plane); NaN
        where unknown. Height above the soil is z_mm + SOIL_BELOW_RIM_MM.
    confidence : float32 (M, N), 1 where matching from either photo gives the same height, 0 where unknown
    vegetation : bool (M, N)
    eye_mm : (3,) the camera's place; soil_se_mm : standard error of the soil's level
    """

    z_mm: np.ndarray
    confidence: np.ndarray
    vegetation: np.ndarray
    view: PlaneView
    eye_mm: np.ndarray
    soil_se_mm: float


@dataclass(frozen=True)
class HeightPair:
    first: HeightMap
    second: HeightMap


def height_maps(a: OverheadReading, b: OverheadReading) -> HeightPair | NoHeights:
    """The heights of vegetation as the first and as the second camera sees them."""
    between = b.eye_mm - a.eye_mm
    baseline, aside = float(np.linalg.norm(between)), float(np.hypot(*between[:2]))
    if aside < LEAST_BASELINE_MM or abs(between[2]) > STEEPEST * aside:
        return NoHeights("no_baseline")
    if baseline > MOST_BASELINE * min(a.eye_mm[2], b.eye_mm[2]):
        return NoHeights("baseline_too_large")
    view = _small_view(a.view)
    eyes = (a.eye_mm, b.eye_mm)
    low, count = _disparities(baseline, min(e[2] for e in eyes), _highest_mm(a, b))
    to_rows, size = _along_baseline(view, *eyes, pad=count)
    leaves = [_shrunk(r.vegetation.astype(np.float32), view) for r in (a, b)]
    pictures = [_channels(r, m, view) for r, m in zip((a, b), leaves, strict=True)]
    left, right = (cv2.warpPerspective(p, to_rows, size) for p in pictures)
    settled = _settle_rows(left, right, to_rows, view, a.fit.layout)
    if settled is None:
        return NoHeights("flat_moved")
    right = cv2.warpPerspective(pictures[1], settled, size)
    matcher = cv2.StereoSGBM_create(
        minDisparity=low, numDisparities=count, blockSize=BLOCK, P1=SMALL_STEP * 3 * BLOCK**2,
        P2=LARGE_STEP * 3 * BLOCK**2, disp12MaxDiff=2, preFilterCap=31, uniquenessRatio=3,
        mode=cv2.STEREO_SGBM_MODE_SGBM_3WAY)
    from_left = _match(matcher, left, right, low)
    from_right = _match(matcher, _mirrored(right), _mirrored(left), low)[:, ::-1]
    maps = []
    for reading, mask, way, own, other, sign in ((a, leaves[0], to_rows, from_left, from_right, -1),
                                                 (b, leaves[1], settled, from_right, from_left, 1)):
        off = _disagreement(own, other, sign)
        places = _places(view, way)
        shift = _sampled(np.where(off <= AGREE_PX, own, np.nan), places)
        z = _triangulated(view, places, shift, sign, to_rows, eyes)
        confidence = np.nan_to_num(1 - _sampled(off, places) / (AGREE_PX + 1)).clip(0, 1)
        bare = cv2.dilate((mask > 0.1).astype(np.uint8), np.ones((7, 7), np.uint8)) == 0
        level, soil_se = _soil_level(z, bare, view, reading.fit.layout)
        z = z - level - SOIL_BELOW_RIM_MM
        known = (mask > 0.5) & np.isfinite(z)
        maps.append(HeightMap(np.where(known, z, np.nan).astype(np.float32),
                              np.where(known, confidence, 0).astype(np.float32), mask > 0.5, view,
                              reading.eye_mm, soil_se))
    return HeightPair(*maps)


def orthorectify(labels: np.ndarray, view: PlaneView, heights: HeightMap) -> np.ndarray:
    """Labels seen on the rim plane moved to their true places, as seen from straight above; the highest covers.

    labels : unsigned integer or bool (view.height, view.width), as the camera of `heights` sees them; 0 = none.
    A pixel of unknown height takes the nearest known one, else the median of its label, else of all. Returns the
    same shape and type.
    """
    if labels.dtype == bool:
        return orthorectify(labels.astype(np.uint8), view, heights) > 0
    z = _filled(heights, cv2.resize(labels, (heights.view.width, heights.view.height), interpolation=cv2.INTER_NEAREST))
    z = cv2.resize(cv2.medianBlur(z, 5), (view.width, view.height), interpolation=cv2.INTER_LINEAR)
    rows, columns = np.nonzero(labels)
    z = z[rows, columns]
    seen, eye = view.to_mm(np.column_stack([columns, rows])), heights.eye_mm
    places = np.round(view.to_px(seen + (eye[:2] - seen) * (z / eye[2])[:, None])).astype(int)
    order = np.argsort(z, kind="stable")
    order = order[((places >= 0) & (places < [view.width, view.height])).all(axis=1)[order]]
    out = np.zeros_like(labels)
    out[places[order, 1], places[order, 0]] = labels[rows[order], columns[order]]
    ring = np.ones((3, 3), np.uint8)
    closed = cv2.morphologyEx((out > 0).astype(np.uint8), cv2.MORPH_CLOSE, ring)  # pinholes between moved pixels
    return np.where((out == 0) & (closed > 0), cv2.dilate(out, ring), out)


def _filled(heights: HeightMap, labels: np.ndarray) -> np.ndarray:
    """float32 (M, N), no gaps where there are labels."""
    known = np.isfinite(heights.z_mm)
    usual = np.full(int(labels.max()) + 1, np.median(heights.z_mm[known]) if known.any() else 0.0, np.float32)
    for number in np.unique(labels[known & (labels > 0)]):
        usual[number] = np.median(heights.z_mm[known & (labels == number)])
    out = usual[labels]
    if not known.any():
        return out
    far, nearest = cv2.distanceTransformWithLabels((~known).astype(np.uint8), cv2.DIST_L2, 3,
                                                   labelType=cv2.DIST_LABEL_PIXEL)
    of = np.zeros(nearest.max() + 1, np.float32)
    of[nearest[known]] = heights.z_mm[known]
    return np.where(far < NEAR_MM * heights.view.px_per_mm, of[nearest], out)


def _highest_mm(a: OverheadReading, b: OverheadReading) -> float:
    canopy = canopy_from_pair((a.vegetation, b.vegetation), a.view, (a.eye_mm, b.eye_mm))
    return HIGHEST_MM if canopy is None else min(HIGHEST_MM, CANOPY_FACTOR * max(canopy, 0.0) + ABOVE_CANOPY_MM)


def _small_view(view: PlaneView) -> PlaneView:
    scale = PX_PER_MM / view.px_per_mm
    half = 0.5 / PX_PER_MM - 0.5 / view.px_per_mm  # the first pixel's centre moves inwards as pixels grow
    return PlaneView(view.x0 + half, view.y0 + half, round(view.width * scale), round(view.height * scale), PX_PER_MM)


def _shrunk(picture: np.ndarray, view: PlaneView) -> np.ndarray:
    return cv2.resize(picture, (view.width, view.height), interpolation=cv2.INTER_AREA)


def _channels(reading: OverheadReading, leaf: np.ndarray, view: PlaneView) -> np.ndarray:
    """uint8 (M, N, 3): grey against its surroundings, greenness, vegetation."""
    picture = _shrunk(reading.picture, view)
    grey = np.log(picture.astype(np.float32).mean(axis=2) + 8)
    around = GREY_AROUND_MM * view.px_per_mm
    off = grey - cv2.GaussianBlur(grey, (0, 0), around)
    contrast = np.sqrt(cv2.GaussianBlur(off**2, (0, 0), around)) + 0.05
    green = excess_green(picture)
    usual = np.percentile(green[leaf > 0.5], 80) if (leaf > 0.5).any() else 100.0
    layers = (128 + 45 * off / contrast, 20 + 150 * green / max(usual, 1.0), 120 * leaf)
    return np.clip(np.dstack(layers), 0, 255).astype(np.uint8)


def _disparities(baseline: float, eye_height: float, highest_mm: float) -> tuple[int, int]:
    """Lowest disparity in px and their number, a multiple of 16 as the matcher needs."""
    def shift(z: float) -> float:
        return PX_PER_MM * baseline * z / (eye_height - z)
    low = int(np.floor(shift(LOWEST_MM))) - 8
    return low, int(np.ceil((shift(min(highest_mm, 0.6 * eye_height)) - low) / 16) * 16)


def _along_baseline(view: PlaneView, first: np.ndarray, second: np.ndarray,
                    pad: int) -> tuple[np.ndarray, tuple[int, int]]:
    """3 x 3 map from px of the rim plane to a picture whose rows run along the line from camera to camera.

    It is the picture of a camera at the first eye that looks down across that line. Off-plane points of both
    photos, seen on the rim plane, lie on lines through the place where the line of cameras meets it; there this
    camera's rows meet too. Returns the map and (width, height), with `pad` columns spare at either side.
    """
    eye = first * [1, 1, -1]
    along = second * [1, 1, -1] - eye
    along /= np.linalg.norm(along)
    down = np.array([0, 0, 1.0]) - along * along[2]
    down /= np.linalg.norm(down)
    axes = np.array([along, np.cross(down, along), down])
    focal = view.px_per_mm * first[2]
    to_mm = np.array([[1 / view.px_per_mm, 0, view.x0], [0, 1 / view.px_per_mm, view.y0], [0, 0, 1]])
    matrix = np.diag([focal, focal, 1]) @ axes @ np.column_stack([[1, 0, 0], [0, 1, 0], -eye]) @ to_mm
    corners = np.array([[0, 0], [view.width, 0], [view.width, view.height], [0, view.height]], float)
    seen = cv2.perspectiveTransform(corners[None], matrix)[0]
    low, high = seen.min(axis=0) - [pad, 0], seen.max(axis=0) + [pad, 0]
    width, height = np.ceil(high - low).astype(int)
    return np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]]) @ matrix, (int(width), int(height))


def _settle_rows(left: np.ndarray, right: np.ndarray, to_rows: np.ndarray, view: PlaneView,
                 layout: FlatLayout) -> np.ndarray | None:
    """`to_rows` for the second picture, corrected so that its ground lies on the same rows as the first's.

    None where the two don't show the same ground.
    """
    places, offsets, tried = _matched_squares(left, right, to_rows, view, layout)
    if tried < LEAST_SQUARES:  # soil hidden: nothing to correct by
        return to_rows
    if len(places) < LEAST_MATCHED_SHARE * tried:
        return None
    middle = np.array(left.shape[1::-1]) / 2
    design = np.column_stack([np.ones(len(places)), (places - middle) / (100 * PX_PER_MM)])
    fit, _, spread = _robust_fit(design, offsets, np.zeros(3), ROW_SIGMA_PX, 0.3)
    if spread > MOST_ROW_SPREAD_PX:
        return None
    slope = fit[1:] / (100 * PX_PER_MM)
    shift = fit[0] - slope @ middle
    return np.array([[1, 0, 0], [-slope[0], 1 - slope[1], -shift], [0, 0, 1]]) @ to_rows


def _matched_squares(left: np.ndarray, right: np.ndarray, to_rows: np.ndarray, view: PlaneView,
                     layout: FlatLayout) -> tuple[np.ndarray, np.ndarray, int]:
    """Centres (N, 2) of bare squares found again, how many rows lower each lies, and how many were looked for."""
    soil = cv2.warpPerspective(_cells(layout, view, DIVIDER_EDGE_MM).astype(np.uint8), to_rows, left.shape[1::-1])
    bare = (cv2.dilate(left[..., 2], np.ones((5, 5), np.uint8)) < 12).astype(np.uint8) * soil
    away_x, away_y = AWAY_PX
    half = SQUARE_PX // 2
    x0, y0, x1, y1 = *layout.cells[0].rect_mm[:2], *layout.cells[-1].rect_mm[2:]
    step = SQUARE_PX / view.px_per_mm
    centres = np.stack(np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)), -1)
    centres = cv2.perspectiveTransform(view.to_px(centres.reshape(1, -1, 2)), to_rows)[0].round().astype(int)
    places, offsets, tried = [], [], 0
    for u, v in centres:
        if min(u - half - away_x, v - half - away_y) < 0 or u + half + away_x > left.shape[1] \
                or v + half + away_y > left.shape[0]:
            continue
        square = np.s_[v - half : v + half, u - half : u + half]
        if bare[square].mean() < LEAST_BARE:
            continue
        tried += 1
        around = right[v - half - away_y : v + half + away_y, u - half - away_x : u + half + away_x, 0]
        match = cv2.matchTemplate(around, np.ascontiguousarray(left[square][..., 0]), cv2.TM_CCOEFF_NORMED,
                                  mask=np.ascontiguousarray(bare[square]))
        match = np.where(np.isfinite(match), match, -1)
        row, column = np.unravel_index(match.argmax(), match.shape)
        if match[row, column] < LEAST_MATCH or not 0 < row < match.shape[0] - 1:
            continue
        above, top, below = match[row - 1 : row + 2, column]
        bend = above - 2 * top + below
        places.append((u, v))
        offsets.append(row - away_y + (0.5 * (above - below) / bend if bend < 0 else 0.0))
    return np.array(places, float).reshape(-1, 2), np.array(offsets), tried


def _robust_fit(design: np.ndarray, values: np.ndarray, usual: np.ndarray, sigma: np.ndarray, least_spread: float,
                alike: float = 1.0) -> tuple[np.ndarray, np.ndarray, float]:
    """Least squares with outliers left out and a pull towards `usual`; its covariance, and the values' spread."""
    keep = np.ones(len(values), bool)
    fit, covariance, spread = usual, np.diag(sigma**2), least_spread
    for _ in range(6):
        off = values - design @ fit
        centre = np.median(off[keep]) if keep.any() else 0.0
        spread = max(least_spread, 1.48 * float(np.median(np.abs(off[keep] - centre)))) if keep.any() else least_spread
        keep = np.abs(off - centre) < 2.5 * spread
        weight = 1 / (spread**2 * alike)
        covariance = np.linalg.inv(weight * design[keep].T @ design[keep] + np.diag(1 / sigma**2))
        fit = usual + covariance @ (weight * design[keep].T @ (values[keep] - design[keep] @ usual))
    return fit, covariance, spread


def _cells(layout: FlatLayout, view: PlaneView, edge_mm: float) -> np.ndarray:
    """Bool (M, N), the inside of all cells."""
    inner = np.zeros((view.height, view.width), bool)
    for cell in layout.cells:
        x0, y0, x1, y1 = cell.rect_mm
        inner[view.box((x0 + edge_mm, y0 + edge_mm, x1 - edge_mm, y1 - edge_mm))] = True
    return inner


def _mirrored(picture: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(picture[:, ::-1])


def _match(matcher: cv2.StereoSGBM, left: np.ndarray, right: np.ndarray, low: int) -> np.ndarray:
    found = matcher.compute(left, right).astype(np.float32) / 16
    found[found < low - 0.5] = np.nan
    return found


def _disagreement(own: np.ndarray, other: np.ndarray, sign: int) -> np.ndarray:
    """By how many px matching from the other picture differs at the place where a pixel was found."""
    height, width = own.shape
    at = np.arange(width, dtype=np.float32)[None] + sign * np.nan_to_num(own, nan=1e6)
    rows = np.repeat(np.arange(height, dtype=np.float32)[:, None], width, axis=1)
    back = cv2.remap(np.ascontiguousarray(other), at, rows, cv2.INTER_NEAREST, borderValue=float("nan"))
    return np.abs(back - own)


def _places(view: PlaneView, matrix: np.ndarray) -> np.ndarray:
    """float64 (M, N, 2): where each pixel of the rim plane lies in the picture along the baseline."""
    grid = np.stack(np.meshgrid(np.arange(view.width), np.arange(view.height)), axis=-1).astype(float)
    return cv2.perspectiveTransform(grid, matrix)


def _sampled(picture: np.ndarray, places: np.ndarray) -> np.ndarray:
    at = places.astype(np.float32)
    return cv2.remap(np.ascontiguousarray(picture), at[..., 0].copy(), at[..., 1].copy(), cv2.INTER_NEAREST,
                     borderValue=float("nan"))


def _triangulated(view: PlaneView, places: np.ndarray, shift: np.ndarray, sign: int, to_rows: np.ndarray,
                  eyes: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Height at which the rays of both cameras meet, least squares over x and y."""
    back = np.linalg.inv(to_rows)
    other = places + np.stack([sign * np.nan_to_num(shift), np.zeros_like(shift)], axis=-1)
    own, other = (view.to_mm(cv2.perspectiveTransform(p, back)) for p in (places, other))
    p, q = (own, other) if sign < 0 else (other, own)
    (e, f) = eyes
    # a ray through (p, 0) passes p + (eye - p) z / eye_z at height z
    apart = (f[:2] - q) / f[2] - (e[:2] - p) / e[2]
    z = ((p - q) * apart).sum(-1) / (apart**2).sum(-1)
    return np.where(np.isfinite(shift), z, np.nan)


def _soil_level(z: np.ndarray, bare: np.ndarray, view: PlaneView, layout: FlatLayout) -> tuple[np.ndarray, float]:
    """The level of the soil, a plane (M, N) in mm, and its standard error at the flat's middle."""
    inner = _cells(layout, view, SOIL_EDGE_SHARE * min(layout.pitch_mm))
    rows, columns = np.nonzero(inner & bare & np.isfinite(z))
    values = z[rows, columns]
    middle = np.array(layout.outer_mm) / 2
    across = (view.to_mm(np.column_stack([columns, rows])) - middle) / 100
    design = np.column_stack([np.ones(len(across)), across])
    usual = np.array([-SOIL_BELOW_RIM_MM, 0.0, 0.0])
    fit, covariance, _ = _robust_fit(design, values, usual, LEVEL_SIGMA, 0.5, ALIKE_PX)
    x = (view.x0 + np.arange(view.width) / view.px_per_mm - middle[0]) / 100
    y = (view.y0 + np.arange(view.height) / view.px_per_mm - middle[1]) / 100
    return fit[0] + fit[1] * x[None] + fit[2] * y[:, None], float(np.sqrt(covariance[0, 0]))

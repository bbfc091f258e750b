"""Plants before the backdrop: the side photo flattened onto the row-A plane, and what of it is plant.

The backdrop is one matte colour under light that changes slowly across it. A plant's shadow darkens it but
hardly turns its colour, so plants are told by the ratios between the channels (log chromaticity), against the
backdrop's own colour at that place. No white reference is needed: the backdrop is the reference.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.backdrop import CELLS_WIDTH_MM, FLAT_LENGTH_MM, SidePose

PX_PER_MM = 5
HIGHEST_MM = 205.0  # below the backdrop's tags
LOWEST_MM = -25.0  # on the row-A plane: past the front rim, where leaves may hang over it
GAMMA, FLOOR = 2.2, 0.002  # stored values to light (about sRGB's curve, IEC 61966-2-1); FLOOR tames black's noise
CARD_KEEP_OFF_MM = 62.0  # a tag's card reaches 47 mm from the backdrop's corner
SURE, MAYBE = 0.28, 0.13  # log chromaticity off the backdrop: seeds of a plant, and what grows on to them
NOISE_SURE, NOISE_MAYBE = 9.0, 4.5  # the same in multiples of the backdrop's own noise; the larger holds
SMALLEST_MM2 = 1.5
LOCAL_MM = 7
BINS = (20, 20, 12)
MIN_TEACHERS = 400  # plant px before the backdrop to learn colours from
LEARN_ODDS, PLANT_ODDS = 1.5, 0.7  # log odds (equal numbers supposed)
NEVER = -9.0


@dataclass(frozen=True)
class SideStrip:
    """The row-A plane at PX_PER_MM px a mm, column 1 at the right, up is up.

    image    uint8 (height, width, 3), BGR
    plant    uint8 (height, width), 255 on plants, also before tray and soil
    tube     float32 (height, width), 0-1, how surely a plant is there
    chroma   float32 (height, width), log chromaticity distance from the backdrop
    change   float32 (height, width, 3), log light against the backdrop, BGR
    line     (width,) px row where the backdrop goes out of sight behind the divider between rows A and B
    front    (width,) px row where the soil goes out of sight behind the front rim
    left_mm, top_mm   row-plane place of the strip's upper left corner
    """

    image: np.ndarray
    plant: np.ndarray
    tube: np.ndarray
    chroma: np.ndarray
    change: np.ndarray
    line: np.ndarray
    front: np.ndarray
    left_mm: float
    top_mm: float

    def to_mm(self, px: np.ndarray) -> np.ndarray:
        """(n, 2) strip px -> right, up in mm."""
        px = np.asarray(px, float)
        return np.column_stack([self.left_mm + (px[:, 0] + 0.5) / PX_PER_MM,
                                self.top_mm - (px[:, 1] + 0.5) / PX_PER_MM])

    def to_px(self, mm: np.ndarray) -> np.ndarray:
        mm = np.asarray(mm, float)
        return np.column_stack([(mm[:, 0] - self.left_mm) * PX_PER_MM - 0.5,
                                (self.top_mm - mm[:, 1]) * PX_PER_MM - 0.5])


def side_strip(image: np.ndarray, pose: SidePose) -> SideStrip:
    """Flatten and segment one side photo (BGR uint8 as stored)."""
    scene = _Backdrop(image, pose)
    top = min(scene.highest_plant_mm() + 8, HIGHEST_MM)
    left, right = -FLAT_LENGTH_MM / 2 - 10, FLAT_LENGTH_MM / 2 + 10
    fine = row_plane(image, pose, PX_PER_MM, left, right, LOWEST_MM, top)
    height, width = fine.shape[:2]
    reference = scene.reference(left, right, LOWEST_MM, top, (width, height))
    change = log_light(cv2.GaussianBlur(fine, (0, 0), 0.7)) - reference
    chroma = chroma_distance(change)
    columns = left + (np.arange(width) + 0.5) / PX_PER_MM
    line = (top - sight_line_mm(pose, columns)) * PX_PER_MM - 0.5
    front = (top - sight_line_mm(pose, columns, front=True)) * PX_PER_MM - 0.5
    before = (np.arange(height)[:, None] < line[None, :]) & _card_area(pose, left, top, PX_PER_MM, (width, height))
    noise = _noise(change, before)
    plant = _hysteresis(chroma, before, max(SURE, NOISE_SURE * noise), max(MAYBE, NOISE_MAYBE * noise))
    plant = _trim(plant, chroma)
    below = before_ground(fine, plant, before, line)
    tube = np.where(before, (plant > 0).astype(np.float32), np.clip((below + 3.5) / 4.5, 0, 1))
    plant = np.maximum(plant, _hanging_on(below, plant, before))
    return SideStrip(fine, plant, tube, chroma, change, line, front, left, top)


def before_ground(image: np.ndarray, plant: np.ndarray, before: np.ndarray, line: np.ndarray) -> np.ndarray:
    """(height, width) float32 log odds of plant before tray and soil, whose colours no model gives beforehand.

    The photo itself teaches: how often a colour stands on plants before the backdrop against how often below
    the line (naive Bayes on a smoothed histogram), with a second round that learns from the first.
    """
    height, width = plant.shape
    first = max(0, int(line.min()) - 2)
    ground = ~before[first:]
    ground[:, : 10 * PX_PER_MM] = ground[:, -10 * PX_PER_MM :] = False
    out = np.full((height, width), NEVER, np.float32)
    if np.count_nonzero(plant) < MIN_TEACHERS or not ground.any():
        return out
    light = log_light(cv2.GaussianBlur(image, (0, 0), 1.0))
    shown = light[plant > 0]
    near = slice(max(0, first - 20 * PX_PER_MM), first, 2)
    backdrop = light[near][before[near] & (plant[near] == 0)]
    limits = [np.percentile(axis, [0.5, 99.5]) for axis in
              _axes(np.concatenate([shown[::7], backdrop[::7], light[first:][ground][::7]]))]
    code, shown, backdrop = (_codes(part, limits) for part in (light[first:], shown, backdrop))
    hit = np.zeros(code.shape, bool)
    for _ in range(2):
        on = _histogram(np.concatenate([shown, code[hit]]))
        off = _histogram(np.concatenate([code[ground & ~hit], backdrop]))
        odds = np.log(on / off).astype(np.float32)
        score = cv2.GaussianBlur(odds.ravel()[code], (0, 0), 1.0)
        hit = (score > LEARN_ODDS) & ground
    out[first:] = np.where(ground, score, NEVER)
    return out


def _axes(light: np.ndarray) -> tuple[np.ndarray, ...]:
    """Two channel ratios and lightness."""
    return light[..., 1] - light[..., 2], light[..., 1] - light[..., 0], light.sum(axis=-1) / 3


def _codes(light: np.ndarray, limits: list[np.ndarray]) -> np.ndarray:
    """Index of each colour in a histogram of BINS between the limits."""
    code = np.zeros(light.shape[:-1], np.int32)
    for axis, bins, (low, high) in zip(_axes(light), BINS, limits, strict=True):
        step = ((axis - np.float32(low)) * np.float32(bins / max(high - low, 1e-3))).astype(np.int32)
        code = code * bins + np.clip(step, 0, bins - 1)
    return code


def _histogram(codes: np.ndarray) -> np.ndarray:
    from scipy.ndimage import gaussian_filter

    count = np.bincount(codes, minlength=int(np.prod(BINS))).reshape(BINS).astype(float)
    return gaussian_filter(count / max(count.sum(), 1), 1.0) + 1e-5


def _hanging_on(below: np.ndarray, plant: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Of what is likely plant below the line, the parts joined to a plant above it."""
    likely = ((below > PLANT_ODDS) & ~before).astype(np.uint8)
    joined = cv2.bitwise_or(likely, cv2.dilate(plant, np.ones((7, 3), np.uint8)) // 255)
    count, labels = cv2.connectedComponents(joined, connectivity=8)
    keep = np.zeros(count, bool)
    keep[np.unique(labels[plant > 0])] = True
    keep[0] = False
    return np.where(keep[labels] & (likely > 0), 255, 0).astype(np.uint8)


def row_plane(image, pose, px_per_mm, left, right, bottom, top, away=0.0) -> np.ndarray:
    """The picture on the plane `away` mm behind the row-A line, mm limits as `right` and `up`."""
    width, height = round((right - left) * px_per_mm), round((top - bottom) * px_per_mm)
    x, y = _plane_map(pose, px_per_mm, left, top, width, height, away)
    return cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _plane_map(pose, px_per_mm, left, top, width, height, away):
    """The map is smooth: reckoned every 16 px and filled in between (to about 0.01 px)."""
    step = 16
    across, down = np.arange(-step, width + 2 * step, step), np.arange(-step, height + 2 * step, step)
    right, up = np.meshgrid(left + (across + 0.5) / px_per_mm, top - (down + 0.5) / px_per_mm)
    coarse = pose.project(np.dstack([right, -up, np.full_like(right, away)])).astype(np.float32)
    gx, gy = np.meshgrid((np.arange(width, dtype=np.float32) + step) / step,
                         (np.arange(height, dtype=np.float32) + step) / step)
    dense = cv2.remap(coarse, gx, gy, cv2.INTER_LINEAR)
    return np.ascontiguousarray(dense[..., 0]), np.ascontiguousarray(dense[..., 1])


def sight_line_mm(pose: SidePose, right_mm: np.ndarray, *, front: bool = False) -> np.ndarray:
    """Height on the row-A plane at which the divider behind row A (or the rim in front of it) is seen."""
    half_pitch = CELLS_WIDTH_MM / pose.rows / 2
    away = 1.5 - half_pitch if front else half_pitch - 1
    edge = np.column_stack([right_mm, np.full_like(right_mm, -1.0), np.full_like(right_mm, away)])
    return pose.to_row(pose.project(edge))[:, 1]


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


def _noise(change: np.ndarray, before: np.ndarray) -> float:
    """Standard deviation of the backdrop's green-blue ratio (median absolute deviation x 1.4826)."""
    ratio = (change[::3, ::3, 1] - change[::3, ::3, 0])[before[::3, ::3]]
    return 1.4826 * float(np.median(np.abs(ratio))) if len(ratio) else 0.0


def _hysteresis(chroma: np.ndarray, before: np.ndarray, sure: float, maybe: float) -> np.ndarray:
    mask = ((chroma > maybe) & before).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    keep = np.zeros(count, bool)
    keep[np.unique(labels[(chroma > sure) & before])] = True
    keep &= stats[:, cv2.CC_STAT_AREA] >= SMALLEST_MM2 * PX_PER_MM**2
    keep[0] = False
    return keep[labels].astype(np.uint8) * 255


def _trim(plant: np.ndarray, chroma: np.ndarray) -> np.ndarray:
    """JPEG stores colour at half the resolution, so it spills over edges: the outline goes back to about half
    of the colour's local peak. The inside stays, also where a pale petiole lies before a dark leaf."""
    inside = cv2.erode(plant, np.ones((9, 9), np.uint8))
    peak = cv2.dilate(chroma, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    return np.where((chroma > 0.45 * peak) | (inside > 0) | _ridge(chroma), plant, 0).astype(np.uint8)


def _ridge(chroma: np.ndarray, reach: int = 5) -> np.ndarray:
    """Thin pale parts (petioles): twice the colour of both sides, across or upright."""
    ridge = np.zeros(chroma.shape, bool)
    ridge[reach:-reach] = chroma[reach:-reach] > 2 * np.maximum(chroma[: -2 * reach], chroma[2 * reach :])
    ridge[:, reach:-reach] |= chroma[:, reach:-reach] > 2 * np.maximum(chroma[:, : -2 * reach],
                                                                      chroma[:, 2 * reach :])
    return ridge


def _card_area(pose, left, top, px_per_mm, size) -> np.ndarray:
    """Where on the row plane the backdrop is behind, a few mm inside its edges."""
    corners = pose.to_row(pose.project(pose.backdrop))
    area = np.zeros((size[1], size[0]), np.uint8)
    polygon = np.column_stack([corners[:, 0] - left, top - corners[:, 1]]) * px_per_mm
    cv2.fillConvexPoly(area, polygon.astype(np.int32), 1)
    margin = 3 * px_per_mm
    return cv2.erode(area, np.ones((2 * margin + 1, 2 * margin + 1), np.uint8),
                     borderType=cv2.BORDER_REPLICATE).astype(bool)


class _Backdrop:
    """The backdrop's colour at 1 px a mm: a cubic surface, then what is left of it smoothed."""

    def __init__(self, image: np.ndarray, pose: SidePose) -> None:
        self.left, self.right = -FLAT_LENGTH_MM / 2 - 10, FLAT_LENGTH_MM / 2 + 10
        coarse = row_plane(_shrunk(image, pose), _shrunk_pose(image, pose), 1, self.left, self.right,
                           LOWEST_MM, HIGHEST_MM)
        light = log_light(cv2.GaussianBlur(coarse, (0, 0), 1))
        height, width = light.shape[:2]
        right, up = np.meshgrid(self.left + np.arange(width) + 0.5, HIGHEST_MM - np.arange(height) - 0.5)
        self.up = up[:, 0]
        inside = self._inside(pose, right, up)
        surface = _cubic(right / (FLAT_LENGTH_MM / 2), (up - 100) / 100)
        clean = inside.copy()
        for _ in range(4):
            every = np.flatnonzero(clean)[::23]
            fit = np.linalg.lstsq(surface.reshape(-1, surface.shape[-1])[every],
                                  light.reshape(-1, 3)[every], rcond=None)[0]
            change = light - (surface @ fit).astype(np.float32)
            chroma = chroma_distance(change)
            clean = inside & (chroma < 5 * _noise(change, inside) + 0.02)
        # what the surface leaves: soft shadows, green light from leaves near by. Thin stems weigh little in it.
        good = (inside & (chroma < SURE)).astype(np.float32)
        weight = cv2.GaussianBlur(good, (0, 0), LOCAL_MM)[..., None] + 0.02
        local = cv2.GaussianBlur(change * good[..., None], (0, 0), LOCAL_MM) / weight
        self.colour = (surface @ fit).astype(np.float32) + local
        self.plant = inside & (chroma_distance(light - self.colour) > 0.18)

    def _inside(self, pose, right, up):
        line = sight_line_mm(pose, right[0]) + 1.5
        inside = _card_area(pose, self.left, HIGHEST_MM, 1, up.shape[::-1]) & (up > line[None, :])
        for corner in pose.to_row(pose.project(pose.backdrop))[:2]:
            near = (np.abs(right - corner[0]) < CARD_KEEP_OFF_MM) & (np.abs(up - corner[1]) < CARD_KEEP_OFF_MM)
            inside &= ~near
        return inside

    def highest_plant_mm(self) -> float:
        lumps = cv2.morphologyEx(self.plant.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
        rows = np.flatnonzero(lumps.any(axis=1))
        return float(self.up[rows[0]]) if len(rows) else 30.0

    def reference(self, left, right, bottom, top, size) -> np.ndarray:
        first = round(HIGHEST_MM - top)
        return cv2.resize(self.colour[max(first, 0):], size, interpolation=cv2.INTER_LINEAR)


def _shrunk(image, pose):
    by = max(1, int(pose.px_per_mm / 1.5))
    return cv2.resize(image, None, fx=1 / by, fy=1 / by, interpolation=cv2.INTER_AREA) if by > 1 else image


def _shrunk_pose(image, pose):
    from dataclasses import replace
    by = max(1, int(pose.px_per_mm / 1.5))
    return replace(pose, focal_px=pose.focal_px / by, size=(pose.size[0] / by, pose.size[1] / by))


def _cubic(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=-1)

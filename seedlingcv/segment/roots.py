"""Plugs on the root board, and the roots on their faces.

The board's tags give its plane and its white; the ground is blue, which no mix, grain, root or leaf is, so a plug
is what is neither blue nor green. On a plug's face roots are pale: lighter than the mix, and long and thin or in
mats, where perlite is in round grains. Checked on drawn plugs and, for roots alone, on washed roots against black
cloth; no real plug on a real board has been seen yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.white import balance, linear, white_reference
from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import CARD_MM, SQUARE_MM
from seedlingcv.tags.root_board import (
    BOARD_HEIGHT_MM,
    BOARD_IDS,
    BOARD_WIDTH_MM,
    MIDDLE_MM,
    PLACES,
    place_centre,
    tag_places,
)

PX_PER_MM = 8.0  # of the straightened picture: a root of 0.4 mm is three pixels wide
PHOTO_PX_PER_MM = 5.5  # a photo with fewer blurs thin roots into the mix (chosen on drawn plugs)

# Blue is told by log(blue / red) in linear light, which shadow hardly moves: at least half of the ground's own.
LEAST_BLUE = 0.5  # of the ground; the printed blue has 1.3, a grey board 0
DARK_FLOOR = 0.004  # linear light, so that noise in the dark is no colour
GREEN = 0.05  # green leaf index of leaves and green stems; pale roots and mix stay below it (judgement)
STEM_MM = 8.0  # what is narrower than this is no plug but a stem, a root tail or a leaf
LEAST_PLUG_MM2 = 250.0  # a plug of a 288-cell flat shows about 600
LARGEST_TURN_DEG = 35.0  # a plug turned further does not lie as drawn
PLANT_OVERLAP_MM = 5.0  # a red or yellow leaf, which isn't green, may lie so far over its plug
MARGIN_MM = 8.0  # kept round a plug in its own picture

# Lightness L* (CIE 1976) that parts roots from mix: Otsu's on the face, kept between these. Wet peat lies near 15 to
# 30, dry coir near 45, roots near 60 to 85: from memory, no source.
LIGHTEST_MIX, DARKEST_ROOT = 60.0, 38.0
ROOT_LIGHT = 0.5  # of the light between mix and root: blur mixes light, so the edge lies half-way
# How far roots and mix lie apart, in their spread (Ashman, Bird & Zepf 1994, from memory): what a plain bell curve
# split at its middle gives is 2.65, so less than this may be nothing but a speckled mix.
LEAST_APART = 3.0
PALE_MIX = 36.0  # median L* of a face; a darker one without anything pale has no roots to see
GRAIN_MM = (1.3, 4.5)  # least and largest width of a grain of perlite; roots of plugs are thinner (judgement)
GRAIN_ROUND = 0.55  # of its enclosing circle's area
# Where more than this share of a narrow ring around it is pale, roots cross there (ring and share chosen on 35 drawn
# plugs, where the root share's mean absolute error is then 0.010).
GRAIN_RING_MM, GRAIN_ALONE = (1.0, 1.6), 0.3
SPECK_MM = 2.5  # a root shows at least this much of its length


@dataclass(frozen=True)
class Board:
    """picture : uint8 (h, w, 3) BGR, the board straightened at PX_PER_MM and under neutral light."""

    picture: np.ndarray
    photo_px_per_mm: float
    ground_seen: bool  # enough of it is blue


@dataclass(frozen=True)
class Plug:
    """A plug turned so that its plant is up and its bottom down. Arrays (h, w) at PX_PER_MM.

    picture : uint8 (h, w, 3) BGR; mask : bool, the plug; loose : bool, crumbs beside it
    fault : why it can't be judged, or ""
    """

    place: int
    picture: np.ndarray
    mask: np.ndarray
    loose: np.ndarray
    fault: str = ""


def find_board(image: np.ndarray, tags: Sequence[Tag]) -> Board | None:
    """The board straightened; None with fewer than three of its tags.

    image : uint8 (height, width, 3) BGR as stored; tags : all tags of the photo
    """
    seen = [t for t in tags if t.id in BOARD_IDS]
    if len({t.id for t in seen}) < 3 or len(seen) != len({t.id for t in seen}):
        return None
    half = SQUARE_MM / 2
    square = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
    places = np.concatenate([np.array(tag_places()[t.id]) + square for t in seen])
    matrix, _ = cv2.findHomography(places * PX_PER_MM - 0.5, np.concatenate([t.corners for t in seen]), 0)
    if matrix is None:
        return None
    size = (round(BOARD_WIDTH_MM * PX_PER_MM), round(BOARD_HEIGHT_MM * PX_PER_MM))
    picture = cv2.warpPerspective(image, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    picture = balance(picture, white_reference(image, seen))
    scale = float(np.mean([t.side_px for t in seen])) / SQUARE_MM
    return Board(picture, scale, _ground(picture) is not None)


def find_plugs(board: Board) -> list[Plug]:
    """The plugs on the board by place; empty where the ground isn't blue."""
    ground = _ground(board.picture)
    if ground is None:
        return []
    other = _blueness(board.picture) < LEAST_BLUE * ground
    other &= ~_green(board.picture)
    other &= _open_ground()
    other = _filled(other)
    body = _opened(other, STEM_MM) > 0
    count, labels, stats, _ = cv2.connectedComponentsWithStats(body.astype(np.uint8))
    large = [i for i in range(1, count) if stats[i, cv2.CC_STAT_AREA] >= LEAST_PLUG_MM2 * PX_PER_MM**2]
    _, pieces = cv2.connectedComponents(other.astype(np.uint8))
    attached = np.isin(pieces, np.unique(pieces[np.isin(labels, large)]))
    found: dict[int, list[np.ndarray]] = {}
    for i in large:
        found.setdefault(_nearest_place(labels == i), []).append(labels == i)
    return [_plug(board.picture, place, found[place], other & ~attached) for place in sorted(found)]


def root_mask(picture: np.ndarray, face: np.ndarray, px_per_mm: float = PX_PER_MM) -> np.ndarray | None:
    """Roots on a face: bool (h, w); None where they can't be told from the mix.

    picture : uint8 (h, w, 3) BGR under neutral light; face : bool (h, w)
    """
    from skimage.filters import threshold_otsu

    light = cv2.GaussianBlur(_luminance(picture), (0, 0), 0.08 * px_per_mm)
    lightness = _lightness(light)
    if not face.any():
        return None
    split = lightness > np.clip(threshold_otsu(lightness[face]), DARKEST_ROOT, LIGHTEST_MIX)
    bright, dark = face & split, face & ~split
    if not bright.any() or not dark.any():
        return bright if dark.any() and np.median(lightness[face]) < PALE_MIX else None
    low, high = np.median(light[dark]), np.median(light[bright])
    pale = face & (light > low + ROOT_LIGHT * (high - low)) & (lightness > DARKEST_ROOT)
    roots, mix = _without_grains(pale, px_per_mm), face & ~pale
    if not roots.any():
        return roots if np.median(lightness[face]) < PALE_MIX else None
    spread = np.sqrt((lightness[roots].var() + lightness[mix].var()) / 2)
    return roots if lightness[roots].mean() - lightness[mix].mean() > LEAST_APART * spread else None


def _without_grains(pale: np.ndarray, px_per_mm: float) -> np.ndarray:
    """Pale parts without perlite: round pieces, also where a root runs past them, and specks too short for a root."""
    left = pale.copy()
    thick = _opened(pale, GRAIN_MM[0], px_per_mm)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(thick.astype(np.uint8))
    for i in range(1, count):
        if max(stats[i, cv2.CC_STAT_WIDTH], stats[i, cv2.CC_STAT_HEIGHT]) > GRAIN_MM[1] * px_per_mm:
            continue  # a mat of roots
        piece = labels == i
        _, radius = cv2.minEnclosingCircle(np.argwhere(piece)[:, ::-1].astype(np.float32))
        near, far = (cv2.dilate(piece.astype(np.uint8), _disc(mm * px_per_mm)) > 0 for mm in GRAIN_RING_MM)
        ring = pale[far & ~near]
        alone = ring.mean() < GRAIN_ALONE if ring.size else False
        if alone and piece.sum() > GRAIN_ROUND * np.pi * radius**2:
            left &= ~near
    count, labels, stats, _ = cv2.connectedComponentsWithStats(left.astype(np.uint8), connectivity=8)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    keep = reach >= SPECK_MM * px_per_mm
    keep[0] = False
    return keep[labels]


def ridge_direction(picture: np.ndarray, px_per_mm: float = PX_PER_MM) -> np.ndarray:
    """Direction in which lines run at each pixel, degrees from the row direction, -90 to 90; float (h, w).

    The eigenvector of the structure tensor's smaller eigenvalue (Bigun & Granlund 1987, from memory).
    """
    lightness = cv2.GaussianBlur(_lightness(_luminance(picture)), (0, 0), 0.12 * px_per_mm)
    dx, dy = cv2.Sobel(lightness, cv2.CV_32F, 1, 0), cv2.Sobel(lightness, cv2.CV_32F, 0, 1)
    xx, xy, yy = (cv2.GaussianBlur(v, (0, 0), 0.4 * px_per_mm) for v in (dx * dx, dx * dy, dy * dy))
    across = np.degrees(0.5 * np.arctan2(2 * xy, xx - yy))  # of the gradient
    return (across + 180) % 180 - 90


def _nearest_place(body: np.ndarray) -> int:
    middle = np.argwhere(body).mean(axis=0)[::-1] / PX_PER_MM
    return min(range(1, PLACES + 1), key=lambda n: float(np.hypot(*(middle - place_centre(n)))))


def _plug(picture: np.ndarray, place: int, bodies: list[np.ndarray], crumbs: np.ndarray) -> Plug:
    reaches = [np.abs(np.nonzero(b.any(axis=0))[0] / PX_PER_MM - MIDDLE_MM) for b in bodies]
    first = int(np.argmin([r.min() for r in reaches]))
    body = bodies[first]
    beside = sum(r.min() < reaches[first].max() - PLANT_OVERLAP_MM for r in reaches) - 1  # further out: the plant
    rows, columns = np.nonzero(body)
    turn = _turn(body)
    out = -1 if columns.mean() / PX_PER_MM < MIDDLE_MM else 1
    x = columns / PX_PER_MM - MIDDLE_MM
    covered = sum(_holds(body, place_centre(n)) for n in range(1, PLACES + 1))
    fault = ""
    if abs(turn) > LARGEST_TURN_DEG:
        fault = "it doesn't lie as drawn: bottom to the middle line, plant outwards"
    elif beside:
        fault = "more than one thing lies at this place"
    elif (body & ~_eroded(_open_ground())).any():
        fault = "it lies over the tags or the board's edge"
    elif covered > 1 or x.min() < -PLANT_OVERLAP_MM < PLANT_OVERLAP_MM < x.max():
        fault = "plugs touch, or one lies across the middle line"
    # the plant up: what points outwards turns to -y
    angle = turn + (90 if out > 0 else -90)
    reach = int(np.hypot(np.ptp(rows), np.ptp(columns)) / 2 + MARGIN_MM * PX_PER_MM)
    matrix = cv2.getRotationMatrix2D((float(columns.mean()), float(rows.mean())), angle, 1.0)
    matrix[:, 2] += reach - np.array([columns.mean(), rows.mean()])
    size = (2 * reach + 1, 2 * reach + 1)

    def upright(mask: np.ndarray) -> np.ndarray:
        return cv2.warpAffine(mask.astype(np.uint8) * 255, matrix, size) > 127

    mask = upright(body)
    loose = upright(crumbs)
    loose[: int(np.nonzero(mask)[0].min())] = False  # beyond the top lies the plant
    return Plug(place, cv2.warpAffine(picture, matrix, size), mask, loose, fault)


def _turn(body: np.ndarray) -> float:
    """How far the plug's axis is turned from level, degrees, the way the picture's y points.

    The axis is the line through the middles of the plug's middle columns: its ends are cut slantwise by columns.
    """
    columns = np.nonzero(body.any(axis=0))[0]
    columns = columns[round(0.3 * len(columns)) : round(0.7 * len(columns))]
    rows = np.arange(body.shape[0])[:, None]
    middles = (rows * body[:, columns]).sum(axis=0) / body[:, columns].sum(axis=0)
    return float(np.degrees(np.arctan(np.polyfit(columns, middles, 1)[0])))


def _holds(body: np.ndarray, place_mm: tuple[float, float]) -> bool:
    x, y = (round(v * PX_PER_MM) for v in place_mm)
    return bool(body[y, x])


def _ground(picture: np.ndarray) -> float | None:
    """The ground's blueness, or None where less than a seventh of the open board is blue."""
    small = cv2.resize(picture, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    blue = _blueness(small)[cv2.resize(_open_ground().astype(np.uint8), small.shape[1::-1]) > 0]
    blue = blue[blue > 0.5]
    return float(np.median(blue)) if blue.size > small.shape[0] * small.shape[1] / 7 else None


def _blueness(picture: np.ndarray) -> np.ndarray:
    light = cv2.GaussianBlur(linear(picture), (0, 0), max(0.5, 0.15 * PX_PER_MM))
    return np.log((light[..., 0] + DARK_FLOOR) / (light[..., 2] + DARK_FLOOR))


def _green(picture: np.ndarray) -> np.ndarray:
    blue, green, red = (c.astype(np.float32) for c in cv2.split(cv2.GaussianBlur(picture, (0, 0), 0.15 * PX_PER_MM)))
    return (2 * green - red - blue) / (2 * green + red + blue + 8) > GREEN


def _open_ground() -> np.ndarray:
    """Where plugs may lie: between the upper and the lower tags."""
    open_ground = np.zeros((round(BOARD_HEIGHT_MM * PX_PER_MM), round(BOARD_WIDTH_MM * PX_PER_MM)), bool)
    top, bottom = ((CARD_MM + 1) * PX_PER_MM, (BOARD_HEIGHT_MM - CARD_MM - 1) * PX_PER_MM)
    open_ground[round(top) : round(bottom), round(PX_PER_MM) : -round(PX_PER_MM)] = True
    return open_ground


def _eroded(mask: np.ndarray) -> np.ndarray:
    return cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=0) > 0


def _filled(mask: np.ndarray) -> np.ndarray:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(np.zeros(mask.shape, np.uint8), contours, -1, 1, -1) > 0


def _luminance(picture: np.ndarray) -> np.ndarray:
    """Linear light 0-1 as the eye weighs it (IEC 61966-2-1)."""
    return linear(picture) @ np.array([0.0722, 0.7152, 0.2126], np.float32)


def _lightness(light: np.ndarray) -> np.ndarray:
    """L* 0-100 of linear light 0-1 (CIE 1976)."""
    return np.where(light > 216 / 24389, 116 * np.cbrt(light) - 16, light * 24389 / 27).astype(np.float32)


def _opened(mask: np.ndarray, width_mm: float, px_per_mm: float = PX_PER_MM) -> np.ndarray:
    """Only what a disc of `width_mm` fits into."""
    return cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, _disc(width_mm * px_per_mm)) > 0


def _disc(width_px: float) -> np.ndarray:
    side = max(3, 2 * round(width_px / 2) + 1)
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))

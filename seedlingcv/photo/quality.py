"""Is the picture itself fit for measuring? Decided before anything is measured.

Blur, where tags are seen, is the standard deviation of the edge spread of their printed squares, in mm: the
printed edge is a true step of known scale, so neither noise nor a plain scene nor the picture's size matters.
Where none is seen it is the width of the frame's own edges, per direction so that a shaken picture shows.

How the limits were chosen: 24 good pictures of 8 rendered flats (16 overhead, 8 side, 12 megapixels), each made
worse in linear light and saved as JPEG again. Least, middle and largest of the figure that is judged, and how
many of the 24 are refused:

    blur at the tags, mm            overhead            side           limit 0.55: refused
      as taken                      0.13 0.14 0.22      0.12 0.12 0.16       0
      out of focus, sigma 2 px      0.37 0.40 0.57      0.33 0.34 0.36       1
      out of focus, sigma 3 px      0.53 0.58 0.67      0.47 0.50 0.52      14
      out of focus, sigma 4 px      0.69 0.72 0.85      0.61 0.63 0.66      24
      out of focus, sigma 6 px      0.91 0.94 1.03      0.84 0.86 0.91      24
      shaken 10 px                  0.43 0.53 0.61      0.38 0.43 0.49       7
      shaken 20 px                  0.79 0.95 1.02      0.75 0.84 0.94      24
      noise of 3 % of full scale    0.13 0.14 0.24      0.13 0.13 0.18       0
      half the pixels               0.19 0.20 0.31      0.17 0.18 0.20       0
      a quarter of the pixels       0.33 0.38 0.53      0.31 0.32 0.37       0

    With a fixed colour classifier the overlap with the true plant mask fell, in the middle, to 0.99, 0.96, 0.94,
    0.91 of what it was at sigma 2, 3, 4, 5 px overhead, and the found share of parts under 2 mm in side pictures
    to 0.78, 0.55, 0.37, 0.30. From sigma 8 px, or shaken 30 px, tags begin to be unreadable.

    edge width of the frame, px of the reduced picture (long side 1008 px)                limit 4.4
      as taken, in noise, or with fewer pixels         3.2 3.4 3.6
      field photos of other makers, 1 to 2 megapixels  3.2 3.7 4.2
      out of focus, sigma 8 px                         5.1 5.5 7.4
      shaken 30 px                                     4.5 5.5 6.3

    exposure                        x 1             x 2             x 3             x 4             x 8
      of the flat, green or two     0    0    0.00  0    0.01 0.38  0    0.04 0.52  0    0.10 0.77  0.01 0.26 0.99
      of the flat, any channel      0    0    0.00  0    0.01 0.74  0    0.05 0.99  0    0.16 0.99  0.07 0.42 0.99
      of the frame, any channel     0    0    0.01  0    0.09 0.41  0.15 0.34 0.61  0.22 0.55 0.71  0.54 0.69 0.85
      black of the tags, of 255     24   57   71    33   77   97    39   93   116   45   106  133   62   145  182
      refused                        0               4              13              18              22
    Green alone carries a leaf's colour; a blue backdrop that clips only in blue turns greenish, hence "any".
    The two passed at x 8 are of one flat under magenta light, whose leaves are far from clipping even then.

    white of the cards, of 255      overhead            side           limit 80: refused
      as taken                      163 242 255         130 171 241          0
      a quarter of the light         87 128 136          70  91 128          2
      an eighth                      63  94  99          51  66  94         10
      a sixteenth                    46  68  72          37  48  68         24
    At a card white of 80 a green leaf stands at about 33 of 255, where JPEG's colour steps are a tenth of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import cv2
import numpy as np

from seedlingcv.flags import Problem

SQUARE_MM = 30.0  # the printed square, with 6 mm of white around it; stated anew since this layer lies below the tags
GAMMA = 2.2  # of the stored values, close enough to sRGB's (IEC 61966-2-1)
LINEAR = ((np.arange(256) / 255) ** GAMMA).astype(np.float32)
SMALL_LONG_SIDE_PX = 1008

BLUR_LIMIT_MM = 0.55
BLUR_FLOOR_PX = 1.5  # below this it is the pixel grid, not the lens: `low_resolution` is the word for that
WIDTH_LIMIT_PX = 4.4
MIN_EDGES = 150  # in one direction; fewer say nothing

BURNT = 250
BURNT_LIMIT = 0.15  # of the flat: green, or two channels
BURNT_ANY_LIMIT = 0.35  # of the flat: any channel
BURNT_FRAME = 0.30  # of the frame; alone it may be a white bench in good light, so one of these must agree:
BURNT_SOME = 0.05  # of the flat
GREY_INK = 105  # stored value of the tags' black
BURNT_FRAME_LIMIT = 0.60  # of the frame, where no tags show where the flat is

PAPER, INK = 0.2, -0.125  # where the card's margin and the tag's border lie, out from the edge, of half a side
DARK_WHITE = 80
DARK_FRAME = 60  # brightest twentieth of the frame, where no tags are seen


class Square(Protocol):
    """A printed tag, as `seedlingcv.tags.detect.Tag`: corners (4, 2) in px, clockwise from its top left."""

    corners: np.ndarray


def check_picture(image: np.ndarray, tags: Sequence[Square]) -> list[Problem]:
    """`blurred`, `overexposed` or `underexposed`, all fatal; empty if the picture may be measured.

    image : uint8 (height, width, 3), BGR.
    A picture named here says nothing about its cards: don't go on to ask which of them are missing.
    """
    scale = min(1.0, SMALL_LONG_SIDE_PX / max(image.shape[:2]))
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else image
    squares = [(tag.corners + 0.5) * scale - 0.5 for tag in tags]
    codes = []
    if _is_dark(small, squares):
        codes.append("underexposed")
    if _is_burnt(small, squares):
        codes.append("overexposed")
    if _is_blurred(image, small, tags):
        codes.append("blurred")
    return [Problem(code) for code in codes]


def _is_blurred(image: np.ndarray, small: np.ndarray, tags: Sequence[Square]) -> bool:
    blurs = [b for b in (tag_blur_mm(image, tag.corners) for tag in tags) if b is not None]
    if blurs:
        blur_mm = float(np.median(blurs))
        px_per_mm = float(np.median([_side_px(tag.corners) for tag in tags])) / SQUARE_MM
        if blur_mm > BLUR_LIMIT_MM and blur_mm * px_per_mm > BLUR_FLOOR_PX:
            return True
    if len(blurs) > 1:
        return False
    # a single tag out of a badly shaken picture may have been read by luck, where its edges overlap just so
    width = frame_edge_width_px(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY))
    return width is not None and width > WIDTH_LIMIT_PX


def tag_blur_mm(image: np.ndarray, corners: np.ndarray) -> float | None:
    """Standard deviation of the edge spread across a tag's worse pair of sides, in mm; None if it can't be had.

    For a step blurred by a Gaussian, the integral of s (1 - s) over the normalised profile s is sigma / sqrt(pi):
    own derivation. It needs no threshold and no derivative, so noise hardly moves it.
    """
    spreads = [_edge_spread_mm(image, corners, i) for i in range(4)]
    pairs = [[s for s in (spreads[i], spreads[i + 2]) if s is not None] for i in (0, 1)]
    if not all(pairs):
        return None
    return max(float(np.mean(pair)) for pair in pairs)


def _edge_spread_mm(image: np.ndarray, corners: np.ndarray, side: int) -> float | None:
    start, end = corners[side], corners[(side + 1) % 4]
    length = float(np.linalg.norm(end - start))
    # across the edge the scale is that of the two sides that meet it, which differs when the tag is seen aslant
    across = (np.linalg.norm(corners[side - 1] - start) + np.linalg.norm(corners[(side + 2) % 4] - end)) / 2
    if min(length, across) < 0.5 * max(length, across) or across < 12:
        return None
    along = (end - start) / length
    outwards = np.array([along[1], -along[0]])
    px_per_mm = float(across) / SQUARE_MM
    offsets_mm = np.linspace(-3.0, 3.0, 41)  # the black border is 3.75 mm wide, the white margin 6 mm
    places = start + along * (np.linspace(0.1, 0.9, 25) * length)[:, None]
    grid = (places[:, None, :] + outwards * (offsets_mm * px_per_mm)[None, :, None]).astype(np.float32)
    light = LINEAR[cv2.remap(image, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR)].sum(axis=2)
    profile = np.median(light, axis=0)  # a leaf over part of the edge is outvoted
    dark, bright = profile[:8].mean(), profile[-8:].mean()
    if bright - dark < 0.02:
        return None
    share = np.clip((profile - dark) / (bright - dark), 0, 1)
    return float(np.sqrt(np.pi) * (share * (1 - share)).sum() * (offsets_mm[1] - offsets_mm[0]))


def frame_edge_width_px(grey: np.ndarray) -> float | None:
    """Width of the picture's sharper edges in the direction where they are widest; None without enough edges.

    Width of one edge: the rise between the nearest minimum and maximum across it (Marziliano, Dufaux, Winkler &
    Ebrahimi, "A no-reference perceptual blur metric", ICIP 2002; from memory), divided by the steepest slope, so
    that a ramp's full length counts however it is shaped. Of every direction the 35th percentile is taken, as a
    scene always has some soft edges.
    """
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0)
    slope_x = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=1) / 2
    slope_y = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=1) / 2
    slope = np.hypot(slope_x, slope_y)
    reach = 16
    if min(slope.shape) < 4 * reach:
        return None
    inner = slope[reach:-reach, reach:-reach]
    ys, xs = np.nonzero(inner > max(float(np.quantile(inner[::4, ::4], 0.95)), 2.0))
    ys, xs = ys + reach, xs + reach
    direction = np.round(np.arctan2(slope_y[ys, xs], slope_x[ys, xs]) / (np.pi / 4)).astype(int) % 4
    widths = []
    for k, (dx, dy) in enumerate(((1, 0), (1, 1), (0, 1), (-1, 1))):
        y, x = ys[direction == k], xs[direction == k]
        peak = (slope[y, x] >= slope[y + dy, x + dx]) & (slope[y, x] > slope[y - dy, x - dx])
        y, x = y[peak], x[peak]
        if len(y) < MIN_EDGES:
            continue
        pick = slice(None, None, len(y) // 3000 + 1)
        widths.append(float(np.percentile(_edge_widths(smooth, x[pick], y[pick], dx, dy, reach), 35)))
    return max(widths, default=None)


def _edge_widths(smooth: np.ndarray, xs: np.ndarray, ys: np.ndarray, dx: int, dy: int, reach: int) -> np.ndarray:
    """Rise over slope, in px, of the edges through these points along (dx, dy)."""
    steps = np.arange(-reach, reach + 1)
    rises = np.diff(smooth[ys[:, None] + steps * dy, xs[:, None] + steps * dx], axis=1)
    after, before = rises[:, reach:], rises[:, reach - 1::-1]
    middle = (after[:, 0] + before[:, 0]) / 2
    sign = np.sign(middle)[:, None]
    total = sum((side * sign * np.cumprod(side * sign > 0, axis=1)).sum(axis=1) for side in (after, before))
    return total / np.maximum(np.abs(middle), 1e-3) * np.hypot(dx, dy)


def _is_burnt(small: np.ndarray, squares: list[np.ndarray]) -> bool:
    blue, green, red = (channel >= BURNT for channel in cv2.split(small))
    of_any = blue | green | red
    region = _flat_region(small.shape[:2], squares)
    if region is None:
        return float(of_any.mean()) > BURNT_FRAME_LIMIT
    of_flat = float((green | (blue & red))[region].mean())
    if of_flat > BURNT_LIMIT or float(of_any[region].mean()) > BURNT_ANY_LIMIT:
        return True
    return float(of_any.mean()) > BURNT_FRAME and (of_flat > BURNT_SOME or _card_level(small, squares, INK) > GREY_INK)


def _is_dark(small: np.ndarray, squares: list[np.ndarray]) -> bool:
    if not squares:
        return float(np.percentile(_brightest(small[::2, ::2]), 95)) < DARK_FRAME
    return _card_level(small, squares, PAPER) < DARK_WHITE


def _brightest(image: np.ndarray) -> np.ndarray:
    blue, green, red = cv2.split(image)
    return cv2.max(cv2.max(blue, green), red)


def _card_level(small: np.ndarray, squares: list[np.ndarray], outwards: float) -> float:
    """The stored value along a square around each tag's own, by the brightest channel; the median over the tags."""
    share = np.array([0.2, 0.4, 0.6, 0.8])[:, None]
    levels = []
    for corners in squares:
        sides = zip(corners, np.roll(corners, -1, axis=0), strict=True)
        edges = np.concatenate([a + (b - a) * share for a, b in sides])
        places = (edges + outwards * (edges - corners.mean(axis=0))).astype(np.float32)[None]
        seen = cv2.remap(small, places[..., 0], places[..., 1], cv2.INTER_LINEAR)
        levels.append(np.median(seen.max(axis=2)))
    return float(np.median(levels))


def _flat_region(shape: tuple[int, int], squares: list[np.ndarray]) -> np.ndarray | None:
    """What lies between the tags, less the white cards, as (height, width) bool; None if that is next to nothing."""
    if not squares:
        return None
    region = np.zeros(shape, np.uint8)
    middle = np.mean([corners.mean(axis=0) for corners in squares], axis=0)
    # the corners that point inwards: between the outer ones lies bench, which may well be white
    inner = [min(corners, key=lambda c: float(np.linalg.norm(c - middle))) for corners in squares]
    hull = cv2.convexHull(np.array(inner, np.float32))
    cv2.fillConvexPoly(region, np.round(hull).astype(np.int32), 255)
    for corners in squares:
        card = corners.mean(axis=0) + 1.5 * (corners - corners.mean(axis=0))
        cv2.fillConvexPoly(region, np.round(card).astype(np.int32), 0)
    return region > 0 if (region > 0).mean() > 0.05 else None


def _side_px(corners: np.ndarray) -> float:
    return float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).mean())

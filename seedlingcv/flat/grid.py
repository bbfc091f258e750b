"""Settle the frame on the flat's own cell grid.

The cards lie on the rim by hand, so the frame they give is off by a mm or two. The dividers between cells
are straight lines of one colour, which soil and leaves are not: the mean of the brightness step along a
whole cell side is large on a divider's edges and near zero elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.pose import Pose
from seedlingcv.flat.rectify import PlaneView, plane_view, rectify

PX_PER_MM = 2.0
SEARCH_MM = 9.0
# How far the cards' frame and the standard pitch are usually off: x, y in mm, turn, stretch of the pitch.
PRIOR_SIGMA = np.array([3.0, 3.0, np.radians(0.5), 0.02, 0.02])
PRIOR_WEIGHT = 0.05  # in units of the picture's mean ridge: decides only where the dividers say little
DIVIDER_MM = 2.6  # usual width; the blur that joins a divider's two edges into one ridge
# Contrast of the fitted grid against the same grid half a pitch off, below which the grid counts as not found.
# On 16 drawn photos the right layout had 0.47 and more; wrong ones near it reach 0.5 too, hence `better_layout`.
MIN_CONTRAST = 0.25
AS_GOOD = 0.8  # of the best contrast
BETTER = 1.1  # a rival layout must reach this times the contrast before the register is doubted


@dataclass(frozen=True)
class GridFit:
    layout: FlatLayout
    pose: Pose
    contrast: float  # -1 to 1; 1 = all steps lie on the grid's lines

    @property
    def found(self) -> bool:
        return self.contrast >= MIN_CONTRAST


def settle_grid(image: np.ndarray, pose: Pose, layout: FlatLayout) -> GridFit:
    """Shift and turn the frame, and stretch the pitch, until the layout's dividers lie on the picture's."""
    from scipy.optimize import minimize

    view = plane_view(layout.outer_mm, PX_PER_MM, margin_mm=12.0)
    ridges = _divider_ridges(rectify(image, pose, view), layout, view)

    def score(p: np.ndarray, half: float = 0.0) -> float:
        return _line_score(ridges, layout, view, p, half)

    level = np.mean([ridge.mean() for ridge in ridges])

    def gain(p: np.ndarray) -> float:
        return score(p) / level - PRIOR_WEIGHT * float(((p / PRIOR_SIGMA) ** 2).sum())

    limit = min(SEARCH_MM, 0.45 * min(layout.pitch_mm))
    steps = np.arange(-limit, limit + 0.01, 1.0)
    best = np.zeros(5)
    for _ in range(2):  # x and y are nearly independent
        for axis in (0, 1):
            best = max((np.where(np.arange(5) == axis, s, best) for s in steps), key=gain)
    simplex = np.vstack([best, best + np.diag([1.0, 1.0, 0.006, 0.01, 0.01])])
    found = minimize(lambda p: -gain(p), best, method="Nelder-Mead",
                     options={"initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-5, "maxfev": 500}).x
    on, off = score(found), score(found, half=0.5)
    contrast = (on - off) / (on + off + 1e-9)
    dx, dy, turn, sx, sy = found
    centre = np.array(layout.outer_mm) / 2
    c, s = np.cos(turn), np.sin(turn)
    origin = centre + [dx, dy] - np.array([[c, -s], [s, c]]) @ centre
    pitch = (layout.pitch_mm[0] * (1 + sx), layout.pitch_mm[1] * (1 + sy))
    corner = (centre[0] - pitch[0] * layout.columns / 2, centre[1] - pitch[1] * layout.rows / 2)
    return GridFit(replace(layout, pitch_mm=pitch, corner_mm=corner), pose.moved(origin, turn), float(contrast))


def guess_layout(image: np.ndarray, pose: Pose, candidates: list[FlatLayout]) -> GridFit | None:
    """The candidate whose grid fits best, or None where none does.

    Every line of a coarse grid may lie on a finer one's, never the other way round: so of those that fit
    nearly as well as the best, the finest is right.
    """
    fits = [fit for fit in (settle_grid(image, pose, c) for c in candidates) if fit.found]
    if not fits:
        return None
    best = max(fit.contrast for fit in fits)
    good = [fit for fit in fits if fit.contrast >= AS_GOOD * best]
    return max(good, key=lambda fit: fit.layout.rows * fit.layout.columns)


def better_layout(image: np.ndarray, fit: GridFit, rivals: list[FlatLayout]) -> FlatLayout | None:
    """A rival whose grid fits the picture clearly better than the one settled on, or None."""
    view = plane_view(fit.layout.outer_mm, PX_PER_MM, margin_mm=12.0)
    ridges = _divider_ridges(rectify(image, fit.pose, view), fit.layout, view)
    own = _coarse_contrast(ridges, fit.layout, view)
    contrasts = [(_coarse_contrast(ridges, rival, view), rival) for rival in rivals]
    best = max((contrast for contrast, _ in contrasts), default=0.0)
    if best < max(BETTER * own, MIN_CONTRAST):
        return None
    good = [rival for contrast, rival in contrasts if contrast >= AS_GOOD * best]
    return max(good, key=lambda rival: rival.rows * rival.columns)


def _coarse_contrast(ridges, layout: FlatLayout, view: PlaneView) -> float:
    """Contrast at the best shift to the nearest mm, the frame's turn and the standard pitch kept."""
    limit = min(SEARCH_MM, 0.45 * min(layout.pitch_mm))
    steps = np.arange(-limit, limit + 0.01, 1.0)
    best = np.zeros(5)
    for axis in (0, 1):
        best = max((np.where(np.arange(5) == axis, s, best) for s in steps),
                   key=lambda p: _line_score(ridges, layout, view, p, 0.0))
    on, off = (_line_score(ridges, layout, view, best, half) for half in (0.0, 0.5))
    return (on - off) / (on + off + 1e-9)


def _divider_ridges(picture: np.ndarray, layout: FlatLayout, view: PlaneView) -> tuple[np.ndarray, np.ndarray]:
    """Two float32 pictures, high on vertical and on horizontal dividers."""
    value = picture.astype(np.float32).max(axis=2)  # leaves are dark in red and blue, bright in one
    value = np.log(value + 12)
    excess = cv2.transform(picture.astype(np.float32), np.array([[-1.0, 2.0, -1.0]], np.float32))
    limit = max(30.0, float(np.median(excess[_rim(layout, view)])) + 30)  # the tray itself may be green
    leaf = (excess > limit).astype(np.uint8)
    bare = 1 - cv2.dilate(leaf, np.ones((5, 5), np.uint8)).astype(np.float32)  # a leaf's edge is a step too
    ridges = []
    for axis in (0, 1):
        step = cv2.Sobel(value, cv2.CV_32F, 1 - axis, axis, ksize=3)
        step = np.clip(step, -1.5, 1.5) * bare
        length = int(0.55 * layout.pitch_mm[1 - axis] * view.px_per_mm) | 1
        box = (1, length) if axis == 0 else (length, 1)
        seen = cv2.boxFilter(bare, -1, box)
        coherent = np.abs(cv2.boxFilter(step, -1, box)) / np.maximum(seen, 0.25)
        blur = DIVIDER_MM * 0.55 * view.px_per_mm
        kernel = (0, 0)
        ridges.append(cv2.GaussianBlur(coherent, kernel, sigmaX=blur if axis == 0 else 0.01,
                                       sigmaY=0.01 if axis == 0 else blur))
    return ridges[0], ridges[1]


def _rim(layout: FlatLayout, view: PlaneView) -> np.ndarray:
    """Bool mask of the flat's rim, between its outer edge and the cells."""
    mask = np.zeros((view.height, view.width), bool)
    (width, height), (cx, cy) = layout.outer_mm, layout.corner_mm
    mask[view.box((3.0, 3.0, width - 3.0, height - 3.0))] = True
    mask[view.box((cx - 3.0, cy - 3.0, width - cx + 3.0, height - cy + 3.0))] = False
    return mask


def _line_score(ridges, layout: FlatLayout, view: PlaneView, p: np.ndarray, half: float) -> float:
    dx, dy, turn, sx, sy = p
    columns, rows = layout.columns, layout.rows
    px, py = layout.pitch_mm[0] * (1 + sx), layout.pitch_mm[1] * (1 + sy)
    c, s = np.cos(turn), np.sin(turn)
    centre = np.array(layout.outer_mm) / 2
    total = 0.0
    for axis, ridge in enumerate(ridges):
        if axis == 0:  # inner vertical dividers, sampled at the middle of each row
            u = (np.arange(1, columns) + half - columns / 2) * px
            v = (np.arange(rows) + 0.5 - rows / 2) * py
        else:
            u = (np.arange(columns) + 0.5 - columns / 2) * px
            v = (np.arange(1, rows) + half - rows / 2) * py
        u, v = (a.ravel() for a in np.meshgrid(u, v))
        if not u.size:  # a single row or column has no dividers that way
            continue
        at = view.to_px(np.column_stack([c * u - s * v, s * u + c * v]) + centre + [dx, dy]).astype(np.float32)
        values = cv2.remap(ridge, at[:, 0].copy(), at[:, 1].copy(), cv2.INTER_LINEAR)
        total += float(np.mean(np.minimum(values, 4 * np.median(values) + 1e-6)))
    return total

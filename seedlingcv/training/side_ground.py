"""What stands round the plants of a side view: backdrop, tray, potting mix, cards. Drawn on the row-A plane.

Frame, mm: x right along row A, y away from the row-A line towards the backdrop, z up from the rim.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.backdrop import CELLS_LENGTH_MM, CELLS_WIDTH_MM, FLAT_LENGTH_MM
from seedlingcv.training.forms import _hsv
from seedlingcv.training.ground import TRAYS, noise, soil

FRONT_RIM_MM = 1.5  # the rim's inner edge against the cells' front boundary


@dataclass(frozen=True)
class Window:
    """The drawn piece of the row-A plane: `side_mm` square, its lower left corner at (left_mm, bottom_mm)."""

    left_mm: float
    bottom_mm: float
    side_mm: float
    px_per_mm: float
    eye: np.ndarray  # (3,) x, y, z

    @property
    def px(self) -> int:
        return round(self.side_mm * self.px_per_mm)

    def on_row(self, points: np.ndarray) -> np.ndarray:
        """(..., 3) places -> (..., 2) x, z where they are seen on the row-A plane y = 0."""
        points = np.asarray(points, float)
        scale = -self.eye[1] / np.maximum(points[..., 1] - self.eye[1], 60.0)
        return self.eye[[0, 2]] + (points[..., [0, 2]] - self.eye[[0, 2]]) * scale[..., None]

    def to_px(self, row: np.ndarray, px_per_mm: float | None = None) -> np.ndarray:
        """(..., 2) x, z on the row-A plane -> pixels (column, row)."""
        scale = px_per_mm or self.px_per_mm
        row = np.asarray(row, float)
        top = self.bottom_mm + self.side_mm
        return np.stack([(row[..., 0] - self.left_mm) * scale - 0.5, (top - row[..., 1]) * scale - 0.5], axis=-1)

    def seen(self, points: np.ndarray, px_per_mm: float | None = None) -> np.ndarray:
        return self.to_px(self.on_row(points), px_per_mm)


@dataclass(frozen=True)
class Tray:
    """rows, columns of the flat; half_pitch_mm from the row-A line to the divider before the backdrop."""

    rows: int
    columns: int
    divider_mm: float
    soil_mm: float
    shift_mm: float

    @property
    def pitch_mm(self) -> float:
        return CELLS_LENGTH_MM / self.columns

    @property
    def half_pitch_mm(self) -> float:
        return CELLS_WIDTH_MM / self.rows / 2

    def middles_mm(self) -> np.ndarray:
        return self.shift_mm + (np.arange(self.columns) - (self.columns - 1) / 2) * self.pitch_mm

    def line_mm(self, eye: np.ndarray, front: bool = False) -> float:
        """Height on the row-A plane of the divider behind row A, or of the rim's inner edge in front of it."""
        y = FRONT_RIM_MM - self.half_pitch_mm if front else self.half_pitch_mm - 1
        return float(eye[2] + (-1 - eye[2]) * -eye[1] / (y - eye[1]))


def surroundings(window: Window, tray: Tray, rng) -> np.ndarray:
    """The scene without plants, float32 (px, px, 3) 0-1."""
    n, half = window.px, tray.half_pitch_mm
    picture = _room(n, window, rng)
    _fill(picture, window, _upright(-300 + rng.normal(0, 4), 300 + rng.normal(0, 4), tray.soil_mm, 250, half),
          _backdrop(n, rng))
    body = TRAYS[rng.choice(len(TRAYS), p=[0.3, 0.18, 0.12, 0.12, 0.06, 0.05, 0.05, 0.04, 0.04, 0.04])]
    body = np.clip(body * rng.uniform(0.75, 1.4) * (1 + rng.normal(0, 0.05, 3)), 0.02, 0.97).astype(np.float32)
    plastic = np.ones((n, n, 3), np.float32) * body
    plastic *= 1 + 0.06 * noise((n, n), 60, rng)[..., None] + 0.03 * noise((n, n), 2, rng)[..., None]
    long = FLAT_LENGTH_MM / 2
    face = -half - rng.uniform(8, 13)
    _fill(picture, window, _level(-long, long, face, half, -0.3), plastic * rng.uniform(0.9, 1.2))
    mix = _mix(window, tray, rng)
    edges = tray.divider_mm / 2
    wall = np.clip(plastic * rng.uniform(0.5, 1.3), 0, 1)
    floor = tray.soil_mm
    for middle in tray.middles_mm():
        left, right = middle - tray.pitch_mm / 2 + edges, middle + tray.pitch_mm / 2 - edges
        near, far = FRONT_RIM_MM - half, half - tray.divider_mm / 2
        opening = window.seen(_level(left, right, near, far, -1.0))
        if opening[:, 0].max() < 0 or opening[:, 0].min() > n:
            continue
        cell = np.zeros((n, n), np.uint8)
        cv2.fillPoly(cell, [np.round(opening * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        _blend(picture, cell, wall * rng.uniform(0.85, 1.15))
        taper = rng.uniform(0, 1.5)
        low = window.seen(_level(left + taper, right - taper, near, far - taper, floor + rng.normal(0, 0.5)))
        ground = np.zeros_like(cell)
        cv2.fillPoly(ground, [np.round(low * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        _blend(picture, np.minimum(cell, ground), mix)
        rim = np.clip(body * rng.uniform(0.7, 2.0) + rng.uniform(0, 0.05), 0, 1).tolist()
        cv2.polylines(picture, [np.round(opening * 16).astype(np.int32)], True, rim, 1 + int(rng.integers(2)),
                      cv2.LINE_AA, 4)
    _fill(picture, window, _upright(-long, long, -60, 0, face), plastic * rng.uniform(0.5, 1.1))
    at = window.seen(_upright(-long, long, -0.6 - rng.uniform(0, 1), 0.2, face))
    cv2.fillPoly(picture, [np.round(at * 16).astype(np.int32)],
                 np.clip(body * rng.uniform(0.8, 2.5), 0, 1).tolist(), cv2.LINE_AA, 4)
    if rng.random() < 0.5:
        _card(picture, window, rng.uniform(-200, 200) if rng.random() < 0.4 else
              window.left_mm + rng.uniform(-30, window.side_mm), face, rng)
    return np.clip(picture, 0, 1)


def _level(x0, x1, y0, y1, z) -> np.ndarray:
    return np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]], float)


def _upright(x0, x1, z0, z1, y) -> np.ndarray:
    return np.array([[x0, y, z0], [x1, y, z0], [x1, y, z1], [x0, y, z1]], float)


def _fill(picture, window: Window, corners, source) -> None:
    mask = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(window.seen(corners) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    _blend(picture, mask, source)


def _blend(picture, mask, source) -> None:
    rows = np.flatnonzero(mask.any(axis=1))
    if len(rows):
        part = slice(rows[0], rows[-1] + 1)
        picture[part] += (mask[part].astype(np.float32) / 255)[..., None] * (source[part] - picture[part])


def _room(n: int, window: Window, rng) -> np.ndarray:
    tone = np.array([0.5, 0.55, 0.6]) * rng.uniform(0.2, 1.4)
    out = np.ones((n, n, 3), np.float32) * tone.astype(np.float32)
    out *= np.clip(1 + rng.uniform(0.1, 0.5) * noise((n, n), rng.uniform(80, 300), rng), 0.2, 2)[..., None]
    return out * (1 + 0.1 * noise((n, n), 40, rng)[..., None] * rng.normal(0, 1, 3).astype(np.float32))


def _backdrop(n: int, rng) -> np.ndarray:
    """A matte card: grey, blue, white, black or of another colour, with dirt, grain and light that changes."""
    what = rng.choice(["grey", "blue", "white", "dark", "any"], p=[0.36, 0.32, 0.12, 0.08, 0.12])
    if what == "grey":
        colour = np.full(3, rng.uniform(0.3, 0.85)) * (1 + rng.normal(0, 0.04, 3))
    elif what == "blue":
        colour = _hsv(rng.uniform(195, 235), rng.uniform(0.3, 0.9), rng.uniform(0.35, 0.85))
    elif what == "white":
        colour = np.full(3, rng.uniform(0.75, 0.97)) * (1 + rng.normal(0, 0.03, 3))
    elif what == "dark":
        colour = np.full(3, rng.uniform(0.05, 0.3)) * (1 + rng.normal(0, 0.08, 3))
    else:  # not the green of leaves
        colour = _hsv(rng.uniform(175, 400), rng.uniform(0.1, 0.7), rng.uniform(0.25, 0.9))
    out = np.ones((n, n, 3), np.float32) * np.clip(colour, 0.02, 0.97).astype(np.float32)
    y, x = np.mgrid[:n, :n].astype(np.float32) / n - 0.5
    turn = rng.uniform(0, 6.3)
    light = 1 + rng.uniform(0, 0.7) * (np.cos(turn) * x + np.sin(turn) * y)
    light *= 1 + rng.choice([0.0, rng.uniform(0, 0.06)]) * noise((n, n), rng.uniform(150, 500), rng)
    out *= np.clip(light, 0.2, 2)[..., None]
    out *= 1 + rng.uniform(0, 0.015) * noise((n, n), 2, rng)[..., None]
    for _ in range(int(rng.choice([0, 0, 0, 3, 12]))):  # specks, creases
        at = rng.uniform(0, n, 2)
        to = at + rng.normal(0, rng.choice([2, 60]), 2)
        cv2.line(out, tuple(np.round(at).astype(int).tolist()), tuple(np.round(to).astype(int).tolist()),
                 np.clip(colour * rng.uniform(0.75, 1.15), 0, 1).tolist(), 1, cv2.LINE_AA)
    if rng.random() < 0.15:  # light that leaves throw on to the card
        green = np.clip(noise((n, n), rng.uniform(80, 250), rng), 0, 1)[..., None] * rng.uniform(0, 0.15)
        out *= 1 - green * np.array([1, 0, 0.7], np.float32)
    return out


def _mix(window: Window, tray: Tray, rng) -> np.ndarray:
    """Potting mix with crumbs, perlite and algae as seen from the side, over the whole window."""
    n, half = window.px, tray.half_pitch_mm
    scale = 3.0
    across, deep = round((window.side_mm + 120) * scale), round((2 * half + 8) * scale)
    from_above = soil((deep, across), rng, scale)
    x0, x1 = window.left_mm - 60, window.left_mm + window.side_mm + 60
    corners = window.seen(_level(x0, x1, -half - 4, half + 4, tray.soil_mm))[[3, 2, 1, 0]].astype(np.float32)
    source = np.array([[0, 0], [across, 0], [across, deep], [0, deep]], np.float32)
    out = cv2.warpPerspective(from_above, cv2.getPerspectiveTransform(source, corners), (n, n))
    if rng.random() < 0.35:  # algae and moss
        patchy = noise((n, n), rng.uniform(20, 120), rng) + 0.7 * noise((n, n), 5, rng) + rng.uniform(-2, 0.6)
        cover = np.clip(patchy, 0, rng.uniform(0.3, 1))[..., None]
        green = np.array([rng.uniform(0.05, 0.3), rng.uniform(0.25, 0.55), rng.uniform(0.15, 0.5)], np.float32)
        texture = np.clip(1 + 0.35 * noise((n, n), 2, rng), 0.2, 2)[..., None]
        out += cover * (green * texture - out)
    lumps(out, window, tray, int(rng.choice([0, 40, 150, 500])), rng.choice([0.0, 0.0, 0.3, 0.9]), rng)
    return np.clip(out, 0, 1)


def lumps(picture, window: Window, tray: Tray, count: int, white: float, rng) -> None:
    """Crumbs, bark and perlite that stand up from the mix, far ones first."""
    half, scale = tray.half_pitch_mm, window.px_per_mm
    y = np.sort(rng.uniform(-half, half, count))[::-1]
    x = rng.uniform(window.left_mm - 20, window.left_mm + window.side_mm + 20, count)
    at = window.seen(np.column_stack([x, y, np.full(count, tray.soil_mm)]))
    tone = np.array([0.15, 0.22, 0.3]) * rng.uniform(0.3, 1.8)
    for place in at:
        size = min(rng.gamma(2.5, 0.5), 4) * scale / 2
        angle = np.sort(rng.uniform(0, 6.3, 6))
        shape = size * np.column_stack([np.cos(angle) * rng.uniform(0.7, 1.8), np.sin(angle)]) - [0, 0.5 * size]
        grey = rng.uniform(0.6, 1.0)
        colour = np.full(3, grey) if rng.random() < white else tone * rng.uniform(0.4, 1.7)
        for part, bright in ((shape, 0.7), (shape * [0.8, 0.6] - [0, 0.2 * size], 1.0)):
            cv2.fillConvexPoly(picture, np.round((place + part) * 16).astype(np.int32),
                               np.clip(colour * bright, 0, 1).tolist(), cv2.LINE_AA, 4)


def _card(picture, window: Window, x: float, face: float, rng) -> None:
    """A white card with a black pattern, leaning on the tray's front or lying on the rim."""
    lean = rng.uniform(0.45, 0.8) if rng.random() < 0.7 else 1.5
    down = 42 * np.array([rng.normal(0, 0.03), -np.cos(lean), -np.sin(lean) if lean < 1 else 0])
    right = 42 * np.array([1, rng.normal(0, 0.05), rng.normal(0, 0.02)])
    corner = np.array([x, face + (0 if lean < 1 else 14), 1.5 if lean < 1 else 1])

    def paint(a, b, c, d, grey):
        points = corner + np.array([[a, b], [c, b], [c, d], [a, d]])[:, :1] * right + np.array(
            [[a, b], [c, b], [c, d], [a, d]])[:, 1:] * down
        cv2.fillConvexPoly(picture, np.round(window.seen(points) * 16).astype(np.int32), (grey,) * 3, cv2.LINE_AA, 4)

    paint(0, 0, 1, 1, 0.92)
    paint(6 / 42, 6 / 42, 36 / 42, 36 / 42, 0.1)
    for i in range(1, 7):
        for j in range(1, 7):
            if rng.random() < 0.5:
                paint(*((6 + 3.75 * k) / 42 for k in (i, j, i + 1, j + 1)), 0.92)

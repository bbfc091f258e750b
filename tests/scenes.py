"""Drawn overhead views of invented flats with exact truth.

Everything is drawn on level planes and seen through a pinhole camera written here with OpenCV's own
functions (`cv2.undistortPoints`, plain matrix algebra), independent of the package's camera code.
Heights are mm above the rim; x and y as in `seedlingcv.flat.layout`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout, standard_layout

TEXTURE_PX_PER_MM = 5.0
TEXTURE_MARGIN_MM = 90.0
SOIL, TRAY, BENCH, LEAF = (38, 52, 66), (30, 30, 30), (150, 155, 158), (60, 150, 75)  # BGR


@dataclass(frozen=True)
class Camera:
    """A pinhole camera at `eye_mm` (x, y, z up) that looks at `target_mm` on the rim."""

    eye_mm: tuple[float, float, float] = (273.0, 139.0, 520.0)
    target_mm: tuple[float, float] = (273.0, 139.0)
    roll_deg: float = 0.0
    size: tuple[int, int] = (2016, 1512)
    focal_px: float = 1515.0
    k1: float = 0.0

    @property
    def matrix(self) -> np.ndarray:
        width, height = self.size
        return np.array([[self.focal_px, 0, (width - 1) / 2], [0, self.focal_px, (height - 1) / 2], [0, 0, 1.0]])

    @property
    def rotation(self) -> np.ndarray:
        """World (x, y, down) to camera (right, down, forward)."""
        eye = np.array([self.eye_mm[0], self.eye_mm[1], -self.eye_mm[2]])
        forward = np.array([*self.target_mm, 0.0]) - eye
        forward /= np.linalg.norm(forward)
        right = np.cross([0.0, 1.0, 0.0], forward)
        right /= np.linalg.norm(right)
        axes = np.array([right, np.cross(forward, right), forward])
        roll = np.radians(self.roll_deg)
        turn = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
        return turn @ axes

    @property
    def translation(self) -> np.ndarray:
        return -self.rotation @ np.array([self.eye_mm[0], self.eye_mm[1], -self.eye_mm[2]])

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """(N, 3) places (x, y, z up) to (N, 2) px, by OpenCV."""
        points = np.asarray(points_mm, float) * [1, 1, -1]
        out, _ = cv2.projectPoints(points, cv2.Rodrigues(self.rotation)[0], self.translation, self.matrix,
                                   np.array([self.k1, 0, 0, 0]))
        return out.reshape(-1, 2)


@dataclass(frozen=True)
class Disc:
    """A round leaf of known size at a known place."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    z_mm: float = 0.0


@dataclass(frozen=True)
class Scene:
    layout: FlatLayout = field(default_factory=lambda: standard_layout(6, 12))
    discs: tuple[Disc, ...] = ()
    card_shifts_mm: tuple[tuple[float, float], ...] = ((0, 0),) * 4
    card_turns_deg: tuple[float, ...] = (0.0,) * 4
    cards: tuple[int, ...] = (0, 1, 2, 3)
    flat_tag: int | None = 31
    light: tuple[float, float, float] = (1.0, 1.0, 1.0)  # BGR, how much of each falls on the scene

    def photo(self, camera: Camera, seed: int = 1) -> np.ndarray:
        """uint8 (height, width, 3) BGR. Light is mixed and blurred before the camera's tone curve, as in life."""
        image = linear(_seen(self._ground(seed), camera, 0.0))
        for number in self.cards:
            image = self._with_card(image, camera, number)
        if self.flat_tag is not None:
            image = _paste_tag(image, camera, self.flat_tag, np.array([300.0, -30.0]), 0.0)
        for z in sorted({d.z_mm for d in self.discs}):
            texture, alpha = self._leaves(z)
            share = _seen(alpha, camera, z)[..., None].astype(np.float32) / 255
            image = linear(_seen(texture, camera, z)) * share + image * (1 - share)
        image = cv2.GaussianBlur(image * np.array(self.light, np.float32), (0, 0), 0.7)
        noise = np.random.default_rng(seed).normal(0, 1.5, image.shape)
        return np.clip(stored(image) + noise, 0, 255).astype(np.uint8)

    def _ground(self, seed: int) -> np.ndarray:
        (width, height), m = self.layout.outer_mm, TEXTURE_MARGIN_MM
        scale = TEXTURE_PX_PER_MM
        texture = np.full((round((height + 2 * m) * scale), round((width + 2 * m) * scale), 3), BENCH, np.uint8)
        _fill(texture, (0, 0, width, height), TRAY)
        for cell in self.layout.cells:
            x0, y0, x1, y1 = cell.rect_mm
            _fill(texture, (x0 + 1.3, y0 + 1.3, x1 - 1.3, y1 - 1.3), SOIL)
        grain = np.random.default_rng(seed).normal(0, 9, texture.shape[:2])
        return np.clip(texture + cv2.GaussianBlur(grain, (0, 0), 1.5)[..., None], 0, 255).astype(np.uint8)

    def _leaves(self, z_mm: float) -> tuple[np.ndarray, np.ndarray]:
        (width, height), m, scale = self.layout.outer_mm, TEXTURE_MARGIN_MM, TEXTURE_PX_PER_MM
        shape = (round((height + 2 * m) * scale), round((width + 2 * m) * scale))
        alpha = np.zeros(shape, np.uint8)
        for disc in self.discs:
            if disc.z_mm == z_mm:
                centre = _texture_px([(disc.x_mm, disc.y_mm)])[0]
                cv2.circle(alpha, tuple(np.round(centre * 16).astype(int).tolist()),
                           round(disc.diameter_mm / 2 * scale * 16), 255, -1, cv2.LINE_AA, shift=4)
        return np.full((*shape, 3), LEAF, np.uint8), alpha

    def _with_card(self, image: np.ndarray, camera: Camera, number: int) -> np.ndarray:
        (width, height) = self.layout.outer_mm
        usual = {0: (-7.5, -14.0), 1: (width + 7.5, -14.0), 2: (width + 7.5, height + 14.0), 3: (-7.5, height + 14.0)}
        centre = np.array(usual[number]) + self.card_shifts_mm[number]
        return _paste_tag(image, camera, number, centre, self.card_turns_deg[number])


def tag_corners_mm(centre: np.ndarray, turn_deg: float, size_mm: float = 30.0) -> np.ndarray:
    a = np.radians(turn_deg)
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size_mm / 2
    return square @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]).T + centre


def _paste_tag(image: np.ndarray, camera: Camera, number: int, centre: np.ndarray, turn_deg: float,
               z_mm: float = 1.5) -> np.ndarray:
    """A 42 mm white card with its 30 mm tag, 16 px a module so that edges are smooth in the photo."""
    bits = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), number, 8)
    module_px = 16
    tag = np.kron(bits, np.ones((module_px, module_px), np.uint8)) // 255 * 215 + 20
    card = np.pad(tag, round(6 / 3.75 * module_px), constant_values=235)
    side = len(card)
    side_mm = side * 3.75 / module_px
    corners = np.column_stack([tag_corners_mm(centre, turn_deg, side_mm), np.full(4, z_mm)])
    to = camera.project(corners).astype(np.float32)
    have = np.array([[-0.5, -0.5], [side - 0.5, -0.5], [side - 0.5, side - 0.5], [-0.5, side - 0.5]], np.float32)
    fine = 4  # drawn finer, then averaged: a camera pixel covers an area
    x0, y0 = np.maximum(np.floor(to.min(0)).astype(int) - 2, 0)
    x1, y1 = np.minimum(np.ceil(to.max(0)).astype(int) + 3, camera.size)
    if x1 <= x0 or y1 <= y0:
        return image
    matrix = cv2.getPerspectiveTransform(have, ((to - [x0, y0] + 0.5) * fine - 0.5).astype(np.float32))
    small, large = (x1 - x0, y1 - y0), ((x1 - x0) * fine, (y1 - y0) * fine)
    share = cv2.warpPerspective(np.ones(card.shape, np.float32), matrix, large)
    drawn = cv2.warpPerspective(linear(card), matrix, large, borderMode=cv2.BORDER_REPLICATE) * share
    drawn, share = (cv2.resize(p, small, interpolation=cv2.INTER_AREA)[..., None] for p in (drawn, share))
    out = image.copy()
    out[y0:y1, x0:x1] = drawn + out[y0:y1, x0:x1] * (1 - share)
    return out


def linear(values: np.ndarray) -> np.ndarray:
    """Stored 8-bit values to light, by a plain power of 2.2."""
    return (np.asarray(values, np.float32) / 255) ** 2.2


def stored(light: np.ndarray) -> np.ndarray:
    return 255 * np.clip(light, 0, 1) ** (1 / 2.2)


def _texture_px(points_mm) -> np.ndarray:
    return (np.asarray(points_mm, float) + TEXTURE_MARGIN_MM) * TEXTURE_PX_PER_MM - 0.5


def _fill(texture: np.ndarray, rect_mm, colour) -> None:
    (u0, v0), (u1, v1) = np.round(_texture_px([rect_mm[:2], rect_mm[2:]]) + 0.5).astype(int)
    texture[v0:v1, u0:u1] = colour


@lru_cache(maxsize=4)
def _rays(camera: Camera) -> np.ndarray:
    """(pixels, 3) directions (x, y, down) of every pixel's line of sight."""
    width, height = camera.size
    pixels = np.stack(np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64)), -1)
    rays = cv2.undistortPoints(pixels.reshape(-1, 1, 2), camera.matrix, np.array([camera.k1, 0, 0, 0]))
    return np.column_stack([rays.reshape(-1, 2), np.ones(width * height)]) @ camera.rotation


def _seen(texture: np.ndarray, camera: Camera, z_mm: float) -> np.ndarray:
    """The texture on the level plane `z_mm` as the camera sees it; outside the texture the edge goes on."""
    width, height = camera.size
    rays = _rays(camera)
    reach = (-z_mm + camera.eye_mm[2]) / rays[:, 2]
    x = camera.eye_mm[0] + rays[:, 0] * reach
    y = camera.eye_mm[1] + rays[:, 1] * reach
    at = _texture_px(np.column_stack([x, y])).astype(np.float32).reshape(height, width, 2)
    return cv2.remap(texture, at[..., 0].copy(), at[..., 1].copy(), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

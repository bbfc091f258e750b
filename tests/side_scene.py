"""A drawn side view with exact truth: real tags, a known pinhole camera, plants of known curves.

Row frame, mm: right along row A, up from the rim, away from the row-A line towards the backdrop. Surfaces are
flat pieces, warped into the picture by the homography of their corners, farthest first. The camera is written
out here from its definition, apart from the package's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

SOIL_UP_MM = -5.0
HALF_FLAT_MM, FRONT_MM = 273.0, 11.0  # rim in front of the cells
DRAW_PX_PER_MM = 8
STEM_BGR, LEAF_BGR, BACKDROP_BGR = (70, 120, 110), (60, 150, 80), (150, 150, 150)


@dataclass(frozen=True)
class Plant:
    """One plant in the row-A plane. The stem bends sideways by `sway_mm` half-way (a sine), leaning by `lean`."""

    right_mm: float
    node_mm: float  # height of the seed-leaf node above the soil
    apex_mm: float
    top_mm: float
    thick_mm: float = 2.0
    lean: float = 0.05
    sway_mm: float = 0.0
    arm_mm: float = 14.0
    fork: bool = False  # seed leaves go up like a Y and no stem goes on

    def stem(self, until_mm: float) -> np.ndarray:
        """(n, 2) right, up from the soil to a height above it."""
        height = np.linspace(0, until_mm, 200)
        sway = self.sway_mm * np.sin(np.pi * height / max(self.apex_mm, 1e-6))
        return np.column_stack([self.right_mm + self.lean * height + sway, SOIL_UP_MM + height])

    def length_mm(self, until_mm: float) -> float:
        return float(np.linalg.norm(np.diff(self.stem(until_mm), axis=0), axis=1).sum())


@dataclass(frozen=True)
class Scene:
    plants: tuple[Plant, ...]
    rows: int = 6
    columns: int = 12
    size: tuple[int, int] = (3024, 2268)
    focal_px: float = 2150.0
    eye_mm: tuple[float, float, float] = (6.0, 150.0, -450.0)  # right, up, away
    target_mm: tuple[float, float, float] = (0.0, 70.0, 20.0)
    backdrop_bgr: tuple[int, int, int] = BACKDROP_BGR
    backdrop_right_mm: float = 0.0
    flat_tag: int | None = 42
    hidden: tuple[float, ...] = ()  # right of leaves that stand before a plant's stem

    @property
    def half_pitch_mm(self) -> float:
        return 255.0 / self.rows / 2

    def camera(self) -> tuple[np.ndarray, np.ndarray]:
        """Rotation and place of the camera for (right, down, away)."""
        eye, target = (np.array([p[0], -p[1], p[2]]) for p in (self.eye_mm, self.target_mm))
        forward = (target - eye) / np.linalg.norm(target - eye)
        right = np.cross([0.0, 1.0, 0.0], forward)
        right /= np.linalg.norm(right)
        return np.array([right, np.cross(forward, right), forward]), eye

    def project(self, points: np.ndarray) -> np.ndarray:
        """(n, 3) right, up, away -> (n, 2) px."""
        rotation, eye = self.camera()
        seen = (np.asarray(points, float) * [1, -1, 1] - eye) @ rotation.T
        return seen[:, :2] / seen[:, 2:] * self.focal_px + [(self.size[0] - 1) / 2, (self.size[1] - 1) / 2]


def draw(scene: Scene, seed: int = 7) -> np.ndarray:
    """uint8 BGR picture."""
    width, height = scene.size
    canvas = np.full((height, width, 3), 105, np.float32)
    half, front = scene.half_pitch_mm, -scene.half_pitch_mm - FRONT_MM
    _polygon(canvas, scene, [(-900, -60, 900), (900, -60, 900), (900, -60, -380), (-900, -60, -380)], (140, 150, 155))
    _paste(canvas, scene, _backdrop(scene), _plane(scene.backdrop_right_mm - 300, SOIL_UP_MM + 250, half, 600, 250))
    rim = HALF_FLAT_MM
    _polygon(canvas, scene, [(-rim, 0, half + 2), (rim, 0, half + 2), (rim, 0, front), (-rim, 0, front)], (38, 36, 35))
    _polygon(canvas, scene, [(-256, SOIL_UP_MM, half - 2), (256, SOIL_UP_MM, half - 2), (256, SOIL_UP_MM, -half),
                             (-256, SOIL_UP_MM, -half)], (36, 46, 62))
    _polygon(canvas, scene, [(-256, 0, half - 1.5), (256, 0, half - 1.5), (256, SOIL_UP_MM, half - 1.5),
                             (-256, SOIL_UP_MM, half - 1.5)], (30, 30, 30))
    rng = np.random.default_rng(seed)
    for right, away in zip(rng.uniform(-255, 255, 1500), rng.uniform(-half, half - 3, 1500), strict=True):
        x, y = scene.project(np.array([[right, SOIL_UP_MM, away]]))[0]
        shade = rng.uniform(0.7, 1.4)
        cv2.circle(canvas, (round(x), round(y)), int(rng.integers(2, 6)), tuple(shade * c for c in (36, 46, 62)), -1)
    _paste(canvas, scene, _plants(scene), _plane(-300, 200, 0, 600, 220))
    _polygon(canvas, scene, [(-rim, 0, 1.5 - half), (rim, 0, 1.5 - half), (rim, 0, front), (-rim, 0, front)],
             (38, 36, 35))
    _polygon(canvas, scene, [(-rim, 0, front), (rim, 0, front), (rim, -60, front), (-rim, -60, front)], (28, 27, 26))
    if scene.flat_tag is not None:
        lean = np.radians(36)
        down = np.array([0, -np.sin(lean), -np.cos(lean)]) * 42
        corner = np.array([20.0, 1.5, front - 3.5])
        _paste(canvas, scene, _card(scene.flat_tag), [corner, corner + [42, 0, 0], corner + [42, 0, 0] + down,
                                                      corner + down])
    canvas = cv2.GaussianBlur(canvas, (0, 0), 0.7) + rng.normal(0, 1.5, canvas.shape).astype(np.float32)
    return np.clip(canvas, 0, 255).astype(np.uint8)


def _plane(left, top, away, width, height):
    return [(left, top, away), (left + width, top, away), (left + width, top - height, away),
            (left, top - height, away)]


def _polygon(canvas, scene, corners, colour):
    at = scene.project(np.array(corners, float))
    cv2.fillConvexPoly(canvas, np.round(at * 16).astype(np.int32), colour, cv2.LINE_AA, 4)


def _paste(canvas, scene, texture, corners):
    """texture (h, w, 4) BGR and cover, over the picture."""
    h, w = texture.shape[:2]
    source = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]], np.float32)
    to = cv2.getPerspectiveTransform(source, scene.project(np.array(corners, float)).astype(np.float32))
    warped = cv2.warpPerspective(texture, to, scene.size, flags=cv2.INTER_AREA)
    canvas += warped[..., 3:] * (np.divide(warped[..., :3], warped[..., 3:], where=warped[..., 3:] > 1e-3,
                                           out=np.zeros_like(warped[..., :3])) - canvas)


def _card(tag_id: int) -> np.ndarray:
    """42 mm card with a 30 mm tag, premultiplied BGR and cover."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    side = 30 * DRAW_PX_PER_MM
    card = np.full((42 * DRAW_PX_PER_MM,) * 2, 225, np.float32)
    edge = 6 * DRAW_PX_PER_MM
    card[edge : edge + side, edge : edge + side] = np.where(
        cv2.aruco.generateImageMarker(dictionary, tag_id, side) > 127, 225, 20)
    return np.dstack([card] * 3 + [np.ones_like(card)])


def _backdrop(scene: Scene) -> np.ndarray:
    across, down = 600 * DRAW_PX_PER_MM, 250 * DRAW_PX_PER_MM
    light = np.linspace(1.08, 0.85, across, dtype=np.float32)[None, :] * np.linspace(1, 0.8, down, dtype=np.float32)[
        :, None]
    board = np.dstack([light * c for c in scene.backdrop_bgr] + [np.ones_like(light)])
    edge = 5 * DRAW_PX_PER_MM
    side = 42 * DRAW_PX_PER_MM
    board[edge : edge + side, edge : edge + side] = _card(4)
    board[edge : edge + side, across - edge - side : across - edge] = _card(5)
    return board


def _plants(scene: Scene) -> np.ndarray:
    layer = np.zeros((220 * DRAW_PX_PER_MM, 600 * DRAW_PX_PER_MM, 4), np.float32)

    def px(points):
        points = np.asarray(points, float)
        return np.column_stack([(points[:, 0] + 300) * DRAW_PX_PER_MM - 0.5, (200 - points[:, 1]) * DRAW_PX_PER_MM
                                - 0.5])

    def line(points, thick_mm, bgr):
        cv2.polylines(layer, [np.round(px(points) * 16).astype(np.int32)], False, (*bgr, 1),
                      max(1, round(thick_mm * DRAW_PX_PER_MM)), cv2.LINE_AA, 4)

    def blade(middle, size, angle, bgr=LEAF_BGR):
        x, y = px([middle])[0]
        cv2.ellipse(layer, (round(x), round(y)), tuple(round(s * DRAW_PX_PER_MM) for s in size), angle, 0, 360,
                    (*bgr, 1), -1, cv2.LINE_AA)

    for plant in scene.plants:
        node, apex = plant.stem(plant.node_mm)[-1], plant.stem(plant.apex_mm)[-1]
        for side in (-1, 1):
            rise = plant.top_mm - plant.node_mm if plant.fork else 1.5
            tip = node + [side * plant.arm_mm * (0.5 if plant.fork else 1), rise]
            line([node, tip], 0.5 * plant.thick_mm, LEAF_BGR)
            blade(node + 0.75 * (tip - node), (4, 1.5), -side * np.degrees(np.arctan2(rise, plant.arm_mm)))
        line(plant.stem(plant.apex_mm), plant.thick_mm, STEM_BGR)
        if not plant.fork:
            top = apex + [3.0, plant.top_mm - plant.apex_mm - 2]
            line([apex, top], 0.55 * plant.thick_mm, LEAF_BGR)
            blade(top, (4, 2), -20)
            line([apex, apex + [-6, 3]], 0.5 * plant.thick_mm, LEAF_BGR)
    for right in scene.hidden:
        blade((right, 5), (16, 16), 0)
    return layer

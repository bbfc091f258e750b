"""Invented pieces of a row of seedlings seen from the side, with exact truth: what the side network learns from.

The plants are the 3-D models of `forms` and `growth`, seen by a pinhole camera and drawn on the row-A plane, as
`segment.side` lays a side photo out. Facets are painted from far to near. Only numpy and OpenCV.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.flat.layout import known_layouts
from seedlingcv.training.forms import EPICOTYL, HYPOCOTYL, STEM, Kind, Mesh, Plant, random_kind
from seedlingcv.training.ground import noise
from seedlingcv.training.growth import grow
from seedlingcv.training.side_ground import FRONT_RIM_MM, Tray, Window, surroundings
from seedlingcv.training.side_light import photograph

PX_PER_MM = 4.0  # of what the network reads
SIDE_MM = 160.0
BOTTOM_MM = -25.0
HIGHEST_MM = 205.0
FINE = 2  # facets are painted at this many times the photo's resolution
SHADOW_PX_PER_MM = 1.5


@dataclass(frozen=True)
class SideScene:
    """A square piece of a row, M = SIDE_MM * PX_PER_MM pixels.

    image uint8 (M, M, 3) BGR; share of each pixel, uint8 (M, M) 0-255: vegetation and petiole as seen, hypocotyl
    and epicotyl whole, also where a leaf or the tray's rim hides them; owner and stem_owner uint8, 0 = none, else 1
    + index into plants, of what is seen and of the whole stems; plants; points (n, 3, 2) px of soil point, node and
    apex, NaN for grass; line_px and front_px rows where the divider behind and the rim in front are seen; soil_mm
    the mix's usual height.
    """

    image: np.ndarray
    vegetation: np.ndarray
    petiole: np.ndarray
    hypocotyl: np.ndarray
    epicotyl: np.ndarray
    owner: np.ndarray
    stem_owner: np.ndarray
    plants: list[Plant]
    points: np.ndarray
    window: Window
    tray: Tray

    @property
    def line_px(self) -> float:
        return float(self._row(self.tray.line_mm(self.window.eye)))

    @property
    def front_px(self) -> float:
        return float(self._row(self.tray.line_mm(self.window.eye, front=True)))

    @property
    def soil_px(self) -> float:
        return float(self._row(self.tray.soil_mm))

    def _row(self, z_mm: float) -> float:
        return self.window.to_px(np.array([0.0, z_mm]), PX_PER_MM)[1]


def make_side_scene(seed: int) -> SideScene:
    rng = np.random.default_rng(seed)
    layouts = known_layouts()
    odds = np.array([2, 2, 2.2, 3, 1.0, 1.8, 0.5, 0.4, 0.2][: len(layouts)] + [0.5] * max(0, len(layouts) - 9))
    rows, columns = layouts[rng.choice(len(layouts), p=odds / odds.sum())]
    tray = Tray(rows, columns, rng.uniform(1.5, 5), -np.clip(rng.normal(5, 1.6), 1.5, 11), rng.normal(0, 4))
    eye = np.array([rng.normal(0, 25), -rng.uniform(380, 700), 0])
    eye[2] = rng.uniform(90, 190) if rng.random() < 0.85 else rng.uniform(50, 250)
    left = rng.uniform(-283, 283 - SIDE_MM)
    mesh, plants = Mesh(), []
    _sow(mesh, plants, tray, left, eye, rng)
    facets = mesh.arrays()
    corners = facets["corners"]
    corners[..., 1] = np.minimum(corners[..., 1], tray.half_pitch_mm - 0.4)  # pressed flat against the backdrop
    highest = float(corners[..., 2].max()) if len(corners) else 20.0
    spare = min(highest + 15, HIGHEST_MM) - (BOTTOM_MM + SIDE_MM)
    bottom = BOTTOM_MM + (rng.uniform(0, spare) if spare > 0 and rng.random() < 0.55 else 0)
    window = Window(left, bottom, SIDE_MM, rng.uniform(5.2, 7.4), eye)
    picture = surroundings(window, tray, rng)
    image, seen, whole = _paint(picture, facets, window, tray, rng)
    return SideScene(
        photograph(image, round(SIDE_MM * PX_PER_MM), rng),
        *_shares(seen, whole, facets),
        *_owners(seen, whole, facets),
        plants,
        _points(plants, window),
        window,
        tray,
    )


def side_kind(rng, pitch_mm: float) -> Kind:
    """A kind with stems and seed leaves of a wider range than seen from above is needed."""
    kind = random_kind(rng, pitch_mm)
    hypocotyl = float(np.exp(rng.uniform(np.log(8), np.log(120))))
    stem = rng.uniform(0.8, 2.6) if rng.random() < 0.8 else rng.uniform(2.2, 4.2)
    internode = float(np.exp(rng.uniform(np.log(0.6), np.log(38))))
    return replace(
        kind, leaf_mm=float(np.clip(kind.leaf_mm * rng.uniform(0.9, 1.7), 6, 80)), hypocotyl_mm=hypocotyl,
        stem_mm=stem, internode_mm=internode,
        lean=rng.normal(0, 0.12, 2) * rng.choice([1, 1, 2]), wander=rng.uniform(0.03, 0.2),
        seed_rise=rng.choice([0.0, rng.uniform(-0.9, 0.9)], p=[0.5, 0.5]), upper=rng.uniform(0.5, 1.0),
        mottle=0.4 * kind.mottle,
    )


def _sow(mesh, plants, tray: Tray, left, eye, rng) -> None:
    pitch, blades = tray.pitch_mm, []
    kinds = [side_kind(rng, pitch) for _ in range(int(rng.choice([1, 1, 4])))]
    weeds = [random_kind(rng, 30) for _ in range(2)]
    age = rng.choice([rng.uniform(0.1, 1.2), rng.uniform(1.0, 3.2), rng.uniform(2.5, 4.6)], p=[0.18, 0.5, 0.32])
    uneven = rng.uniform(0.1, 0.8) * min(1, 0.4 + 0.25 * age)
    empty, double = rng.uniform(0, 0.25), rng.choice([0.0, rng.uniform(0, 0.35)])
    stray = rng.uniform(0.03, 0.11)

    def ground(x, y):
        return np.array([x, y, tray.soil_mm + rng.normal(0, 0.7)])

    for middle in tray.middles_mm():
        if not left - 50 < middle < left + SIDE_MM + 50 or rng.random() < empty:
            continue
        for k in range(1 if rng.random() > double else 2):
            x, y = np.clip(rng.normal(0, stray, 2) * (1 + 2 * k), -0.38, 0.38) * pitch
            y = np.clip(y, 3 - tray.half_pitch_mm, tray.half_pitch_mm - 4)
            vigour = float(np.clip(rng.normal(1, 0.12), 0.6, 1.4)) * (0.5 if rng.random() < 0.04 else 1)
            mine = max(0.05, age + rng.normal(0, uneven) - (rng.random() < 0.06) * rng.uniform(0, 2))
            kind = kinds[rng.integers(len(kinds))]
            grow(mesh, blades, plants, kind, ground(middle + x, y), mine, eye, rng, cell=0, weed=False, vigour=vigour)
        if rng.random() < 0.06:
            x, y = rng.uniform(-0.42, 0.42) * pitch, rng.uniform(-0.8, 0.8) * tray.half_pitch_mm
            grow(mesh, blades, plants, weeds[rng.integers(2)], ground(middle + x, y), rng.uniform(0.1, 2), eye, rng,
                 cell=0, weed=True, vigour=rng.uniform(0.3, 0.7))


def _paint(picture, facets, window: Window, tray: Tray, rng):
    """Light and paint the plants. Returns the picture, the facet seen at each fine pixel (-1: none), and the facets
    of whole stems, whatever hides them."""
    n = window.px * FINE
    corners, scale = facets["corners"], window.px_per_mm * FINE
    points = np.round(window.seen(corners, scale) * 16).astype(np.int32)
    away = corners[..., 1].mean(axis=1) - 0.5 * (facets["skin"] == 0)
    seen, whole = np.full((n, n), -1, np.int32), np.full((n, n), -1, np.int32)
    low, high = points.min(axis=1) / 16, points.max(axis=1) / 16
    inside = (high[:, 0] > 0) & (high[:, 1] > 0) & (low[:, 0] < n) & (low[:, 1] < n)
    order = [i for i in np.argsort(-away, kind="stable") if inside[i]]
    rim = window.to_px(np.array([0, tray.line_mm(window.eye, front=True)]), scale)[1]
    behind = True
    for i in order:
        if behind and away[i] < FRONT_RIM_MM - tray.half_pitch_mm:
            seen[max(0, int(round(rim))):], behind = -1, False
        cv2.fillConvexPoly(seen, points[i], int(i), cv2.LINE_8, 4)
        if facets["part"][i]:
            cv2.fillConvexPoly(whole, points[i], int(i), cv2.LINE_8, 4)
    if behind:
        seen[max(0, int(round(rim))):] = -1
    lamps = [_lamp(rng) for _ in range(1 if rng.random() < 0.6 else 2)]
    _shadows(picture, facets, window, tray, lamps, rng)
    fine = cv2.resize(picture, (n, n), interpolation=cv2.INTER_LINEAR)
    there = seen >= 0
    if there.any():
        colour = _lit(facets, lamps[0], window.eye, rng)
        index = seen[there]
        shade = 1 + rng.uniform(0, 0.06) * noise((n, n), 5, rng)
        shade *= 1 - rng.uniform(0, 0.3) * np.clip(noise((n, n), rng.uniform(15, 80), rng), 0, 1)
        fine[there] = colour[index] * shade[there][:, None]
    return cv2.resize(fine, (window.px, window.px), interpolation=cv2.INTER_AREA), seen, whole


def _lamp(rng) -> tuple[np.ndarray, float, float]:
    """(towards it, strength of its shadow, softness in mm)."""
    high, turn = rng.uniform(0.25, 1.5), rng.uniform(np.pi, 2 * np.pi)
    if rng.random() < 0.15:  # from behind the backdrop
        turn -= np.pi
    towards = np.array([np.cos(high) * np.cos(turn), np.cos(high) * np.sin(turn), np.sin(high)])
    if rng.random() < 0.45:
        return towards, rng.uniform(0.25, 0.7), rng.uniform(0.2, 2.0)
    return towards, rng.uniform(0.0, 0.45), rng.uniform(2, 9)


def _lit(facets, lamp, eye, rng) -> np.ndarray:
    corners = facets["corners"].astype(float)
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-9
    view = eye - corners.mean(axis=1)
    view /= np.linalg.norm(view, axis=1, keepdims=True)
    normal *= np.sign((normal * view).sum(1, keepdims=True) + 1e-12)
    facing = normal @ lamp[0]
    ambient, through = rng.uniform(0.3, 0.85), rng.uniform(0.3, 0.9)
    stem = facets["kind"] == STEM
    direct = np.where(facing > 0, facing, -facing * np.where(stem, 0.1, through))
    direct = np.where(stem, 0.75 + 0.25 * direct, direct)  # tubes are lit from the side they turn to the lamp
    bright = (ambient + (1 - ambient) * direct * 1.3) * rng.uniform(0.75, 1.3)
    bright *= 1 - rng.uniform(0, 0.5) * np.clip(1 - (corners[..., 2].mean(1) + 5) / rng.uniform(10, 60), 0, 1)
    colour = facets["tint"] * bright[:, None]
    colour = colour * np.where(((facing < 0) & ~stem)[:, None], np.array([0.7, 1.06, 1.05]), 1.0)
    half = lamp[0] + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    gloss = rng.choice([0.0, rng.uniform(0.03, 0.3), rng.uniform(0.3, 0.9)], p=[0.5, 0.35, 0.15])
    shine = np.clip((normal * half).sum(1), 0, 1) ** rng.uniform(15, 60)
    return np.clip(colour + gloss * shine[:, None], 0, 1.2).astype(np.float32)


def _shadows(picture, facets, window: Window, tray: Tray, lamps, rng) -> None:
    """Shadows of the plants on the backdrop and on the mix, and less light close behind leaves."""
    corners = facets["corners"][(facets["skin"] == 1)].astype(float)
    if not len(corners):
        return
    n, half = window.px, tray.half_pitch_mm
    line = int(np.clip(window.to_px(np.array([0, tray.line_mm(window.eye)]))[1], 0, n))
    for towards, strength, soft in lamps:
        tone = strength * np.array([rng.uniform(0.8, 1.0), rng.uniform(0.9, 1.0), 1.0], np.float32)
        if towards[1] < -0.05 and line:
            step = (half - corners[..., 1]) / -towards[1]
            dark = _silhouette(corners - towards * step[..., None], window, soft)
            picture[:line] *= 1 - dark[:line, :, None] * tone
        if line < n:
            step = np.maximum(corners[..., 2] - tray.soil_mm, 0) / max(towards[2], 0.3)
            dark = _silhouette(corners - towards * step[..., None], window, soft)
            picture[line:] *= 1 - dark[line:, :, None] * tone
    near = np.concatenate([corners[..., :1], 0 * corners[..., 1:2] + half, corners[..., 2:]], axis=-1)
    close = corners[..., 1].mean(axis=1) > half - rng.uniform(3, 15)
    if line and close.any():
        picture[:line] *= 1 - rng.uniform(0, 0.4) * _silhouette(near[close], window, rng.uniform(2, 6))[:line, :, None]


def _silhouette(corners, window: Window, soft_mm: float) -> np.ndarray:
    size = round(window.side_mm * SHADOW_PX_PER_MM)
    mask = np.zeros((size, size), np.uint8)
    points = np.clip(window.seen(corners, SHADOW_PX_PER_MM), -2000, 2000)
    for p in np.round(points * 16).astype(np.int32):
        cv2.fillConvexPoly(mask, p, 255, cv2.LINE_8, 4)
    dark = cv2.GaussianBlur(mask.astype(np.float32) / 255, (0, 0), max(soft_mm * SHADOW_PX_PER_MM, 0.4))
    return cv2.resize(dark, (window.px, window.px), interpolation=cv2.INTER_LINEAR)


def _shares(seen, whole, facets) -> list[np.ndarray]:
    """Shares of the network's pixels: vegetation, petiole, hypocotyl, epicotyl."""
    size = (round(SIDE_MM * PX_PER_MM),) * 2
    petiole = np.append((facets["kind"] == STEM) & (facets["part"] == 0), False)
    part = np.append(facets["part"], 0)
    masks = (seen >= 0, petiole[seen], part[whole] == HYPOCOTYL, part[whole] == EPICOTYL)
    return [cv2.resize(m.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA) for m in masks]


def _owners(seen, whole, facets) -> list[np.ndarray]:
    size = (round(SIDE_MM * PX_PER_MM),) * 2
    plant = np.append(facets["plant"] + 1, 0).astype(np.uint8)
    return [cv2.resize(plant[which], size, interpolation=cv2.INTER_NEAREST) for which in (seen, whole)]


def _points(plants: list[Plant], window: Window) -> np.ndarray:
    out = np.full((len(plants), 3, 2), np.nan)
    for i, plant in enumerate(plants):
        if plant.path_mm is not None:
            three = plant.path_mm[[0, plant.node_at, len(plant.path_mm) - 1]]
            out[i] = window.seen(three, PX_PER_MM)
    return out

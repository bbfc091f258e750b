"""What lies under the plants: bench, tray, potting mix, moss, cards. Drawn on the rim plane."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import PlaneView


def noise(shape, scale_px: float, rng) -> np.ndarray:
    """Smooth random field, mean 0 and spread 1, float32."""
    small = rng.normal(size=(max(3, int(shape[0] / scale_px) + 3), max(3, int(shape[1] / scale_px) + 3)))
    return cv2.resize(small.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)


def seen_at(points: np.ndarray, eye: np.ndarray) -> np.ndarray:
    """(..., 3) places in mm -> (..., 2) where the camera at `eye` sees them on the rim plane z = 0."""
    points = np.asarray(points, float)
    scale = eye[2] / (eye[2] - points[..., 2:])
    return eye[:2] + (points[..., :2] - eye[:2]) * scale


def fill(mask: np.ndarray, polygon_px: np.ndarray, value=255) -> None:
    cv2.fillPoly(mask, [np.round(polygon_px * 16).astype(np.int32)], value, lineType=cv2.LINE_AA, shift=4)


def rounded(rect, radius: float) -> np.ndarray:
    """Outline of a rectangle (x0, y0, x1, y1) with round corners, (24, 2) mm."""
    x0, y0, x1, y1 = rect
    r = min(radius, (x1 - x0) / 2.01, (y1 - y0) / 2.01)
    a = np.linspace(0, np.pi / 2, 6)
    corners = [(x1 - r, y1 - r, 0), (x0 + r, y1 - r, 1), (x0 + r, y0 + r, 2), (x1 - r, y0 + r, 3)]
    return np.concatenate(
        [
            np.column_stack([cx + r * np.cos(a + q * np.pi / 2), cy + r * np.sin(a + q * np.pi / 2)])
            for cx, cy, q in corners
        ]
    )


TRAYS = np.array(
    [
        [0.13, 0.13, 0.13],
        [0.18, 0.17, 0.16],
        [0.1, 0.1, 0.1],
        [0.45, 0.45, 0.44],
        [0.2, 0.36, 0.17],
        [0.28, 0.42, 0.7],
        [0.8, 0.82, 0.82],
        [0.3, 0.25, 0.2],
        [0.15, 0.28, 0.12],
        [0.22, 0.5, 0.25],
    ]
)
SOILS = {  # dark to light BGR
    "peat": ([0.05, 0.07, 0.09], [0.2, 0.26, 0.32]),
    "coir": ([0.08, 0.14, 0.22], [0.25, 0.4, 0.56]),
    "vermiculite": ([0.2, 0.28, 0.36], [0.5, 0.62, 0.75]),
    "bark": ([0.06, 0.09, 0.14], [0.24, 0.34, 0.5]),
    "grey": ([0.12, 0.13, 0.14], [0.4, 0.42, 0.44]),
    "dark": ([0.03, 0.04, 0.04], [0.12, 0.14, 0.16]),
}


def bench(shape, rng, px_per_mm: float = 2.0) -> np.ndarray:
    k = px_per_mm / 2
    base = {
        "wood": [0.4, 0.55, 0.68],
        "concrete": [0.62, 0.64, 0.65],
        "metal": [0.55, 0.55, 0.55],
        "plastic": [0.8, 0.8, 0.78],
        "earth": [0.2, 0.27, 0.35],
        "green": [0.35, 0.5, 0.3],
        "dark": [0.1, 0.1, 0.1],
    }
    what = str(rng.choice(list(base)))
    colour = np.array(base[what]) * rng.uniform(0.7, 1.25) * (1 + rng.normal(0, 0.06, 3))
    out = np.ones((*shape, 3), np.float32) * colour.astype(np.float32)
    rough = rng.uniform(0.01, 0.08) * noise(shape, 2 * k ** rng.uniform(0, 1), rng)
    out *= 1 + 0.05 * noise(shape, 60 * k, rng)[..., None] + rough[..., None]
    if what == "wood":
        grain = cv2.resize(rng.normal(size=(int(shape[0] / 3 / k), 8)).astype(np.float32), (shape[1], shape[0]))
        out *= 1 + 0.08 * grain[..., None]
        for y in np.arange(rng.uniform(0, 100), shape[0] / k, rng.uniform(90, 260)) * k:
            cv2.line(out, (0, int(y)), (shape[1], int(y)), (colour * 0.35).tolist(), round(2 * k))
    if what == "metal" and rng.random() < 0.7:
        step = int(rng.uniform(12, 45) * k)
        out[:] *= 0.35
        for x in range(0, shape[1], step):
            cv2.line(out, (x, 0), (x, shape[0]), colour.tolist(), round(3 * k))
        for y in range(0, shape[0], step * 2):
            cv2.line(out, (0, y), (shape[1], y), colour.tolist(), round(3 * k))
    return np.clip(out, 0, 1)


def soil(shape, rng, px_per_mm: float = 2.0) -> np.ndarray:
    """Potting mix over the whole picture; the tray's cells are cut from it."""
    k = px_per_mm / 2
    names = list(SOILS)
    low, high = (np.array(c, np.float32) for c in SOILS[names[rng.choice(6, p=[0.35, 0.2, 0.12, 0.12, 0.06, 0.15])]])
    grain = 0.5 + 0.13 * noise(shape, 2 * k, rng) + 0.12 * noise(shape, 4 * k, rng) + 0.1 * noise(shape, 9 * k, rng)
    if k > 1:
        grain += rng.uniform(0, 0.13) * noise(shape, 1.3, rng)
    grain += rng.uniform(0, 0.15) * noise(shape, rng.uniform(50, 150) * k, rng)  # wet and dry patches
    out = low + np.clip(grain, 0, 1.2)[..., None] * (high - low)
    out *= rng.uniform(0.75, 1.2) * (1 + rng.normal(0, 0.04, 3).astype(np.float32))
    _crumbs(out, low, high, rng, k)
    return np.clip(out, 0, 1).astype(np.float32)


def _crumbs(out, low, high, rng, k: float) -> None:
    """k : pixels a half millimetre."""
    height, width = out.shape[:2]

    def scatter(count):
        return np.column_stack([rng.uniform(0, width, count), rng.uniform(0, height, count)])

    for at in scatter(int(rng.choice([0, 400, 2500, 6000]))):  # chips and bark
        size = rng.uniform(1, 5) * k
        angle = rng.uniform(0, 6.3) + np.array([0, 1.2, 3.1, 4.6])
        corners = at + size * np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(0.4, 1, (4, 1))
        colour = (low + rng.uniform(0.1, 1.3) * (high - low)).tolist()
        cv2.fillConvexPoly(out, np.round(corners * 8).astype(np.int32), colour, cv2.LINE_AA, 3)
    for at in scatter(int(rng.choice([0, 300, 2500]))):  # fibres
        turn, length = rng.uniform(0, 6.3), rng.uniform(4, 22) * k
        bend = turn + rng.normal(0, 0.5)
        path = np.array(
            [
                at,
                at + length / 2 * np.array([np.cos(turn), np.sin(turn)]),
                at + length / 2 * np.array([np.cos(turn) + np.cos(bend), np.sin(turn) + np.sin(bend)]),
            ]
        )
        colour = (high * rng.uniform(0.5, 1.4)).tolist()
        cv2.polylines(out, [np.round(path * 8).astype(np.int32)], False, colour, 1, cv2.LINE_AA, 3)
    for at in scatter(int(rng.choice([0, 0, 400, 2000, 5000]))):  # perlite
        size = rng.gamma(3, 0.7) * k
        grey = rng.uniform(0.55, 1.0)
        axes = (int(8 * size * rng.uniform(0.6, 1)), int(8 * size))
        shade = (int(at[0] * 8 + 6 * k), int(at[1] * 8 + 8 * k))
        cv2.ellipse(out, shade, axes, 0, 0, 360, (low * 0.6).tolist(), -1, cv2.LINE_AA, 3)
        centre = (int(at[0] * 8), int(at[1] * 8))
        cv2.ellipse(out, centre, axes, rng.uniform(0, 180), 0, 360, (grey, grey, grey), -1, cv2.LINE_AA, 3)
    if rng.random() < 0.12:  # slow-release fertiliser beads
        colour = np.array([[0.2, 0.7, 0.75], [0.3, 0.6, 0.35], [0.6, 0.5, 0.3], [0.2, 0.45, 0.8]])[rng.integers(4)]
        for at in scatter(int(rng.uniform(100, 700))):
            cv2.circle(
                out,
                (int(at[0] * 8), int(at[1] * 8)),
                int(rng.uniform(14, 30) * k),
                (colour * 0.8).tolist(),
                -1,
                cv2.LINE_AA,
                3,
            )


def open_ground(shape, rng, px_per_mm: float) -> np.ndarray:
    """Lumpy earth with stones, without a tray."""
    k = px_per_mm / 2
    out = soil(shape, rng, px_per_mm)
    lumps = noise(shape, rng.uniform(8, 40) * k, rng) + 0.7 * noise(shape, rng.uniform(3, 9) * k, rng)
    slope = lumps - np.roll(lumps, rng.integers(1, 5, 2) * round(k), (0, 1))
    out *= np.clip(1 + rng.uniform(0.1, 0.5) * slope[..., None] + rng.uniform(0, 0.2) * lumps[..., None], 0.2, 2)
    for _ in range(int(rng.choice([0, 60, 400]))):
        size = rng.gamma(2, 3) * k
        colour = np.array([0.5, 0.53, 0.56]) * rng.uniform(0.4, 1.6) * (1 + rng.normal(0, 0.06, 3))
        at = rng.uniform(0, 1, 2) * shape[::-1]
        turn = np.sort(rng.uniform(0, 2 * np.pi, 9))
        stone = at + size * rng.uniform(0.7, 1.1, (9, 1)) * np.column_stack([np.cos(turn), np.sin(turn)])
        for shift, bright in ((0.25 * size, 0.35), (0, 1.0)):
            corners = np.round((stone + shift) * 8).astype(np.int32)
            cv2.fillPoly(out, [corners], (colour * bright).tolist(), cv2.LINE_AA, 3)
    return np.clip(out, 0, 1)


def moss(ground, layout: FlatLayout, view: PlaneView, rng) -> None:
    """Green patches in some cells: thin, crumbled, not vegetation."""
    shape, k = ground.shape[:2], view.px_per_mm / 2
    patchy = noise(shape, rng.uniform(12, 40) * k, rng) + 0.6 * noise(shape, 5 * k, rng)
    patchy += 0.7 * noise(shape, 2 * k, rng)
    amount = np.full(shape, -9.0, np.float32)
    share = rng.uniform(0.1, 0.9)
    for cell in layout.cells:
        if rng.random() < share:
            amount[view.box(cell.rect_mm)] = rng.uniform(-2.2, 0.9)
    cover = np.clip((patchy + amount) * rng.uniform(0.5, 1.5), 0, rng.uniform(0.5, 1))
    hue = rng.uniform(-0.07, 0.12)
    green = np.array([0.14 + rng.uniform(-0.06, 0.1), 0.36 + rng.uniform(-0.1, 0.2), 0.25 + hue], np.float32)
    texture = np.clip(1 + 0.35 * noise(shape, 2 * k ** rng.uniform(0, 1), rng) + 0.2 * noise(shape, 3 * k, rng), 0.2, 2)
    ground += cover[..., None] * (np.clip(green * texture[..., None], 0, 1) - ground)


def tray(layout: FlatLayout, view: PlaneView, eye, soil_z: float, rng) -> tuple[np.ndarray, np.ndarray]:
    """The empty scene, float32 (M, N, 3) 0-1, and the share of soil in each pixel."""
    shape, k = (view.height, view.width), view.px_per_mm / 2
    picture = bench(shape, rng, view.px_per_mm)
    body = TRAYS[rng.choice(len(TRAYS), p=[0.3, 0.18, 0.12, 0.12, 0.06, 0.05, 0.05, 0.04, 0.04, 0.04])]
    body = np.clip(body * rng.uniform(0.75, 1.3) * (1 + rng.normal(0, 0.04, 3)), 0.02, 0.97)
    width, height = layout.outer_mm
    if rng.random() < 0.5:  # the bench in the tray's shadow
        shadow = np.zeros(shape, np.float32)
        fill(shadow, view.to_px(rounded((-6, -6, width + 6, height + 6), 10) + rng.uniform(-14, 14, 2)), 1.0)
        picture *= 1 - rng.uniform(0.2, 0.6) * cv2.GaussianBlur(shadow, (0, 0), rng.uniform(3, 14) * k)[..., None]
    plastic = np.ones((*shape, 3), np.float32) * body.astype(np.float32)
    plastic *= 1 + 0.03 * noise(shape, 40 * k, rng)[..., None] + 0.02 * noise(shape, 2, rng)[..., None]
    _paint(picture, view.to_px(rounded((0, 0, width, height), rng.uniform(3, 12))), plastic)
    rim = rng.uniform(2, 9)
    for inset, bright in ((0.8, rng.uniform(0.6, 1.8)), (rim, rng.uniform(0.5, 1.7))):
        line = view.to_px(rounded((inset, inset, width - inset, height - inset), 6))
        colour = np.clip(body * bright + 0.02, 0, 1).tolist()
        cv2.polylines(picture, [np.round(line * 16).astype(np.int32)], True, colour, round(2 * k), cv2.LINE_AA, 4)
    ground = soil(shape, rng, view.px_per_mm)
    if rng.random() < 0.4:
        moss(ground, layout, view, rng)
    divider, taper = rng.uniform(1.5, 5.0), rng.uniform(0.0, 0.5)
    radius = rng.choice(
        [rng.uniform(1, 3), rng.uniform(3, 0.35 * min(layout.pitch_mm)), 0.5 * min(layout.pitch_mm)],
        p=[0.35, 0.5, 0.15],
    )
    soil_share = np.zeros(shape, np.uint8)
    wall = np.zeros(shape, np.uint8)
    edge_light = np.clip(body * rng.uniform(0.8, 1.9) + rng.uniform(0, 0.06), 0, 1)
    lift = soil_z + rng.normal(0, 0.6, len(layout.cells))
    for cell, z in zip(layout.cells, np.minimum(lift, -1), strict=True):
        x0, y0, x1, y1 = cell.rect_mm
        top = rounded((x0 + divider / 2, y0 + divider / 2, x1 - divider / 2, y1 - divider / 2), radius)
        middle = np.array(cell.centre_mm)
        bottom = middle + (top - middle) * (1 + taper * z / min(layout.pitch_mm))
        low = seen_at(np.column_stack([bottom, np.full(len(bottom), z)]), eye)
        fill(wall, view.to_px(top))
        one = np.zeros_like(soil_share[(box := view.box((x0, y0, x1, y1)))])
        shift = np.array([box[1].start, box[0].start])
        fill(one, view.to_px(low) - shift)
        gate = np.zeros_like(one)
        fill(gate, view.to_px(top) - shift)
        soil_share[box] = np.maximum(soil_share[box], np.minimum(one, gate))
        edge = np.round(view.to_px(top) * 16).astype(np.int32)
        cv2.polylines(plastic, [edge], True, edge_light.tolist(), round(2 * k), cv2.LINE_AA, 4)
    inside = wall.astype(np.float32)[..., None] / 255
    depth = rng.uniform(0.35, 0.9)
    picture += (cv2.GaussianBlur(inside, (0, 0), 0.6 * k)[..., None] > 0.02) * (plastic - picture)
    picture *= 1 - inside * (1 - depth)
    share = soil_share.astype(np.float32)[..., None] / 255
    # the mix lies in the walls' half shadow near them
    near = cv2.GaussianBlur(share[..., 0], (0, 0), rng.uniform(2, 6) * k)[..., None]
    picture += share * (ground * (1 - rng.uniform(0, 0.7) * (1 - near)) - picture)
    return np.clip(picture, 0, 1), share[..., 0]


def _paint(picture, polygon_px, source) -> None:
    mask = np.zeros(picture.shape[:2], np.uint8)
    fill(mask, polygon_px)
    picture += (mask.astype(np.float32) / 255)[..., None] * (source - picture)


def cards(picture: np.ndarray, layout: FlatLayout, view: PlaneView, rng) -> None:
    """White cards with a black square pattern near the flat's corners."""
    width, height = layout.outer_mm
    for x, y in ((0, 0), (width, 0), (width, height), (0, height)):
        outward = np.sign(np.array([x - width / 2, y - height / 2]))
        centre = np.array([x, y]) + outward * rng.uniform(6, 17, 2)
        turn = rng.uniform(-0.15, 0.15)
        axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
        if rng.random() < 0.9:
            cv2.fillConvexPoly(
                picture,
                np.round(view.to_px(centre + 21 * square @ axes) * 16).astype(np.int32),
                (0.93, 0.93, 0.93),
                cv2.LINE_AA,
                4,
            )
            black = rng.random((8, 8)) < 0.6
            black[0] = black[-1] = black[:, 0] = black[:, -1] = True
            for i, j in np.argwhere(black):
                module = centre + (np.array([j - 3.5, i - 3.5]) * 3.75 + square * 1.9) @ axes
                cv2.fillConvexPoly(
                    picture, np.round(view.to_px(module) * 16).astype(np.int32), (0.1, 0.1, 0.1), cv2.LINE_AA, 4
                )

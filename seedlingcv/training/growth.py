"""Grow one plant of a kind: where its parts are at a given age."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.training.forms import (
    COTYLEDON,
    COUNTED_BLADE_MM,
    EPICOTYL,
    HYPOCOTYL,
    LEAF,
    STEM,
    Blade,
    Kind,
    Mesh,
    Plant,
    Surface,
    add_blade,
    add_tube,
    stem_path,
)

GOLDEN_ANGLE = np.radians(137.5)


def grow(
    mesh: Mesh,
    blades: list[Blade],
    plants: list[Plant],
    kind: Kind,
    base,
    age: float,
    eye,
    rng,
    *,
    cell: int,
    weed: bool,
    vigour: float,
) -> None:
    """Add a plant of `age` (below 1: seed leaves opening; then about one leaf or pair for each 1)."""
    number, first = len(plants), len(mesh.corners)
    colour = np.clip(1 + rng.normal(0, 0.05, 3), 0.8, 1.2) * rng.uniform(0.88, 1.1)
    yellow = rng.uniform(0.3, 0.8) if rng.random() < 0.03 else rng.uniform(0, 0.1)
    green, seed_green = (
        np.clip((c + yellow * (np.array([0.25, 0.7, 0.72]) - c)) * colour, 0.02, 1)
        for c in (kind.green, kind.seed_green)
    )
    before = len(blades)
    path, node_at, diameter = None, 0, 0.0
    if kind.grassy:
        length = _grass(mesh, blades, kind, base, age, green, vigour, number, rng)
    else:
        length, path, node_at, diameter = _broadleaf(
            mesh, blades, kind, base, age, green, seed_green, vigour, number, eye, rng
        )
    points = np.concatenate([c.reshape(-1, 3) for c in mesh.corners[first:]])
    hull = cv2.convexHull(np.ascontiguousarray(points[:, :2], np.float32)).reshape(-1, 2)
    spread = float(np.sqrt(((hull[:, None] - hull[None]) ** 2).sum(-1)).max())
    counted = sum(b.kind == LEAF and b.length_mm > COUNTED_BLADE_MM for b in blades[before:])
    height = float(points[:, 2].max() - base[2])
    plants.append(
        Plant(np.asarray(base, float), cell, weed, counted, spread, height, length, path, node_at, diameter)
    )


def _broadleaf(mesh, blades, kind, base, age, green, seed_green, vigour, number, eye, rng):
    """Returns stem length, the stem's path, the node's place on it, diameter at half the hypocotyl."""
    opened = np.clip(age / 0.9, 0.15, 1)
    length = kind.hypocotyl_mm * vigour * rng.uniform(0.8, 1.2) * (0.25 + 0.75 * opened)
    lean0 = kind.lean * rng.uniform(-0.2, 1) + rng.normal(0, kind.wander, 2)
    lean1 = kind.lean * rng.uniform(0.6, 2) + rng.normal(0, kind.wander, 2)
    if rng.random() < 0.02:  # fallen over
        lean1 = lean1 + rng.normal(0, 2, 2)
    hypocotyl = stem_path(base, length, lean0, lean1)
    radius = kind.stem_mm / 2 * rng.uniform(0.85, 1.15) * (0.65 + 0.35 * min(1, age / 2))
    ids = (number, -1, STEM)
    dirt = rng.uniform(0.9, 1.1, 3)
    knee = kind.stem_low + (kind.stem_high - kind.stem_low) * rng.uniform(0.2, 0.9)
    add_tube(mesh, hypocotyl, radius * np.linspace(1.05, 0.9, len(hypocotyl)), kind.stem_low * dirt, knee, eye, ids,
             HYPOCOTYL)
    node, around = hypocotyl[-1], rng.uniform(0, 2 * np.pi)
    for side in range(2):
        if rng.random() < 0.03:
            continue
        size = kind.seed_leaf_mm * vigour * rng.uniform(0.8, 1.15) * (0.35 + 0.65 * opened)
        azimuth = around + side * np.pi + rng.normal(0, 0.18)
        rise = (1 - opened) * 1.1 + rng.uniform(-0.1, 0.5) + kind.seed_rise
        stalk = size * rng.uniform(0.02, 0.35) * opened
        _leaf(
            mesh,
            blades,
            kind,
            node,
            azimuth,
            rise,
            stalk,
            size,
            kind.seed_leaf,
            kind.seed_leaf_width,
            0,
            seed_green,
            COTYLEDON,
            number,
            eye,
            rng,
            droop=rng.uniform(0, 0.7),
        )
    whole = [hypocotyl]
    top, lean, total, around = node, lean1, length, around + np.pi / 2 + rng.normal(0, 0.2)
    for order in range(int(np.ceil(age - 0.9))):
        grown = np.clip((age - 0.9 - order) / kind.ripening, 0.03, 1) ** 0.8
        step = kind.internode_mm * vigour * grown * rng.uniform(0.7, 1.3)
        path = stem_path(top, step, lean, lean * 0.8 + rng.normal(0, 0.06, 2), 4)
        add_tube(mesh, path, radius * kind.upper, knee, kind.stem_high, eye, ids, EPICOTYL)
        whole.append(path[1:])
        top, total = path[-1], total + step
        size = kind.leaf_mm * vigour * grown * rng.uniform(0.8, 1.2) * (0.75 if order == 0 else 1)
        rise = kind.leaf_rise + (1 - grown) * 0.7 + rng.normal(0, 0.15)
        for side in range(2 if kind.opposite else 1):
            if rng.random() < 0.03:
                continue
            _leaf(
                mesh,
                blades,
                kind,
                top,
                around + side * np.pi + rng.normal(0, 0.15),
                min(rise, 1.4),
                kind.petiole * size * rng.uniform(0.8, 1.2),
                size * rng.uniform(0.9, 1.1),
                kind.leaf,
                kind.leaf_width,
                kind.teeth,
                green * rng.uniform(0.92, 1.08),
                LEAF,
                number,
                eye,
                rng,
                droop=kind.leaf_droop * grown,
            )
        around += np.pi / 2 if kind.opposite else GOLDEN_ANGLE + rng.normal(0, 0.2)
    return total, np.concatenate(whole), len(hypocotyl) - 1, float(2 * 0.975 * radius)


def _leaf(
    mesh, blades, kind, root, azimuth, rise, stalk, size, shape, width, teeth, green, what, number, eye, rng, droop
) -> None:
    root = np.asarray(root, float)
    slope = Surface(root, azimuth, rise, droop * 0.3, 0, 0, 0, 0, max(stalk, 0.01))
    path = slope.at(np.linspace(0, 1, 4), np.zeros(4))
    thick = max(0.35, kind.stem_mm * (0.28 if kind.petiole_round else 0.2) * min(1, 0.4 + size / 40))
    if stalk > 0.7:
        add_tube(mesh, path, thick, kind.stem_high, kind.stem_high * 0.5 + green * 0.5, eye, (number, -1, STEM))
    tip_rise = rise - droop * 0.3
    roll, fold = rng.normal(0, 0.2), kind.fold * rng.uniform(0.5, 1.2)
    blade = len(blades)
    ids = (number, blade, what)
    if shape == "compound":
        length = size * 1.15
        rib = Surface(path[-1], azimuth, tip_rise, droop, roll, 0, 0, 0, length)
        add_tube(
            mesh,
            rib.at(np.linspace(0, 0.75, 6), np.zeros(6)),
            thick * 0.8,
            kind.stem_high,
            green,
            eye,
            (number, -1, STEM),
        )
        count = kind.leaflets if size > 9 else 3
        places = np.linspace(0.15, 0.62, (count - 1) // 2)
        for along in places:
            for sign in (-1, 1):
                _leaflet(
                    mesh,
                    kind,
                    rib,
                    along,
                    sign * rng.uniform(0.7, 1.2),
                    length * (0.25 + 0.3 * along / 0.6),
                    green,
                    ids,
                    tip_rise - droop * along,
                    rng,
                )
        _leaflet(mesh, kind, rib, 0.66, 0.0, length * rng.uniform(0.36, 0.5), green, ids, tip_rise - droop * 0.66, rng)
        blades.append(Blade(number, what, length, rib.at(np.array([0.55]), np.zeros(1))[0]))
        return
    sheet = Surface(
        path[-1],
        azimuth,
        tip_rise,
        droop,
        roll,
        fold,
        kind.wave * rng.uniform(0, 1),
        rng.uniform(0, 6.3),
        max(size, 0.8),
    )
    add_blade(mesh, sheet, shape, width * rng.uniform(0.9, 1.1), teeth, green, kind, ids, rng)
    blades.append(Blade(number, what, float(size), sheet.at(np.array([0.5]), np.zeros(1))[0]))


def _leaflet(mesh, kind, rib: Surface, along, turn, length, green, ids, rise, rng) -> None:
    root = rib.at(np.array([along]), np.zeros(1))[0]
    sheet = Surface(
        root,
        rib.azimuth + turn,
        rise + rng.normal(0, 0.15),
        rng.uniform(0, 0.6),
        rng.normal(0, 0.2),
        kind.fold,
        kind.wave,
        rng.uniform(0, 6),
        length * rng.uniform(0.85, 1.15),
    )
    shape = "lobed" if kind.teeth > 0.1 else "egg"
    add_blade(mesh, sheet, shape, rng.uniform(0.24, 0.42), kind.teeth, green * rng.uniform(0.95, 1.05), kind, ids, rng)


def _grass(mesh, blades, kind, base, age, green, vigour, number, rng) -> float:
    length = 0.0
    for order in range(max(1, int(np.ceil(age)))):
        grown = np.clip((age - order) / 1.5, 0.2, 1)
        size = float(np.clip(kind.leaf_mm * 1.6, 15, 110)) * vigour * grown * rng.uniform(0.8, 1.2)
        sheet = Surface(
            np.asarray(base, float),
            rng.uniform(0, 2 * np.pi),
            rng.uniform(0.8, 1.5),
            rng.uniform(0.2, 1.8),
            rng.normal(0, 0.3),
            kind.fold,
            0,
            0,
            size,
        )
        add_blade(mesh, sheet, "needle", rng.uniform(0.6, 1.4) / size, 0, green, kind, (number, len(blades), LEAF), rng)
        blades.append(Blade(number, LEAF, size, sheet.at(np.array([0.5]), np.zeros(1))[0]))
        length = max(length, size * 0.2)
    return length

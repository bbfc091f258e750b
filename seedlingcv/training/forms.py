"""Invented seedlings as little 3-D models: curved stems, cotyledons and true leaves of many shapes.

Everything is a list of small four-sided facets in the flat's frame (mm, z up from the rim). No crop is
copied: a "kind" draws its shapes, sizes and habits at random from wide ranges, so that a network trained on
them learns what plants have in common. The ranges are guesses of what is common in plug flats; no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

STEM, COTYLEDON, LEAF = 1, 2, 3
HYPOCOTYL, EPICOTYL = 1, 2  # of a stem's facets; 0 for petioles and blades
COUNTED_BLADE_MM = 5.0  # a true leaf counts from this length


@dataclass
class Mesh:
    """Facets gathered while plants are built; `arrays` closes it.

    corners (N, 4, 3) mm; tint (N, 3) BGR 0-1 before lighting; plant, blade (global number, -1 for stems) and
    kind (STEM, COTYLEDON, LEAF) of each facet; skin = True where the facet throws a shadow (not a vein); part =
    HYPOCOTYL or EPICOTYL on the main stem.
    """

    corners: list = field(default_factory=list)
    tint: list = field(default_factory=list)
    plant: list = field(default_factory=list)
    blade: list = field(default_factory=list)
    kind: list = field(default_factory=list)
    skin: list = field(default_factory=list)
    part: list = field(default_factory=list)

    def add(self, corners, tint, plant, blade, kind, skin=True, part=0):
        n = len(corners)
        self.corners.append(np.asarray(corners, np.float32))
        self.tint.append(np.broadcast_to(np.asarray(tint, np.float32), (n, 3)))
        for name, value in (("plant", plant), ("blade", blade), ("kind", kind), ("skin", skin), ("part", part)):
            getattr(self, name).append(np.full(n, value, np.int32))

    def arrays(self) -> dict[str, np.ndarray]:
        if not self.corners:
            return {
                "corners": np.zeros((0, 4, 3), np.float32),
                "tint": np.zeros((0, 3), np.float32),
                **{k: np.zeros(0, np.int32) for k in ("plant", "blade", "kind", "skin", "part")},
            }
        names = ("corners", "tint", "plant", "blade", "kind", "skin", "part")
        return {k: np.concatenate(getattr(self, k)) for k in names}


@dataclass(frozen=True)
class Blade:
    plant: int
    kind: int
    length_mm: float
    centre_mm: np.ndarray


@dataclass(frozen=True)
class Plant:
    """One plant's truth. spread_mm: greatest width seen from straight above; height_mm over the soil.

    path_mm (n, 3) the stem's middle from soil to apex, its place `node_at` the seed-leaf node; diameter_mm at half
    the hypocotyl. None and 0 for grass.
    """

    base_mm: np.ndarray
    cell: int  # -1 outside the flat's cells
    weed: bool
    true_leaves: int
    spread_mm: float
    height_mm: float
    stem_length_mm: float
    path_mm: np.ndarray | None = None
    node_at: int = 0
    diameter_mm: float = 0.0


@dataclass(frozen=True)
class Kind:
    """The habits that the plants of one flat share."""

    grassy: bool
    seed_leaf: str
    seed_leaf_mm: float
    seed_leaf_width: float
    leaf: str
    leaf_mm: float
    leaf_width: float
    leaflets: int
    opposite: bool
    petiole: float  # share of the blade's length
    petiole_round: bool
    leaf_rise: float  # radians above level
    leaf_droop: float
    fold: float
    wave: float
    teeth: float
    hypocotyl_mm: float
    internode_mm: float
    stem_mm: float  # diameter
    lean: np.ndarray  # (2,), common lean towards the light, tangent of the angle
    wander: float
    green: np.ndarray
    seed_green: np.ndarray
    stem_low: np.ndarray
    stem_high: np.ndarray
    vein: np.ndarray
    vein_width: float
    mottle: float
    ripening: float  # ages a leaf takes to full size
    seed_rise: float = 0.0  # radians that seed leaves are lifted more than usual
    upper: float = 0.8  # thickness of the stem above the node against below


def _hsv(hue_deg, saturation, value) -> np.ndarray:
    h = (hue_deg % 360) / 60
    k = np.array([1.0, 3.0, 5.0])  # B, G, R
    f = (k + h) % 6
    return value * (1 - saturation * np.clip(np.minimum(f, 4 - f), 0, 1))


def random_green(rng) -> np.ndarray:
    hue = rng.choice([rng.uniform(78, 112), rng.uniform(95, 150), rng.uniform(66, 90)], p=[0.6, 0.25, 0.15])
    green = _hsv(hue, rng.uniform(0.25, 0.78), rng.uniform(0.28, 0.85))
    if rng.random() < 0.1:  # purple-leaved
        green = green + rng.uniform(0.2, 0.8) * (np.array([0.25, 0.14, 0.32]) * rng.uniform(0.6, 1.6) - green)
    return green


def random_kind(rng, pitch_mm: float) -> Kind:
    grassy = rng.random() < 0.06
    leggy = rng.random() < 0.3
    size = rng.uniform(0.6, 1.6) * min(pitch_mm, 62) ** 0.7 * 42**0.3
    green = random_green(rng)
    pale = np.array([rng.uniform(0.5, 0.7), 0.75, rng.uniform(0.55, 0.72)])
    stem_high = green + rng.uniform(0, 0.8) * (pale - green)
    low = [stem_high, pale, np.array([0.2, 0.3, 0.38]), np.array([0.28, 0.2, 0.38]), np.array([0.45, 0.42, 0.62])]
    stem_low = low[rng.integers(len(low))] * rng.uniform(0.7, 1.2)
    leaf = str(rng.choice(["oval", "oval", "egg", "spoon", "lance", "lobed", "compound", "compound", "palm", "round"]))
    leaf_width = {
        "oval": rng.uniform(0.2, 0.34),
        "egg": rng.uniform(0.25, 0.42),
        "spoon": rng.uniform(0.16, 0.34),
        "lance": rng.uniform(0.09, 0.2),
        "lobed": rng.uniform(0.22, 0.36),
        "compound": 0.3,
        "palm": rng.uniform(0.45, 0.62),
        "round": rng.uniform(0.42, 0.6),
    }[leaf]
    seed_leaf = str(rng.choice(["lance", "oval", "heart", "kidney", "round"]))
    seed_width = {
        "lance": rng.uniform(0.09, 0.17),
        "oval": rng.uniform(0.18, 0.34),
        "heart": rng.uniform(0.38, 0.6),
        "kidney": rng.uniform(0.5, 0.8),
        "round": rng.uniform(0.35, 0.52),
    }[seed_leaf]
    seed_mm = size * rng.uniform(0.16, 0.6 if pitch_mm < 60 else 0.95)
    if seed_width > 0.35:
        seed_mm *= 0.55
    return Kind(
        grassy,
        seed_leaf,
        float(np.clip(seed_mm, 4, 55)),
        seed_width,
        leaf,
        float(np.clip(size * rng.uniform(0.5, 1.35), 6, min(75, 1.2 * pitch_mm + 8))),
        leaf_width,
        int(rng.choice([3, 5, 5, 7])),
        bool(rng.random() < 0.35),
        rng.choice([rng.uniform(0, 0.2), rng.uniform(0.2, 1.1)]),
        bool(rng.random() < 0.6),
        rng.uniform(-0.1, 0.95),
        rng.uniform(0, 1.1),
        rng.uniform(0, 0.5),
        rng.uniform(0, 0.12),
        rng.uniform(0, 0.3),
        rng.uniform(60, 120) if leggy else rng.uniform(5, 36),
        rng.uniform(0.5, 20) * (1.5 if leggy else 1.0),
        rng.uniform(1.0, 2.0) * (0.8 if leggy else 1.0) + 0.012 * pitch_mm,
        rng.normal(0, 0.12, 2) * (1.7 if leggy else 1.0),
        rng.uniform(0.05, 0.18) * (1.6 if leggy else 1.0),
        green,
        np.clip(green * rng.uniform(0.85, 1.2) * (1 + rng.normal(0, 0.06, 3)), 0.02, 0.95),
        stem_low,
        stem_high,
        np.clip(green + rng.uniform(-0.15, 0.55) * (pale - green), 0, 1),
        rng.uniform(0.012, 0.04),
        rng.uniform(0, 0.1),
        rng.uniform(0.9, 3.6),
    )


def outline(shape: str, width: float, teeth: float, rng) -> tuple[np.ndarray, np.ndarray]:
    """Half a leaf of length 1: midrib places (n,), and for each the edge point (n, 2) as (along, across)."""
    if shape == "palm":
        n, lobes = 21, int(rng.choice([3, 5, 5, 7]))
        angle = np.linspace(0.93 * np.pi, 0, n)
        depth = rng.uniform(0.05, 0.3)
        r = 1 + depth * np.abs(np.cos(lobes * angle / 2)) ** 0.8 - 0.25 * (angle / np.pi)
        r *= width / 0.95
        along, across = 0.38 + r * np.cos(angle), r * np.sin(angle)
        along = along / along[-1]
        return np.linspace(0.02, 1, n), np.column_stack([along, across])
    if shape in ("heart", "kidney"):
        n = 11
        t = np.linspace(0, np.pi, n)
        notch = rng.uniform(0.08, 0.25)
        across = width * np.sin(t) ** 0.8
        along = 0.5 - 0.5 * np.cos(t) + (notch if shape == "heart" else 0.6 * notch) * (across / width) * (t > 1)
        return np.linspace(0, 1 - notch * 0.5, n), np.column_stack([along, across])
    n = 22 if (shape in ("lobed",) or teeth > 0.12) else 11
    s = np.linspace(0, 1, n)
    p, q = {
        "oval": (0.75, 0.75),
        "egg": (0.55, 0.95),
        "spoon": (rng.uniform(1, 1.9), 0.45),
        "lance": (0.8, 0.8),
        "lobed": (0.7, 0.7),
        "round": (0.5, 0.5),
        "needle": (0.15, 0.5),
    }[shape]
    across = s**p * (1 - s) ** q
    across = width * across / across.max()
    if shape == "lobed":
        k = rng.integers(2, 5)
        across = across * (1 - rng.uniform(0.25, 0.55) * (0.5 + 0.5 * np.cos(2 * np.pi * k * s)))
    elif teeth > 0.12:
        across = across * (1 - teeth * (np.arange(n) % 2))
    return s, np.column_stack([s + rng.uniform(-0.05, 0.12) * across / width * (s > 0) * (s < 1), across])


@dataclass(frozen=True)
class Surface:
    """A bent leaf sheet: (along, across) in units of its length -> mm."""

    root: np.ndarray
    azimuth: float
    rise: float
    droop: float
    roll: float
    fold: float
    wave: float
    phase: float
    length: float

    def at(self, along: np.ndarray, across: np.ndarray) -> np.ndarray:
        d = self.droop if abs(self.droop) > 1e-3 else 1e-3
        e = self.rise - d * along
        out = (np.sin(self.rise) - np.sin(e)) / d
        up = (np.cos(e) - np.cos(self.rise)) / d
        h = np.array([np.cos(self.azimuth), np.sin(self.azimuth), 0])
        side = np.array([-h[1], h[0], 0])
        vertical = np.array([0, 0, 1.0])
        normal = -np.sin(e)[..., None] * h + np.cos(e)[..., None] * vertical
        lateral = np.cos(self.roll) * side + np.sin(self.roll) * normal
        face = np.cos(self.roll) * normal - np.sin(self.roll) * side
        lift = np.abs(across) * (np.sin(self.fold) + self.wave * 6 * np.sin(9 * along + self.phase + np.sign(across)))
        place = (
            out[..., None] * h
            + up[..., None] * vertical
            + (across * np.cos(self.fold))[..., None] * lateral
            + lift[..., None] * face
        )
        return self.root + self.length * place


def add_blade(mesh: Mesh, surface: Surface, shape, width, teeth, colour, kind: Kind, ids, rng, veins=True) -> None:
    """Facets of one blade (or leaflet) with midrib and side veins. ids = plant, blade, STEM/COTYLEDON/LEAF."""
    mid, edge = outline(shape, width, teeth, rng)
    share = np.array([-1, -0.5, 0, 0.5, 1.0])
    lop = 1 + 0.12 * rng.normal() * np.sign(share)
    along = mid[:, None] + (edge[:, :1] - mid[:, None]) * np.abs(share)
    across = edge[:, 1:] * share * lop
    grid = surface.at(along, across)
    quads = np.stack([grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]], axis=2).reshape(-1, 4, 3)
    tint = colour * (1 + kind.mottle * rng.normal(size=(len(quads), 1)))
    tint = tint * (1 + 0.12 * rng.normal() * np.tile(np.abs([-0.75, -0.25, 0.25, 0.75]), len(mid) - 1)[:, None])
    mesh.add(quads, tint, *ids)
    if not veins or surface.length < 5:
        return
    half = np.clip(kind.vein_width * (1 - 0.85 * mid), 0.004, None) / 2
    lift = np.array([0, 0, 0.25])
    left, right = surface.at(mid, -half) + lift, surface.at(mid, half) + lift
    mesh.add(np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1), kind.vein, *ids, skin=False)
    if surface.length < 14:
        return
    at = np.arange(2, len(mid) - 2, 2 if len(mid) < 15 else 3)
    thin = max(0.3 / surface.length, kind.vein_width * 0.2) / 2
    for sign in (-1, 1):
        a0, b0 = mid[at] * 0.9, np.zeros(len(at))
        a1, b1 = edge[at, 0] * 0.9 + mid[at] * 0.1, sign * 0.85 * edge[at, 1]
        corners = [
            surface.at(a0 - thin, b0),
            surface.at(a0 + thin, b0),
            surface.at(a1 + thin, b1),
            surface.at(a1 - thin, b1),
        ]
        mesh.add(np.stack(corners, axis=1) + lift, 0.55 * np.asarray(kind.vein) + 0.45 * colour, *ids, skin=False)


def add_tube(mesh: Mesh, path: np.ndarray, radius, low, high, eye, ids, part=0) -> None:
    """A round stem or petiole as three strips turned to the camera. path (k, 3), radius mm (scalar or (k,))."""
    tangent = np.gradient(path, axis=0)
    view = eye - path
    across = np.cross(tangent, view)
    across /= np.linalg.norm(across, axis=1, keepdims=True) + 1e-9
    radius = np.broadcast_to(radius, len(path))[:, None]
    share = np.linspace(0, 1, len(path) - 1)[:, None]
    colour = low + (high - low) * share
    steps = (-1, -0.4, 0.4, 1)
    for a, b, bright in ((0, 1, 0.85), (1, 2, 1.06), (2, 3, 0.92)):
        left, right = path + across * radius * steps[a], path + across * radius * steps[b]
        mesh.add(np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1), colour * bright, *ids, part=part)


def stem_path(base, length, lean0, lean1, n=9) -> np.ndarray:
    """Points from soil to top; lean as (2,) tangent at the base and at the top."""
    share = (np.arange(n - 1) + 0.5) / (n - 1)
    lean = lean0 + (lean1 - lean0) * share[:, None]
    step = np.column_stack([lean, np.ones(n - 1)])
    step /= np.linalg.norm(step, axis=1, keepdims=True)
    return np.asarray(base, float) + np.vstack([np.zeros(3), np.cumsum(step, axis=0)]) * (length / (n - 1))

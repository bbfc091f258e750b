"""Invented flats seen from above, with exact truth: what the overhead network learns from.

Plants are 3-D models (`forms`, `growth`), seen by a pinhole camera and drawn straight on the rim plane: a
point at height z over the rim lands where the ray from the camera through it meets that plane. Facets are
painted from low to high. Only numpy and OpenCV; a few seconds a flat.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout, known_layouts, standard_layout
from seedlingcv.flat.rectify import PlaneView, plane_view
from seedlingcv.training.forms import Mesh, Plant, random_kind
from seedlingcv.training.ground import cards, noise, open_ground, seen_at, tray
from seedlingcv.training.growth import grow
from seedlingcv.training.light import photograph

PX_PER_MM = 2.0  # of truth
MARGIN_MM = 32.0
FINE = 3  # facets are painted, and the phone photographs, at this many times the resolution
PICTURE = 2  # the program rectifies photos to this many times the resolution
SHADOW_LEVELS_MM = (-5.0, 12.0, 35.0, 70.0)
SHADOW_PX_PER_MM = 1.0


@dataclass(frozen=True)
class Scene:
    """One flat. Pictures are (view.height, view.width), the first two PICTURE times as large.

    image uint8 BGR; vegetation uint8, the share of each of its pixels that shows a plant, 255 = all;
    owner uint16, 0 = no plant, else 1 + index into plants; kind uint8 (STEM, COTYLEDON, LEAF;
    0 = no plant); blade uint16, 0 = no blade, else 1 + index into blades; plants and where their stem bases
    appear, (n, 2) mm on the rim plane; blades (k, 6): x, y mm of the middle on the rim plane, kind, plant,
    length in mm, 1 where enough of it is seen; count (cells,) crop plants.
    """

    image: np.ndarray
    vegetation: np.ndarray
    owner: np.ndarray
    kind: np.ndarray
    blade: np.ndarray
    plants: list[Plant]
    bases_mm: np.ndarray
    blades: np.ndarray
    count: np.ndarray
    layout: FlatLayout
    view: PlaneView
    eye_mm: np.ndarray


def make_scene(seed: int) -> Scene:
    rng = np.random.default_rng(seed)
    layouts = known_layouts()
    odds = np.array([2.2, 1.6, 2, 3, 1.2, 1.8, 0.7, 0.6, 0.4])
    layout = standard_layout(*layouts[rng.choice(len(layouts), p=odds / odds.sum())])
    view = plane_view(layout.outer_mm, PX_PER_MM, margin_mm=MARGIN_MM)
    eye = _camera(layout, rng)
    soil_z = -rng.uniform(2, 10)
    ground = view.at_scale(PICTURE * PX_PER_MM)
    bare = rng.random() < 0.08  # no tray: ground in a field
    size = (ground.height, ground.width)
    picture = open_ground(size, rng, ground.px_per_mm) if bare else tray(layout, ground, eye, soil_z, rng)[0]
    if not bare and rng.random() < 0.9:
        cards(picture, layout, ground, rng)
    mesh, blades, plants, count = Mesh(), [], [], np.zeros(len(layout.cells), int)
    _sow(mesh, blades, plants, count, layout, soil_z, eye, rng)
    facets = mesh.arrays()
    fine, owner, kind, blade, seen = _paint(picture, facets, view, eye, soil_z, rng)
    image = resized(photograph(fine, rng), PICTURE / FINE, cv2.INTER_LINEAR)
    vegetation = resized((seen >= 0).astype(np.uint8) * 255, PICTURE / FINE, cv2.INTER_AREA)
    bases = seen_at(np.array([p.base_mm for p in plants]).reshape(-1, 3), eye)
    return Scene(
        image,
        vegetation,
        owner,
        kind,
        blade,
        plants,
        bases,
        _visible_blades(facets, blades, seen, view, eye),
        count,
        layout,
        view,
        eye,
    )


def resized(picture: np.ndarray, scale: float, how: int) -> np.ndarray:
    return cv2.resize(picture, None, fx=scale, fy=scale, interpolation=how)


def _camera(layout, rng) -> np.ndarray:
    width, height = layout.outer_mm
    distance = rng.uniform(430, 760)
    tilt = np.radians(abs(rng.normal(0, 15)))
    turn = rng.uniform(0, 2 * np.pi)
    shift = distance * np.sin(min(tilt, 0.55)) * np.array([np.cos(turn), np.sin(turn)]) + rng.normal(0, 30, 2)
    return np.array([width / 2 + shift[0], height / 2 + shift[1], distance * np.cos(min(tilt, 0.55))])


def _sow(mesh, blades, plants, count, layout, soil_z, eye, rng) -> None:
    pitch = np.array(layout.pitch_mm)
    kind, weeds = random_kind(rng, pitch.min()), [random_kind(rng, 30) for _ in range(3)]
    age = rng.choice([rng.uniform(0.1, 1.2), rng.uniform(1.0, 3.2), rng.uniform(2.5, 5.4)], p=[0.22, 0.5, 0.28])
    uneven = rng.uniform(0.1, 0.8) * min(1, 0.4 + 0.25 * age)
    empty = rng.choice([rng.uniform(0, 0.12), rng.uniform(0.1, 0.4), 1.0], p=[0.63, 0.35, 0.02])
    double = rng.choice([0.0, rng.uniform(0, 0.35)], p=[0.3, 0.7])
    weedy = rng.choice([0.0, rng.uniform(0, 0.2)], p=[0.6, 0.4])
    stray = rng.uniform(0.03, 0.11)

    def ground(place):
        return np.array([*place, soil_z + rng.normal(0, 0.6)])

    for index, cell in enumerate(layout.cells):
        centre = np.array(cell.centre_mm)
        if rng.random() > empty:
            places = [centre + np.clip(rng.normal(0, stray, 2), -0.35, 0.35) * pitch]
            if rng.random() < double:
                for _ in range(1 if rng.random() < 0.85 else 2):
                    apart = rng.uniform(0.06, 0.5) * pitch.min()
                    turn = rng.uniform(0, 2 * np.pi)
                    other = places[0] + max(apart, 2.5) * np.array([np.cos(turn), np.sin(turn)])
                    places.append(centre + np.clip(other - centre, -0.4 * pitch, 0.4 * pitch))
            for place in places:
                vigour = float(np.clip(rng.normal(1, 0.12), 0.6, 1.4))
                mine = max(0.05, age + rng.normal(0, uneven) - (rng.random() < 0.06) * rng.uniform(0, 2))
                if rng.random() < 0.04:
                    vigour *= 0.5
                grow(mesh, blades, plants, kind, ground(place), mine, eye, rng, cell=index, weed=False, vigour=vigour)
            count[index] = len(places)
        if rng.random() < weedy:
            for _ in range(rng.integers(1, 3)):
                place = centre + rng.uniform(-0.42, 0.42, 2) * pitch
                grow(
                    mesh,
                    blades,
                    plants,
                    weeds[rng.integers(3)],
                    ground(place),
                    rng.uniform(0.1, 2.5),
                    eye,
                    rng,
                    cell=index,
                    weed=True,
                    vigour=rng.uniform(0.3, 0.8),
                )
    if rng.random() < 0.15:  # another flat beside this one
        across = rng.uniform(18, 40)
        for x in np.arange(0, layout.outer_mm[0], pitch[0]):
            y = -across if rng.random() < 0.5 else layout.outer_mm[1] + across
            grow(
                mesh,
                blades,
                plants,
                kind,
                ground((x, y)),
                max(0.1, age + rng.normal(0, uneven)),
                eye,
                rng,
                cell=-1,
                weed=False,
                vigour=1.0,
            )


def _paint(picture, facets, view: PlaneView, eye, soil_z, rng):
    """Light the facets and paint them over the picture of the ground (PICTURE times the view's resolution).

    Returns the picture (float32) and the facet seen at each of its pixels (-1) at FINE times the view's resolution,
    and owner, kind and blade over the view.
    """
    corners = facets["corners"]
    turn, high = rng.uniform(0, 2 * np.pi), rng.uniform(0.35, 1.5)
    lamp = np.array([np.cos(high) * np.cos(turn), np.cos(high) * np.sin(turn), np.sin(high)])
    hard = rng.random() < 0.3
    colour = _lit(facets, lamp, eye, hard, rng)
    middle_z = corners[..., 2].mean(axis=1)
    canvas = view.at_scale(FINE * PX_PER_MM)
    points = np.round(canvas.to_px(seen_at(corners, eye)) * 16).astype(np.int32)
    seen = np.full((canvas.height, canvas.width), -1, np.int32)
    for i in np.argsort(middle_z, kind="stable"):
        cv2.fillConvexPoly(seen, points[i], int(i), cv2.LINE_8, 4)
    fine = cv2.resize(picture, (canvas.width, canvas.height), interpolation=cv2.INTER_LINEAR)
    _shade(fine, seen, facets, middle_z, view, eye, soil_z, lamp, hard, colour, rng)
    one = seen[FINE // 2 :: FINE, FINE // 2 :: FINE]
    there = one >= 0
    owner, blade, kind = (
        np.where(there, facets[k][one] + more, 0) if len(corners) else np.zeros_like(one)
        for k, more in (("plant", 1), ("blade", 1), ("kind", 0))
    )
    return fine, owner.astype(np.uint16), kind.astype(np.uint8), blade.astype(np.uint16), seen


def _lit(facets, lamp, eye, hard, rng) -> np.ndarray:
    corners = facets["corners"].astype(float)
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-9
    view = eye - corners.mean(axis=1)
    view /= np.linalg.norm(view, axis=1, keepdims=True)
    normal *= np.sign((normal * view).sum(1, keepdims=True) + 1e-12)
    facing = normal @ lamp
    ambient = rng.uniform(0.3, 0.55) if hard else rng.uniform(0.55, 0.85)
    through = rng.uniform(0.3, 0.9)  # light from behind shines through a leaf, yellower
    stem = (facets["kind"] == 1)[:, None]
    direct = np.where(facing > 0, facing, -facing * np.where(stem[:, 0], 0.1, through))
    bright = ambient + (1 - ambient) * direct * 1.25
    colour = facets["tint"] * bright[:, None]
    colour = colour * np.where((facing < 0)[:, None] & ~stem, np.array([0.7, 1.06, 1.05]), 1.0)
    half = lamp + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    gloss = rng.choice([0.0, rng.uniform(0.03, 0.3), rng.uniform(0.3, 0.9)], p=[0.5, 0.35, 0.15])
    shine = np.clip((normal * half).sum(1), 0, 1) ** rng.uniform(15, 60)
    return np.clip(colour + gloss * shine[:, None], 0, 1.2).astype(np.float32)


def _shade(fine, seen, facets, middle_z, view, eye, soil_z, lamp, hard, colour, rng) -> None:
    """Colours into the fine picture, with the shadow of what is higher on each of a few levels."""
    there = seen >= 0
    index = seen[there]
    leaf_texture = 1 + np.float32(rng.uniform(0, 0.06)) * noise(fine.shape[:2], 3 * rng.uniform(1, 3), rng)
    if len(index):
        fine[there] = colour[index] * leaf_texture[there][:, None]
    skin = np.flatnonzero(facets["skin"]) if len(middle_z) else np.zeros(0, int)
    reach = lamp[:2] / max(lamp[2], 0.35)
    strength = rng.uniform(0.35, 0.75) if hard else rng.uniform(0.0, 0.45)
    soft = rng.uniform(0.3, 1.2) if hard else rng.uniform(2, 8)
    tone = 1 - strength * np.array([1.0, rng.uniform(0.85, 1.0), 1.0])
    level_of = np.zeros(seen.shape, np.uint8)
    if len(index):
        edges = (np.array(SHADOW_LEVELS_MM[1:]) + np.array(SHADOW_LEVELS_MM[:-1])) / 2
        level_of[there] = np.searchsorted(edges, middle_z[index]).astype(np.uint8)
    contact = rng.uniform(0, 0.5)
    for level, z in enumerate((soil_z, *SHADOW_LEVELS_MM[1:])):
        above = skin[middle_z[skin] > z + (1.0 if level == 0 else 8.0)]
        if not len(above):
            break
        fallen = facets["corners"][above].astype(float)
        drop = fallen[..., 2:] - z
        mask = _silhouette(np.concatenate([fallen[..., :2] - reach * drop, fallen[..., 2:] * 0 + z], -1), view, eye)
        dark = cv2.GaussianBlur(mask, (0, 0), soft * SHADOW_PX_PER_MM)
        if level == 0 and contact > 0.05:  # less sky reaches the mix right under a leaf
            under = _silhouette(np.concatenate([fallen[..., :2], fallen[..., 2:] * 0 + z], -1), view, eye)
            dark = np.maximum(dark, contact * cv2.GaussianBlur(under, (0, 0), 4 * SHADOW_PX_PER_MM))
        dark = cv2.resize(dark, (seen.shape[1], seen.shape[0]), interpolation=cv2.INTER_LINEAR)
        here = level_of == level
        fine[here] *= 1 - dark[here][:, None] * (1 - tone.astype(np.float32))


def _silhouette(corners, view: PlaneView, eye) -> np.ndarray:
    scale = SHADOW_PX_PER_MM
    mask = np.zeros((round(view.height / PX_PER_MM * scale), round(view.width / PX_PER_MM * scale)), np.uint8)
    points = np.round((seen_at(corners, eye) - [view.x0, view.y0]) * scale * 16).astype(np.int32)
    for p in points:
        cv2.fillConvexPoly(mask, p, 1, cv2.LINE_8, 4)
    return mask.astype(np.float32)


def _visible_blades(facets, blades, seen, view, eye, least=0.3) -> np.ndarray:
    """(k, 6): x, y on the rim plane, kind, plant, length, 1 where at least a share is seen; see `Scene`."""
    if not blades:
        return np.zeros((0, 6))
    index = seen[seen >= 0]
    blade = facets["blade"]
    shown = np.bincount(blade[index][blade[index] >= 0], minlength=len(blades)) / (PX_PER_MM * FINE) ** 2
    flat = seen_at(facets["corners"], eye)
    x, y = flat[..., 0], flat[..., 1]
    area = 0.5 * np.abs((x * np.roll(y, -1, 1) - y * np.roll(x, -1, 1)).sum(1))
    own = (blade >= 0) & (facets["skin"] == 1)
    whole = np.bincount(blade[own], weights=area[own], minlength=len(blades))
    place = seen_at(np.array([b.centre_mm for b in blades]), eye)
    rows = [
        (*place[k], b.kind, b.plant, b.length_mm, shown[k] > max(2.0, least * whole[k])) for k, b in enumerate(blades)
    ]
    return np.array(rows, float)

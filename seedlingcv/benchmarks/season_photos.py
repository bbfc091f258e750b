"""Photos of two flats of the invented season: drawn, not photographed, with the drawing code of `training/`.

    python -m seedlingcv.benchmarks.season_photos FOLDER

Each plant is a 3-D model whose stem length, leaf spread and leaves are those that `season.py` grew in that cell,
seen by pinhole cameras as the capture protocol asks: two from above, 140 mm apart, and one from the side.
"""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.benchmarks import season
from seedlingcv.files import write_whole
from seedlingcv.flat.layout import standard_layout
from seedlingcv.flat.rectify import PlaneView, plane_view
from seedlingcv.photo.exif import FILM_DIAGONAL_MM
from seedlingcv.tags.family import BACKDROP_LEFT, BACKDROP_RIGHT, CARD_MM, SQUARE_MM
from seedlingcv.training import scenes, side_scenes
from seedlingcv.training.forms import Kind, Mesh, Plant
from seedlingcv.training.ground import seen_at, tray
from seedlingcv.training.growth import grow
from seedlingcv.training.side_ground import Tray, Window, surroundings

DAY = season.DAYS[-1] + timedelta(1)
FLATS = (307, 311)  # one under the panel, one under the bulbs
LAYOUT = standard_layout(season.ROWS, season.COLUMNS)
SOIL_MM = {"overhead": -1.0, "side": -5.0}  # from above the mix is painted on the rim plane, so it lies close to it
SIZE = (2016, 1512)
FOCAL_35MM = 26
FOCAL_PX = FOCAL_35MM * float(np.hypot(*SIZE)) / FILM_DIAGONAL_MM
EYES_MM = {"a": (262.0, 150.0, 505.0), "b": (402.0, 146.0, 512.0)}  # x, y, z above the rim
SIDE_EYE_MM = (4.0, -455.0, 135.0)  # right, away, up; from the middle of row A
MARGIN_MM = 150.0
QUALITY = 82
BENCH_SEED, FRONT_SEED, GRAIN_SEED = 16, 2, 7  # a black tray on a light bench, a light grey backdrop
CARDS_MM = {0: (-8.5, -13.0, 0.04), 1: (553.0, -14.5, -0.05), 2: (554.0, 291.0, 0.03), 3: (-7.0, 292.5, -0.06)}
TAG_LEAN, TAG_AT_MM = np.radians(36), 318.0

# A tomato: two narrow seed leaves, then toothed leaves of five leaflets, one at a node.
TOMATO = Kind(
    grassy=False, seed_leaf="lance", seed_leaf_mm=19, seed_leaf_width=0.13, leaf="compound", leaf_mm=36,
    leaf_width=0.3, leaflets=5, opposite=False, petiole=0.45, petiole_round=True, leaf_rise=0.1, leaf_droop=0.5,
    fold=0.15, wave=0.03, teeth=0.16, hypocotyl_mm=24, internode_mm=11, stem_mm=2.4, lean=np.zeros(2), wander=0.05,
    green=np.array([0.2, 0.5, 0.3]), seed_green=np.array([0.24, 0.55, 0.34]),
    stem_low=np.array([0.36, 0.4, 0.44]), stem_high=np.array([0.36, 0.56, 0.42]), vein=np.array([0.32, 0.6, 0.42]),
    vein_width=0.02, mottle=0.03, ripening=2.6,
)


@dataclass(frozen=True)
class Camera:
    """A pinhole that looks from `eye` at `target`: mm, right-handed, the second axis down the picture."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    turn: float = 0.0

    def project(self, points: np.ndarray) -> np.ndarray:
        """(n, 3) -> (n, 2) px."""
        forward = np.subtract(self.target, self.eye)
        forward = forward / np.linalg.norm(forward)
        right = np.cross([0.0, 1.0, 0.0], forward)
        right /= np.linalg.norm(right)
        c, s = np.cos(self.turn), np.sin(self.turn)
        axes = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ [right, np.cross(forward, right), forward]
        seen = (np.asarray(points, float) - self.eye) @ axes.T
        return seen[:, :2] / seen[:, 2:] * FOCAL_PX + [(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2]


def photos(number: int) -> dict[str, np.ndarray]:
    """The flat's three photos, uint8 BGR, by their names' ends."""
    flat = next(f for f in season.flats() if f.number == number)
    found = {f"overhead_{name}": overhead(flat, np.array(eye)) for name, eye in EYES_MM.items()}
    return found | {"side": side(flat)}


def planted(flat: season.Flat, eye: np.ndarray, soil_mm: float, rows: int = season.ROWS) -> Mesh:
    """The plants of the first so many rows; stems turn their facets to the `eye`, in the flat's frame."""
    mesh, plants = Mesh(), []
    now = season.grown(flat, DAY)
    usual = next(plant for plant in now.values() if isinstance(plant, season.Plant))
    for at, cell in enumerate(LAYOUT.cells[: rows * season.COLUMNS]):
        (x, y), there = cell.centre_mm, now[cell.name]
        if isinstance(there, season.Plant):
            _plant(mesh, plants, there, np.array([x, y, soil_mm]), eye, at)
        for k in range(there if isinstance(there, int) else 0):  # two in a cell crowd each other
            _plant(mesh, plants, usual, np.array([x + 9 * k - 5, y + 4, soil_mm]), eye, 100 * (k + 1) + at, 0.8)
    return mesh


def _plant(mesh: Mesh, plants: list[Plant], like: season.Plant, middle_mm: np.ndarray, eye: np.ndarray, seed: int,
           share: float = 1.0) -> None:
    """One near the middle of its cell, its stem and spread within a hundredth or so of a share of those told."""
    stem, spread = share * like.stem_mm(DAY), share * like.spread_mm()
    seeds = [like.flat.number, seed]
    base = middle_mm + [*np.random.default_rng(seeds).normal(0, 2.2, 2), 0]
    age = max(like.leaves + 0.1, 0.8)  # as `grow` counts: the next leaf is still shorter than is counted

    def grow_one(kind: Kind, mesh: Mesh, plants: list[Plant]) -> Plant:
        grow(mesh, [], plants, kind, base, age, eye, np.random.default_rng(seeds), cell=0, weed=False, vigour=1.0)
        return plants[-1]

    kind = TOMATO
    for _ in range(4):
        found = grow_one(kind, Mesh(), [])
        longer, wider = stem / found.stem_length_mm, spread / found.spread_mm
        kind = replace(kind, hypocotyl_mm=kind.hypocotyl_mm * longer, internode_mm=kind.internode_mm * longer,
                       leaf_mm=kind.leaf_mm * wider)
    grow_one(kind, mesh, plants)


def overhead(flat: season.Flat, eye: np.ndarray) -> np.ndarray:
    """Everything is drawn on the rim plane, as seen from the eye, and laid into the photo from there."""
    rng, soil = np.random.default_rng(BENCH_SEED), SOIL_MM["overhead"]
    view = plane_view(LAYOUT.outer_mm, scenes.PX_PER_MM, margin_mm=MARGIN_MM)
    ground = tray(LAYOUT, view.at_scale(scenes.PICTURE * scenes.PX_PER_MM), eye, soil, rng)[0]
    facets = planted(flat, eye, soil).arrays()
    picture = scenes._paint(ground, facets, view, eye, 0.0, rng)[0]
    fine = view.at_scale(scenes.FINE * scenes.PX_PER_MM)
    for number, (x, y, turn) in CARDS_MM.items():
        _card(picture, number, fine.to_px(seen_at(_lying(x, y, turn), eye)))
    _card(picture, flat.number, fine.to_px(seen_at(_hanging(), eye)))
    camera = Camera((eye[0], eye[1], -eye[2]), (273.0 + (eye[0] - 273) * 0.25, 139.0, 0.0), turn=0.03)
    return _photo(picture, _laid_on_rim(fine, camera))


def _lying(x: float, y: float, turn: float) -> np.ndarray:
    """(4, 3) corners of a card on the rim, from its top left clockwise."""
    c, s = np.cos(turn), np.sin(turn)
    square = CARD_MM / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return np.column_stack([square @ np.array([[c, -s], [s, c]]).T + [x, y], np.full(4, 1.5)])


def _hanging() -> np.ndarray:
    """The flat's own tag on the outside of the row-A rim; upright, seen from in front, where column 1 is right."""
    out, down = CARD_MM * np.cos(TAG_LEAN), CARD_MM * np.sin(TAG_LEAN)
    left, right = TAG_AT_MM + CARD_MM, TAG_AT_MM
    return np.array([[left, -3.5, 1.5], [right, -3.5, 1.5], [right, -3.5 - out, 1.5 - down],
                     [left, -3.5 - out, 1.5 - down]])


def _laid_on_rim(view: PlaneView, camera: Camera) -> np.ndarray:
    corners = np.array([[0, 0], [view.width, 0], [view.width, view.height], [0, view.height]], np.float32)
    at = view.to_mm(corners)
    return cv2.getPerspectiveTransform(corners, camera.project(np.column_stack([at, np.zeros(4)])).astype(np.float32))


def side(flat: season.Flat) -> np.ndarray:
    """The same on the row-A plane."""
    rng, soil = np.random.default_rng(FRONT_SEED), SOIL_MM["side"]
    eye = np.array(SIDE_EYE_MM)
    middle, row = LAYOUT.outer_mm[0] / 2, LAYOUT.cells[0].centre_mm[1]
    place = Tray(season.ROWS, season.COLUMNS, 3.0, soil, 0.0)
    window = Window(-360.0, -190.0, 720.0, 3.6, eye)
    picture = surroundings(window, place, rng)
    _room(picture, window, place)
    facets = planted(flat, np.array([middle - eye[0], row + eye[1], eye[2]]), soil, rows=1).arrays()
    facets["corners"] = _as_from_front(facets["corners"], middle, row)
    facets["corners"][..., 1] = np.minimum(facets["corners"][..., 1], place.half_pitch_mm - 0.4)  # at the backdrop
    picture = np.clip(side_scenes._paint(picture, facets, window, place, rng)[0], 0, 1)
    for number, left in ((BACKDROP_LEFT, -295.0), (BACKDROP_RIGHT, 295.0 - CARD_MM)):
        top, away = soil + 245.0, place.half_pitch_mm - 1.3
        right, low = left + CARD_MM, top - CARD_MM
        card = [[left, away, top], [right, away, top], [right, away, low], [left, away, low]]
        _card(picture, number, window.seen(np.array(card)))
    for number in (0, 1):
        _card(picture, number, window.seen(_as_from_front(_lying(*CARDS_MM[number]), middle, row)))
    _card(picture, flat.number, window.seen(_as_from_front(_hanging(), middle, row)))
    camera = Camera((eye[0], -eye[2], eye[1]), (0.0, -75.0, 20.0))
    n = len(picture)
    corners = np.array([[0, 0], [n, 0], [n, n], [0, n]], np.float32)
    right, down = (corners / window.px_per_mm).T
    right, up = window.left_mm + right, window.bottom_mm + window.side_mm - down
    to = camera.project(np.column_stack([right, -up, np.zeros(4)]))
    return _photo(picture, cv2.getPerspectiveTransform(corners, to.astype(np.float32)))


def _room(picture: np.ndarray, window: Window, place: Tray) -> None:
    """A plain wall and bench round backdrop and tray, which are drawn already."""
    half, front, soil = place.half_pitch_mm, -place.half_pitch_mm - 11.0, place.soil_mm
    long = LAYOUT.outer_mm[0] / 2
    shapes = ([[-300, half, soil], [300, half, soil], [300, half, 250], [-300, half, 250]],
              [[-long, front, -60], [long, front, -60], [long, front, 0], [long, half, 0], [-long, half, 0],
               [-long, front, 0]])
    (left, top), (right, bottom) = np.round(window.seen(np.array([[-290, half, 250], [290, half, soil]]))).astype(int)
    end = 45  # the drawn backdrop ends some mm off: its outermost colours go on
    picture[top:bottom, left - end : left] = picture[top:bottom, left : left + 1]
    picture[top:bottom, right : right + end] = picture[top:bottom, right - 1 : right]
    there = np.zeros(picture.shape[:2], np.uint8)
    for shape in shapes:
        cv2.fillPoly(there, [np.round(window.seen(np.array(shape, float))).astype(np.int32)], 1)
    edge = int(window.seen(np.array([[0.0, 260.0, -60.0]]))[0, 1])  # the bench's far edge
    room = np.full_like(picture, 0.42) * np.linspace(1.1, 0.8, len(picture), dtype=np.float32)[:, None, None]
    room[edge:] = np.array([0.5, 0.53, 0.55], np.float32) * np.linspace(0.85, 1.1, len(picture) - edge,
                                                                        dtype=np.float32)[:, None, None]
    picture[there == 0] = room[there == 0]


def _as_from_front(points: np.ndarray, middle: float, row: float) -> np.ndarray:
    """The flat's frame to right, away, up as the camera in front of row A sees it."""
    return np.stack([middle - points[..., 0], points[..., 1] - row, points[..., 2]], axis=-1)


def _card(picture: np.ndarray, number: int, corners_px: np.ndarray) -> None:
    """A white card with its tag, drawn into the picture (float32 BGR 0-1)."""
    scale = 16  # of the card's own drawing, px a mm
    square = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), number,
                                           round(SQUARE_MM * scale))
    edge = round((CARD_MM - SQUARE_MM) / 2 * scale)
    card = np.pad(square.astype(np.float32) / 255 * 0.84 + 0.08, edge, constant_values=0.92)
    side_px = float(np.linalg.norm(corners_px[1] - corners_px[0]))
    card = cv2.GaussianBlur(card, (0, 0), max(0.5 * len(card) / side_px, 0.5))
    n = len(card)
    have = np.array([[0, 0], [n, 0], [n, n], [0, n]], np.float32) - 0.5
    matrix = cv2.getPerspectiveTransform(have, corners_px.astype(np.float32))
    size = picture.shape[1::-1]
    share = cv2.warpPerspective(np.ones_like(card), matrix, size)[..., None]
    picture += share * (cv2.warpPerspective(card, matrix, size, borderMode=cv2.BORDER_REPLICATE)[..., None] - picture)


def _photo(picture: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Into the camera, with a lens's softness and a sensor's grain."""
    rng = np.random.default_rng(GRAIN_SEED)
    seen = cv2.warpPerspective(cv2.GaussianBlur(picture, (0, 0), 0.8), matrix, SIZE, borderMode=cv2.BORDER_REPLICATE)
    seen = cv2.GaussianBlur(seen, (0, 0), 0.5)
    grain = cv2.GaussianBlur(rng.normal(0, 1, seen.shape).astype(np.float32), (0, 0), 0.7)
    return np.clip(255 * (0.97 * seen + 0.006 * grain), 0, 255).astype(np.uint8)


def jpeg(image: np.ndarray, taken: datetime) -> bytes:
    from PIL import ExifTags, Image

    exif = Image.Exif()
    exif[ExifTags.Base.Model] = "drawn"
    exif[ExifTags.Base.DateTime] = f"{taken:%Y:%m:%d %H:%M:%S}"
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.DateTimeOriginal] = f"{taken:%Y:%m:%d %H:%M:%S}"
    details[ExifTags.Base.FocalLengthIn35mmFilm] = FOCAL_35MM
    out = io.BytesIO()
    Image.fromarray(image[..., ::-1]).save(out, "JPEG", quality=QUALITY, exif=exif)
    return out.getvalue()


def write(folder: Path) -> list[Path]:
    """Raises OutputError where a file can't be written."""
    written = []
    for number in FLATS:
        for k, (name, image) in enumerate(photos(number).items()):
            taken = datetime.combine(DAY, time(9, number % 60, 20 * k))
            written.append(folder / f"flat_{number}_{name}.jpg")
            write_whole(written[-1], jpeg(image, taken))
    return written


if __name__ == "__main__":
    for path in write(Path(sys.argv[1])):
        print(path)

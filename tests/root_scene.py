"""Drawn photos of plugs on the root board, every figure known exactly: invented plugs, no photographs.

Roots, grains and plants are painted on the board's plane at 10 px a mm; truth is counted on that painting. The
camera is a plain homography from OpenCV's own projection, the tone curve sRGB's (IEC 61966-2-1).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np

from seedlingcv.tags.root_board import (
    BOARD_HEIGHT_MM,
    BOARD_WIDTH_MM,
    GROUND,
    MARKS,
    MIDDLE_MM,
    PLACE_GAP_MM,
    place_centre,
    tag_places,
)

PX = 10  # of the painting, a mm
PAPER_MM = 14  # white paper round the board
DARK_PEAT, DRY_COIR = (0.022, 0.030, 0.042), (0.085, 0.125, 0.17)  # BGR, linear light
ROOT, GRAIN, GREEN, PURPLE = (0.42, 0.55, 0.62), (0.72, 0.74, 0.75), (0.05, 0.24, 0.09), (0.10, 0.06, 0.16)
DESK = (0.28, 0.33, 0.37)


@dataclass(frozen=True)
class Plug:
    """A plug on its side. Lengths mm; `roots` and `circling` are what is painted at least, as a share."""

    roots: float = 0.3
    circling: float = 0.0
    long_mm: float = 57.0
    wide_mm: float = 39.0
    narrow_mm: float = 27.0
    turn_deg: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    mix: tuple[float, float, float] = DARK_PEAT
    grains: float = 0.03  # share under perlite
    crumbled: bool = False
    stem: tuple[float, float, float] = GREEN
    leaf_over: bool = False


@dataclass(frozen=True)
class Truth:
    root_share: float
    circling_share: float


@dataclass(frozen=True)
class RootScene:
    plugs: dict[int, Plug] = field(default_factory=dict)  # by place
    flat_tag: int | None = None
    light: tuple[float, float, float] = (1.0, 1.0, 1.0)  # BGR
    tilt_deg: float = 4.0
    turn_deg: float = 0.0
    px_per_mm: float = 9.0
    noise: float = 2.0
    blur_mm: float = 0.08
    ground: tuple[float, float, float] = GROUND
    seed: int = 1

    def photo(self) -> tuple[np.ndarray, dict[int, Truth]]:
        """uint8 (height, width, 3) BGR, and the truth by place."""
        dice = np.random.default_rng(self.seed)
        scene = _board(self.ground, self.flat_tag).copy()
        truth = {place: _paint(scene, place, plug, dice) for place, plug in self.plugs.items()}
        view, size = self._camera()
        image = cv2.warpPerspective(scene, view, size, flags=cv2.INTER_AREA, borderValue=DESK)
        image = cv2.GaussianBlur(image * np.array(self.light, np.float32), (0, 0),
                                 max(0.4, self.blur_mm * self.px_per_mm))
        image = stored(image) + dice.normal(0, self.noise, image.shape)
        jpeg = cv2.imencode(".jpg", np.clip(image, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
        return cv2.imdecode(jpeg, cv2.IMREAD_COLOR), truth

    def _camera(self) -> tuple[np.ndarray, tuple[int, int]]:
        wide, high = BOARD_WIDTH_MM + 40, BOARD_HEIGHT_MM + 40
        turned = abs(np.sin(np.radians(self.turn_deg))) > 0.7
        size = tuple(round(mm * self.px_per_mm) for mm in ((high, wide) if turned else (wide, high)))
        distance = 330.0
        matrix = np.array([[self.px_per_mm * distance, 0, size[0] / 2], [0, self.px_per_mm * distance, size[1] / 2],
                           [0, 0, 1.0]])
        lean = cv2.Rodrigues(np.radians([self.tilt_deg, 0.4 * self.tilt_deg, 0.0]))[0]
        turn = cv2.Rodrigues(np.radians([0.0, 0.0, self.turn_deg]))[0]
        centre = np.array([BOARD_WIDTH_MM / 2, BOARD_HEIGHT_MM / 2, 0.0])
        rotation = lean @ turn
        corners = np.array([(0, 0, 0), (BOARD_WIDTH_MM, 0, 0), (BOARD_WIDTH_MM, BOARD_HEIGHT_MM, 0),
                            (0, BOARD_HEIGHT_MM, 0)], float)
        seen, _ = cv2.projectPoints(corners, cv2.Rodrigues(rotation)[0],
                                    np.array([0, 0, distance]) - rotation @ centre, matrix, None)
        return cv2.getPerspectiveTransform(_px(corners[:, :2]).astype(np.float32),
                                           seen.reshape(4, 2).astype(np.float32)), size


def stored(light: np.ndarray) -> np.ndarray:
    v = np.clip(light, 0, 1)
    return 255 * np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def _linear(rgb) -> tuple[float, ...]:
    """A printed sRGB colour as linear BGR, a little paler as paper gives it."""
    return tuple(0.9 * ((v + 0.055) / 1.055) ** 2.4 for v in reversed(rgb))


def _px(places_mm) -> np.ndarray:
    return (np.asarray(places_mm, float) + PAPER_MM) * PX - 0.5


def _polygon(shape, points_mm) -> np.ndarray:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(_px(points_mm) * 16).astype(np.int32)], 255, cv2.LINE_AA, shift=4)
    return mask


def _stroke(mask, points_mm, width_mm) -> None:
    cv2.polylines(mask, [np.round(_px(points_mm) * 16).astype(np.int32)], False, 255,
                  max(1, round(width_mm * PX)), cv2.LINE_AA, shift=4)


def _blend(scene, mask, colour, shade=None) -> None:
    left, top, width, height = cv2.boundingRect(mask)  # the rest stays as it is
    where = (slice(top, top + height), slice(left, left + width))
    share = mask[where][..., None].astype(np.float32) / 255
    paint = np.array(colour, np.float32) if shade is None else np.array(colour, np.float32) * shade[where][..., None]
    scene[where] = scene[where] * (1 - share) + paint * share


@cache
def _board(ground, flat_tag) -> np.ndarray:
    shape = (round((BOARD_HEIGHT_MM + 2 * PAPER_MM) * PX), round((BOARD_WIDTH_MM + 2 * PAPER_MM) * PX))
    scene = np.full((*shape, 3), 0.8, np.float32)
    board = _polygon(shape, [(0, 0), (BOARD_WIDTH_MM, 0), (BOARD_WIDTH_MM, BOARD_HEIGHT_MM), (0, BOARD_HEIGHT_MM)])
    _blend(scene, board, _linear(ground))
    lines = np.zeros(shape, np.uint8)
    for place in range(1, 7):
        x, y = place_centre(place)
        box = np.array([(x - 30, y - 20), (x + 30, y - 20), (x + 30, y + 20), (x - 30, y + 20), (x - 30, y - 20)])
        _stroke(lines, box, 0.3)
    _stroke(lines, [(MIDDLE_MM, 45), (MIDDLE_MM, BOARD_HEIGHT_MM - 45)], 0.6)
    _blend(scene, lines, _linear(MARKS) if ground == GROUND else _linear(tuple(0.7 * v for v in ground)))
    cards = [(number, centre) for number, centre in tag_places().items()]
    cards += [(flat_tag, (BOARD_WIDTH_MM / 2, 21.0))] if flat_tag is not None else []
    for number, (x, y) in cards:
        _blend(scene, _polygon(shape, [(x - 21, y - 21), (x + 21, y - 21), (x + 21, y + 21), (x - 21, y + 21)]),
               (0.8, 0.8, 0.8))
        bits = cv2.aruco.generateImageMarker(
            cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), number, 8)
        side = 30 * PX
        tag = cv2.resize(bits, (side, side), interpolation=cv2.INTER_NEAREST) / 255 * 0.78 + 0.02
        left, top = np.round(_px((x - 15, y - 15)) + 0.5).astype(int)
        scene[top : top + side, left : left + side] = tag[..., None]
    return scene


def _paint(scene, place: int, plug: Plug, dice) -> Truth:
    out = -1.0 if place <= 3 else 1.0
    angle = np.radians(plug.turn_deg)
    axis = out * np.array([np.cos(angle), np.sin(angle)])  # from the bottom to the plant
    across = np.array([-axis[1], axis[0]])
    foot = np.array([MIDDLE_MM + out * PLACE_GAP_MM, place_centre(place)[1]]) + plug.shift_mm
    # painted in a window of its own, or it would take minutes
    left, top = (max(0, round(v + PAPER_MM)) for v in foot + axis * plug.long_mm / 2 - 60)
    scene = scene[top * PX : (top + 120) * PX, left * PX : (left + 120) * PX]
    shape = scene.shape[:2]
    foot = foot - [left, top]

    def at(along, aside):
        return foot + np.multiply.outer(along, axis) + np.multiply.outer(aside, across)

    outline = at(*_outline(plug, dice))
    body = _polygon(shape, outline)
    _shadow(scene, body)
    _plant(scene, shape, plug, at, dice)
    shade = _shade(shape, body, plug, at)
    grain = cv2.GaussianBlur(dice.normal(0, 1, shape).astype(np.float32), (0, 0), 0.35 * PX)
    _blend(scene, body, plug.mix, shade * np.exp(0.45 * grain / grain.std()))
    if plug.crumbled:
        _crumbs(scene, shape, plug, at, dice, shade)
    grains = _grains(shape, body, plug, at, dice)
    _blend(scene, grains, GRAIN, shade)
    roots, circling = _roots(shape, body, plug, at, dice)
    _blend(scene, roots, ROOT, shade)
    if plug.leaf_over:
        leaf = np.zeros(shape, np.uint8)
        middle = tuple(np.round(_px(at(plug.long_mm * 0.8, plug.wide_mm * 0.2))).astype(int).tolist())
        cv2.ellipse(leaf, middle, (14 * PX, 8 * PX), 20, 0, 360, 255, -1, cv2.LINE_AA)
        _blend(scene, leaf, GREEN)
    return Truth(float(roots.sum() / body.sum()), circling)


def _outline(plug: Plug, dice) -> tuple[np.ndarray, np.ndarray]:
    """(along, aside) of a tapered plug's corners; a crumbled one has bites out of it."""
    half_low, half_high = plug.narrow_mm / 2, plug.wide_mm / 2
    if not plug.crumbled:
        return (np.array([0, plug.long_mm, plug.long_mm, 0]),
                np.array([-half_low, -half_high, half_high, half_low]))
    turns = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ragged = np.convolve(np.tile(dice.uniform(0.3, 1.25, 40), 3), [0.25, 0.5, 0.25], "same")[40:80]
    reach = np.clip(ragged, 0.35, 1.1)
    return (plug.long_mm / 2 * (1 + reach * np.cos(turns)), (half_low + half_high) / 2 * reach * np.sin(turns))


def _shadow(scene, body) -> None:
    soft = cv2.GaussianBlur(np.roll(body, (3 * PX, 4 * PX), (0, 1)), (0, 0), 3 * PX).astype(np.float32) / 255
    scene *= 1 - 0.55 * soft[..., None]


def _shade(shape, body, plug, at) -> np.ndarray:
    """Darker towards the long edges, as a rounded body is."""
    inside = cv2.distanceTransform((body > 127).astype(np.uint8), cv2.DIST_L2, 5) / PX
    return (0.55 + 0.45 * np.clip(inside / 6, 0, 1)).astype(np.float32)


def _plant(scene, shape, plug, at, dice) -> None:
    mask = np.zeros(shape, np.uint8)
    _stroke(mask, at(np.array([plug.long_mm - 2, plug.long_mm + 18]), np.array([0.0, dice.uniform(-4, 4)])), 2.2)
    _blend(scene, mask, plug.stem)
    leaves = np.zeros(shape, np.uint8)
    for aside in (-8, 7):
        centre = tuple(np.round(_px(at(plug.long_mm + 16, aside))).astype(int).tolist())
        cv2.ellipse(leaves, centre, (8 * PX, 4 * PX), float(dice.uniform(0, 180)), 0, 360, 255, -1, cv2.LINE_AA)
    _blend(scene, leaves, GREEN)


def _crumbs(scene, shape, plug, at, dice, shade) -> None:
    mask = np.zeros(shape, np.uint8)
    for _ in range(40):
        place = at(dice.uniform(-6, plug.long_mm + 4), dice.uniform(-0.75, 0.75) * plug.wide_mm)
        centre = tuple(np.round(_px(place)).astype(int).tolist())
        cv2.circle(mask, centre, round(dice.uniform(0.6, 2.2) * PX), 255, -1, cv2.LINE_AA)
    _blend(scene, mask, plug.mix)


def _grains(shape, body, plug, at, dice) -> np.ndarray:
    mask, wanted = np.zeros(shape, np.uint8), plug.grains * body.sum()
    while mask.sum() < wanted:
        place = at(dice.uniform(0, plug.long_mm), dice.uniform(-0.5, 0.5) * plug.wide_mm)
        centre = tuple(np.round(_px(place)).astype(int).tolist())
        axes = tuple(round(v * PX) for v in dice.uniform(0.5, 1.6, 2))
        cv2.ellipse(mask, centre, axes, float(dice.uniform(0, 180)), 0, 360, 255, -1, cv2.LINE_AA)
        mask &= body
    return mask


def _roots(shape, body, plug, at, dice) -> tuple[np.ndarray, float]:
    """The roots' mask, and the share of the bottom edge along which one of them runs."""
    mask = np.zeros(shape, np.uint8)
    along_edge, place = 0.0, -0.5 * plug.narrow_mm
    if plug.circling:
        for depth in (1.2, 2.2, 3.2):
            end = place + plug.circling * plug.narrow_mm
            aside = np.linspace(place, end, 60)
            depths = depth + 0.3 * np.sin(aside / 2 + depth)
            _stroke(mask, at(depths, aside), dice.uniform(0.5, 0.8))
        along_edge = plug.circling
    wanted = plug.roots * body.sum()
    painted = (mask & body).sum()
    while painted < wanted:
        for _ in range(4):
            _stroke(mask, at(*_one_root(plug, dice)), dice.uniform(0.35, 0.85))
        mask &= body
        painted = mask.sum()
    return mask & body, along_edge


def _one_root(plug, dice) -> tuple[np.ndarray, np.ndarray]:
    """A root that wanders down the face; it ends above the band where circling is judged or crosses it steeply."""
    start, length = dice.uniform(0.25, 1.05) * plug.long_mm, dice.uniform(0.2, 0.9) * plug.long_mm
    along = np.arange(start, max(start - length, -2.0), -0.5)
    heading = np.cumsum(dice.normal(0, 0.12, len(along)))
    heading -= np.linspace(0, heading[-1] if len(heading) else 0, len(along))
    aside = dice.uniform(-0.48, 0.48) * plug.wide_mm + np.cumsum(0.5 * np.tan(np.clip(heading, -0.7, 0.7)))
    return along, aside

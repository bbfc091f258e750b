"""Where the camera was: from the corner cards to a pose over the rim plane.

Each card is an exact 30 mm square, but its place and turn on the rim are only known to a few mm and degrees.
So the fit moves the cards too: the squares' exact size and flatness fix the camera's tilt and distance, and
the cards' usual places only hold the frame until the cell grid settles it (`grid.py`).

Frame for OpenCV: (x, y, depth) with x and y as in `layout.py` and depth = -z, which is right-handed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.photo.exif import FILM_DIAGONAL_MM
from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import CORNER_IDS, SQUARE_MM

CARD_ABOVE_RIM_MM = 1.5  # a card on a rim: its own thickness and the rim's bead
CARD_BEYOND_MM = (7.5, 14.0)  # usual place of a card's centre outside the flat's corner, along x and y
PLACE_SIGMA_MM = 4.0
TURN_SIGMA = np.radians(5.0)
CARD_TILT_SIGMA = np.radians(1.2)
CORNER_SIGMA_PX = 0.3
FOCAL_SIGMA_EXIF, FOCAL_SIGMA_GUESS = 0.01, 0.15  # of the logarithm
GUESSED_FOCAL_35MM = 27.0  # of most phones' main cameras; common practice, no source
DISTORTION_SIGMA = 0.04
CARD_UNKNOWNS = 5


@dataclass(frozen=True)
class Pose:
    """A pinhole camera with one radial term: x_d = x (1 + k1 r^2), pixel centres at integers.

    rotation : (3, 3), translation : (3,), X_camera = rotation @ (x, y, depth) + translation, in mm.
    """

    focal_px: float
    centre_px: tuple[float, float]
    k1: float
    rotation: np.ndarray
    translation: np.ndarray
    residual_px: float  # root mean square over card corners
    residual_mm: float
    cards: tuple[int, ...]

    @property
    def eye_mm(self) -> np.ndarray:
        """The camera's place (x, y, z above the rim)."""
        eye = -self.rotation.T @ self.translation
        return np.array([eye[0], eye[1], -eye[2]])

    @property
    def tilt_deg(self) -> float:
        """Angle between the view axis and straight down."""
        return float(np.degrees(np.arccos(np.clip(self.rotation[2, 2], -1, 1))))

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """(N, 3) points (x, y, z above the rim) -> (N, 2) px as stored."""
        points = np.asarray(points_mm, float) * [1, 1, -1]
        return _project(points, self.rotation, self.translation, self.focal_px, self.k1, self.centre_px)

    def to_plane(self, pixels: np.ndarray, z_mm: float = 0.0) -> np.ndarray:
        """(N, 2) px -> (N, 2) x and y in mm where the rays meet the plane `z_mm` above the rim."""
        distorted = (np.asarray(pixels, float) - self.centre_px) / self.focal_px
        straight = distorted.copy()
        for _ in range(8):  # fixed-point inverse of the radial term
            straight = distorted / (1 + self.k1 * (straight**2).sum(1, keepdims=True))
        rays = np.column_stack([straight, np.ones(len(straight))]) @ self.rotation
        eye = -self.rotation.T @ self.translation
        reach = (-z_mm - eye[2]) / rays[:, 2]
        return (eye + rays * reach[:, None])[:, :2]

    def moved(self, shift_mm: np.ndarray, turn: float) -> Pose:
        """The same camera when the frame's origin moves by `shift_mm` and turns by `turn` radians about it."""
        c, s = np.cos(turn), np.sin(turn)
        into = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])  # new frame -> old frame
        old = np.array([shift_mm[0], shift_mm[1], 0.0])
        return replace(self, rotation=self.rotation @ into, translation=self.translation + self.rotation @ old)


def fit_overhead(tags: list[Tag], size: tuple[int, int], focal_px: float | None,
                 outer_mm: tuple[float, float]) -> Pose:
    """Fit the camera over the rim plane from three or four corner cards.

    tags : all tags of the photo; size : (width, height) in px; focal_px : from EXIF, or None
    Raises ValueError with fewer than three corner cards.
    """
    from scipy.optimize import least_squares

    cards = {t.id: t for t in tags if t.id in CORNER_IDS}
    if len(cards) < 3:
        raise ValueError("fewer than three corner cards")
    ids = sorted(cards)
    seen = np.array([cards[i].corners for i in ids])
    places = np.array([_usual_place(i, outer_mm) for i in ids])
    turns = _quarter_turns(seen, places)
    centre = ((size[0] - 1) / 2, (size[1] - 1) / 2)
    guess = focal_px or GUESSED_FOCAL_35MM * np.hypot(*size) / FILM_DIAGONAL_MM
    focal_sigma = FOCAL_SIGMA_EXIF if focal_px else FOCAL_SIGMA_GUESS
    square = _square()

    def corners_of(unknowns: np.ndarray) -> np.ndarray:
        out = np.empty((len(ids), 4, 3))
        for k, (x, y, turn, a, b) in enumerate(unknowns.reshape(-1, CARD_UNKNOWNS)):
            out[k, :, :2] = square @ _turn(turns[k] + turn).T + places[k] + [x, y]
            out[k, :, 2] = -CARD_ABOVE_RIM_MM + (out[k, :, :2] - places[k] - [x, y]) @ [a, b]
        return out.reshape(-1, 3)

    start = corners_of(np.zeros(CARD_UNKNOWNS * len(ids)))
    matrix = np.array([[guess, 0, centre[0]], [0, guess, centre[1]], [0, 0, 1]])
    _, rvec, tvec = cv2.solvePnP(start, seen.reshape(-1, 2), matrix, None, flags=cv2.SOLVEPNP_IPPE)
    prior = np.tile([PLACE_SIGMA_MM, PLACE_SIGMA_MM, TURN_SIGMA, CARD_TILT_SIGMA, CARD_TILT_SIGMA], len(ids))

    def misfit(u: np.ndarray) -> np.ndarray:
        rotation = cv2.Rodrigues(u[:3])[0]
        image = _project(corners_of(u[8:]), rotation, u[3:6], guess * np.exp(u[6]), u[7], centre)
        pull = (image - seen.reshape(-1, 2)).ravel() / CORNER_SIGMA_PX
        robust = np.sign(pull) * np.sqrt(2 * (np.sqrt(1 + pull**2 / 4) - 1) * 4)  # soft L1: a leaf on an edge
        return np.concatenate([robust, [u[6] / focal_sigma, u[7] / DISTORTION_SIGMA], u[8:] / prior])

    u0 = np.concatenate([rvec.ravel(), tvec.ravel(), [0.0, 0.0], np.zeros(len(prior))])
    scale = np.concatenate([[1e-3] * 3, [1.0] * 3, [1e-3, 1e-2], prior])
    u = least_squares(misfit, u0, x_scale=scale, method="trf", max_nfev=60).x
    rotation, focal = cv2.Rodrigues(u[:3])[0], guess * np.exp(u[6])
    image = _project(corners_of(u[8:]), rotation, u[3:6], focal, u[7], centre)
    off = np.linalg.norm(image - seen.reshape(-1, 2), axis=1)
    residual = float(np.sqrt((off**2).mean()))
    mm_per_px = SQUARE_MM / np.mean([cards[i].side_px for i in ids])
    return Pose(float(focal), centre, float(u[7]), rotation, u[3:6].copy(), residual, residual * mm_per_px, tuple(ids))


def _usual_place(card: int, outer_mm: tuple[float, float]) -> tuple[float, float]:
    (width, height), (bx, by) = outer_mm, CARD_BEYOND_MM
    return {0: (-bx, -by), 1: (width + bx, -by), 2: (width + bx, height + by), 3: (-bx, height + by)}[card]


def _square() -> np.ndarray:
    half = SQUARE_MM / 2
    return np.array([[-half, -half], [half, -half], [half, half], [-half, half]])


def _turn(angle: float) -> np.ndarray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _quarter_turns(seen: np.ndarray, places: np.ndarray) -> np.ndarray:
    """A card may lie turned by a quarter: which, from an affine look at the cards' centres."""
    design = np.column_stack([places, np.ones(len(places))])
    affine, *_ = np.linalg.lstsq(design, seen.mean(axis=1), rcond=None)
    to_mm = np.linalg.inv(affine[:2].T)
    top = (seen[:, 1] - seen[:, 0]) @ to_mm.T  # the card's top edge, in mm on the rim
    return np.round(np.arctan2(top[:, 1], top[:, 0]) / (np.pi / 2)) * (np.pi / 2)


def _project(points, rotation, translation, focal, k1, centre) -> np.ndarray:
    camera = points @ rotation.T + translation
    flat = camera[:, :2] / camera[:, 2:]
    flat = flat * (1 + k1 * (flat**2).sum(1, keepdims=True))
    return flat * focal + centre

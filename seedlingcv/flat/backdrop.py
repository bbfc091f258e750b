"""Where the camera stood for a side photo, from the tags of the backdrop, the flat tag and the corner cards.

Row frame, mm: `right` along row A as the camera sees it (0 at the flat's middle, column 1 at the right end),
`down` below the rim plane, `away` from the row-A line towards the backdrop. It is right-handed, as OpenCV
wants it. Lengths on the stems are read in the plane away = 0, which holds the row-A stems.

Tags are placed by hand, so their places on flat and backdrop enter as guesses with a spread, and are fitted
together with the camera (a bundle adjustment with priors). What is exact is the side of a tag's square.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.errors import PhotoError
from seedlingcv.tags import family
from seedlingcv.tags.detect import Tag

FLAT_LENGTH_MM, FLAT_WIDTH_MM = 546.0, 278.0  # a common "1020" plug flat (common practice, no source)
CELLS_LENGTH_MM, CELLS_WIDTH_MM = 511.0, 255.0  # what the cells take up of it
TAG_FROM_EDGE_MM = 26.0  # a tag's centre from the backdrop's top and side edges
SOIL_BELOW_RIM_MM = 5.0  # usual; common practice, no source
BACKDROP_TAGS = {family.BACKDROP_LEFT: -1, family.BACKDROP_RIGHT: 1}  # as the camera sees them
CORNER_CARDS = {0: 1, 1: -1}  # card 0 lies at column 1, at the right
CORNER_SD_PX = 0.4

# corners of an upright tag from its top left clockwise, x right and y down
SQUARE = family.SQUARE_MM / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)


@dataclass(frozen=True)
class SidePose:
    """The camera against row A.

    rotation (3, 3), translation (3,)  row frame to camera, mm
    focal_px, k1                       pinhole at the picture's middle, one radial term
    size                               stored picture: width, height in px
    rows, columns, pitch_mm            the flat's cells
    backdrop                           (4, 3) its corners in the row frame, top left clockwise as seen
    shift_mm                           the cells' middle against the row frame's 0 (see `with_shift`)
    tags_seen                          ids used
    """

    rotation: np.ndarray
    translation: np.ndarray
    focal_px: float
    k1: float
    size: tuple[int, int]
    rows: int
    columns: int
    pitch_mm: float
    backdrop: np.ndarray
    residual_px: float
    tags_seen: tuple[int, ...]
    shift_mm: float = 0.0

    def project(self, points: np.ndarray) -> np.ndarray:
        """(..., 3) row-frame mm -> (..., 2) px of the stored picture."""
        return _project(points, self.rotation, self.translation, self.focal_px, self.k1, self.size)

    def to_row(self, pixels: np.ndarray, away_mm: float | np.ndarray = 0.0) -> np.ndarray:
        """(n, 2) px -> (n, 2) right and up in mm on the plane `away_mm` behind the row-A line."""
        ray = self._rays(pixels)
        eye = self.eye
        step = (away_mm - eye[2]) / ray[:, 2]
        point = eye + ray * step[:, None]
        return np.column_stack([point[:, 0], -point[:, 1]])

    def _rays(self, pixels: np.ndarray) -> np.ndarray:
        width, height = self.size
        at = (np.asarray(pixels, float) - [(width - 1) / 2, (height - 1) / 2]) / self.focal_px
        flat = at.copy()
        for _ in range(6):  # the distortion is small: a fixed point is reached in a few rounds
            flat = at / (1 + self.k1 * (flat**2).sum(-1, keepdims=True))
        return np.column_stack([flat, np.ones(len(flat))]) @ self.rotation  # = R^T x

    @property
    def eye(self) -> np.ndarray:
        return -self.rotation.T @ self.translation

    @property
    def px_per_mm(self) -> float:
        """At the middle of the row, 30 mm above the rim."""
        two = self.project(np.array([[-5.0, -30, 0], [5.0, -30, 0]]))
        return float(np.linalg.norm(two[1] - two[0]) / 10)

    @property
    def tilt_deg(self) -> float:
        """Angle of the view axis against the horizontal."""
        return float(np.degrees(np.arcsin(np.clip(abs(self.rotation[2, 1]), 0, 1))))

    @property
    def residual_mm(self) -> float:
        return self.residual_px / self.px_per_mm

    @property
    def soil_up_mm(self) -> float:
        """The soil's height against the rim: the backdrop's lower edge stands on it."""
        return float(-self.backdrop[2:, 1].mean())

    def column_right_mm(self, column: int) -> float:
        """Middle of a column, counted from 1 at the right."""
        return self.shift_mm + ((self.columns + 1) / 2 - column) * self.pitch_mm

    def column_bounds_mm(self) -> np.ndarray:
        """(columns + 1,) boundaries along `right`, column 1's right one first."""
        return self.shift_mm + (self.columns / 2 - np.arange(self.columns + 1)) * self.pitch_mm

    def column_at(self, right_mm: float) -> int | None:
        column = int(np.floor((self.columns / 2) - (right_mm - self.shift_mm) / self.pitch_mm)) + 1
        return column if 1 <= column <= self.columns else None

    def with_shift(self, shift_mm: float) -> SidePose:
        """The same camera, the cells moved along the row to where the picture shows them."""
        return replace(self, shift_mm=shift_mm)


def fit_side(tags: list[Tag], size: tuple[int, int], focal_px: float | None, *, rows: int,
             columns: int) -> SidePose:
    """Fit camera, backdrop and cards to the tags of one side photo.

    tags      of the stored picture, any turn of it; at least one of the backdrop's two
    size      width, height in px
    focal_px  from EXIF; None takes a phone's usual 26 mm equivalent with a wide spread
    Raises PhotoError if no backdrop tag is among the tags.
    """
    seen = _one_each(tags)
    if not any(i in BACKDROP_TAGS for i in seen):
        raise PhotoError("No tag of the backdrop can be read.",
                         next_step="Stand the backdrop behind row A, tags 4 and 5 up, and take it again.")
    from scipy.optimize import least_squares

    focal_sd = 0.005 if focal_px else 0.1
    focal = focal_px or 26 / 43.27 * float(np.hypot(*size))
    scene = _Scene(seen, size, focal, focal_sd, CELLS_WIDTH_MM / rows)
    start = scene.start()
    fit = least_squares(scene.residuals, start, x_scale="jac", loss="soft_l1", f_scale=3.0, max_nfev=200)
    return scene.pose(fit.x, rows, columns)


def _one_each(tags: list[Tag]) -> dict[int, Tag]:
    """One tag of each id that belongs here; of flat tags the largest (nearest) only."""
    best: dict[int, Tag] = {}
    for tag in sorted(tags, key=lambda t: t.side_px):
        if tag.id in BACKDROP_TAGS or tag.id in CORNER_CARDS:
            best[tag.id] = tag
        elif family.is_flat(tag.id):
            best = {i: t for i, t in best.items() if not family.is_flat(i)}
            best[tag.id] = tag
    return best


class _Scene:
    """Unknowns laid out in one vector: camera (8), backdrop (6), then 3 to 6 for each tag."""

    def __init__(self, seen, size, focal, focal_sd, pitch_mm):
        self.seen, self.size, self.focal = seen, size, focal
        self.half_pitch = pitch_mm / 2
        self.row_from_edge = (FLAT_WIDTH_MM - CELLS_WIDTH_MM) / 2 + self.half_pitch  # rim edge to row-A line
        guesses: list[tuple[float, float]] = [(0, np.inf)] * 6 + [(0, focal_sd), (0, 0.03)]
        # backdrop: right, down of its lower edge, away, yaw, tilt, roll
        guesses += [(0, 6), (SOIL_BELOW_RIM_MM, 1.0), (self.half_pitch, 1.0), (0, 0.02), (0, 0.02), (0, 0.004)]
        self.at: dict[int, slice] = {}
        for tag_id in seen:
            first = len(guesses)
            if tag_id in BACKDROP_TAGS:  # right, down on the card, turn
                guesses += [(0, 1.0), (0, 1.0), (0, 0.03)]
            elif tag_id in CORNER_CARDS:  # right, away, up, turn, two tilts
                guesses += [(0, 2), (0, 2), (0, 0.5), (0, 0.08), (0, 0.02), (0, 0.02)]
            else:  # flat tag: right, up and away of its upper edge, lean, turn
                guesses += [(0, 300), (1.5, 0.7), (-3.5, 0.7), (0.63, 0.1), (0, 0.05)]
            self.at[tag_id] = slice(first, len(guesses))
        self.mean = np.array([g for g, _ in guesses])
        self.sd = np.array([s for _, s in guesses])
        self.corners = np.array([seen[i].corners for i in seen])

    def tag_points(self, tag_id: int, x: np.ndarray) -> np.ndarray:
        """(4, 3) corners in the row frame."""
        own = x[self.at[tag_id]]
        if tag_id in BACKDROP_TAGS:
            right = BACKDROP_TAGS[tag_id] * (family.BACKDROP_WIDTH_MM / 2 - TAG_FROM_EDGE_MM) + own[0]
            down = TAG_FROM_EDGE_MM - family.BACKDROP_HEIGHT_MM + own[1]
            return self.on_backdrop(_turn(SQUARE, own[2]) + [right, down], x, off=-1.3)
        if tag_id in CORNER_CARDS:
            side = CORNER_CARDS[tag_id]
            flat = _turn(-SQUARE if side else SQUARE, own[3])  # its top points to the front, away from the row
            right = side * (FLAT_LENGTH_MM / 2 + 7) + own[0]
            away = -self.row_from_edge - 14 + own[1]
            return np.column_stack([flat[:, 0] + right, -1.5 - own[2] + flat @ own[4:6],
                                    -flat[:, 1] + away])
        hang = _turn(SQUARE, own[4]) + [0, family.CARD_MM / 2]
        lean = own[3]
        return np.column_stack([hang[:, 0] + own[0], -own[1] + hang[:, 1] * np.sin(lean),
                                -self.row_from_edge + own[2] - hang[:, 1] * np.cos(lean)])

    def on_backdrop(self, flat: np.ndarray, x: np.ndarray, off: float = 0.0) -> np.ndarray:
        """(n, 2) right and down from the middle of the backdrop's lower edge -> (n, 3) row frame."""
        right, down, away, yaw, tilt, roll = x[8:14]
        local = np.column_stack([_turn(flat, roll), np.full(len(flat), off)])
        # leaning: what is high (down < 0) goes away; yaw: what is right goes away
        depth = local[:, 2] + yaw * local[:, 0] - tilt * local[:, 1]
        return np.column_stack([local[:, 0] + right, local[:, 1] + down, depth + away])

    def residuals(self, x: np.ndarray) -> np.ndarray:
        points = np.array([self.tag_points(i, x) for i in self.seen])
        rotation, translation, focal, k1 = self.camera(x)
        at = _project(points, rotation, translation, focal, k1, self.size)
        miss = (at - self.corners) / self.corner_sd()[:, None, None]
        bound = np.isfinite(self.sd)
        return np.concatenate([miss.ravel(), (x[bound] - self.mean[bound]) / self.sd[bound]])

    def corner_sd(self) -> np.ndarray:
        """Cards at a grazing angle, often cut by the picture's edge, are read far less well."""
        return np.array([4.0 if i in CORNER_CARDS else CORNER_SD_PX for i in self.seen])

    def camera(self, x: np.ndarray):
        rotation, _ = cv2.Rodrigues(x[:3].reshape(3, 1))
        return rotation, x[3:6], self.focal * np.exp(x[6]), x[7]

    def start(self) -> np.ndarray:
        x = self.mean.copy()
        ids = [i for i in self.seen if i in BACKDROP_TAGS]
        points = np.concatenate([self.tag_points(i, x) for i in ids])
        pixels = np.concatenate([self.seen[i].corners for i in ids])
        width, height = self.size
        camera = np.array([[self.focal, 0, (width - 1) / 2], [0, self.focal, (height - 1) / 2], [0, 0, 1]])
        ok, rvec, tvec = cv2.solvePnP(points, pixels, camera, None, flags=cv2.SOLVEPNP_SQPNP)
        if not ok:
            raise PhotoError("The backdrop's tags don't fit a camera.", next_step="Take the photo again.")
        x[:3], x[3:6] = np.ravel(rvec), np.ravel(tvec)
        return x

    def pose(self, x: np.ndarray, rows: int, columns: int) -> SidePose:
        rotation, translation, focal, k1 = self.camera(x)
        miss = [_project(self.tag_points(i, x), rotation, translation, focal, k1, self.size) - t.corners
                for i, t in self.seen.items() if i not in CORNER_CARDS]
        half, top = family.BACKDROP_WIDTH_MM / 2, -family.BACKDROP_HEIGHT_MM
        corners = np.array([[-half, top], [half, top], [half, 0], [-half, 0]])
        return SidePose(rotation, translation, float(focal), float(k1), self.size, rows, columns,
                        CELLS_LENGTH_MM / columns, self.on_backdrop(corners, x),
                        float(np.sqrt(np.mean(np.concatenate(miss) ** 2) * 2)), tuple(sorted(self.seen)))


def _turn(points: np.ndarray, angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def _project(points, rotation, translation, focal, k1, size) -> np.ndarray:
    camera = np.asarray(points, float) @ rotation.T + translation
    at = camera[..., :2] / camera[..., 2:]
    at = at * (1 + k1 * (at**2).sum(-1, keepdims=True))
    return at * focal + [(size[0] - 1) / 2, (size[1] - 1) / 2]

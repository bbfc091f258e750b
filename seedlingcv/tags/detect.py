"""Find the printed tags: found small, then each edge fitted at full size.

OpenCV's own corner refinement pulls blurred corners inward by about a pixel. A straight line through the
half-way points of an edge profile has no such pull, and uses every pixel of the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

SCALES = (4, 2, 1)  # try the small picture first; a tag of 30 px is still read there
EDGE_SAMPLES = 24
GAMMA = 2.2  # of the stored values, close enough to sRGB's (IEC 61966-2-1)


@dataclass(frozen=True)
class Tag:
    """corners : float64 array (4, 2), x and y in px, from the upright tag's top left clockwise."""

    id: int
    corners: np.ndarray
    sharpness: float  # edge rise in px, 10-90 %-like: twice the sigma of the fitted blur

    @property
    def centre(self) -> np.ndarray:
        return self.corners.mean(axis=0)

    @property
    def side_px(self) -> float:
        return float(np.linalg.norm(self.corners - np.roll(self.corners, -1, axis=0), axis=1).mean())


def detect_tags(grey: np.ndarray, *, wanted: int = 5) -> list[Tag]:
    """All 36h11 tags in a grey picture (uint8, (height, width)), sorted by id.

    Looks at a quarter of the size first and goes finer only while fewer than `wanted` are found.
    Two cards with the same id are both kept.
    """
    detector = _detector()
    found: list[tuple[int, np.ndarray]] = []
    for scale in SCALES:
        small = grey if scale == 1 else cv2.resize(grey, None, fx=1 / scale, fy=1 / scale,
                                                   interpolation=cv2.INTER_AREA)
        corners, ids, _ = detector.detectMarkers(small)
        for quad, tag_id in zip(corners, np.ravel(ids) if ids is not None else (), strict=True):
            at = (quad.reshape(4, 2) + 0.5) * scale - 0.5
            if all(np.linalg.norm(at.mean(0) - have.mean(0)) > 20 for _, have in found):
                found.append((int(tag_id), at.astype(np.float64)))
        if len(found) >= wanted:
            break
    tags = [Tag(tag_id, *_refine(grey, _refine(grey, corners)[0])) for tag_id, corners in found]
    return sorted(tags, key=lambda t: t.id)


def _detector() -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), parameters)


# Run twice: corners found in a small picture can be off by more than the first look allows for.
def _refine(grey: np.ndarray, corners: np.ndarray) -> tuple[np.ndarray, float]:
    lines, widths = [], []
    for i in range(4):
        line, width = _edge_line(grey, corners[i], corners[(i + 1) % 4])
        if line is None:
            return corners, float("nan")
        lines.append(line)
        widths.append(width)
    fitted = np.array([_cross(lines[i - 1], lines[i]) for i in range(4)])
    if not np.isfinite(fitted).all() or np.abs(fitted - corners).max() > 0.1 * _side(corners) + 3:
        return corners, float("nan")
    return fitted, float(np.median(widths))


def _side(corners: np.ndarray) -> float:
    return float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).mean())


def _edge_line(grey: np.ndarray, start: np.ndarray, end: np.ndarray):
    """The straight edge between two rough corners: ((point, direction), blur width in px)."""
    along = end - start
    length = float(np.linalg.norm(along))
    if length < 12:
        return None, float("nan")
    along /= length
    normal = np.array([along[1], -along[0]])  # corners run clockwise: this points out of the tag
    # the border is one module wide on either side: stay inside 80 % of it
    reach = max(2.0, 0.8 * length / 8)
    offsets = np.arange(-reach, reach + 0.25, 0.25)
    places = start + along * (np.linspace(0.08, 0.92, EDGE_SAMPLES) * length)[:, None]
    grid = places[:, None, :] + normal * offsets[None, :, None]
    profile = cv2.remap(grey, grid[..., 0].astype(np.float32), grid[..., 1].astype(np.float32),
                        cv2.INTER_LINEAR).astype(np.float64)
    profile = (profile / 255) ** GAMMA  # blur mixes light, not stored values: half-way is half the light
    dark = np.percentile(profile[:, : len(offsets) // 3], 50, axis=1)
    light = np.percentile(profile[:, -(len(offsets) // 3) :], 50, axis=1)
    contrast = light - dark
    good = contrast > 0.5 * np.median(contrast)
    if np.median(contrast) < 0.02 or good.sum() < 8:
        return None, float("nan")
    # area under the profile gives the half-way point without choosing a threshold
    share = np.clip((profile - dark[:, None]) / np.maximum(contrast, 1e-3)[:, None], 0, 1)
    crossing = offsets[-1] + 0.125 - share.sum(axis=1) * 0.25
    rise = np.abs((share > 0.1).sum(axis=1) - (share > 0.9).sum(axis=1)) * 0.25
    points = places + normal * crossing[:, None]
    good &= np.abs(crossing - np.median(crossing[good])) < max(1.0, 0.15 * reach)
    if good.sum() < 8:
        return None, float("nan")
    vx, vy, x, y = np.ravel(cv2.fitLine(points[good].astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01))
    return (np.array([x, y], float), np.array([vx, vy], float)), float(np.median(rise[good]))


def _cross(a, b) -> np.ndarray:
    """Where two lines (point, direction) meet."""
    matrix = np.array([a[1], -b[1]]).T
    if abs(np.linalg.det(matrix)) < 1e-6:
        return np.array([np.nan, np.nan])
    return a[0] + a[1] * np.linalg.solve(matrix, b[0] - a[0])[0]

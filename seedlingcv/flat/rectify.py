"""The flat as if photographed from straight above: each pixel a known place on a plane over the rim."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.flat.pose import Pose

MARGIN_MM = 45.0  # leaves hang over the rim, and the cards' white margins are needed
STRIP = 512  # rows
MAP_STEP = 16  # the mapping is smooth: worked out on every 16th pixel, linear between


@dataclass(frozen=True)
class PlaneView:
    """Pixel grid over a plane `z_mm` above the rim. Pixel (column u, row v) is at x = x0 + u / px_per_mm.

    width, height in px; x0, y0 in mm are the place of the first pixel's centre.
    """

    x0: float
    y0: float
    width: int
    height: int
    px_per_mm: float
    z_mm: float = 0.0

    def to_px(self, points_mm: np.ndarray) -> np.ndarray:
        return (np.asarray(points_mm, float) - [self.x0, self.y0]) * self.px_per_mm

    def to_mm(self, points_px: np.ndarray) -> np.ndarray:
        return np.asarray(points_px, float) / self.px_per_mm + [self.x0, self.y0]

    def at_scale(self, px_per_mm: float) -> PlaneView:
        """The same area (whole pixels, not their centres) with pixels of another size."""
        shift = 0.5 / px_per_mm - 0.5 / self.px_per_mm
        width, height = (round(n / self.px_per_mm * px_per_mm) for n in (self.width, self.height))
        return replace(self, x0=self.x0 + shift, y0=self.y0 + shift, width=width, height=height, px_per_mm=px_per_mm)

    def widened(self, px: int) -> PlaneView:
        """With so many pixels more on each side."""
        return replace(self, x0=self.x0 - px / self.px_per_mm, y0=self.y0 - px / self.px_per_mm,
                       width=self.width + 2 * px, height=self.height + 2 * px)

    def box(self, rect_mm: tuple[float, float, float, float]) -> tuple[slice, slice]:
        """Row and column slices of a rectangle (x0, y0, x1, y1) in mm, clipped to the picture."""
        (u0, v0), (u1, v1) = np.round(self.to_px([rect_mm[:2], rect_mm[2:]]) + 0.5).astype(int)
        return slice(max(v0, 0), max(min(v1, self.height), 0)), slice(max(u0, 0), max(min(u1, self.width), 0))


def plane_view(outer_mm: tuple[float, float], px_per_mm: float, z_mm: float = 0.0,
               margin_mm: float = MARGIN_MM) -> PlaneView:
    width, height = (round((side + 2 * margin_mm) * px_per_mm) for side in outer_mm)
    return PlaneView(-margin_mm, -margin_mm, width, height, px_per_mm, z_mm)


def rectify(image: np.ndarray, pose: Pose, view: PlaneView) -> np.ndarray:
    """The picture over `view`, uint8 (view.height, view.width[, 3]); black where the photo doesn't reach."""
    return cv2.remap(image, *_maps(pose, view), cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)


def unrectify(picture: np.ndarray, pose: Pose, view: PlaneView, size: tuple[int, int],
              how: int = cv2.INTER_NEAREST) -> np.ndarray:
    """A picture (by default labels, nearest neighbour) on `view` carried back to the photo's stored pixel grid.

    size : (width, height) of the photo. Returns the picture's dtype, (height, width), 0 outside the view.
    """
    width, height = size
    across, down = _ticks(width), _ticks(height)
    pixels = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)
    places = view.to_px(pose.to_plane(pixels, view.z_mm)).reshape(len(down), len(across), 2)
    out = np.empty((height, width), picture.dtype)
    for top in range(0, height, STRIP):  # maps of a whole photo would take 100 MB
        strip = out[top : top + STRIP]
        map_x, map_y = (_spread(places[..., k], (width, len(strip)), top) for k in (0, 1))
        cv2.remap(picture, map_x, map_y, how, dst=strip, borderMode=cv2.BORDER_CONSTANT)
    return out


def _maps(pose: Pose, view: PlaneView) -> tuple[np.ndarray, np.ndarray]:
    across, down = _ticks(view.width), _ticks(view.height)
    places = view.to_mm(np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2))
    pixels = pose.project(np.column_stack([places, np.full(len(places), view.z_mm)]))
    pixels = pixels.reshape(len(down), len(across), 2)
    size = (view.width, view.height)
    return _spread(pixels[..., 0], size), _spread(pixels[..., 1], size)


def _ticks(length: int) -> np.ndarray:
    """0, 16, 32 ... past the end, so that linear interpolation covers every pixel."""
    return np.arange(0, length + MAP_STEP, MAP_STEP, dtype=float)


def _spread(coarse: np.ndarray, size: tuple[int, int], top: int = 0) -> np.ndarray:
    """A coarse map, given at every MAP_STEP pixels, at every pixel of `size` from row `top` on."""
    scale = np.array([[1 / MAP_STEP, 0, 0], [0, 1 / MAP_STEP, top / MAP_STEP]])
    return cv2.warpAffine(coarse.astype(np.float32), scale, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                          borderMode=cv2.BORDER_REPLICATE)


def lift(picture: np.ndarray, view: PlaneView, eye_mm: np.ndarray, z_mm: float) -> tuple[np.ndarray, PlaneView]:
    """What is seen on one level plane, carried to another level along the rays from the camera.

    Between two level planes this is a plain scaling about the point below the camera, so a picture
    rectified once serves every height. Returns the picture on the new plane and its view.
    """
    eye = np.asarray(eye_mm, float)
    scale = (eye[2] - z_mm) / (eye[2] - view.z_mm)
    moved = eye[:2] + (np.array([view.x0, view.y0]) - eye[:2]) * scale
    shift = (moved - [view.x0, view.y0]) * view.px_per_mm
    matrix = np.array([[scale, 0, shift[0]], [0, scale, shift[1]]])
    if picture.dtype == bool:
        moved_picture = cv2.warpAffine(picture.astype(np.uint8) * 255, matrix, (view.width, view.height)) > 127
    else:
        moved_picture = cv2.warpAffine(picture, matrix, (view.width, view.height), flags=cv2.INTER_NEAREST)
    return moved_picture, replace(view, z_mm=z_mm)


def lift_points(points_mm: np.ndarray, eye_mm: np.ndarray, z_from_mm: float, z_to_mm: float) -> np.ndarray:
    """(N, 2) places on one level plane carried to another along the camera's rays; see `lift`."""
    eye = np.asarray(eye_mm, float)
    scale = (eye[2] - z_to_mm) / (eye[2] - z_from_mm)
    return eye[:2] + (np.asarray(points_mm, float) - eye[:2]) * scale

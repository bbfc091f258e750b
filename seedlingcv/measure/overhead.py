"""From an overhead photo to figures for each cell.

Two steps, because the height of the leaves is settled between them (from a second photo, the side photo or
the crop): `read_overhead` finds grid and vegetation on the rim plane, `measure_overhead` carries them to the
canopy plane, splits plants and measures.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.grid import GridFit, guess_layout, settle_grid
from seedlingcv.flat.layout import FlatLayout, known_layouts, standard_layout
from seedlingcv.flat.pose import Pose
from seedlingcv.flat.rectify import PlaneView, lift, lift_points, plane_view, rectify
from seedlingcv.flat.white import balance, white_reference
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.segment.plants import Plants, split_plants
from seedlingcv.segment.vegetation import find_vegetation
from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import CORNER_IDS

PX_PER_MM = 3.0
# Where more than this share of a plant's outline borders on other plants, whose leaves those are is a guess.
MOST_CONTACT = 0.30
RIM_EDGE_MM = 3.0


@dataclass(frozen=True)
class OverheadReading:
    """picture : uint8 (M, N, 3) BGR, light-corrected, on `view` (the rim plane); vegetation : bool (M, N)."""

    fit: GridFit
    view: PlaneView
    picture: np.ndarray
    vegetation: np.ndarray

    @property
    def eye_mm(self) -> np.ndarray:
        return self.fit.pose.eye_mm


@dataclass(frozen=True)
class OverheadMeasurement:
    cells: list[CellMeasurement]
    plants: Plants


def settle_layout(image: np.ndarray, pose: Pose, layout: tuple[int, int] | None) -> GridFit | None:
    """The grid of the given rows x columns, or of the best-fitting usual layout; None if none is found."""
    if layout is not None:
        fit = settle_grid(image, pose, standard_layout(*layout))
        return fit if fit.found else None
    return guess_layout(image, pose, [standard_layout(*known) for known in known_layouts()])


def read_overhead(image: np.ndarray, tags: list[Tag], fit: GridFit) -> OverheadReading:
    """Rectify, correct the light by the cards, and find vegetation.

    image : uint8 (height, width, 3) BGR as stored
    """
    view = plane_view(fit.layout.outer_mm, PX_PER_MM)
    cards = [tag for tag in tags if tag.id in CORNER_IDS]
    picture = balance(rectify(image, fit.pose, view), white_reference(image, cards))
    cells, rim = _cells_and_rim(fit.layout, view)
    vegetation = find_vegetation(picture, where=cells, tray=rim, px_per_mm=view.px_per_mm).mask
    return OverheadReading(fit, view, picture, vegetation)


def measure_overhead(reading: OverheadReading, canopy_mm: float,
                     known: Mapping[int, bool] | None = None) -> OverheadMeasurement:
    """Figures of every cell, with leaves taken to stand `canopy_mm` above the rim.

    known : cell index -> whether a plant stands there, where the side photo has told
    """
    layout, eye = reading.fit.layout, reading.eye_mm
    mask, view = lift(reading.vegetation, reading.view, eye, canopy_mm)
    picture, _ = lift(reading.picture, reading.view, eye, canopy_mm)
    plants = split_plants(mask, view, layout, eye, known)
    cells = []
    for number, cell in enumerate(layout.cells):
        cover = float(mask[view.box(cell.rect_mm)].mean())
        cells.append(_measure_cell(cell.name, cover, plants, number, picture))
    return OverheadMeasurement(cells, plants)


def _measure_cell(name: str, cover: float, plants: Plants, number: int, picture: np.ndarray) -> CellMeasurement:
    own, corner = _own_pixels(plants, number)
    if own is None:
        return CellMeasurement(name, plants=0, canopy_cover=cover, flags=("empty",))
    px_per_mm = plants.view.px_per_mm
    window = picture[corner[0] : corner[0] + own.shape[0], corner[1] : corner[1] + own.shape[1]][own]
    sure = plants.contact[number] <= MOST_CONTACT
    return CellMeasurement(
        name, plants=1, canopy_cover=cover,
        leaf_spread_mm=feret_px(own) / px_per_mm if sure else None,
        leaf_area_mm2=float(own.sum()) / px_per_mm**2 if sure else None,
        greenness=green_leaf_index(window), yellow_fraction=float((window[:, 2] >= window[:, 1]).mean()),
        flags=() if sure else ("overlap_unsure",),
    )


def _own_pixels(plants: Plants, number: int) -> tuple[np.ndarray | None, tuple[int, int]]:
    """A cell's plant as a small bool picture, and that picture's first row and column."""
    box = plants.boxes.get(number)
    if box is None:
        return None, (0, 0)
    return plants.labels[box] == number + 1, (box[0].start, box[1].start)


def feret_px(mask: np.ndarray) -> float:
    """Maximum Feret diameter: the largest distance between two pixels' outer corners.

    mask : bool (M, N). Equals scikit-image's `feret_diameter_max` up to its half-pixel outline.
    """
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not contours:
        return 0.0
    hull = cv2.convexHull(np.vstack(contours)).reshape(-1, 2).astype(float)
    return float(np.linalg.norm(hull[:, None] - hull[None], axis=2).max()) + 1.0


def green_leaf_index(pixels: np.ndarray) -> float:
    """Mean of (2G - R - B) / (2G + R + B) over (N, 3) BGR pixels."""
    blue, green, red = (pixels[:, k].astype(float) for k in range(3))
    return float(np.mean((2 * green - red - blue) / np.maximum(2 * green + red + blue, 1)))


def _cells_and_rim(layout: FlatLayout, view: PlaneView) -> tuple[np.ndarray, np.ndarray]:
    """Bool masks of the cells' area and of the flat's rim."""
    (width, height), edge = layout.outer_mm, RIM_EDGE_MM
    x0, y0 = layout.cells[0].rect_mm[:2]
    x1, y1 = layout.cells[-1].rect_mm[2:]
    cells, rim = np.zeros((2, view.height, view.width), bool)
    cells[view.box((x0, y0, x1, y1))] = True
    rim[view.box((edge, edge, width - edge, height - edge))] = True
    rim[view.box((x0 - edge, y0 - edge, x1 + edge, y1 + edge))] = False
    return cells, rim


def shown_outlines(plants: Plants, reading: OverheadReading, names: list[str],
                   shown: PlaneView) -> dict[str, list[list[tuple[float, float]]]]:
    """Each plant's outline, closed polygons in the pixels of `shown` (a view of the rim plane)."""
    outlines = {}
    for number, name in enumerate(names):
        own, (row, column) = _own_pixels(plants, number)
        if own is None:
            continue
        contours, _ = cv2.findContours(own.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        polygons = []
        for contour in contours:
            simple = cv2.approxPolyDP(contour, 1.0, True).reshape(-1, 2)
            if len(simple) < 3:
                continue
            places = plants.view.to_mm(simple + [column, row])
            places = lift_points(places, reading.eye_mm, plants.view.z_mm, shown.z_mm)
            polygons.append([(float(x), float(y)) for x, y in np.round(shown.to_px(places), 1)])
        if polygons:
            outlines[name] = polygons
    return outlines

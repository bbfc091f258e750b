"""From what an overhead photo shows (`reading`) to figures for each cell.

Two steps, because the height of the leaves is settled between them (from a second photo, the side photo or
the crop): a reading lies on the rim plane; here it is carried to the canopy plane, split into plants, measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.flat.rectify import PlaneView, lift, lift_points, unrectify
from seedlingcv.measure.heights import labels_on
from seedlingcv.measure.reading import CERTAIN, OverheadReading
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.segment.heights import HeightMap, orthorectify
from seedlingcv.segment.owners import LEAST_PLANT_MM2, owners_from_reading
from seedlingcv.segment.plants import Plants, split_plants
from seedlingcv.segment.vegetation import without_small

# Mean chance that a plant's pixels are its own, below which spread and area are not given.
LEAST_SURENESS = 0.7
FILL_MM = 1.0  # the vegetation's edge may lie so far outside the owners', which are seen less closely
LEAST_PIECE = 0.03  # of a plant's area; a leaf apart from its plant is larger, and a few stray pixels double the spread
# Standard errors such that about nine in ten 90 % intervals held the truth on eight drawn flats, whichever of them was
# left out; too few still where stretched plants lean into each other. Of cover: absolute and relative.
COVER_SE, COVER_RELATIVE_SE = 0.006, 0.06
# Of leaf spread: of a plant alone, and, relative, of one that touches another or is seen in pieces.
SPREAD_SE_MM, SPREAD_RELATIVE_SE, TOUCHING_SE, IN_PIECES_SE = 0.6, 0.03, 0.15, 0.18
PIECES = 0.05  # of a plant's area, apart from its largest piece
# Without each leaf's own height: leaves stand this share of the canopy plane's height above or below it, and what
# that displaces goes to a neighbour's cell.
CANOPY_SD, COVER_SE_ONE_PLANE = 0.3, 0.02


@dataclass(frozen=True)
class OverheadMeasurement:
    cells: list[CellMeasurement]
    plants: Plants


def find_plants(reading: OverheadReading, canopy_mm: float, known: Mapping[int, int] | None = None) -> Plants:
    """Whose each pixel is, and how many plants stand in each cell, on the canopy plane.

    known : cell index -> how many plants stand there, where the side photo has told
    """
    if reading.network is not None:
        return _plants_by_network(reading, canopy_mm, known)
    mask, view = lift(reading.vegetation, reading.view, reading.eye_mm, canopy_mm)
    return split_plants(mask, view, reading.fit.layout, reading.eye_mm, known)


def measure_overhead(reading: OverheadReading, canopy_mm: float, known: Mapping[int, int] | None = None,
                     heights: HeightMap | None = None, *, leaves_in_pairs: bool = False) -> OverheadMeasurement:
    """Figures of every cell.

    Leaves are measured where `heights` puts each pixel, or, without it, as if all stood `canopy_mm` above the rim.
    leaves_in_pairs : whether the crop's true leaves come two by two; their number is then rounded to an even one
    """
    layout, eye = reading.fit.layout, reading.eye_mm
    plants = find_plants(reading, canopy_mm, known)
    picture, _ = lift(reading.picture, reading.view, eye, canopy_mm)
    shapes = plants
    if heights is None:
        mask, view = lift(reading.vegetation, reading.view, eye, canopy_mm)
    else:
        mask, view = orthorectify(reading.vegetation, reading.view, heights), reading.view
        if reading.network is not None:  # without it owners are too rough for shapes to gain by single heights
            shapes = replace(plants, labels=orthorectify(labels_on(view, plants, eye), view, heights), view=view)
    leaves, step = None if reading.network is None else reading.network.true_leaves, 2 if leaves_in_pairs else 1
    one_plane_se = CANOPY_SD * max(canopy_mm, 0.0) / eye[2] if heights is None else 0.0
    cells = []
    for number, cell in enumerate(layout.cells):
        cover = float(mask[view.box(cell.rect_mm)].mean())
        count = None if leaves is None else max(0, step * round(float(leaves[number]) / step))
        measured = _measure_cell(cell.name, cover, plants, shapes, number, picture, count)
        cells.append(_with_errors(measured, one_plane_se, _entangled_se(plants, number)))
    return OverheadMeasurement(cells, plants)


def _with_errors(cell: CellMeasurement, one_plane_se: float, entangled_se: float) -> CellMeasurement:
    """one_plane_se : relative error of lengths where all leaves are taken to stand on one plane, else 0."""
    cover = cell.canopy_cover
    se = {"canopy_cover": float(np.hypot(np.hypot(COVER_SE, COVER_RELATIVE_SE * cover),
                                         COVER_SE_ONE_PLANE if one_plane_se else 0.0))}
    if cell.leaf_spread_mm is not None:
        relative = np.hypot(np.hypot(SPREAD_RELATIVE_SE, entangled_se), one_plane_se)
        se["leaf_spread_mm"] = float(np.hypot(SPREAD_SE_MM, relative * cell.leaf_spread_mm))
    return replace(cell, se=se)


def _entangled_se(plants: Plants, number: int) -> float:
    """Relative error of a plant's spread for not knowing surely which leaves are its own."""
    box = plants.boxes.get(number)
    if box is None:
        return 0.0
    rows, columns = (slice(max(b.start - 2, 0), b.stop + 2) for b in box)
    labels = plants.labels[rows, columns]
    own = (labels == number + 1).astype(np.uint8)
    around = cv2.dilate(own, np.ones((3, 3), np.uint8)) > own
    touching = (labels[around] > 0).any()
    largest = cv2.connectedComponentsWithStats(own)[2][1:, cv2.CC_STAT_AREA].max()
    return float(np.hypot(TOUCHING_SE * touching, IN_PIECES_SE * (1 - largest / own.sum() > PIECES)))


def _plants_by_network(reading: OverheadReading, canopy_mm: float, known: Mapping[int, int] | None) -> Plants:
    """The network's owners, cut along the vegetation's edges and carried from the rim plane to the canopy plane."""
    owners = owners_from_reading(reading.network, reading.fit.layout, known)
    inside = owners.view.at_scale(reading.view.px_per_mm)
    labels = np.zeros(reading.vegetation.shape, np.uint16)
    column, row = np.round(reading.view.to_px([inside.x0, inside.y0])).astype(int)
    labels[row : row + inside.height, column : column + inside.width] = cv2.resize(
        owners.labels, (inside.width, inside.height), interpolation=cv2.INTER_NEAREST)
    labels = np.where(reading.vegetation, _filled(labels, round(FILL_MM * inside.px_per_mm)), 0).astype(np.uint16)
    lifted, view = lift(labels, reading.view, reading.eye_mm, canopy_mm)
    shown = np.bincount(labels.ravel(), minlength=len(owners.plants) + 1)[1:] / view.px_per_mm**2
    count = np.where(shown < LEAST_PLANT_MM2, 0, owners.plants)  # looked at closely, nothing grows there
    return Plants(lifted, view, count, np.nan_to_num(owners.sureness) >= LEAST_SURENESS)


def _filled(labels: np.ndarray, px: int) -> np.ndarray:
    """Labels grown by up to so many pixels into where there are none."""
    for _ in range(px):
        labels = np.where(labels == 0, cv2.dilate(labels, np.ones((3, 3), np.uint8)), labels)
    return labels


def photo_labels(reading: OverheadReading, plants: Plants, size: tuple[int, int]) -> np.ndarray:
    """uint16 (height, width): whose each of the photo's stored pixels is, 0 = nobody's.

    plants : as this photo sees them; size : (width, height) of the photo
    """
    if reading.close is None:
        return unrectify(plants.labels, reading.fit.pose, plants.view, size)
    labels = unrectify(_filled(plants.labels, 2), reading.fit.pose, plants.view, size)
    chance = unrectify(reading.close, reading.fit.pose, reading.close_view, size, cv2.INTER_LINEAR)
    labels[chance < 255 * CERTAIN] = 0
    return labels


def _measure_cell(name: str, cover: float, plants: Plants, shapes: Plants, number: int, picture: np.ndarray,
                  leaves: int | None) -> CellMeasurement:
    """plants : as seen, for colours; shapes : in their true places, for lengths and areas."""
    count = int(plants.count[number])
    seen, corner = _own_pixels(plants, number)
    own, _ = _own_pixels(shapes, number)
    if count == 0 or seen is None or own is None:
        return CellMeasurement(name, plants=count, canopy_cover=cover, flags=("overlap_unsure" if count else "empty",))
    if count > 1:
        return CellMeasurement(name, plants=count, canopy_cover=cover, flags=("several_plants",))
    own = without_small(own, LEAST_PIECE * own.sum())
    px_per_mm = shapes.view.px_per_mm
    window = picture[corner[0] : corner[0] + seen.shape[0], corner[1] : corner[1] + seen.shape[1]][seen]
    sure = bool(plants.sure[number])
    return CellMeasurement(
        name, plants=1, canopy_cover=cover,
        leaf_spread_mm=feret_px(own) / px_per_mm if sure else None,
        leaf_area_mm2=float(own.sum()) / px_per_mm**2 if sure else None,
        true_leaves=leaves,
        greenness=green_leaf_index(window), yellow_fraction=float((window[:, 2] >= window[:, 1]).mean()),
        flags=(*(() if sure else ("overlap_unsure",)), *(() if leaves is not None else ("leaves_unsure",))),
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

"""From an overhead photo to figures for each cell.

Two steps, because the height of the leaves is settled between them (from a second photo, the side photo or
the crop): `read_overhead` finds grid and vegetation on the rim plane, `measure_overhead` carries them to the
canopy plane, splits plants and measures.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.flags import Problem
from seedlingcv.flat.grid import GridFit, better_layout, guess_layout, settle_grid
from seedlingcv.flat.layout import FlatLayout, known_layouts, standard_layout
from seedlingcv.flat.pose import Pose
from seedlingcv.flat.rectify import PlaneView, lift, lift_points, plane_view, rectify
from seedlingcv.flat.white import balance, white_reference
from seedlingcv.measure.heights import labels_on
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.segment.heights import HeightMap, orthorectify
from seedlingcv.segment.model import FlatReading, read_flat, reading_view
from seedlingcv.segment.owners import VEGETATION, owners_from_reading
from seedlingcv.segment.plants import Plants, split_plants
from seedlingcv.segment.vegetation import find_vegetation
from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import CORNER_IDS

PX_PER_MM = 3.0
# Below this overlap of what colour and network call vegetation, the network is out of its depth: photos of a
# kind that it was not trained for. On 16 drawn photos it was 0.67 and more.
LEAST_AGREEMENT = 0.4
# Mean chance that a plant's pixels are its own, below which spread and area are not given.
LEAST_SURENESS = 0.7
RIM_EDGE_MM = 3.0
# Standard errors, absolute and relative, such that about nine in ten 90 % intervals held the truth on eight drawn
# flats; fewer where stretched plants lean into each other.
COVER_SE, COVER_RELATIVE_SE = 0.015, 0.10
SPREAD_SE_MM, SPREAD_RELATIVE_SE = 4.0, 0.10
# Without each leaf's own height: leaves stand this share of the canopy plane's height above or below it, and what
# that displaces goes to a neighbour's cell.
CANOPY_SD, COVER_SE_ONE_PLANE = 0.3, 0.02


@dataclass(frozen=True)
class OverheadReading:
    """picture : uint8 (M, N, 3) BGR, light-corrected, on `view` (the rim plane); vegetation : bool (M, N), by colour;
    network : what the network sees, None where it was not asked or is out of its depth."""

    fit: GridFit
    view: PlaneView
    picture: np.ndarray
    vegetation: np.ndarray
    network: FlatReading | None = None

    @property
    def eye_mm(self) -> np.ndarray:
        return self.fit.pose.eye_mm


@dataclass(frozen=True)
class OverheadMeasurement:
    cells: list[CellMeasurement]
    plants: Plants


def settle_layout(image: np.ndarray, pose: Pose, layout: tuple[int, int] | None) -> GridFit | Problem:
    """The grid of the given rows x columns, or of the best-fitting usual layout; what is wrong if none is found.

    Under a closed canopy the grid may not show. Four cards then still hold the frame to a mm or two, and the fit
    says by `found` that the picture didn't confirm it.
    """
    if layout is None:
        found = guess_layout(image, pose, [standard_layout(*known) for known in known_layouts()])
        return found or Problem("grid_unsure")
    fit = settle_grid(image, pose, standard_layout(*layout))
    if not fit.found:
        fit = GridFit(standard_layout(*layout), pose, fit.contrast)
    seen = better_layout(image, fit, [standard_layout(*rival) for rival in _rivals(layout)])
    if seen is not None:
        said = f"{layout[0]}x{layout[1]}"
        return Problem("layout_wrong", facts={"said": said, "seen": f"{seen.rows}x{seen.columns}"})
    return fit if fit.found or len(pose.cards) == len(CORNER_IDS) else Problem("grid_unsure")


def _rivals(layout: tuple[int, int]) -> list[tuple[int, int]]:
    """Usual layouts, and those a miscount away from the given one."""
    rows, columns = layout
    near = {(r, c) for r in (rows - 1, rows, rows + 1) for c in (columns - 1, columns, columns + 1) if min(r, c) > 1}
    return sorted((near | set(known_layouts())) - {layout})


def read_overhead(image: np.ndarray, tags: list[Tag], fit: GridFit) -> OverheadReading:
    """Rectify, correct the light by the cards, and find vegetation by colour.

    image : uint8 (height, width, 3) BGR as stored
    """
    view = plane_view(fit.layout.outer_mm, PX_PER_MM)
    cards = [tag for tag in tags if tag.id in CORNER_IDS]
    picture = balance(rectify(image, fit.pose, view), white_reference(image, cards))
    cells, rim = _cells_and_rim(fit.layout, view)
    vegetation = find_vegetation(picture, where=cells, tray=rim, px_per_mm=view.px_per_mm).mask
    return OverheadReading(fit, view, picture, vegetation)


def ask_network(reading: OverheadReading) -> OverheadReading:
    """The same reading with what the network sees of the plants, unless it is out of its depth."""
    layout, wanted = reading.fit.layout, reading_view(reading.fit.layout)
    scale = wanted.px_per_mm / reading.view.px_per_mm
    small = cv2.resize(reading.picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    start = round((wanted.x0 - reading.view.x0) * wanted.px_per_mm)
    picture = small[start : start + wanted.height, start : start + wanted.width]
    network = read_flat(picture, layout, reading.eye_mm)
    if _agreement(reading.vegetation, reading.view, network, layout) < LEAST_AGREEMENT:
        return reading
    return replace(reading, network=network)


def _agreement(vegetation: np.ndarray, view: PlaneView, network: FlatReading, layout: FlatLayout) -> float:
    """Intersection over union of the two vegetations over the flat; 1 where both see none."""
    other = network.view
    scale = other.px_per_mm / view.px_per_mm
    small = cv2.resize(vegetation.astype(np.uint8) * 255, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    coarse = PlaneView(view.x0, view.y0, small.shape[1], small.shape[0], other.px_per_mm)
    flat = (0.0, 0.0, *layout.outer_mm)
    a, b = small[coarse.box(flat)] > 127, network.vegetation[other.box(flat)] > VEGETATION
    either = (a | b).sum()
    return float((a & b).sum() / either) if either else 1.0


def find_plants(reading: OverheadReading, canopy_mm: float, known: Mapping[int, int] | None = None) -> Plants:
    """Whose each pixel is, and how many plants stand in each cell, on the canopy plane.

    known : cell index -> how many plants stand there, where the side photo has told
    """
    mask, view = lift(reading.vegetation, reading.view, reading.eye_mm, canopy_mm)
    if reading.network is None:
        return split_plants(mask, view, reading.fit.layout, reading.eye_mm, known)
    return _plants_by_network(reading, view, known)


def measure_overhead(reading: OverheadReading, canopy_mm: float, known: Mapping[int, int] | None = None,
                     heights: HeightMap | None = None) -> OverheadMeasurement:
    """Figures of every cell.

    Leaves are measured where `heights` puts each pixel, or, without it, as if all stood `canopy_mm` above the rim.
    """
    layout, eye = reading.fit.layout, reading.eye_mm
    plants = find_plants(reading, canopy_mm, known)
    picture, _ = lift(reading.picture, reading.view, eye, canopy_mm)
    mask, view = lift(reading.vegetation, reading.view, eye, canopy_mm)
    shapes = plants
    if heights is not None:
        mask, view = orthorectify(reading.vegetation, reading.view, heights), reading.view
        if reading.network is not None:  # without it owners are too rough for shapes to gain by single heights
            shapes = replace(plants, labels=orthorectify(labels_on(view, plants, eye), view, heights), view=view)
    leaves = None if reading.network is None else reading.network.true_leaves
    one_plane_se = CANOPY_SD * max(canopy_mm, 0.0) / eye[2] if heights is None else 0.0
    cells = []
    for number, cell in enumerate(layout.cells):
        cover = float(mask[view.box(cell.rect_mm)].mean())
        count = None if leaves is None else max(0, round(float(leaves[number])))
        measured = _measure_cell(cell.name, cover, plants, shapes, number, picture, count)
        cells.append(_with_errors(measured, one_plane_se))
    return OverheadMeasurement(cells, plants)


def _with_errors(cell: CellMeasurement, one_plane_se: float) -> CellMeasurement:
    """one_plane_se : relative error of lengths where all leaves are taken to stand on one plane, else 0."""
    cover = cell.canopy_cover
    se = {"canopy_cover": float(np.hypot(np.hypot(COVER_SE, COVER_RELATIVE_SE * cover),
                                         COVER_SE_ONE_PLANE if one_plane_se else 0.0))}
    if cell.leaf_spread_mm is not None:
        relative = np.hypot(SPREAD_RELATIVE_SE, one_plane_se)
        se["leaf_spread_mm"] = float(np.hypot(SPREAD_SE_MM, relative * cell.leaf_spread_mm))
    return replace(cell, se=se)


def _plants_by_network(reading: OverheadReading, view: PlaneView, known: Mapping[int, int] | None) -> Plants:
    """The network's owners, carried from the rim plane to the canopy plane `view`."""
    owners = owners_from_reading(reading.network, reading.fit.layout, known)
    scale = view.px_per_mm / owners.view.px_per_mm
    labels = np.zeros((view.height, view.width), np.uint16)
    large = cv2.resize(owners.labels, None, fx=scale, fy=scale, interpolation=cv2.INTER_NEAREST)
    column, row = np.round(reading.view.to_px([owners.view.x0, owners.view.y0])).astype(int)
    labels[row : row + large.shape[0], column : column + large.shape[1]] = large
    lifted, _ = lift(labels, reading.view, reading.eye_mm, view.z_mm)
    return Plants(lifted, view, owners.plants, np.nan_to_num(owners.sureness) >= LEAST_SURENESS)


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

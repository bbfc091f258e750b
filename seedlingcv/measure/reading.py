"""What one overhead photo shows: its grid, its vegetation by colour, and what the networks see in it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from seedlingcv.flags import Problem
from seedlingcv.flat.grid import GridFit, better_layout, guess_layout, settle_grid
from seedlingcv.flat.layout import FlatLayout, known_layouts, standard_layout
from seedlingcv.flat.pose import Pose
from seedlingcv.flat.rectify import PlaneView, rectify
from seedlingcv.flat.white import balance, white_reference
from seedlingcv.segment import edges
from seedlingcv.segment.model import FlatReading, read_flat, reading_view
from seedlingcv.segment.network import logit
from seedlingcv.segment.owners import LEAST_PLANT_MM2, VEGETATION
from seedlingcv.segment.vegetation import find_vegetation, without_small
from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import CORNER_IDS

PX_PER_MM = 3.0  # of what is measured; networks read other scales
MARGIN_MM = 13.0  # beyond what the network reads: leaves hang far over the rim
CERTAIN = 0.6  # a pixel is vegetation from this chance on; chosen on flats that the network had not seen
# Below this overlap of what colour and network call vegetation, the network is out of its depth: photos of a
# kind that it was not trained for. On 16 drawn photos it was 0.67 and more.
LEAST_AGREEMENT = 0.4
SURE = 0.9  # chance of an empty cell, from which on a stem in front of it is taken for a neighbour's leaf
RIM_EDGE_MM = 3.0


@dataclass(frozen=True)
class OverheadReading:
    """What one overhead photo shows, on the rim plane.

    picture : uint8 (M, N, 3) BGR, light-corrected, on `view`
    vegetation : bool (M, N), by colour or, where the networks were asked, by them
    network : what the network sees, None where it was not asked or is out of its depth
    close : before the networks are asked, uint8 (m, n, 3) BGR, the picture at their scale (`close_view`); after it,
        None or uint8 (m, n), the chance of vegetation (255 = certain)
    """

    fit: GridFit
    view: PlaneView
    picture: np.ndarray
    vegetation: np.ndarray
    network: FlatReading | None = None
    close: np.ndarray | None = None

    @property
    def close_view(self) -> PlaneView:
        return self.view.at_scale(edges.PX_PER_MM)

    @property
    def eye_mm(self) -> np.ndarray:
        return self.fit.pose.eye_mm


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
    wide = reading_view(fit.layout).at_scale(edges.PX_PER_MM).widened(round(MARGIN_MM * edges.PX_PER_MM))
    cards = [tag for tag in tags if tag.id in CORNER_IDS]
    close = balance(rectify(image, fit.pose, wide), white_reference(image, cards))
    view = wide.at_scale(PX_PER_MM)
    picture = cv2.resize(close, (view.width, view.height), interpolation=cv2.INTER_AREA)
    cells, rim = _cells_and_rim(fit.layout, view)
    vegetation = find_vegetation(picture, where=cells, tray=rim, px_per_mm=view.px_per_mm).mask
    return OverheadReading(fit, view, picture, vegetation, close=close)


def ask_networks(reading: OverheadReading) -> OverheadReading:
    """The same reading with what the networks see of the plants, unless they are out of their depth."""
    layout, wide = reading.fit.layout, reading.close_view
    wanted = reading_view(layout)
    inside = wanted.at_scale(wide.px_per_mm)
    column, row = np.round(wide.to_px([inside.x0, inside.y0])).astype(int)
    window = np.s_[row : row + inside.height, column : column + inside.width]
    small = cv2.resize(reading.close[window], (wanted.width, wanted.height), interpolation=cv2.INTER_AREA)
    network = read_flat(small, layout, reading.eye_mm)
    if _agreement(reading.vegetation, reading.view, network, layout) < LEAST_AGREEMENT:
        return replace(reading, close=None)
    told = np.zeros((2, wide.height, wide.width), np.float32)
    for plane, chance in zip(told, (network.vegetation, network.stem), strict=True):
        plane[window] = cv2.resize(logit(chance), (inside.width, inside.height), interpolation=cv2.INTER_LINEAR)
    chance = edges.vegetation_chance(reading.close, told)
    size = (reading.view.width, reading.view.height)
    vegetation = cv2.resize(chance, size, interpolation=cv2.INTER_AREA) >= 255 * CERTAIN
    vegetation = without_small(vegetation, LEAST_PLANT_MM2 * reading.view.px_per_mm**2)
    return replace(reading, network=network, vegetation=vegetation, close=chance)


def both_told(first: OverheadReading, second: OverheadReading) -> tuple[OverheadReading, OverheadReading]:
    """Two photos of one flat, each now with the mean of what both say of plants and true leaves in the cells."""
    if first.network is None or second.network is None:
        return first, second
    one, other = first.network, second.network
    mean = {"count": (one.count + other.count) / 2, "true_leaves": (one.true_leaves + other.true_leaves) / 2}
    return tuple(replace(r, network=replace(r.network, **mean)) for r in (first, second))


def surely_empty(reading: OverheadReading) -> frozenset[int]:
    """Indices of cells in which the network is sure that nothing stands."""
    if reading.network is None:
        return frozenset()
    return frozenset(np.flatnonzero(reading.network.count[:, 0] > SURE).tolist())


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

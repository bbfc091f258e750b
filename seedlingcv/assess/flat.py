"""One flat on one day: its photos to its figures and pictures."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.assess.look import Look
from seedlingcv.assess.masks import write_mask
from seedlingcv.errors import PhotoError
from seedlingcv.flags import Problem
from seedlingcv.flat.backdrop import fit_side
from seedlingcv.flat.rectify import plane_view
from seedlingcv.flat.white import white_reference
from seedlingcv.measure.heights import PlantHeight, plant_heights
from seedlingcv.measure.join import join_views, planted_by_side
from seedlingcv.measure.overhead import (
    OverheadMeasurement,
    find_plants,
    measure_overhead,
    photo_labels,
    shown_outlines,
)
from seedlingcv.measure.pictures import FlatPictures
from seedlingcv.measure.reading import (
    OverheadReading,
    ask_networks,
    both_told,
    read_overhead,
    settle_layout,
    surely_empty,
)
from seedlingcv.measure.side import SideRow, StemMeasurement, measure_side
from seedlingcv.measure.side_view import side_labels, side_picture
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.photo.read import read_photo
from seedlingcv.segment.canopy import canopy_from_pair, canopy_plane_mm
from seedlingcv.segment.heights import NoHeights, height_maps
from seedlingcv.segment.plants import Plants

SHOWN_PX_PER_MM = 2.0
JPEG_QUALITY = 82


@dataclass(frozen=True)
class FlatViews:
    """The looks chosen for one flat; any may be missing."""

    overhead: Look | None = None
    second: Look | None = None
    side: Look | None = None


@dataclass(frozen=True)
class MeasuredFlat:
    """cells is empty where no layout could be settled. `problems` holds what was found while measuring, by view."""

    rows: int
    columns: int
    cells: tuple[CellMeasurement, ...]
    pictures: FlatPictures
    flags: tuple[str, ...] = ()
    problems: dict[str, Problem] = field(default_factory=dict)


def measure_flat(views: FlatViews, layout: tuple[int, int] | None, usual_height_mm: float | None,
                 masks: Path | None = None, *, leaves_in_pairs: bool = False) -> MeasuredFlat:
    """Measure one flat.

    layout : rows and columns from the register, or None to find them in the overhead photo
    usual_height_mm : of the crop, taken where neither a second overhead nor a side photo tells the leaves' height
    masks : folder for label images, or None
    leaves_in_pairs : whether the crop's true leaves come two by two
    """
    problems: dict[str, Problem] = {}
    reading, second = _readings(views, layout, problems)
    if reading is None and second is not None:  # then the second stands in for the first
        views, reading, second = replace(views, overhead=views.second, second=None), second, None
    if reading is not None:
        layout = (reading.fit.layout.rows, reading.fit.layout.columns)
    elif any(p.code == "layout_wrong" for p in problems.values()):
        layout = None
    row = _side(views.side, layout, problems)
    if layout is None or (reading is None and row is None):
        return MeasuredFlat(0, 0, (), FlatPictures(), problems=problems)
    if reading is not None and second is not None:
        reading, second = both_told(reading, second)
    stems = _believed(row, reading)
    above = _from_above(reading, second, stems, usual_height_mm, leaves_in_pairs) if reading else _FromAbove()
    cells = join_views(*layout, above.overhead.cells if above.overhead else None, stems, above.heights)
    pictures = replace(_overhead_pictures(reading, above.overhead), **_side_pictures(row))
    if masks is not None:
        _write_masks(masks, views, (reading, second), above, row)
    return MeasuredFlat(*layout, cells, pictures, above.flags, problems)


@dataclass(frozen=True)
class _FromAbove:
    """What the overhead photos give: figures, plants as the second photo sees them, heights where both agree."""

    overhead: OverheadMeasurement | None = None
    seen_again: Plants | None = None
    heights: tuple[PlantHeight, ...] | None = None
    flags: tuple[str, ...] = ()


def _believed(row: SideRow | None, reading: OverheadReading | None) -> list[StemMeasurement] | None:
    """The side photo's stems, but for those before cells that are surely empty: a neighbour's leaf hangs there."""
    if row is None:
        return None
    empty = surely_empty(reading) if reading else frozenset()
    return [s for s in row.stems if s.stems == 0 or s.column - 1 not in empty]


def _from_above(reading: OverheadReading, second: OverheadReading | None, stems: list[StemMeasurement] | None,
                usual_height_mm: float | None, leaves_in_pairs: bool) -> _FromAbove:
    known = planted_by_side(stems) if stems else None
    canopy_mm, flags = _canopy(reading, second, stems or [], usual_height_mm)
    if not reading.fit.found:
        flags = (*flags, "grid_unsure")
    if not reading.vegetation.any():
        flags = (*flags, "nothing_green")
    maps = height_maps(reading, second) if second else None
    if isinstance(maps, NoHeights):
        maps, flags = None, (*flags, maps.reason)
    overhead = measure_overhead(reading, canopy_mm, known, maps.first if maps else None,
                                leaves_in_pairs=leaves_in_pairs)
    seen_again = find_plants(second, canopy_mm, known) if second else None
    heights = None
    if maps is not None:
        heights = plant_heights(maps, (overhead.plants, seen_again), reading.fit.layout)
    return _FromAbove(overhead, seen_again, heights, flags)


def _readings(views: FlatViews, layout: tuple[int, int] | None,
              problems: dict[str, Problem]) -> tuple[OverheadReading | None, OverheadReading | None]:
    """The overhead photos as far as they can be read; what is wrong with one goes into `problems`."""
    found: list[OverheadReading | None] = []
    for view, look in (("overhead", views.overhead), ("second", views.second)):
        reading = _read(look, layout) if look else None
        if isinstance(reading, Problem):
            problems[view], reading = reading, None
        if reading is not None:
            layout = (reading.fit.layout.rows, reading.fit.layout.columns)
        found.append(reading)
    return (found[0], found[1])


def _read(look: Look, layout: tuple[int, int] | None) -> OverheadReading | Problem:
    image = read_photo(look.path).image
    fit = settle_layout(image, look.pose, layout)
    if isinstance(fit, Problem):
        return fit
    reading = read_overhead(image, list(look.tags), fit)
    del image  # the networks want the memory
    return ask_networks(reading)


def _side(look: Look | None, layout: tuple[int, int] | None, problems: dict[str, Problem]) -> SideRow | None:
    if look is None:
        return None
    if layout is None:
        problems["side"] = Problem("layout_unknown")
        return None
    try:
        pose = fit_side(list(look.tags), look.size, look.focal_px, rows=layout[0], columns=layout[1])
        image = read_photo(look.path).image
        return measure_side(image, pose, white_reference(image, list(look.tags)))
    except PhotoError:
        problems["side"] = Problem("side_view_wrong")
        return None


def _canopy(reading: OverheadReading, second: OverheadReading | None, stems: list[StemMeasurement],
            usual_height_mm: float | None) -> tuple[float, tuple[str, ...]]:
    """Height of the leaves above the rim, and a flag for how it was come by."""
    if second is not None:
        found = canopy_from_pair((reading.vegetation, second.vegetation), reading.view,
                                 (reading.eye_mm, second.eye_mm))
        if found is not None:
            return found, ()
    heights = [s.height_mm for s in stems if s.height_mm is not None]
    if len(heights) >= 3:
        return canopy_plane_mm(float(np.median(heights))), ("height_from_side",)
    if usual_height_mm is not None:
        return canopy_plane_mm(usual_height_mm), ("height_from_crop",)
    return 0.0, ("height_unknown",)


def _write_masks(masks: Path, views: FlatViews, readings: tuple[OverheadReading | None, ...], above: _FromAbove,
                 row: SideRow | None) -> None:
    plants = above.overhead.plants if above.overhead else None
    for look, reading, seen in zip((views.overhead, views.second), readings, (plants, above.seen_again), strict=True):
        if reading is not None and seen is not None:
            write_mask(masks, look.result.file, photo_labels(reading, seen, look.size))
    if row is not None:
        write_mask(masks, views.side.result.file, side_labels(row))


def _overhead_pictures(reading: OverheadReading | None, overhead: OverheadMeasurement | None) -> FlatPictures:
    if reading is None or overhead is None:
        return FlatPictures()
    layout = reading.fit.layout
    shown = plane_view(layout.outer_mm, SHOWN_PX_PER_MM, margin_mm=30.0)
    scale = SHOWN_PX_PER_MM / reading.view.px_per_mm
    small = cv2.resize(reading.picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    start = round((shown.x0 - reading.view.x0) * SHOWN_PX_PER_MM)
    picture = small[start : start + shown.height, start : start + shown.width]
    names = [cell.name for cell in layout.cells]
    cells = {c.name: tuple(shown.to_px([c.rect_mm[:2], c.rect_mm[2:]]).ravel().round(1).tolist())
             for c in layout.cells}
    return FlatPictures(_jpeg(picture), (shown.width, shown.height), cells,
                        shown_outlines(overhead.plants, reading, names, shown))


def _side_pictures(row: SideRow | None) -> dict[str, object]:
    """The front row for the report, as fields of `FlatPictures`."""
    if row is None:
        return {}
    return dict(zip(("side_jpeg", "side_size", "stems", "nodes"), side_picture(row), strict=True))


def _jpeg(picture: np.ndarray) -> bytes:
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()

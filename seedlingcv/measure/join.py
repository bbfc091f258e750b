"""Overhead and side figures of one flat put together, cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.heights import PlantHeight, StemEstimate, stem_from_height
from seedlingcv.measure.side import StemMeasurement
from seedlingcv.measure.table import CellMeasurement

HEIGHTS_APART = 0.2  # of the lower: both views of one plant usually agree to a tenth
STEM_FIELDS = ("stem_length_mm", "hypocotyl_length_mm", "stem_diameter_mm", "height_mm", "row_spread_mm", "lean_deg")


def join_views(rows: int, columns: int, overhead: Sequence[CellMeasurement] | None,
               stems: Sequence[StemMeasurement] | None,
               heights: Sequence[PlantHeight] | None = None) -> tuple[CellMeasurement, ...]:
    """All cells of the flat, row by row; what a missing view would have given is None with a flag.

    heights : from two overhead photos, or None. Where a stem is not seen from the side its length is reckoned
        from its plant's height.
    """
    names = [cell_name(row, column) for row in range(rows) for column in range(1, columns + 1)]
    from_above = {c.cell: c for c in overhead or ()}
    from_side = {s.cell: s for s in stems or ()}
    above = {h.cell: h for h in heights or ()}
    reckoned = {e.cell: e for e in stem_from_height(heights or (), stems or ())}
    cells = []
    for name in names:
        cell = from_above.get(name) or CellMeasurement(name, flags=("no_overhead_photo",))
        if name in from_side:
            cell = _with_stem(cell, from_side[name])
        if heights is not None:
            cell = _with_height(cell, above.get(name), reckoned.get(name))
        if cell.plants == 1 and cell.stem_length_mm is None and name not in from_side:
            cell = _flagged(cell, "no_side_photo" if stems is None else "not_in_front_row")
        cells.append(_with_legginess_error(cell))
    return tuple(cells)


def _with_legginess_error(cell: CellMeasurement) -> CellMeasurement:
    """The relative errors of stem and spread, added in squares (first-order propagation, GUM 5.1.6)."""
    parts = ("stem_length_mm", "leaf_spread_mm")
    if cell.legginess is None or not all(part in cell.se for part in parts):
        return cell
    relative = sum((cell.se[part] / getattr(cell, part)) ** 2 for part in parts) ** 0.5
    return replace(cell, se=cell.se | {"legginess": cell.legginess * relative})


def _with_height(cell: CellMeasurement, plant: PlantHeight | None, stem: StemEstimate | None) -> CellMeasurement:
    """Fill in what the side photo has not given, and settle the height where both views give it."""
    if cell.plants != 1:
        return cell
    height = plant.height_mm if plant is not None else None
    if height is not None:
        height, se = _height_of_both(cell, plant)
        cell = replace(cell, height_mm=height, se=cell.se | {"height_mm": se})
    if cell.stem_length_mm is not None:
        return cell
    if stem is not None:
        cell = replace(cell, stem_length_mm=stem.stem_length_mm, stem_from="parallax",
                       se=cell.se | {"stem_length_mm": stem.stem_length_se})
    return cell if cell.height_mm is not None and stem is not None else _flagged(cell, "height_unsure")


def _height_of_both(cell: CellMeasurement, plant: PlantHeight) -> tuple[float, float]:
    """The mean of both views; where they are far apart the lower, since a neighbour's leaf taken for the plant's own
    makes it higher, in either view."""
    if cell.height_mm is None:
        return plant.height_mm, plant.height_se
    views = sorted([(cell.height_mm, cell.se.get("height_mm", 0.0)), (plant.height_mm, plant.height_se)])
    (low, low_se), (high, high_se) = views
    if high - low > HEIGHTS_APART * low:
        return low, float(low_se + 0.25 * (high - low))
    return (low + high) / 2, float((low_se**2 + high_se**2) ** 0.5 / 2 + 0.25 * (high - low))


def planted_by_side(stems: Sequence[StemMeasurement]) -> dict[int, int]:
    """How many plants stand in the front-row cells of which the side photo tells, by cell index (A1 is 0)."""
    return {s.column - 1: s.stems for s in stems if s.stems > 0 or "stem_hidden" not in s.flags}


def _with_stem(cell: CellMeasurement, stem: StemMeasurement) -> CellMeasurement:
    """The side photo sees stems, so in the front row it decides how many plants stand in a cell."""
    if stem.stems == 0 and "stem_hidden" not in stem.flags:
        return replace(cell, plants=0, leaf_spread_mm=None, leaf_area_mm2=None, true_leaves=None,
                       flags=("empty",))
    if stem.stems == 0:
        return _flagged(cell, "stem_hidden") if cell.plants else cell
    if stem.stems > 1:
        single = {"leaf_spread_mm": None, "leaf_area_mm2": None, "true_leaves": None}
        return _flagged(replace(cell, plants=stem.stems, **single), "several_plants")
    flags = tuple(dict.fromkeys(f for f in (*cell.flags, *stem.flags) if f not in ("empty", "several_plants")))
    if cell.plants == 0:  # the stem is there, its leaves could not be told from the neighbours'
        flags = (*flags, "overlap_unsure")
    measured = {name: getattr(stem, name) for name in STEM_FIELDS}
    source = "side" if stem.stem_length_mm is not None else None
    return replace(cell, plants=1, stem_from=source, flags=flags, se=cell.se | stem.se, **measured)


def _flagged(cell: CellMeasurement, flag: str) -> CellMeasurement:
    return replace(cell, flags=tuple(dict.fromkeys((*cell.flags, flag))))

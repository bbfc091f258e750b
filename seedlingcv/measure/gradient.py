"""Where in the flat plants stretch: a plane fitted to the stem lengths of all cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seedlingcv.flat.layout import cell_name, standard_layout
from seedlingcv.measure.table import FlatMeasurement

LEAST_PLANTS = 12
CLEAR_P = 0.05


@dataclass(frozen=True)
class Gradient:
    """Stems get longer by `mm_per_100mm` (95 % interval `low` to `high`) towards `towards`, which names a side or
    corner of the flat. `clear` is False where the lengths would vary as much by chance (F test, p >= 0.05)."""

    mm_per_100mm: float
    low: float
    high: float
    towards: str
    plants: int
    clear: bool


def stem_gradient(measurement: FlatMeasurement) -> Gradient | None:
    """Ordinary least squares of stem length on the cell's place; None with fewer than 12 measured plants.

    The slope is taken along the steepest direction found; its interval is Student's t on that direction. It says
    how this flat's plants differ across it, not why: neighbours share light, water and seed lot.
    """
    from scipy import stats

    layout = standard_layout(measurement.rows, measurement.columns)
    places = {cell.name: cell.centre_mm for cell in layout.cells}
    cells = [c for c in measurement.singles if c.stem_length_mm is not None]
    if len(cells) < LEAST_PLANTS:
        return None
    at = np.array([places[c.cell] for c in cells]) / 100
    design = np.column_stack([np.ones(len(at)), at - at.mean(axis=0)])
    if np.linalg.matrix_rank(design) < 3:  # all in one row
        return None
    lengths = np.array([c.stem_length_mm for c in cells])
    fit, *_ = np.linalg.lstsq(design, lengths, rcond=None)
    free = len(cells) - 3
    residual = lengths - design @ fit
    spread = np.linalg.inv(design.T @ design)[1:, 1:] * (residual @ residual) / free
    slope = fit[1:]
    size = float(np.hypot(*slope))
    if size == 0:
        return Gradient(0.0, 0.0, 0.0, "", len(cells), clear=False)
    along = slope / size
    half = float(stats.t.ppf(0.975, free) * np.sqrt(along @ spread @ along))
    chance = float(stats.f.sf(slope @ np.linalg.solve(spread, slope) / 2, 2, free)) if half > 0 else 0.0
    return Gradient(size, size - half, size + half, _direction(along, measurement), len(cells), chance < CLEAR_P)


def _direction(along: np.ndarray, measurement: FlatMeasurement) -> str:
    """The side of the flat that a direction points to, or the corner where it points between two sides."""
    first_row, last_row = cell_name(0, 1)[0], cell_name(measurement.rows - 1, 1)[0]
    column = 1 if along[0] < 0 else measurement.columns
    row = first_row if along[1] < 0 else last_row
    if abs(along[0]) > 2.4 * abs(along[1]):  # within 22.5 degrees of a side
        return f"column {column}"
    if abs(along[1]) > 2.4 * abs(along[0]):
        return f"row {row}"
    return f"corner {row}{column}"

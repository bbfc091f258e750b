"""Where in the flat plants stretch: a plane fitted to a figure of all cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seedlingcv.flat.layout import cell_name, standard_layout
from seedlingcv.measure.table import FlatMeasurement

LEAST_PLANTS = 12
CLEAR_P = 0.05


@dataclass(frozen=True)
class Plane:
    """A figure's slope for each 100 mm along x (columns) and y (rows), (2,); its covariance (2, 2), with `free` degrees
    of freedom."""

    slope: np.ndarray
    covariance: np.ndarray
    free: int
    plants: int


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


def fit_plane(measurement: FlatMeasurement, field: str) -> Plane | None:
    """Ordinary least squares of a figure of single plants on the cell's place on a common flat.

    None with fewer than LEAST_PLANTS measured plants, or where all stand in one row or column.
    """
    layout = standard_layout(measurement.rows, measurement.columns)
    places = {cell.name: cell.centre_mm for cell in layout.cells}
    cells = [c for c in measurement.singles if getattr(c, field) is not None and c.cell in places]
    if len(cells) < LEAST_PLANTS:
        return None
    at = np.array([places[c.cell] for c in cells]) / 100
    design = np.column_stack([np.ones(len(at)), at - at.mean(axis=0)])
    if np.linalg.matrix_rank(design) < 3:
        return None
    values = np.array([getattr(c, field) for c in cells])
    fit, *_ = np.linalg.lstsq(design, values, rcond=None)
    free = len(cells) - 3
    residual = values - design @ fit
    covariance = np.linalg.inv(design.T @ design)[1:, 1:] * (residual @ residual) / free
    return Plane(fit[1:], covariance, free, len(cells))


def stem_gradient(measurement: FlatMeasurement) -> Gradient | None:
    """The plane of stem lengths along its steepest direction, with Student's t on that direction; None without a plane.

    It says how this flat's plants differ across it, not why: neighbours share light, water and seed lot.
    """
    from scipy import stats

    plane = fit_plane(measurement, "stem_length_mm")
    if plane is None:
        return None
    slope, spread, free = plane.slope, plane.covariance, plane.free
    size = float(np.hypot(*slope))
    if size == 0:
        return Gradient(0.0, 0.0, 0.0, "", plane.plants, clear=False)
    along = slope / size
    half = float(stats.t.ppf(0.975, free) * np.sqrt(along @ spread @ along))
    chance = float(stats.f.sf(slope @ np.linalg.solve(spread, slope) / 2, 2, free)) if half > 0 else 0.0
    return Gradient(size, size - half, size + half, _direction(along, measurement), plane.plants, chance < CLEAR_P)


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

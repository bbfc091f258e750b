"""The stretch gradient against planted slopes, SciPy's own regression, and chance."""

import numpy as np
import pytest
from scipy import stats

from seedlingcv.flat.layout import standard_layout
from seedlingcv.measure.gradient import stem_gradient
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

LAYOUT = standard_layout(6, 12)


def flat(length_at, noise=0.0, seed=2):
    rng = np.random.default_rng(seed)
    cells = tuple(CellMeasurement(c.name, plants=1, stem_length_mm=length_at(*c.centre_mm) + rng.normal(0, noise))
                  for c in LAYOUT.cells)
    return FlatMeasurement(31, None, 6, 12, cells)


@pytest.mark.parametrize(("slope", "towards"), [
    ((0.05, 0.0), "column 12"), ((-0.05, 0.0), "column 1"), ((0.0, 0.05), "row F"), ((0.0, -0.05), "row A"),
    ((0.04, 0.04), "corner F12"), ((-0.04, 0.04), "corner F1"),
])
def test_a_planted_slope_is_found(slope, towards):
    found = stem_gradient(flat(lambda x, y: 40 + slope[0] * x + slope[1] * y, noise=1.0))
    assert found.clear
    assert found.towards == towards
    true = 100 * np.hypot(*slope)
    assert found.low < true < found.high
    assert found.mm_per_100mm == pytest.approx(true, abs=1.0)


def test_agrees_with_scipy_where_only_the_column_matters():
    """With lengths that don't change along y the slope is SciPy's linregress on x."""
    measured = flat(lambda x, y: 30 + 0.06 * x + 2 * np.sin(x))
    x = [c.centre_mm[0] / 100 for c in LAYOUT.cells]
    expected = stats.linregress(x, [c.stem_length_mm for c in measured.cells])
    found = stem_gradient(measured)
    assert found.mm_per_100mm == pytest.approx(expected.slope, rel=1e-6)
    assert found.high - found.mm_per_100mm == pytest.approx(stats.t.ppf(0.975, 69) * expected.stderr
                                                            * np.sqrt(70 / 69), rel=1e-6)


def test_chance_is_called_clear_about_one_time_in_twenty():
    """By the F test's own level; 400 flats without a slope, so 20 expected, 9 to 33 allow for luck (99.5 %)."""
    clear = sum(stem_gradient(flat(lambda x, y: 40.0, noise=5.0, seed=s)).clear for s in range(400))
    assert 9 <= clear <= 33


def test_front_row_alone_has_no_gradient():
    cells = tuple(CellMeasurement(c.name, plants=1, stem_length_mm=40.0 if c.row == 0 else None) for c in LAYOUT.cells)
    assert stem_gradient(FlatMeasurement(31, None, 6, 12, cells)) is None


def test_few_plants_say_nothing():
    cells = tuple(CellMeasurement(c.name, plants=1, stem_length_mm=40.0 if c.column < 2 else None)
                  for c in LAYOUT.cells)
    assert stem_gradient(FlatMeasurement(31, None, 6, 12, cells)) is None

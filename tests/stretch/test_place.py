"""Across the flat: planted slopes, the unit, the map's places, the window and the readings."""

from dataclasses import replace

import numpy as np
import pytest
from invented_flats import day, history
from scipy import stats

from seedlingcv.flat.layout import standard_layout
from seedlingcv.measure.gradient import fit_plane
from seedlingcv.records.history import History, Lighting
from seedlingcv.stretch.place import places_of

SHELF = Lighting("top", "new panel", window_side="last column")


def flat(number, along=0.0, down=0.0, *, layout=(6, 12), seed=0, noise=0.0, level=0.8, ages=(20,), lighting=SHELF):
    """Legginess rises by `along` from the first column to the last, by `down` from row A to the last row."""
    rows, columns = layout
    rng = np.random.default_rng(seed)
    days = []
    for age in ages:
        row, column = np.divmod(np.arange(rows * columns), columns)
        index = level + along * column / (columns - 1) + down * row / (rows - 1) + rng.normal(0, noise, rows * columns)
        days.append(day(age, 50 * index, layout=layout, light="new panel", shelf="top", lighting=lighting, flat=number))
    return history(days, flat=number)


def place(*flats):
    (found,) = places_of(History(flats), "light")
    return found


def test_a_planted_slope_from_end_to_end():
    found = place(flat(31, 0.3, -0.1), flat(32, 0.2, -0.1), flat(33, 0.1, -0.1))
    expected = stats.t.interval(1 - 0.05 / 2, 2, loc=0.2, scale=stats.sem([0.1, 0.2, 0.3]))  # both directions hold
    assert found.length.slope.mean == pytest.approx(0.2) and found.width.slope.mean == pytest.approx(-0.1)
    assert (found.length.slope.low, found.length.slope.high) == pytest.approx(expected)
    assert (found.length.weak_end, found.width.weak_end) == ("last column", "row A")
    assert found.side("last column") == "column 12" and found.side("last row") == "row F"


def test_a_plane_of_legginess_is_scipys_where_only_columns_matter():
    one = flat(31, 0.3).days[0].measurement
    x = [c.centre_mm[0] / 100 for c in standard_layout(6, 12).cells]
    expected = stats.linregress(x, [c.legginess for c in one.cells])
    assert fit_plane(one, "legginess").slope[0] == pytest.approx(expected.slope)


def test_flats_are_the_units_not_plants():
    """Two flats that lean opposite ways: 144 plants, and nothing is clear. One flat is shown, nothing claimed."""
    found = place(flat(31, 0.3, noise=0.02), flat(32, -0.25, noise=0.02))
    assert not found.length.clear and found.length.slope.flats == 2 and found.enough
    alone = place(flat(31, 0.3, ages=(18, 20, 24)))
    assert not alone.enough and not alone.length.clear and alone.length.slope.low is None


def test_a_weak_side_by_chance_is_seen_in_about_one_season_of_twenty():
    """By the intervals' own level: of 120 seasons of four lights with four flats each, without a weak side but leaning
    by chance, at most 5 % and three standard errors. Side by side each at 95 %, 34 % showed one."""
    rng, told = np.random.default_rng(4), 0
    for season in range(120):
        flats = [flat(31 + i, *rng.normal(0, 0.1, 2), layout=(3, 6), noise=0.05, seed=16 * season + i)
                 for i in range(16)]
        lights = [replace(f, days=tuple(replace(d, light=f"light {i // 4}") for d in f.days))
                  for i, f in enumerate(flats)]
        found = places_of(History(tuple(lights)), "light")
        assert {p.together for p in found} == {8}
        told += any(p.length.clear or p.width.clear for p in found)
    assert told / 120 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 120)


def test_only_sides_with_an_interval_share_the_errors():
    """One flat has none."""
    other = replace(flat(33, 0.3), days=tuple(replace(d, light="bulb") for d in flat(33, 0.3).days))
    assert {p.together for p in places_of(History((flat(31, 0.3), flat(32, 0.1), other)), "light")} == {2}


def test_the_map_takes_each_flats_own_mean_out():
    found = place(flat(31, 0.22, level=0.7), flat(32, 0.22, level=1.3))
    grid = np.array(found.cells)
    assert grid.shape == (6, 12) and found.same_layout
    assert np.allclose(grid, np.linspace(-0.11, 0.11, 12)[None, :], atol=1e-9)


def test_layouts_meet_on_a_coarse_map():
    """72 and 18 cells: means over columns 1-2, 3-4 ... of the larger one lie on the same slope."""
    found = place(flat(31, 0.22), flat(32, 0.22, layout=(3, 6)))
    grid = np.array(found.cells)
    assert grid.shape == (3, 6) and not found.same_layout
    assert np.all(np.diff(grid.mean(axis=0)) > 0) and np.allclose(grid, grid[0])
    assert found.side("last column") == "the last column" and found.side("row A") == "row A"


def test_days_are_averaged_within_a_flat():
    found = place(flat(31, 0.3, ages=(18, 20, 24)), flat(32, 0.1))
    assert found.length.slope.mean == pytest.approx(0.2) and found.length.slope.flats == 2


def test_a_flat_counts_where_it_stood_first():
    """After its move it still leans as it grew under the other light."""
    leaning = flat(31, 0.4, ages=(16, 20))
    moved = replace(leaning, days=(replace(leaning.days[0], light="bulb"), leaning.days[1]))
    panel, = (p for p in places_of(History((moved, flat(32, 0.1), flat(33, 0.1))), "light") if p.name == "new panel")
    assert [f.flat for f in panel.flats] == [32, 33] and panel.length.slope.mean == pytest.approx(0.1)


@pytest.mark.parametrize("side", ["last column", "column 1", "row A", "last row", None])
def test_the_side_of_the_window(side):
    lighting = replace(SHELF, window_side=side)
    found = place(flat(31, 0.3, -0.1, lighting=lighting), flat(32, 0.2, -0.2, lighting=lighting))
    assert found.length.window_side == (side if side in ("column 1", "last column") else None)
    assert found.width.window_side == (side if side in ("row A", "last row") else None)


def test_readings_on_a_grid():
    lighting = replace(SHELF, ppfd_umol=((210, 200, 170), (208, 196, 174)))
    found = place(flat(31, 0.3, lighting=lighting), flat(32, 0.2, lighting=lighting))
    assert found.length.ppfd_umol == (209, 172) and found.length.readings_agree
    against = place(flat(31, -0.3, lighting=lighting), flat(32, -0.2, lighting=lighting))
    assert against.length.readings_agree is False
    assert place(flat(31, 0.3), flat(32, 0.2)).length.readings_agree is None
    level = replace(SHELF, ppfd_umol=((209, 200), (209, 198)))  # 5 % less
    assert place(flat(31, 0.3, lighting=level), flat(32, 0.2, lighting=level)).length.readings_agree is None
    single = replace(SHELF, ppfd_umol=((200,),))
    assert place(flat(31, 0.3, lighting=single), flat(32, 0.2, lighting=single)).length.ppfd_umol is None


def test_the_front_row_alone_gives_a_map_and_no_slope():
    rows = [replace(f, days=tuple(replace(d, measurement=replace(d.measurement, cells=d.measurement.cells[:12]))
                                  for d in f.days)) for f in (flat(31, 0.3), flat(32, 0.2))]
    found = place(*rows)
    assert found.length is None and found.cells[0][0] < 0 and found.cells[5] == (None,) * 12


def test_parts_of_mixed_flats_are_left_out():
    assert places_of(History((replace(flat(31, 0.3), part="columns 1-6"),)), "light") == ()

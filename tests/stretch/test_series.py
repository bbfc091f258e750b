"""Days of a flat and means over flats, against SciPy's t interval."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from invented_flats import SOWN, course, day, history
from scipy import stats

from seedlingcv.measure.table import CellMeasurement
from seedlingcv.records.history import History
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.stretch.over_flats import count_flats, mean_over, mean_over_flats
from seedlingcv.stretch.series import groups_of, looks_of, mean_curve, same_plants, values_on


def test_a_day_of_a_flat():
    look = looks_of(history([day(20, [30, 40, 80], leaves=2)]), "stem_length_mm")[0]
    assert (look.median, look.mean, look.plants) == (40, 50, 3)
    assert (look.age_days, look.leaves, look.day) == (20, 2, date(2025, 3, 12))
    assert look.se == pytest.approx(stats.sem([30, 40, 80]))


def test_cover_counts_every_measured_cell_the_rest_single_plants():
    one = day(20, [30, 40, 50])
    cells = (*one.measurement.cells, CellMeasurement("B1", 0, 0.0), CellMeasurement("B2", 2, 0.9, stem_length_mm=99.0))
    one = replace(one, measurement=replace(one.measurement, cells=cells))
    assert len(values_on(one, "canopy_cover")) == 5 and values_on(one, "canopy_cover")["B1"] == 0
    assert set(values_on(one, "stem_length_mm")) == {"A1", "A2", "A3"}


def test_a_day_without_the_figure_is_no_nought():
    days = [day(20, [30, 40]), day(24, [30, 40], cover=None)]
    assert [look.age_days for look in looks_of(history(days), "canopy_cover")] == [20]


def test_mean_over_flats_is_students_t():
    values = [31.0, 35.5, 38.0, 30.2]
    expected = stats.t.interval(0.95, 3, loc=np.mean(values), scale=stats.sem(values))
    found = mean_over(values)
    assert (found.low, found.high) == pytest.approx(expected) and found.flats == 4


def test_one_flat_has_no_interval_and_parts_of_a_flat_are_one():
    assert mean_over([31.0]).low is None
    a, b = course(31, [14, 18], [20, 30]), course(32, [14, 18], [20, 30])
    found = mean_over_flats([(replace(a, part="rows A-C"), 30.0), (replace(a, part="rows D-F", days=a.days[1:]), 34.0),
                             (b, 40.0)])
    assert (found.mean, found.flats) == (36.0, 2)


def sown_on(flat, day):
    return replace(flat, sown=day, days=tuple(
        replace(d, measurement=replace(d.measurement, sown=day, day=d.day if day is None else d.day + (day - SOWN)))
        for d in flat.days))


def test_a_number_used_again_is_another_flat():
    """By the records' own rule: sown more than 21 days later."""
    one = course(31, [14, 18], [20, 30])
    assert count_flats([one, sown_on(one, SOWN + timedelta(21))]) == 1
    assert count_flats([one, sown_on(one, SOWN + timedelta(22)), sown_on(one, SOWN + timedelta(365))]) == 3
    assert count_flats([one, course(32, [14], [20])]) == 2


def test_parts_without_a_sowing_date_are_of_the_flat_that_stood_there_then():
    one = course(31, [14, 30], [20, 30])
    undated = sown_on(one, None)
    assert count_flats([one, replace(undated, days=undated.days[1:])]) == 1
    assert count_flats([undated, sown_on(one, SOWN + timedelta(60))]) == 2


def test_together_intervals_share_their_errors():
    """Three intervals by SciPy's t at 1 - 0.05 / 3 each (Bonferroni)."""
    values = [31.0, 35.5, 38.0, 30.2]
    expected = stats.t.interval(1 - 0.05 / 3, 3, loc=np.mean(values), scale=stats.sem(values))
    found = mean_over(values, together=3)
    assert (found.low, found.high) == pytest.approx(expected)


def test_of_several_looks_the_plants_measured_on_all():
    days = [day(20, [30, 40, 50, 60]), day(24, [34, 44, 54, 64]), day(28, [38, 48, 58]), day(30, [40])]
    found = same_plants(looks_of(history(days), "stem_length_mm"), "stem_length_mm")
    assert [(k.mean, k.plants) for k in found] == [(40, 3), (44, 3), (48, 3)], "the last look has too few of them"
    assert same_plants(looks_of(history([day(20, [30, 40])]), "stem_length_mm"), "stem_length_mm") == ()


def test_one_line_for_the_whole_flat_is_taken_as_it_stands():
    days = [day(age, [mean]) for age, mean in ((20, 30), (24, 38))]
    days = [replace(d, measurement=replace(d.measurement, cells=(replace(d.measurement.cells[0], cell=WHOLE_FLAT),)))
            for d in days]
    assert [k.mean for k in same_plants(looks_of(history(days), "stem_length_mm"), "stem_length_mm")] == [30, 38]


def test_the_curve_is_over_flats_not_plants():
    """Three flats of very different numbers of plants weigh alike."""
    flats = [course(31, [14, 18], [20, 30], plants=3), course(32, [14, 18], [26, 34], plants=40),
             course(33, [14], [23], plants=12)]
    first, second = mean_curve(flats, "stem_length_mm")
    assert first.at == 14 and first.mean.mean == pytest.approx(23) and first.mean.flats == 3
    assert (first.mean.low, first.mean.high) == pytest.approx(
        stats.t.interval(0.95, 2, loc=23, scale=stats.sem([20, 26, 23])))
    assert second.at == 18 and second.mean.flats == 2


def test_by_leaf_stage():
    flats = [history([day(14, [20, 22], leaves=1), day(20, [30, 32], leaves=2)], flat=31),
             history([day(16, [24, 26], leaves=1), day(24, [40, 42], leaves=3)], flat=32)]
    curve = mean_curve(flats, "stem_length_mm", against_leaves=True)
    assert [(c.at, c.mean.flats) for c in curve] == [(1, 2), (2, 1), (3, 1)]
    assert curve[0].mean.mean == pytest.approx((21 + 25) / 2)


def test_groups_are_flats_with_one_past():
    moved = course(32, [14, 18, 22], [20, 30, 35], turn=18)
    flats = History((course(31, [14], [20]), moved, course(33, [14], [20], before="Bulb"),
                     replace(course(34, [14], [20]), crop="basil")))
    assert [(g.crop, g.name, [f.flat for f in g.flats]) for g in groups_of(flats, "light")] == [
        ("basil", "bulb", [34]), ("tomato", "bulb", [31, 33]), ("tomato", "bulb, then new panel", [32])]
    assert len(groups_of(flats, "flat")) == 4
    assert {g.name for g in groups_of(flats, "shelf")} == {"shelf not known"}

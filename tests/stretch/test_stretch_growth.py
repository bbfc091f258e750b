"""Growth a day: paired t against SciPy, lines against SciPy's regression and a published table, and by chance."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from invented_flats import course, day, history
from scipy import stats

from seedlingcv.stretch import growth
from seedlingcv.stretch.growth import growth_between, growth_by_place, growth_of, half_width, line_through
from seedlingcv.stretch.series import looks_of


@pytest.fixture
def no_shared_error(monkeypatch):
    exact = dict.fromkeys(growth.SHARED_SD["photo"], (0.0, 0.0))
    monkeypatch.setattr(growth, "SHARED_SD", {"photo": exact, "ruler": exact})


def test_without_a_shared_error_it_is_the_paired_t(no_shared_error):
    rng = np.random.default_rng(1)
    before = rng.normal(30, 4, 12)
    after = before + rng.normal(8, 2, 12)
    found = growth_between(day(14, before), day(18, after), "stem_length_mm")
    interval = stats.ttest_rel(after, before).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low / 4, interval.high / 4))
    assert found.per_day == pytest.approx(np.mean(after - before) / 4)
    assert (found.days, found.plants, found.first) == (4, 12, date(2025, 3, 6))


def test_only_plants_seen_on_both_days_count():
    found = growth_between(day(14, [30, 30, 30, 30]), day(18, [34, 36]), "stem_length_mm")
    assert (found.plants, found.per_day) == (2, pytest.approx(1.25))
    assert growth_between(day(18, [34]), day(18, [36]), "stem_length_mm") is None, "no time between"


def test_one_line_for_a_whole_flat_has_no_interval():
    found = growth_between(day(14, [30]), day(18, [34]), "stem_length_mm")
    assert found.per_day == 1 and found.low is None


def test_known_errors_are_added_by_welch_and_satterthwaite():
    """With equal parts the effective degrees of freedom are four times those of the part that has them: GUM G.4.1,
    equation (G.2b), u_c^4 / (u_1^4 / v_1 + u_2^4 / infinity)."""
    assert half_width(1.0, 5, 1.0) == pytest.approx(stats.t.ppf(0.975, 20) * np.sqrt(2))
    assert half_width(2.0, 5, 0.0) == pytest.approx(stats.t.ppf(0.975, 5) * 2)
    assert half_width(0.0, 5, 2.0) == pytest.approx(stats.norm.ppf(0.975) * 2)


@pytest.mark.parametrize("plants", [6, 40])
def test_what_a_photo_gets_wrong_for_all_plants_is_in_the_interval(plants):
    """Of 2 000 made-up flats whose photos are each off by 5 % (normal) for all plants, 93 to 97 % of intervals hold the
    true growth; with the scatter of plants alone they would not."""
    rng = np.random.default_rng(7)
    inside = alone = 0
    for _ in range(2000):
        before = rng.normal(40, 5, plants)
        after = before + rng.normal(10, 2, plants)
        seen = [own * rng.normal(1, 0.05) for own in (before, after)]
        found = growth_between(day(14, seen[0]), day(19, seen[1]), "stem_length_mm")
        inside += found.low <= 2 <= found.high
        interval = stats.ttest_rel(seen[1], seen[0]).confidence_interval(0.95)
        alone += interval.low <= 10 <= interval.high
    assert 0.93 <= inside / 2000 <= 0.97
    assert alone / 2000 < 0.6


def test_a_line_is_scipys_regression():
    means = [20, 26, 31, 45]
    looks = looks_of(course(31, [14, 17, 21, 26], means), "stem_length_mm")
    expected = stats.linregress([14, 17, 21, 26], means)
    line = line_through(looks)
    assert line.per_day == pytest.approx(expected.slope)
    half = stats.t.ppf(0.975, 2) * expected.stderr
    assert (line.low, line.high) == pytest.approx((expected.slope - half, expected.slope + half))
    assert line_through(looks[:2]) is None


def test_published_stems_of_sun_and_shade():
    """Tomato 'Moneymaker' at 21, 28 and 35 days: mean stems without hypocotyl in full sun 10.29, 42.33, 92.83 mm, in
    simulated shade 12.60, 53.17, 155.66 mm (Schrager-Lavelle, Herrera & Maloof 2016, Front. Plant Sci., data file
    figure4phyE.csv; crops/bands.py). Growth a day by hand: sun 82.54 / 14 and 50.50 / 7, shade 143.06 / 14 and
    102.49 / 7."""
    for means, whole, last in (([10.29, 42.33, 92.83], 82.54 / 14, 50.50 / 7),
                               ([12.60, 53.17, 155.66], 143.06 / 14, 102.49 / 7)):
        found = growth_of(course(31, [21, 28, 35], means, wobble=1.0), "stem_length_mm")
        assert found.whole.per_day == pytest.approx(whole)
        assert found.last_step.per_day == pytest.approx(last)
        assert found.line.per_day == pytest.approx(whole), "three equal steps: the slope is that of the ends"


def test_under_each_light_flats_are_the_units():
    """Slopes while a flat stood there; one flat has no interval."""
    flats = [course(31, [14, 18], [20, 28]), course(32, [14, 18], [20, 24]),
             course(33, [14, 18, 22, 26], [20, 32, 36, 40], turn=20)]
    bulb, panel = growth_by_place(flats, "light", "stem_length_mm")
    assert panel.place == "new panel, after bulb"
    assert (bulb.place, bulb.per_day.flats, bulb.ages) == ("bulb", 3, (14, 18))
    assert bulb.per_day.mean == pytest.approx(2)
    assert (bulb.per_day.low, bulb.per_day.high) == pytest.approx(
        stats.t.interval(0.95, 2, loc=2, scale=stats.sem([2, 1, 3])))
    assert panel.per_day.mean == pytest.approx(1) and panel.per_day.low is None


def test_under_a_light_the_same_plants_are_followed():
    """The larger half of the plants is gone on the last days, all plants grow 2 mm a day; a flat whose days have too
    few plants in common is left out and counted."""
    gone = course(31, [14, 18, 22], [20, 28, 36], wobble=8.0)
    gone = replace(gone, days=(*gone.days[:2], replace(gone.days[2], measurement=replace(
        gone.days[2].measurement, cells=gone.days[2].measurement.cells[:6]))))
    found, = growth_by_place([gone], "light", "stem_length_mm")
    assert found.per_day.mean == pytest.approx(2) and found.left_out == 0
    assert growth_of(gone, "stem_length_mm").line.per_day == pytest.approx(2)
    other = course(32, [14, 18], [20, 28])
    cells = [d.measurement.cells for d in other.days]
    other = replace(other, days=tuple(replace(d, measurement=replace(d.measurement, cells=own)) for d, own in
                                      zip(other.days, (cells[0][:6], cells[1][4:]), strict=True)))
    both, = growth_by_place([gone, other], "light", "stem_length_mm")
    assert (both.per_day.flats, both.left_out) == (1, 1)
    alone, = growth_by_place([other], "light", "stem_length_mm")
    assert alone.per_day is None and alone.left_out == 1


def test_nothing_is_said_of_one_day():
    assert growth_of(course(31, [14], [20]), "stem_length_mm") is None
    assert growth_of(history([]), "stem_length_mm") is None

"""Flats that leave their band; limits are the tomato file's: leggy above 1.0, above 1.6 before two true leaves."""

from datetime import date

import pytest
from invented_flats import day, history

from seedlingcv.crops.crop import load_crop
from seedlingcv.stretch.band import left_band, legginess_edge, target_heights

TOMATO = load_crop("tomato")


def flat(*looks, plants=20, leaves=3, **more):
    """looks : (age, legginess) or (age, legginess, true leaves)"""
    pattern = [0.02 * (i % 5 - 2) for i in range(plants)]
    return history([day(age, [50 * (index + p) for p in pattern], leaves=own[0] if own else leaves, **more)
                    for age, index, *own in looks])


def test_the_day_it_left_how_far_and_how_fast():
    left = left_band(flat((22, 0.92), (28, 1.18)), TOMATO)
    assert left.left and left.day == date(2025, 3, 20)
    assert (left.figure, left.limit) == (pytest.approx(1.18), 1.0)
    assert left.growth.per_day == pytest.approx(0.26 / 6)
    # Shared error of photos alone, 5 % of 0.92 and of 1.18: 1.96 x 0.0748 / 6 = 0.0244 either way.
    assert left.sentence == "left its band on 20 March: legginess 0.92 → 1.18 in 6 days, 0.04 a day (95 % 0.02 to 0.07)"


def test_a_figure_by_ruler_is_surer_than_a_photo():
    photo, ruler = (left_band(flat((22, 0.92), (28, 1.18), source=s), TOMATO).growth for s in ("photo", "ruler"))
    assert ruler.high - ruler.low < photo.high - photo.low


def test_the_run_that_lasts_until_now_counts():
    left = left_band(flat((14, 1.1), (18, 0.9), (22, 1.2), (26, 1.3)), TOMATO)
    assert left.day == date(2025, 3, 14)
    assert "0.90 → 1.20 in 4 days" in left.sentence and left.sentence.endswith("; 1.30 on 18 March")


def test_two_looks_close_to_each_other_dont_tell_how_fast():
    left = left_band(flat((20, 0.90), (21, 1.02), (25, 1.30)), TOMATO)
    assert left.sentence.startswith("left its band on 13 March: legginess 0.90 → 1.30 in 5 days, 0.08 a day")


def test_beyond_it_from_the_first_look():
    left = left_band(flat((14, 1.1), (18, 1.3)), TOMATO)
    assert left.sentence.startswith("was beyond its band when first looked at, on 6 March: legginess 1.10 → 1.30")


def test_a_new_limit_with_true_leaves_is_told():
    """1.3 is no stretch at seed leaves and is at two true leaves; the plants haven't stretched."""
    left = left_band(flat((14, 1.30, 1), (18, 1.28, 2)), TOMATO)
    assert left.sentence == ("left its band on 10 March, as true leaves lowered its limit to 1.0: legginess 1.28, no "
                             "clear gain")
    assert (left.growth.low, left.growth.high) == (pytest.approx(-0.050, abs=5e-4), pytest.approx(0.040, abs=5e-4))
    both = left_band(flat((14, 1.30, 1), (18, 1.50, 2), (20, 1.52, 2)), TOMATO).sentence
    assert "lowered its limit to 1.0: legginess 1.30 → 1.50 in 4 days, 0.05 a day (95 %" in both
    assert both.endswith("; 1.52 on 12 March")


def test_back_inside_is_not_outside():
    assert left_band(flat((14, 1.1), (18, 1.3), (24, 0.95)), TOMATO) is None


def test_about_to_leave_within_a_week():
    leaving = left_band(flat((22, 0.75), (28, 0.95), source="ruler"), TOMATO)
    assert not leaving.left and leaving.day == date(2025, 3, 22)  # 0.05 at 0.033 a day: 2 days
    assert leaving.sentence.startswith("leaves its band about 22 March at this pace: legginess 0.75 → 0.95 in 6 days")


@pytest.mark.parametrize("looks", [
    [(22, 0.60), (28, 0.70)],  # normal
    [(22, 0.93), (28, 0.95)],  # could as well stand still
    [(8, 0.50), (28, 0.82)],  # too slow for a week: 0.18 at 0.016 a day
    [(26, 0.80), (28, 0.95)],  # too near each other
    [(22, 0.75, 1), (28, 0.95, 1)],  # seed leaves may have 1.6
])
def test_inside_and_staying_is_not_spoken_of(looks):
    assert left_band(flat(*looks, source="ruler"), TOMATO) is None


def test_too_little_to_judge():
    assert left_band(flat((28, 1.5)), TOMATO) is None, "one day"
    assert left_band(flat((22, 1.2), (28, 1.5), plants=4), TOMATO) is None, "four plants"
    assert left_band(flat((22, 1.2), (28, 1.5)), None) is None, "no crop"
    assert left_band(flat((22, 1.2), (28, 1.5)), load_crop("leek")) is None, "no stem"


def test_standing_still_is_seldom_called_leaving():
    """A flat at 0.9 that doesn't grow, its photos off by 5 %: by the interval's own level at most 2.5 % look as if they
    rose; fewer, as the rise must reach the limit within a week."""
    import numpy as np

    rng, told = np.random.default_rng(3), 0
    for _ in range(500):
        seen = [(age, 0.9 * rng.normal(1, 0.05)) for age in (22, 28)]
        found = left_band(flat(*seen, plants=6), TOMATO)
        told += found is not None and not found.left
    assert told / 500 <= 0.045  # 2.5 % and three standard errors of 500 draws


def test_the_band_by_leaf_stage():
    bands = TOMATO.legginess
    assert (legginess_edge(bands, 10, 1).low, legginess_edge(bands, 10, 1).high) == (0, bands.young_leggy_above)
    assert legginess_edge(bands, 10, 2).high == bands.leggy_above
    assert legginess_edge(bands, 10, None).high == bands.young_leggy_above, "as the list judges uncounted leaves"


def test_target_heights_at_the_crops_own_ages():
    """Tomato's file: pot-up at 3-4 weeks, then 2-3 in the pot."""
    seed, pot_up, sale = target_heights(TOMATO)
    assert (seed.at, pot_up.at, sale.at) == (pytest.approx(24.5 / 3), 24.5, 42)
    assert (pot_up.low, pot_up.high) == TOMATO.heights_mm["pot_up"]
    assert target_heights(load_crop("carrot")) == ()

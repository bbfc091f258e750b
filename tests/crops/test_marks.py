"""A grower's marks shift the limits: against scipy's minimiser, and what must hold for any. Marks are invented."""

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.special import expit, log_expit

from seedlingcv.crops.crop import Bands, crop_names, load_crop
from seedlingcv.crops.marks import MOST, PRIOR_SD, SCALE, log_shift, shift, with_marks
from seedlingcv.crops.values import LIMITS
from seedlingcv.records.marks import Mark

TOMATO = load_crop("tomato").legginess


def mark(legginess, leggy, leaves=3):
    return Mark(31, leggy, legginess=legginess, true_leaves=leaves)


marks_drawn = st.lists(
    st.builds(mark, st.floats(0.05, 15), st.booleans(), st.none() | st.integers(0, 9)), max_size=40
)
bands_drawn = st.builds(
    lambda a, b, c, d, n: Bands(a, a + b, a + b + c, a + b + c + d, n, "tomato"),
    *[st.floats(0.1, 1)] * 3, st.floats(0, 1), st.integers(0, 3),
)


def by_scipy(bands, marks):
    """The most probable shift by a general minimiser: the sum of log chances and the log of the prior."""
    young = [m.true_leaves is None or m.true_leaves < bands.from_true_leaves for m in marks]
    limits = np.where(young, bands.young_leggy_above, bands.leggy_above)
    over = np.log([m.legginess for m in marks]) - np.log(limits)
    sign = np.where([m.leggy for m in marks], 1, -1)

    def cost(at):
        return at**2 / (2 * PRIOR_SD**2) - log_expit(sign * (over - at) / SCALE).sum()

    return minimize_scalar(cost, bounds=(-MOST, MOST), method="bounded", options={"xatol": 1e-9}).x


@given(bands_drawn, marks_drawn.filter(len))
@settings(max_examples=150, deadline=None)
def test_the_shift_is_the_one_scipy_finds(bands, marks):
    assert log_shift(bands, marks) == pytest.approx(by_scipy(bands, marks), abs=2e-5)


def test_one_mark_by_hand():
    # One leggy mark right at the limit: at / 0.1² + (1 - expit(-at / 0.1)) / 0.1 = 0. At -0.0401 the two are -4.010 and
    # (1 - 0.5989) / 0.1 = 4.011.
    found = log_shift(TOMATO, [mark(1.0, True)])
    assert found == pytest.approx(-0.0401, abs=1e-4)
    assert found / 0.1**2 + (1 - expit(-found / 0.1)) / 0.1 == pytest.approx(0, abs=1e-9)


def test_no_marks_change_nothing():
    assert shift(TOMATO, []) == TOMATO
    assert shift(TOMATO, [Mark(31, True)]) == TOMATO, "a mark without a legginess is passed over"


@given(bands_drawn, marks_drawn)
@settings(max_examples=200, deadline=None)
def test_the_order_of_limits_stays_and_the_shift_is_bounded(bands, marks):
    shifted = shift(bands, marks)
    before, after = ([getattr(b, name) for name in LIMITS] for b in (bands, shifted))
    assert after[0] < after[1] < after[2] <= after[3]
    factors = [b / a for a, b in zip(before, after, strict=True)]
    assert factors == pytest.approx([factors[0]] * 4), "one factor for all"
    assert 0.5 - 1e-9 <= factors[0] <= 2 + 1e-9
    assert (shifted.from_true_leaves, shifted.derived_from) == (bands.from_true_leaves, bands.derived_from)
    assert shifted.marks == len(marks)


@given(bands_drawn, marks_drawn, st.floats(0.05, 15), st.booleans())
@settings(max_examples=200, deadline=None)
def test_a_leggy_mark_never_raises_the_limits_and_a_fine_one_never_lowers_them(bands, marks, index, leggy):
    before, after = log_shift(bands, marks), log_shift(bands, [*marks, mark(index, leggy)])
    assert after <= before + 1e-9 if leggy else after >= before - 1e-9


@given(bands_drawn, marks_drawn.filter(len), st.floats(1, 4))
@settings(max_examples=200, deadline=None)
def test_marks_at_higher_indexes_never_lower_the_limits(bands, marks, factor):
    higher = [replace(m, legginess=m.legginess * factor) for m in marks]
    assert log_shift(bands, higher) >= log_shift(bands, marks) - 1e-9


@given(bands_drawn, marks_drawn)
@settings(max_examples=100, deadline=None)
def test_the_order_of_marks_does_not_matter(bands, marks):
    assert log_shift(bands, marks[::-1]) == pytest.approx(log_shift(bands, marks), abs=1e-9)


@pytest.mark.parametrize("index", [0.01, 20.0])
def test_one_slip_of_the_pen_moves_the_limits_little(index):
    # Its pull is at most 1 / SCALE = 10 against the prior's 1 / PRIOR_SD² = 100 a unit: 0.1, that is 10 %.
    factor = exp(log_shift(TOMATO, [mark(index, index < 1)]))
    assert 0.904 < factor < 1.106


def test_marks_far_on_their_own_side_hardly_matter():
    for index, leggy in ((0.6, False), (1 / 0.6, True)):
        assert abs(log_shift(TOMATO, [mark(index, leggy)] * 100)) < log(1.05)


def marks_of_a_grower(own_limit, number):
    """Indexes evenly spread, in their logarithm, about a grower's own limit, marked by it without a slip."""
    return [mark(x, bool(x > own_limit)) for x in own_limit * np.exp(np.linspace(-0.5, 0.5, number))]


def test_few_marks_move_little_and_many_arrive():
    own = 0.7  # where the file says 1.0
    reached = [shift(TOMATO, marks_of_a_grower(own, n)).leggy_above for n in (2, 6, 20, 60, 200, 1000)]
    assert reached == sorted(reached, reverse=True)
    assert reached[0] > 0.9
    assert 0.3 < log(reached[2]) / log(own) < 0.9, "about half-way after 20"
    assert reached[-1] == pytest.approx(own, rel=0.02)


def test_marks_that_agree_with_the_file_leave_it():
    assert shift(TOMATO, marks_of_a_grower(1.0, 40)).leggy_above == pytest.approx(1.0, abs=0.01)


def test_young_plants_are_held_against_the_young_limit():
    young = [mark(1.4, False, leaves=1)] * 30
    grown = [replace(m, true_leaves=3.0) for m in young]
    assert log_shift(TOMATO, young) == pytest.approx(by_scipy(TOMATO, young), abs=2e-5)
    assert shift(TOMATO, young).leggy_above < 1.2 < 1.35 < shift(TOMATO, grown).leggy_above, "under 1.6, over 1.0"


def test_the_crop_says_that_its_limits_are_the_growers():
    pepper = load_crop("pepper")
    shifted = with_marks(pepper, [mark(0.8, True)] * 12)
    assert pepper.bands_unproved and not shifted.bands_unproved
    assert shifted.legginess.leggy_above < pepper.legginess.leggy_above
    assert shifted.legginess.origin == "own marks (12), starting from tomato's tables"
    assert shifted.sources["legginess"].startswith("own marks (12); computed in bands.py")
    assert pepper.sources["legginess"].startswith("computed"), "the crop given is untouched"
    assert with_marks(pepper, []) == pepper
    assert with_marks(load_crop("onion"), [mark(0.8, True)]) == load_crop("onion")


def test_every_crop_can_be_shifted():
    for name in crop_names():
        bands = with_marks(load_crop(name), [mark(0.3, True), mark(0.9, False)]).legginess
        assert bands is None or bands.compact_below < bands.normal_below < bands.leggy_above

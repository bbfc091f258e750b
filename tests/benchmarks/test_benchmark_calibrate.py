"""Standard errors wrong by a known factor, against the normal distribution (SciPy)."""

import numpy as np
import pytest
from scipy.stats import norm

from seedlingcv.benchmarks.calibrate import calibrate, main, needed_factor, show
from seedlingcv.benchmarks.scores import Z_90, Answer


def rows(flat, n, true_error, stated, measure="height_mm"):
    off = np.random.default_rng(len(flat)).normal(0, true_error, n)
    return [Answer(flat, f"A{k}", measure, 50.0, 50.0 + float(e), stated) for k, e in enumerate(off)]


def test_the_constant_is_the_normal_distributions():
    assert pytest.approx(norm.ppf(0.95), abs=5e-4) == Z_90


def test_errors_stated_half_as_large_need_a_factor_of_two():
    found = [a for flat in ("a", "bb", "ccc") for a in rows(flat, 2000, 4.0, 2.0)]
    (only,) = calibrate(found)
    assert only.factor == pytest.approx(2, rel=0.05)
    assert only.stated_inside == pytest.approx(2 * norm.cdf(Z_90 / 2) - 1, abs=0.02)
    assert only.left_out_inside == pytest.approx(0.9, abs=0.02)


def test_the_flat_left_out_does_not_set_its_own_factor():
    found = rows("calm", 1000, 1.0, 1.0) + rows("stormy", 1000, 5.0, 1.0)
    (only,) = calibrate(found)
    assert only.factors["stormy"] == pytest.approx(1, rel=0.1)
    assert only.left_out["stormy"] == pytest.approx(2 * norm.cdf(Z_90 / 5) - 1, abs=0.05)
    assert only.left_out["calm"] == 1


def test_at_least_nine_in_ten_lie_inside():
    found = rows("a", 37, 3.0, 1.0)
    factor = needed_factor(found)
    assert np.mean([abs(a.error) <= Z_90 * factor * a.se * (1 + 1e-9) for a in found]) >= 0.9


def test_figures_without_errors_and_single_flats_are_left_out():
    unanswered = [Answer("a", "A1", "height_mm", 50.0), Answer("b", "A1", "height_mm", 50.0, 51.0)]
    assert calibrate(unanswered) == []
    assert calibrate(rows("a", 10, 1.0, 1.0)) == []
    assert "height_mm" in show(calibrate(rows("a", 10, 1.0, 1.0) + rows("bb", 10, 1.0, 1.0)))


def test_a_wrong_folder_is_one_line(tmp_path, capsys):
    assert main([str(tmp_path)]) == 1
    assert capsys.readouterr().err.count("\n") == 1

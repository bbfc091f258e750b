"""Scores worked out by hand on a made-up flat, and against scikit-image, SciPy and scikit-learn."""

import numpy as np
import pytest
from made_up import cell, measured, plant, result, write_flat

from seedlingcv.benchmarks import scores
from seedlingcv.benchmarks.evaluation import ELSEWHERE, read_evaluation
from seedlingcv.errors import SeedlingError


@pytest.fixture
def flat(tmp_path):
    write_flat(tmp_path)
    return read_evaluation(tmp_path)


def scored(evaluation, *cells):
    found = scores.answers(result(*cells), evaluation)
    return {m: scores.score(scores.of(found, m)) for m in scores.MEASURES}


def test_errors_by_hand(flat):
    got = scored(flat, measured("A1"), measured("A4", leaf_spread_mm=55.0, leaf_spread_mm_se=None))
    spread = got["leaf_spread_mm"]
    assert (spread.asked, spread.answered) == (2, 2)
    assert spread.mae == pytest.approx((3 + 5) / 2)
    assert spread.bias == pytest.approx((3 - 5) / 2)
    assert spread.median_rel == pytest.approx((3 / 60 + 5 / 60) / 2)
    assert spread.inside_90 == 1  # 3 mm off with an error of 2 mm: inside 1.645 x 2 = 3.29
    assert got["height_mm"].inside_90 == 0  # 4 mm off
    assert got["true_leaves"].exact == 0
    assert got["legginess_side"].mae == pytest.approx(abs(0.52 - 30 / 60))
    assert got["canopy_cover"].asked == 4


def test_only_cells_with_one_plant_in_truth_and_in_the_result_count(flat):
    got = scored(flat, measured("A1", plants=2), measured("A2"), measured("A3"), measured("A4"))["leaf_area_mm2"]
    assert (got.asked, got.answered) == (2, 1)  # A2 is empty, A3 holds two; A1 was taken for two


def test_weeds_are_no_plants(tmp_path):
    write_flat(tmp_path, cells=[cell(1, [plant(1), plant(2, is_weed=True, stem_length_mm=None)])])
    assert scored(read_evaluation(tmp_path), measured("A1"))["leaf_spread_mm"].answered == 1


def test_nothing_said_is_nothing_answered(flat):
    assert {s.answered for s in scored(flat).values()} == {0}


def test_stems_are_kept_apart_by_where_they_come_from(tmp_path):
    write_flat(tmp_path, cells=[cell(1, [plant(1)]), cell(2, [plant(2)]), cell(3, [plant(3)], row=1)])
    got = scored(read_evaluation(tmp_path), measured("A1"), measured("A2", stem_from="parallax"),
                 measured("B3", stem_from="parallax"))
    assert (got["stem_side"].asked, got["stem_side"].answered) == (2, 1)
    assert (got["stem_parallax"].asked, got["stem_parallax"].answered) == (2, 2)  # A2 was answered from its height


def test_flat_median_legginess(flat):
    found = scores.answers(result(measured("A1", legginess=0.6), measured("A4", legginess=0.5)), flat)
    assert scores.flat_legginess_errors(found) == {"x01_tomato": pytest.approx(0.55 / 0.5 - 1)}


def test_counts(flat):
    counts = scores.count_scores(result(measured("A1", plants=0), measured("A2", plants=0), measured("A3", plants=3),
                                        measured("A4")), flat.flats)
    assert counts.empty_f1 == pytest.approx(2 / 3)  # one found, one claimed wrongly: 2TP / (2TP + FP + FN)
    assert counts.double_f1 == 1


def test_f1_as_scikit_learn():
    metrics = pytest.importorskip("sklearn.metrics")
    said, true = np.random.default_rng(3).random((2, 50)) < 0.4
    assert scores.f1(said.tolist(), true.tolist()) == pytest.approx(metrics.f1_score(true, said))


def test_overlap_as_scipy():
    from scipy.spatial.distance import jaccard

    said, true = np.random.default_rng(1).random((2, 40, 40)) < 0.4
    assert scores.intersection_over_union(said, true) == pytest.approx(1 - jaccard(said.ravel(), true.ravel()))
    assert scores.intersection_over_union(said & False, true & False) == 1


def test_best_dice_of_one_label_as_scipy():
    from scipy.spatial.distance import dice

    said, true = np.random.default_rng(2).random((2, 40, 40)) < 0.4
    got = scores.symmetric_best_dice(said.astype(np.uint16), 7 * true.astype(np.uint16))
    assert got == pytest.approx(1 - dice(said.ravel(), true.ravel()))


def test_best_dice_takes_the_lower_direction():
    true = np.array([[1, 1, 2, 2]])
    assert scores.symmetric_best_dice(np.array([[5, 5, 9, 9]]), true) == 1  # numbers don't matter
    merged = scores.symmetric_best_dice(np.array([[5, 5, 5, 5]]), true)
    assert merged == pytest.approx(2 * 2 / (4 + 2))
    missed = scores.symmetric_best_dice(np.array([[5, 5, 0, 0]]), true)
    assert missed == pytest.approx((1 + 0) / 2)
    assert scores.symmetric_best_dice(np.zeros((1, 4), int), true) == 0


def test_other_flats_are_not_scored():
    said, true = scores.without_other_flats(np.array([[1, 1, 2]]), np.array([[1, ELSEWHERE, 2]]))
    assert said.tolist() == true.tolist() == [[1, 0, 2]]


def test_photos(flat):
    names = [f"x01_tomato/{view}.jpg" for view in ("overhead_a", "overhead_b", "side")]
    photos = [{"file": names[0], "flat": 31, "usable": True, "problems": []},
              {"file": names[1], "flat": 32, "usable": True, "problems": []}]
    counts = scores.photo_scores({"photos": photos, "flats": []}, flat)
    assert (counts.good_used, counts.good) == (1, 3)


def test_a_folder_without_flats_is_told_plainly(tmp_path):
    with pytest.raises(SeedlingError, match="no flats with truth.*Name the folder"):
        read_evaluation(tmp_path)


def test_a_broken_truth_is_told_plainly(tmp_path):
    write_flat(tmp_path)
    (tmp_path / "flats" / "x01_tomato" / "truth.json").write_text("{}")
    with pytest.raises(SeedlingError, match="no truth of a flat"):
        read_evaluation(tmp_path)


def test_stage_in_words(tmp_path):
    write_flat(tmp_path, "a", cells=[cell(1, [plant(1, true_leaf_count=0)])])
    write_flat(tmp_path, "b", cells=[cell(n, [plant(n, true_leaf_count=n)]) for n in (1, 2, 3)])
    assert [f.stage for f in read_evaluation(tmp_path).flats] == ["seed leaves", "1–3 true leaves"]

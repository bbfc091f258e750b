"""What is said of a comparison: verdicts, the answer's sentence, checks, planning. All flats here are invented."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from trial_season import flat, season

from seedlingcv.crops.crop import load_crop
from seedlingcv.records.history import History, Lighting
from seedlingcv.trials.answer import answer, next_trial, pair_lines
from seedlingcv.trials.compare import Comparison, compare
from seedlingcv.trials.design import Question
from seedlingcv.trials.figures import FIGURES
from seedlingcv.trials.matters import Matter, verdict, what_matters
from seedlingcv.trials.pairs import Difference

LEGGY, STEM = Question(), Question(figure="stem_length_mm")


def check_of(found: Comparison, about: str):
    return next(check for check in found.checks if check.about == about)


# --- verdicts


@pytest.mark.parametrize("low,high,said", [
    (0.12, 0.30, "surely matters"), (-0.30, -0.12, "surely matters"), (0.05, 0.37, "matters"),
    (0.01, 0.15, "maybe matters"), (0.01, 0.09, "small"), (-0.09, -0.01, "small"), (-0.05, 0.05, "none"),
    (-0.05, 0.30, "unsure"), (-0.30, 0.05, "unsure"),
])  # fmt: skip
def test_verdicts(low, high, said):
    difference = Difference("a", "b", (low + high) / 2, 0.05, 6.0, low, high, 0.5)
    assert verdict(difference, Matter(0.10, "")) == said


def test_verdict_without_test_or_without_a_size_that_matters():
    assert verdict(Difference("a", "b", 1.0), Matter(0.1, "")) == "nothing"
    assert verdict(Difference("a", "b", 1.0, 0.1, 5.0, 0.7, 1.3, 0.0), None) == "real"
    assert verdict(Difference("a", "b", 0.1, 0.1, 5.0, -0.2, 0.4, 0.3), None) == "unsure"


def test_what_matters_comes_from_the_crop():
    crop = load_crop("tomato")
    grown = [replace_leaves(3.0)]
    step = (crop.legginess.leggy_above - crop.legginess.normal_below) / 2
    assert what_matters(LEGGY, crop, grown).size == pytest.approx(step)
    assert what_matters(STEM, crop, grown).size == pytest.approx(step * sum(crop.spread_mm["pot_up"]) / 2)
    young = what_matters(LEGGY, crop, [replace_leaves(0.5)])
    assert young.size == pytest.approx(step * crop.legginess.young_leggy_above / crop.legginess.leggy_above)
    assert what_matters(Question(figure="canopy_cover"), None, grown).size == 0.10
    assert what_matters(Question(figure="true_leaves"), None, grown).size == 0.5
    assert what_matters(LEGGY, None, grown) is None
    assert what_matters(replace(LEGGY, difference=0.3), crop, grown).size == 0.3
    assert all("judgement" in what_matters(Question(figure=f), crop, grown).why for f in FIGURES)


def replace_leaves(leaves: float):
    from datetime import date

    from seedlingcv.trials.design import FlatValue

    return FlatValue("flat 1", 1, "a", (40.0, 41.0), date(2025, 3, 22), 21, leaves, 50.0, "")


# --- sentences


def test_a_real_difference_in_one_sentence():
    found = compare(season({"new panel": [38, 40, 37, 41], "old tubes": [50, 47, 52, 48]}), LEGGY)
    d = found.differences[0]
    said = answer(found)
    assert said == (f"Under the new panel tomato plants had {-d.estimate:.2f} less stem for their leaves than under "
                    f"the old tubes (95 % interval {-d.high:.2f} to {-d.low:.2f}), enough to matter, even at the least "
                    "of it.")
    assert pair_lines(found) == ()


def test_no_telling_yet():
    said = answer(compare(season({"a": [38, 44], "b": [40, 47, 39]}), LEGGY))
    assert said.endswith("the flats differ so much among themselves that this may be chance: can't tell yet.")
    assert "enough to matter" not in said


def test_no_difference_that_would_matter():
    said = answer(compare(season({"a": [38, 40, 37, 41], "b": [38, 39.5, 37.5, 40.2, 39]}), LEGGY))
    assert said.endswith("any difference is smaller than would matter (0.10).")


def test_real_but_small():
    said = answer(compare(season({"a": [38, 38.5, 37.8, 38.1], "b": [39.1, 39.5, 39.5, 39.2]}), LEGGY))
    assert "more than chance, but too little to matter (that would be 0.10)" in said


def test_nothing_claimed_is_said_first():
    said = answer(compare(season({"new panel": [38], "Window": [44]}), STEM))
    assert said == ("Nothing can be said about the lights yet: each has one flat only, so light and flat can't be told "
                    "apart. Seen was stem length 38.0 mm under the new panel, 44.0 mm under Window.")


def test_several_lights():
    found = compare(season({"a": [38, 40, 37], "b": [39, 40, 38], "c": [60, 62, 61]}), STEM)
    assert answer(found).startswith("Tomato plants differ in stem length with the light: 38.3 mm under the a, 61.0 mm "
                                    "under the c; 2 of 3 pairs can be told apart.")
    assert len(pair_lines(found)) == 2
    alike = compare(season({"a": [30, 40, 50], "b": [33, 41, 52], "c": [35, 44, 47]}), STEM)
    assert answer(alike).startswith("No light can be told from another") and not pair_lines(alike)


@pytest.mark.parametrize("by,said", [
    ("variety", "Tomato plants of 'Y' had stems"), ("seed_lot", "Tomato plants of seed lot Y had stems"),
    ("batch", "Tomato plants of batch Y had stems"), ("shelf", "On shelf Y tomato plants had stems"),
])  # fmt: skip
def test_other_things_than_lights(by, said):
    flats = [flat(i, [40 + i % 4 + 10 * (i % 2), 44], **{by: "YX"[i % 2]}) for i in range(8)]
    assert answer(compare(History(tuple(flats)), replace(STEM, by=by))).startswith(said)


def test_inches():
    found = compare(season({"a": [38, 40, 37, 41], "b": [50, 47, 52, 48]}), STEM)
    assert f"stems {abs(found.differences[0].estimate) / 25.4:.2f} in shorter" in answer(found, inch=True)


def test_the_size_stands_in_the_sentence_with_its_own_sign():
    """Of the two intervals the sentence tells the one of what it says, `less`."""
    found = compare(season({"a": [38, 44], "b": [40, 47, 39]}), STEM)
    d = found.differences[0]
    assert d.estimate < 0
    assert f"(95 % interval \u2212{d.high:.1f} to {-d.low:.1f})" in answer(found)


# --- planning


def test_planning_uses_the_flats_own_scatter():
    found = compare(season({"a": [38, 40, 37, 41], "b": [50, 47, 52, 48]}, plants=24, plant_sd=8.0), STEM)
    planning = found.planning
    pooled = np.mean([np.var(v, ddof=1) for v in ([38, 40, 37, 41], [50, 47, 52, 48])])
    assert planning.unit_sd == pytest.approx(np.sqrt(pooled))
    within = [v for unit in found.units for v in np.array(unit.flats[0].cells) - unit.value]
    assert planning.plant_sd == pytest.approx(np.sqrt(np.sum(np.square(within)) / (8 * 23)))
    assert planning.plant_share == pytest.approx(planning.plant_sd**2 / 24 / pooled)
    assert planning.at_least <= planning.each <= planning.at_most
    # 80 % chi-square interval of the variance on 6 degrees of freedom
    from seedlingcv.trials.planning import units_needed

    assert planning.at_most == units_needed(planning.difference, pooled * 6 / stats.chi2.ppf(0.1, 6))


def test_planning_in_words():
    found = compare(season({"a": [38, 46, 37, 49], "b": [50, 42, 52, 48]}), replace(STEM, difference=6.0))
    said = " ".join(next_trial(found))
    assert said.startswith(f"To see a difference of 6.0 mm in 4 trials of 5 takes about {found.planning.each} flats "
                           "for each of two lights.")
    assert "hardly help, more flats would" in said
    unknown = compare(season({"a": [38, 46, 37], "b": [50, 42, 52]}, crop=None), STEM)
    assert "--difference" in " ".join(next_trial(unknown))
    assert "four to six flats" in " ".join(next_trial(compare(season({"a": [38], "b": [50]}), STEM)))


# --- checks


def test_too_few_flats_to_check_is_said():
    found = compare(season({"a": [38, 40], "b": [50, 47, 52]}), STEM)
    assert check_of(found, "even scatter").state == "unknown"
    assert check_of(found, "equal scatter").state == "unknown"
    assert "taken for granted" in check_of(found, "equal scatter").text


def test_one_odd_flat_is_named_with_what_it_changes():
    found = compare(season({"a": [38, 40, 37, 41, 39], "b": [44, 45, 43, 46, 80]}), STEM)
    odd = check_of(found, "odd ones")
    assert odd.state == "look" and odd.text.startswith("Flat 40 is out of line") and "another one" in odd.text
    # externally studentised, Bonferroni: against statsmodels where it is there
    influence = pytest.importorskip("statsmodels.stats.outliers_influence").OLSInfluence
    api = pytest.importorskip("statsmodels.api")
    x = np.kron(np.eye(2), np.ones((5, 1)))
    fit = api.OLS([38, 40, 37, 41, 39, 44, 45, 43, 46, 80], x).fit()
    t = influence(fit).resid_studentized_external[-1]
    assert odd.p == pytest.approx(2 * stats.t.sf(abs(t), 7) * 10)


def test_checks_against_scipy():
    a, b = [38, 40, 37, 41, 46], [50, 47, 52, 48, 49]
    found = compare(season({"a": a, "b": b}), STEM)
    residuals = [np.array(v) - np.mean(v) for v in (a, b)]
    assert check_of(found, "even scatter").p == pytest.approx(stats.shapiro(np.concatenate(residuals)).pvalue)
    assert check_of(found, "equal scatter").p == pytest.approx(stats.levene(a, b, center="median").pvalue)


def test_unequal_scatter_is_told():
    found = compare(season({"a": [40, 40.2, 39.8, 40.1, 39.9, 40.05], "b": [30, 60, 35, 55, 45, 50]}), STEM)
    assert check_of(found, "equal scatter").state == "look"
    assert "allows for that" in check_of(found, "equal scatter").text  # Welch


def test_a_light_that_works_otherwise_in_another_batch_is_told():
    flats, number = [], 31
    for batch, turn in (("March", 1), ("April", -1)):
        for light, sign in (("a", 1), ("b", -1)):
            for off in (-1, 0, 1):
                flats.append(flat(number, [40 + 8 * sign * turn + off] * 3, light=light, batch=batch))
                number += 1
    assert check_of(compare(History(tuple(flats)), STEM), "blocks alike").state == "look"


def test_an_answer_that_hangs_on_one_flat_is_told():
    found = compare(season({"a": [38, 41, 40], "b": [44, 46, 50]}), STEM)
    assert found.differences[0].real and "hangs on single ones" in check_of(found, "odd ones").text


def test_unequal_numbers_of_plants_are_told():
    flats = [flat(i, [40 + i + k / 9 for k in range([4, 40][i % 2])], light="ab"[i // 3]) for i in range(6)]
    assert "4 to 40 plants" in check_of(compare(History(tuple(flats)), STEM), "plants").text


def test_equal_doses_are_fine_and_unknown_ones_told():
    lamp = Lighting("1", "x", ppfd_umol=((200.0,),), hours=16)
    flats = [flat(i, [40 + i % 3], light="ab"[i % 2], lighting=lamp) for i in range(6)]
    assert check_of(compare(History(tuple(flats)), STEM), "daily light").state == "fine"
    assert check_of(compare(season({"a": [38, 40], "b": [50, 47]}), STEM), "daily light").state == "unknown"

"""What is said of a comparison: verdicts, the answer's sentence, checks, planning. All flats here are invented."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from trial_season import flat, season

from seedlingcv.crops.crop import load_crop
from seedlingcv.records.history import FlatHistory, History, Lighting
from seedlingcv.trials.answer import answer, interval, next_trial, pair_lines
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

    return FlatValue("flat 1", 1, "a", ((40.0, 41.0),), date(2025, 3, 22), 21, leaves, 50.0, "")


# --- sentences


def test_a_real_difference_in_one_sentence():
    found = compare(season({"new panel": [38, 40, 37, 41], "old tubes": [50, 47, 52, 48]}), LEGGY)
    d = found.differences[0]
    said = answer(found)
    assert said == (f"Tomato plants were {-d.estimate:.2f} less leggy under the new panel than under the old tubes "
                    f"(0.78 against 0.98; 95 % interval of the difference {-d.high:.2f} to {-d.low:.2f}), enough to "
                    "matter, even at the least of it, if no two flats shared a lamp (shelves aren't written down).")
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


def test_of_several_lights_the_widest_pair_is_told_and_what_it_leaves_unsaid():
    found = compare(season({"a": [38, 40, 37], "b": [39, 40, 38], "c": [60, 62, 61]}), STEM)
    d = next(d for d in found.differences if (d.one, d.other) == ("a", "c"))
    assert answer(found) == (
        f"Tomato plants had stems {-d.estimate:.1f} mm longer under 'c' than under 'a' (61.0 against 38.3; 95 % "
        f"interval of the difference {-d.high:.1f} to {-d.low:.1f}), enough to matter, even at the least of it, if no "
        "two flats shared a lamp (shelves aren't written down).")
    other, same = pair_lines(found)
    assert other.startswith("Under 'b' 22.0 mm less than under 'c' (")
    assert same == "No difference that would matter: 'a' and 'b'."


def test_of_many_pairs_only_the_number_is_told():
    found = compare(season({name: [30 + 8 * i, 31 + 8 * i] for i, name in enumerate("abcde")}), STEM)
    assert "stems 32.0 mm longer under 'e' than under 'a'" in answer(found)
    assert pair_lines(found) == (f"Of 10 pairs {sum(d.real for d in found.differences)} can be told apart; the table "
                                 "has them all.",)


@pytest.mark.parametrize("more,said", [
    ({}, "No light can be told from another in stem length of tomato plants: 40.0 mm under 'a', 42.0 mm under"),
    ({"against": "b"}, "No light can be told from 'b' in stem length of tomato plants: 40.0 mm under 'a', 42.0 mm"),
    ({"pairs": (("b", "c"), ("c", "d"))}, "None of the pairs named can be told apart in stem length of tomato plants: "
                                          "41.5 mm under 'd', 42.0 mm under 'c'; "),
])  # fmt: skip
def test_where_no_light_can_be_told_only_what_was_asked_is_said(more, said):
    alike = season({"a": [30, 40, 50], "b": [33, 41, 52], "c": [35, 44, 47], "d": [34, 41.5, 49]})
    found = compare(alike, replace(STEM, **more))
    assert answer(found).startswith(said) and not pair_lines(found)


def test_an_interval_that_leaves_nought_out_does_not_read_as_if_it_held_it():
    found = compare(season({"a": [38, 40, 37], "b": [44, 46, 49]}), STEM)
    d = replace(found.differences[0], low=-13.0, high=-0.02)
    assert interval(found, d) == "\u221213.00 to \u22120.02" and interval(found, replace(d, high=-0.2)).endswith(".2")


@pytest.mark.parametrize("by,said", [
    ("variety", "Tomato plants of 'Y' had stems"), ("seed_lot", "Tomato plants of seed lot Y had stems"),
    ("batch", "Tomato plants of batch Y had stems"),
    ("shelf", "Tomato plants had stems 5.5 mm shorter on shelf Y than on shelf X"),
])  # fmt: skip
def test_other_things_than_lights(by, said):
    flats = [flat(i, [40 + i % 4 + 10 * (i % 2), 44], **{by: "YX"[i % 2]}) for i in range(8)]
    assert answer(compare(History(tuple(flats)), replace(STEM, by=by))).startswith(said)


def test_a_light_that_bears_no_noun_is_not_taken_for_the_plants():
    """`under the old basil plants` would be: the plants come first."""
    said = answer(compare(season({"old": [50, 47, 52], "new": [38, 40, 37]}, crop="basil"), STEM))
    assert said.startswith("Basil plants had stems 11.3 mm longer under the old than under the new (")


def test_inches():
    found = compare(season({"a": [38, 40, 37, 41], "b": [50, 47, 52, 48]}), STEM)
    assert f"stems {abs(found.differences[0].estimate) / 25.4:.2f} in shorter" in answer(found, inch=True)


def test_the_size_stands_in_the_sentence_with_its_own_sign():
    """Of the two intervals the sentence tells the one of what it says, `less`."""
    found = compare(season({"a": [38, 44], "b": [40, 47, 39]}), STEM)
    d = found.differences[0]
    assert d.estimate < 0
    assert f"95 % interval of the difference \u2212{d.high:.1f} to {-d.low:.1f})" in answer(found)


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
    assert said.startswith(f"To see a difference of 6.0 mm takes about {found.planning.each} flats for each of two "
                           "lights; then 4 trials of 5 show it.")
    assert "hardly help, more flats would" in said
    unknown = compare(season({"a": [38, 46, 37], "b": [50, 42, 52]}, crop=None), STEM)
    assert "--difference" in " ".join(next_trial(unknown))
    assert "four to six flats" in " ".join(next_trial(compare(season({"a": [38], "b": [50]}), STEM)))


def test_what_a_trial_of_three_could_show_goes_by_its_own_wider_intervals():
    """Simulated: of trials with that true difference and this scatter 80 % have a Tukey interval without 0."""
    found = compare(season({"a": [38, 44, 41, 43], "b": [40, 47, 39, 44], "c": [42, 38, 45, 41]}), STEM)
    size, rng = found.planning.smallest_seen, np.random.default_rng(2)
    flats = rng.normal(size=(4000, 3, 4)) * found.planning.unit_sd
    flats[:, 0] += size
    scatter = np.sqrt(flats.var(axis=2, ddof=1).mean(axis=1) * 2 / 4)
    off = np.abs(flats[:, 0].mean(axis=1) - flats[:, 1].mean(axis=1)) / scatter
    assert np.mean(off > stats.studentized_range.ppf(0.95, 3, 9) / np.sqrt(2)) == pytest.approx(0.8, abs=0.02)


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


def test_of_several_pairs_the_one_that_hangs_on_a_flat_is_named():
    found = compare(season({"a": [38, 41, 40], "b": [44, 46, 51], "c": [80, 81, 82]}), STEM)
    said = check_of(found, "odd ones").text
    assert "what is said of a and b hangs on single ones" in said and "pairs." not in said


def test_whether_an_answer_hangs_on_a_flat_is_told_by_the_answers_own_test():
    """Bonferroni's intervals would say that it does, by flats 31 and 33; with each flat left out Tukey's, which the
    answer has, still part all three."""
    means = {"a": [40, 42, 37], "b": [45, 47, 51], "c": [58, 57, 59]}
    for light, own in means.items():
        for i in range(3):
            rest = compare(season(means | {light: own[:i] + own[i + 1:]}), STEM)
            assert all(d.real for d in rest.differences)
    assert check_of(compare(season(means), STEM), "odd ones").state == "fine"


def wild(plants: int) -> Comparison:
    """Three flats a light; in the last one so many plants were measured four times as long as they were."""
    rng, history = np.random.default_rng(4), season({"a": [47, 48, 49], "b": [37, 38, 38]})
    values = rng.normal(38, 6, 24)
    values[:plants] *= 4
    return compare(History((*history.flats[:-1], flat(36, values, light="b"))), STEM)


def test_single_plants_that_carry_the_answer_are_told_and_stay_in():
    found = wild(4)
    assert not found.differences[0].real and found.units[-1].plants == 24
    said = check_of(found, "single plants")
    assert said.state == "look" and "in flat 36 (4)" in said.text and "would be another" in said.text
    assert check_of(wild(0), "single plants").state == "fine"


def test_plants_far_off_against_scipy():
    from seedlingcv.trials.checks import far_off

    cells = np.random.default_rng(3).standard_t(2, size=60)
    off = np.abs(cells - np.median(cells)) / stats.median_abs_deviation(cells, scale="normal")
    assert far_off(tuple(cells)) == int(np.sum(off > 3.5)) > 0
    assert far_off((1.0,) * 20 + (9.0,)) == 0 and far_off((1.0, 2.0, 90.0)) == 0  # no scale, too few


def by_ruler(of: FlatHistory) -> FlatHistory:
    return replace(of, days=tuple(replace(day, source="ruler") for day in of.days))


def test_lights_measured_in_two_ways_are_told():
    one, two, three, *others = season({"a": [38, 41, 40], "b": [44, 46, 50]}).flats
    found = compare(History((by_ruler(one), by_ruler(two), three, *others)), STEM)
    assert "photos: a 1 of 3, b 3 of 3; the others by ruler" in check_of(found, "measured alike").text
    mixed = compare(History((by_ruler(one), two, three, by_ruler(others[0]), *others[1:])), STEM)
    assert "measured alike" not in {check.about for check in mixed.checks}


def test_lights_measured_at_other_ages_within_the_tolerance_are_told():
    flats = [flat(31 + i, [40 + i, 44], light="ab"[i // 3], age=(20, 21, 21, 21, 21, 22)[i]) for i in range(6)]
    found = compare(History(tuple(flats)), replace(STEM, age_days=21))
    assert "flats of b were 0.7 days older than those of a" in check_of(found, "same stage").text
    leaves = [flat(31 + i, [40 + i] * 10, light="ab"[i // 3], leaves=(1.7, 1.8, 1.9, 2.2, 2.3, 2.1)[i])
              for i in range(6)]
    found = compare(History(tuple(leaves)), replace(STEM, leaves=2))
    assert "flats of b were 0.4 true leaves ahead of those of a" in check_of(found, "same stage").text


def test_one_line_for_a_whole_flat_is_no_plant():
    def line(of: FlatHistory) -> FlatHistory:
        day = by_ruler(of).days[0]
        cell = replace(day.measurement.cells[0], cell="all")
        return replace(of, days=(replace(day, measurement=replace(day.measurement, cells=(cell,))),))

    flats = season({"a": [38, 41, 40], "b": [44, 46, 50]}).flats
    found = compare(History((line(flats[0]), *flats[1:])), STEM)
    assert [(g.plants, g.whole_flats) for g in found.groups] == [(48, 1), (72, 0)]
    assert check_of(found, "plants").state == "unknown" and "some flats" in check_of(found, "plants").text


def test_unequal_numbers_of_plants_are_told():
    flats = [flat(i, [40 + i + k / 9 for k in range([4, 40][i % 2])], light="ab"[i // 3]) for i in range(6)]
    assert "4 to 40 plants" in check_of(compare(History(tuple(flats)), STEM), "plants").text


def test_equal_doses_are_fine_and_unknown_ones_told():
    lamp = Lighting("1", "x", ppfd_umol=((200.0,),), hours=16)
    flats = [flat(i, [40 + i % 3], light="ab"[i % 2], lighting=lamp) for i in range(6)]
    assert check_of(compare(History(tuple(flats)), STEM), "daily light").state == "fine"
    assert check_of(compare(season({"a": [38, 40], "b": [50, 47]}), STEM), "daily light").state == "unknown"

"""What a change of light did: against statsmodels, SciPy and made-up seasons whose answer is known."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
import statsmodels.formula.api as smf
from invented_flats import BULB, PANEL, SOWN, change_at, course, day, history
from scipy import stats

from seedlingcv.records.history import History
from seedlingcv.stretch.change import change_effects, difference, two_slopes

AGES, TURN = (13, 16, 19, 21, 24, 27, 30), 21


def bend(age):
    """Growth speeds up by itself: a made-up curve of stem length, mm."""
    return 8 + 0.06 * np.asarray(age, float) ** 2


def season(changed, stayed, light_effect=0.0, seed=1, ages=AGES, **more):
    """Flats that differ in level and in how fast they go on before and after the turn."""
    rng = np.random.default_rng(seed)
    flats = []
    for i in range(changed + stayed):
        level, before, after = rng.normal(0, [3, 0.3, 0.3])
        after += light_effect if i < changed else 0
        since = np.array(ages) - TURN
        means = bend(ages) + level + np.where(since < 0, before, after) * since
        flats.append(course(31 + i, ages, means, turn=TURN if i < changed else None, **more))
    return History(tuple(flats))


def of(history_, field="stem_length_mm"):
    return next(e for e in change_effects(history_) if e.field == field)


def test_slopes_on_both_sides_the_look_at_the_change_on_both():
    flat = course(31, AGES, [10, 16, 22, 26, 29, 32, 35], turn=TURN)
    found = two_slopes(flat, "stem_length_mm", SOWN + timedelta(TURN))
    assert (found.before, found.after) == (pytest.approx(2), pytest.approx(1))
    assert found.step == pytest.approx(-1) and found.days == (-8, -5, -2, 0, 3, 6, 9)


@pytest.mark.parametrize("before", [(13, 16, 19, 21), (12, 14, 21), (12, 21)])
def test_a_windows_middle_is_where_a_bent_curve_is_as_steep_as_its_line(before):
    """NumPy's line through points of 8 + 0.06 t^2, whose steepness is 0.12 t."""
    ages = (*before, 24, 30)
    found = two_slopes(course(31, ages, bend(ages), turn=TURN), "stem_length_mm", SOWN + timedelta(TURN))
    assert found.before == pytest.approx(np.polyfit(before, bend(before), 1)[0])
    assert 0.12 * found.middles[0] == pytest.approx(found.before)


def test_windows_end_at_ten_days_and_at_another_change():
    flat = course(31, (5, *AGES), [90, 10, 16, 22, 26, 29, 32, 35], turn=TURN)
    assert two_slopes(flat, "stem_length_mm", SOWN + timedelta(TURN)).before == pytest.approx(2)
    twice = replace(flat, changes=(change_at(17), *flat.changes))
    found = two_slopes(twice, "stem_length_mm", SOWN + timedelta(TURN))
    assert found.middles[0] == 20, "from 19 days on only"


def test_too_few_looks_on_a_side():
    effect = of(History((course(31, (18, 21), [20, 26], turn=21), course(32, (19, 20, 24), [20] * 3, turn=20))))
    assert not effect.changed and effect.step is None and "none of them can be counted" in effect.why_not
    assert {f.flat: why for f, why in effect.left_out} == dict.fromkeys((31, 32),
                                                                        "not measured twice before and twice after")


def rows_of(effect):
    """Each flat's looks as a table: a look at the change stands on both sides, as in the estimate."""
    import pandas as pd

    rows = []
    for group, flats in ((1, effect.changed), (0, effect.stayed)):
        for slopes in flats:
            for look in slopes.history.days:
                mean = np.mean([c.stem_length_mm for c in look.measurement.cells])
                since = (look.day - slopes.turn).days
                sides = ([0] if since <= 0 else []) + ([1] if since >= 0 else [])
                rows += [(slopes.history.flat, group, since, side, mean) for side in sides if abs(since) <= 10]
    return pd.DataFrame(rows, columns=["flat", "changed", "t", "after", "stem"])


def test_estimate_is_that_of_segmented_regression():
    """Ordinary least squares by statsmodels with a level for each flat and side and slopes for each group and side: the
    triple interaction is the estimate, as every flat was seen on the same days."""
    effect = of(season(4, 4, light_effect=-0.8))
    fit = smf.ols("stem ~ C(flat):C(after) + t + t:after + t:changed + t:after:changed", rows_of(effect)).fit()
    assert effect.effect.mean == pytest.approx(fit.params["t:after:changed"], rel=1e-6)


@pytest.mark.filterwarnings("ignore")  # of convergence, on data that fit nearly exactly
def test_estimate_is_that_of_a_mixed_model():
    """Flats' own slopes as random: in a balanced table the same estimate (statsmodels MixedLM, REML)."""
    effect = of(season(5, 5, light_effect=-0.8))
    table = rows_of(effect)
    table["own"] = table.stem - table.groupby(["flat", "after"]).stem.transform("mean")
    table["s"] = table.t - table.groupby(["flat", "after"]).t.transform("mean")
    table["sa"], table["sc"], table["sac"] = table.s * table.after, table.s * table.changed, (
        table.s * table.after * table.changed)
    fit = smf.mixedlm("own ~ 0 + s + sa + sc + sac", table, groups="flat", re_formula="0 + s + sa").fit()
    assert effect.effect.mean == pytest.approx(fit.params["sac"], rel=0.02)


def test_interval_is_scipys_welch():
    changed, stayed = [-0.9, -0.4, -0.7, -1.1], [0.1, 0.4, -0.2]
    found = difference(changed, stayed)
    interval = stats.ttest_ind(changed, stayed, equal_var=False).confidence_interval()
    assert found.method == "welch" and (found.low, found.high) == pytest.approx(tuple(interval))


def test_flats_that_are_all_alike_make_no_nonsense():
    found = difference([-1.0, -1.0], [0.5, 0.5])
    assert (found.low, found.mean, found.high) == (-1.5, -1.5, -1.5)


def test_a_planted_effect_is_found_beside_flats_that_stayed():
    effect = of(season(5, 5, light_effect=-1.0))
    assert effect.effect.low < -1.0 < effect.effect.high < 0
    assert (len(effect.changed), len(effect.stayed), effect.stayed_under) == (5, 5, (BULB,))
    assert not effect.why_not


def test_legginess_is_told_too():
    """Spreads are 50 mm on every plant and day, so legginess is stem / 50 and so is its change."""
    found = season(4, 4, light_effect=-1.0)
    assert of(found, "legginess").effect.mean == pytest.approx(of(found).effect.mean / 50)


@pytest.mark.parametrize(("changed", "stayed"), [(3, 3), (3, 5), (4, 4), (6, 4), (6, 6)])
def test_without_an_effect_the_interval_holds_nought(changed, stayed):
    """2 000 made-up seasons without any effect of light: flats differ in level and pace as much as the means of their
    photos do (SD 3 mm; 0.3 mm a day over ten days). 93 to 97 % of intervals must hold 0 (95 % and three standard errors
    of 2 000 draws, and as much again as Welch's intervals are wide with three flats, see trials/means.py)."""
    rng = np.random.default_rng(changed * 10 + stayed)
    draws, since = 2000, np.array(AGES) - TURN
    inside = 0
    steps = []
    for flats in (changed, stayed):
        level, pace = rng.normal(0, 3, (draws, flats, 1)), rng.normal(0, 0.3, (draws, flats, 2))
        looks = bend(AGES) + level + np.where(since < 0, pace[..., :1], pace[..., 1:]) * since
        looks = looks + rng.normal(0, 1.0, looks.shape)
        steps.append(slopes(looks, since, since >= 0) - slopes(looks, since, since <= 0))
    for one, other in zip(*steps, strict=True):
        found = difference(one, other)
        inside += found.low <= 0 <= found.high
    assert 0.93 <= inside / draws <= 0.97


def slopes(looks, since, side):
    x = since[side] - since[side].mean()
    return looks[..., side] @ x / (x @ x)


def test_the_simulation_reckons_as_the_program_does():
    found = season(3, 3, light_effect=-0.5, seed=9)
    since = np.array(AGES) - TURN
    for slopes_ in (*of(found).changed, *of(found).stayed):
        means = np.array([np.mean([c.stem_length_mm for c in d.measurement.cells]) for d in slopes_.history.days])
        assert slopes_.before == pytest.approx(slopes(means, since, since <= 0))
        assert slopes_.after == pytest.approx(slopes(means, since, since >= 0))


def test_before_and_after_alone_is_age():
    """Why nothing is claimed without flats that stayed: the light does nothing, yet growth rises by the bend of the
    curve, 0.06 x 2 mm a day for each day between the windows' middles, and the interval of before and after seldom
    holds 0."""
    holds, means = 0, []
    for seed in range(60):
        effect = of(season(4, 0, seed=seed, plants=3))
        assert effect.effect is None and "age and light can't be told apart" in effect.why_not
        holds += effect.step.low <= 0 <= effect.step.high
        means.append(effect.step.mean)
    assert np.mean(means) == pytest.approx(0.12 * 8.5, abs=0.15)
    assert holds / 60 < 0.6


def test_one_flat_is_shown_and_nothing_claimed():
    effect = of(season(1, 4))
    assert effect.effect is None and effect.step.low is None and "one flat alone" in effect.why_not
    assert "only one flat like these stayed" in of(season(3, 1)).why_not


def test_controls_are_of_the_crop_the_light_and_the_age():
    flats = season(3, 3).flats
    other_crop = replace(flats[3], crop="basil")
    other_light = course(41, AGES, bend(AGES), before="window sill")
    older = course(42, [a + 15 for a in AGES], bend(AGES))
    found = of(History((*flats[:3], other_crop, *flats[4:], other_light, older)))
    assert [s.history.flat for s in found.stayed] == [35, 36]
    alone = of(History((*flats[:3], other_light, older)))
    assert alone.stayed_under == ("window sill",), "for want of others, under whatever light they stayed"


def test_controls_were_seen_over_the_same_ages():
    """One seen only close before and long after the age of the change has its windows elsewhere on the curve."""
    flats = season(3, 3).flats
    elsewhere = course(43, (19, 21, 28, 31), bend((19, 21, 28, 31)))
    assert 43 not in [s.history.flat for s in of(History((*flats, elsewhere))).stayed]


def test_flats_that_changed_at_different_ages_are_not_compared():
    flats = season(2, 3).flats
    late = course(39, [a + 9 for a in AGES], bend(AGES), turn=TURN + 9)
    assert "different ages (21 to 30 days)" in of(History((*flats, late))).why_not


def test_without_sowing_dates():
    flats = tuple(replace(f, sown=None, days=tuple(replace(d, measurement=replace(d.measurement, sown=None))
                                                   for d in f.days)) for f in season(3, 3).flats)
    assert "sowing dates" in of(History(flats)).why_not


def on(flats, shelf):
    return tuple(replace(f, days=tuple(replace(d, shelf=shelf) for d in f.days)) for f in flats)


@pytest.mark.parametrize(("changed", "stayed", "doubt"), [
    (("1", "1", "1"), ("2", "3", "3"), "one shelf"), (("1", "1", "1"), (None,) * 3, "one shelf"),
    (("1", "1", "2"), ("3", "3", "3"), "stayed on one shelf"), (("1", "1", "2"), ("3", "4", "4"), None),
    (("1", None, "2"), ("3", "4", "4"), "shelves unknown"), (("1", "1", "2"), ("3", None, "4"), "shelves unknown"),
])
def test_what_else_may_be_behind_a_change(changed, stayed, doubt):
    """Several flats under one lamp are one trial of it (pseudoreplication: Hurlbert 1984, Ecol. Monogr. 54:187-211;
    from memory)."""
    flats = [on((flat,), shelf)[0] for flat, shelf in zip(season(3, 3).flats, (*changed, *stayed), strict=True)]
    effect = of(History(tuple(flats)))
    assert effect.doubt == doubt and (len(effect.changed), len(effect.stayed)) == (3, 3)


def test_parts_of_a_flat_count_once():
    """Also where one of them was first seen a look earlier, or was sown some days later."""
    parts = []
    for flat in season(2, 2, ages=(7, *AGES)).flats:
        later = replace(flat, part="rows D-F", days=flat.days[1:])
        parts += [replace(flat, part="rows A-C"), later]
    found = of(History(tuple(parts)))
    assert (len(found.changed), len(found.stayed)) == (2, 2)
    whole = of(season(2, 2, ages=(7, *AGES)))
    assert (found.effect.low, found.effect.high) == pytest.approx((whole.effect.low, whole.effect.high))


def without_the_largest(flat, age):
    """The plants of the upper half are gone from `age` on."""
    days = [replace(d, measurement=replace(d.measurement, cells=d.measurement.cells[:6]))
            if d.day >= SOWN + timedelta(age) else d for d in flat.days]
    return replace(flat, days=tuple(days))


def test_the_same_plants_are_followed():
    """The light does nothing, but the larger half of each changed flat is potted up at 22 days. All plants grow alike,
    so the estimate is the one with all of them."""
    flats = season(4, 4, wobble=12.0).flats
    culled = of(History((*(without_the_largest(f, 22) for f in flats[:4]), *flats[4:])))
    assert culled.effect.mean == pytest.approx(of(History(flats)).effect.mean)


def test_too_few_of_the_same_plants_are_told():
    flats = season(3, 3).flats
    others = replace(flats[0], days=tuple(
        replace(d, measurement=replace(d.measurement, cells=d.measurement.cells[:7] if i % 2 else
                                       d.measurement.cells[5:])) for i, d in enumerate(flats[0].days)))
    found = of(History((others, *flats[1:])))
    assert [(f.flat, why) for f, why in found.left_out] == [(31, "fewer than 3 plants were measured on every day")]
    assert len(found.changed) == 2


def test_flats_seen_over_other_windows_are_not_put_beside():
    """The light does nothing; growth bends, so wider windows show a larger step of themselves."""
    for wide, narrow, why in (((12, 14, 21, 28, 30), (14, 16, 21, 26, 28), "measured at other ages"),
                              ((12, 14, 21, 28, 30), (14, 21, 28), "measured at other ages"),
                              ((12, 21, 30), (14, 21, 28), "not measured twice before and twice after at the others' "
                               "ages")):
        found = of(History((*season(4, 0, ages=wide).flats, *(course(41 + i, narrow, bend(narrow)) for i in range(4)))))
        assert found.effect is None and [(f.flat, reason) for f, reason in found.not_beside] == [
            (41 + i, why) for i in range(4)]


def test_a_look_more_than_the_others_had_doesnt_count():
    flats = season(3, 3).flats
    changed, stayed = (course(n, (*AGES, 31), [*bend(AGES), 500], turn=turn) for n, turn in ((33, TURN), (34, None)))
    found = of(History((*flats[:2], changed, stayed, *flats[4:])))
    assert (len(found.changed), len(found.stayed)) == (3, 3)
    assert {s.days[-1] for s in (*found.changed, *found.stayed)} == {30 - TURN}


def test_changed_flats_seen_over_other_windows_are_left_out():
    flats = season(3, 3).flats
    other = course(39, (19, 21, 28, 31), bend((19, 21, 28, 31)), turn=TURN)
    found = of(History((*flats, other)))
    assert [s.history.flat for s in found.changed] == [31, 32, 33] and [f.flat for f, _ in found.left_out] == [39]


def resown(flat, days):
    """The same flat, sown and seen later."""
    later = timedelta(days)
    seen = tuple(replace(d, measurement=replace(d.measurement, day=d.day + later, sown=flat.sown + later))
                 for d in flat.days)
    return replace(flat, sown=flat.sown + later, days=seen)


@pytest.mark.parametrize(("days", "beside"), [(-3, True), (2, True), (-4, False), (-28, False), (-365, False)])
def test_flats_sown_at_another_time_lived_through_other_weather(days, beside):
    flats = season(3, 3).flats
    found = of(History((*flats[:3], *(resown(f, days) for f in flats[3:]))))
    assert len(found.stayed) == (3 if beside else 0)
    assert beside or "sown within 3 days" in found.why_not


def test_another_variety_is_not_put_beside():
    flats = season(3, 4).flats
    names = ("Stella", "Stella", "Stella", "stella ", None, "Other", "Other")
    found = of(History(tuple(replace(f, variety=name) for f, name in zip(flats, names, strict=True))))
    assert [s.history.flat for s in found.stayed] == [34, 35], "the same, or not known"
    assert [(f.flat, why) for f, why in found.not_beside] == [(36, "another variety"), (37, "another variety")]


def test_nothing_counts_after_potting_up():
    flats = season(3, 3).flats
    turn = SOWN + timedelta(TURN)
    found = of(History((replace(flats[0], potted=turn), *flats[1:5], replace(flats[5], potted=turn))))
    assert [(f.flat, why) for f, why in found.left_out] == [(31, "potted up too soon after")]
    assert [(f.flat, why) for f, why in found.not_beside] == [(36, "potted up too soon after")]
    late = of(History((*flats[:5], replace(flats[5], potted=SOWN + timedelta(27)))))
    assert [(f.flat, why) for f, why in late.not_beside] == [(36, "measured at other ages")]


def test_flats_that_were_moved_meanwhile_are_not_put_beside():
    flats = on(season(3, 3).flats, "top")
    moved = replace(flats[5], days=tuple(replace(d, shelf="low" if d.day >= SOWN + timedelta(TURN) else "top")
                                         for d in flats[5].days))
    found = of(History((*flats[:5], moved)))
    assert [(f.flat, why) for f, why in found.not_beside] == [(36, "moved to another shelf meanwhile")]


def test_each_pair_of_lights_by_itself():
    one = course(31, AGES, bend(AGES), turn=TURN)
    other = course(32, AGES, bend(AGES), turn=TURN, before=PANEL, after="window sill")
    effects = change_effects(History((one, other)))
    assert [(e.before, e.after, e.field) for e in effects] == [
        (BULB, PANEL, "legginess"), (BULB, PANEL, "stem_length_mm"),
        (PANEL, "window sill", "legginess"), (PANEL, "window sill", "stem_length_mm")]
    assert change_effects(History((history([day(14, [20])]),))) == ()


def test_a_change_before_anyone_looked_is_not_told():
    """Seedlings that came up elsewhere: nobody saw them under that light, so nothing can be said of the change."""
    flat = course(31, AGES, [10, 16, 22, 26, 29, 32, 35], turn=10)
    early = replace(flat, changes=(change_at(10),))
    assert early.changes and not early.changes_seen and not change_effects(History((early,)))

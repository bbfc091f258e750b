"""Which flats are compared, at which stage, and what counts once. All flats here are invented."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from trial_season import SOWN, flat, season

from seedlingcv.errors import SeedlingError
from seedlingcv.records.history import FlatHistory, History, LightChange, Lighting
from seedlingcv.trials import compare as compare_module
from seedlingcv.trials.answer import next_trial
from seedlingcv.trials.compare import compare
from seedlingcv.trials.design import Question, choose_flats
from seedlingcv.trials.units import lay_out

STEM = Question(figure="stem_length_mm")


def history(*flats: FlatHistory) -> History:
    return History(tuple(flats))


def reasons(*flats: FlatHistory, question: Question = STEM) -> dict[str, str]:
    return {out.place: out.why for out in choose_flats(history(*flats), question).left_out}


# --- one flat a light


def test_one_flat_a_light_claims_nothing():
    found = compare(season({"new panel": [38], "old tubes": [60]}), STEM)
    (d,) = found.differences
    assert d.estimate == pytest.approx(-22)
    assert (d.low, d.high, d.p, d.se) == (None,) * 4 and not d.real
    assert "light and flat can't be told apart" in found.why_nothing
    assert found.overall is None and found.planning is None


def test_a_light_with_one_flat_is_shown_but_not_tested():
    found = compare(season({"a": [38, 40], "b": [50, 47], "c": [90]}), STEM)
    assert {d.one for d in found.differences} | {d.other for d in found.differences} == {"a", "b"}
    assert dict(found.shown_only) == {"c": "has one flat only, so light and flat can't be told apart"}
    assert next(g for g in found.groups if g.name == "c").low is None


def test_one_light_only_claims_nothing():
    assert compare(season({"a": [38, 40]}), STEM).why_nothing == "there is one light only"


def test_one_light_left_of_several_is_told_as_such_and_what_to_do():
    flats = [flat(31 + i, [40 + i], light="ab"[i // 3], age=20 if i < 3 else 22) for i in range(6)]
    found = compare(history(*flats), STEM)
    assert found.why_nothing == "there is one light only among the flats that could be used"
    assert "--leaves" in next_trial(found)[0]


def test_flats_that_are_all_alike_claim_nothing():
    """Whole figures from a ruler: no scatter is no proof."""
    flats = [flat(i, [v], light=light) for i, (light, v) in enumerate([("a", 30), ("a", 30), ("b", 40), ("b", 40)])]
    found = compare(history(*flats), STEM)
    assert "don't scatter at all" in found.why_nothing and not any(d.real for d in found.differences)


# --- the unit


def on_shelves(light_of: dict[str, str], flats_each: int = 3, **more: object) -> History:
    rng = np.random.default_rng(3)
    return History(tuple(flat(10 * s + i, rng.normal(40, 5, 12), light=light, shelf=shelf, **more)
                         for s, (shelf, light) in enumerate(light_of.items(), 1) for i in range(flats_each)))


def test_a_lamp_over_several_flats_makes_the_shelf_the_unit():
    found = compare(on_shelves({"1": "a", "2": "b", "3": "a", "4": "b"}), STEM)
    assert found.kind == "shelf" and [g.units for g in found.groups] == [2, 2]
    assert [g.flats for g in found.groups] == [6, 6]


def test_one_shelf_a_light_claims_nothing_however_many_flats():
    found = compare(on_shelves({"1": "a", "2": "b"}, 8), STEM)
    assert "each has one shelf only, so light and shelf can't be told apart" in found.why_nothing
    assert "at least two shelves" in next_trial(found)[0]


def test_two_lots_sown_together_on_one_shelf_are_one_unit():
    """Batches named apart but standing under one lamp at the same time."""
    flats = [flat(10 * s + i, [40 + s + i, 42], light="ab"[s % 2], shelf=str(s), batch=f"lot {i}")
             for s in range(4) for i in range(2)]
    found = compare(history(*flats), STEM)
    assert found.kind == "shelf" and [g.units for g in found.groups] == [2, 2]


def test_two_lamps_over_each_shelf_make_the_lamp_the_unit_and_the_shelf_a_block():
    flats = [flat(10 * s + i, [40 + s + 3 * (i % 2), 42 + i], light="ab"[i % 2], shelf=str(s))
             for s in range(3) for i in range(4)]
    found = compare(history(*flats), STEM)
    assert found.kind == "lamp" and found.blocks == ("shelf",) and [g.units for g in found.groups] == [3, 3]
    one_shelf = compare(history(*flats[:4]), STEM)
    assert "light and lamp can't be told apart" in one_shelf.why_nothing
    single = [flat for i, flat in enumerate(flats) if i % 4 < 2]
    assert compare(history(*single), STEM).kind == "flat"  # one flat under each lamp


def repeated(pattern: dict[str, dict[str, tuple[int, ...]]]) -> History:
    """light -> shelf -> sowings (a month apart), one flat each; invented stem lengths."""
    rng = np.random.default_rng(8)
    return History(tuple(
        flat(number, rng.normal(40, 4, 12), light=light, shelf=shelf, sown=SOWN + timedelta(days=30 * sowing))
        for number, (light, shelf, sowing) in enumerate(
            [(light, shelf, sowing) for light, shelves in pattern.items() for shelf, sowings in shelves.items()
             for sowing in sowings], 1)))


def test_one_shelf_a_light_stays_one_shelf_over_several_sowings():
    found = compare(repeated({"a": {"1": (0, 1, 2, 3)}, "b": {"2": (0, 1, 2, 3)}}), STEM)
    assert found.why_nothing == "each has a shelf of its own, so light and shelf can't be told apart"
    swapped = compare(repeated({"a": {"1": (0, 2), "2": (1, 3)}, "b": {"2": (0, 2), "1": (1, 3)}}), STEM)
    assert swapped.why_nothing is None


def test_shelves_that_all_had_the_same_sowings_count_once_each():
    found = compare(repeated({"a": {"1": (0, 1, 2), "2": (0, 1, 2)}, "b": {"3": (0, 1, 2), "4": (0, 1, 2)}}), STEM)
    assert found.kind == "shelf" and [g.units for g in found.groups] == [2, 2] and not found.random
    assert found.differences[0].df == 2


def test_shelves_with_unequal_sowings_go_to_the_mixed_model():
    pytest.importorskip("statsmodels")
    found = compare(repeated({"a": {"1": (0, 1, 2), "2": (0, 1), "5": (1, 2)},
                              "b": {"3": (0, 1, 2), "4": (1, 2), "6": (0, 2)}}), STEM)
    assert found.random == ("shelf",) and found.method.startswith("mixed model")
    assert found.differences[0].df <= 4  # six shelves, two lights


def test_mixed_model_is_never_surer_than_between_shelves_where_shelves_seem_alike():
    """Where the shelves' variance comes out as 0, the error is the mean square between shelves (statsmodels' sequential
    analysis of variance), on its degrees of freedom."""
    ols = pytest.importorskip("statsmodels.formula.api").ols
    anova_lm = pytest.importorskip("statsmodels.stats.anova").anova_lm
    pandas = pytest.importorskip("pandas")
    from seedlingcv.trials.mixed import fit_mixed, mixed_estimates
    from seedlingcv.trials.units import design_matrix

    pattern = {"a": {"1": (0, 1, 2), "2": (0, 1), "5": (1, 2)}, "b": {"3": (0, 1, 2), "4": (1, 2), "6": (0, 2)}}
    layout = lay_out(choose_flats(repeated(pattern), STEM).values, "light")
    table = pandas.DataFrame([(u.group, u.batch, u.shelf) for u in layout.tested], columns=["light", "batch", "shelf"])
    rng, at_zero = np.random.default_rng(1), 0
    for _ in range(30):
        values = rng.normal(size=len(layout.tested))
        fit = fit_mixed(values, design_matrix(layout, layout.blocks), {"shelf": list(table["shelf"])})
        assert fit.converged
        if "shelf" in fit.at_zero:
            at_zero += 1
            estimate, se, df = mixed_estimates(layout, values).contrast(np.array([1.0, -1.0]))
            plain = ols("y ~ C(batch) + C(light)", table.assign(y=values)).fit()
            shelves = anova_lm(plain, ols("y ~ C(batch) + C(shelf)", table.assign(y=values)).fit())
            between = shelves["ss_diff"][1] / shelves["df_diff"][1]
            name = "C(light)[T.b]"
            assert estimate == pytest.approx(-plain.params[name])
            assert se == pytest.approx(plain.bse[name] * np.sqrt(between / plain.mse_resid))
            assert df == shelves["df_diff"][1] == 4
    assert at_zero > 5


def test_a_mixed_model_that_fails_falls_back_to_means_and_says_so(monkeypatch):
    monkeypatch.setattr(compare_module, "mixed_estimates", lambda layout, values: None)
    found = compare(repeated({"a": {"1": (0, 1, 2), "2": (0, 1), "5": (1, 2)},
                              "b": {"3": (0, 1, 2), "4": (1, 2), "6": (0, 2)}}), STEM)
    assert found.random == () and found.kind == "shelf" and [g.units for g in found.groups] == [3, 3]
    assert "could not be fitted" in " ".join(found.notes)


def test_without_statsmodels_the_extra_is_named(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "statsmodels.regression.mixed_linear_model", None)
    with pytest.raises(SeedlingError, match=r"seedlingcv\[trials\]"):
        compare(repeated({"a": {"1": (0, 1, 2), "2": (0, 1)}, "b": {"3": (0, 1, 2), "4": (1, 2)}}), STEM)


# --- batches, varieties


def test_lights_that_never_met_in_a_batch_are_not_told_from_it():
    found = compare(season({"a": [38, 40], "b": [50, 47]}), STEM)
    assert found.why_nothing is None
    apart = [replace(f, batch=f.days[0].light) for f in season({"a": [38, 40, 41], "b": [50, 47, 49]}).flats]
    assert "light and batch can't be told apart" in compare(history(*apart), STEM).why_nothing


def test_batches_that_had_one_light_each_are_the_units():
    flats = [flat(i, [40 + i, 43], light="ab"[b % 2], batch=f"batch {b}")
             for i, b in enumerate([0, 0, 0, 1, 1, 2, 3, 3])]
    found = compare(history(*flats), STEM)
    assert found.kind == "batch" and [g.units for g in found.groups] == [2, 2]


def test_sowing_dates_stand_for_batches_where_none_is_named():
    flats = [flat(i, [40 + i % 3, 43], light="ab"[i % 2], sown=SOWN + timedelta(days=12 * (i // 4) + i % 2))
             for i in range(8)]
    found = compare(history(*flats), STEM)
    assert found.blocks == ("batch",)
    assert {unit.batch for unit in found.units} == {"sown from 1 Mar 2025", "sown from 13 Mar 2025"}


def test_varieties_are_blocks_of_lights_and_lights_of_varieties():
    flats = [flat(i, [40 + i % 5, 43], light="ab"[i % 2], variety=["X", "Y"][i // 4]) for i in range(8)]
    assert compare(history(*flats), STEM).blocks == ("variety",)
    found = compare(history(*flats), replace(STEM, by="variety"))
    assert found.blocks == ("light",) and {g.name for g in found.groups} == {"X", "Y"}


def test_two_varieties_in_one_flat_share_it():
    """Parts of one flat: the flat is a block of the two."""
    flats = [flat(number, [30 + number % 3 * (variety == "Y"), 33 + number], variety=variety,
                  part=f"rows {variety}") for number in (31, 32, 33, 34) for variety in "XY"]
    found = compare(history(*flats), replace(STEM, by="variety"))
    assert found.blocks == ("tray",) and found.differences[0].df == 3


def test_parts_under_one_light_are_one_unit():
    parts = [flat(31, [30, 34], part="rows A-C", variety="X"), flat(31, [40, 44, 45], part="rows D-F", variety="Y"),
             flat(32, [30, 34]), flat(41, [50, 52], light="b"), flat(42, [51, 55], light="b")]
    values = choose_flats(history(*parts), STEM).values
    assert [v.tray for v in values] == ["flat 31", "flat 32", "flat 41", "flat 42"]
    assert values[0].cells == (30, 34, 40, 44, 45)


def test_a_number_used_again_is_another_flat():
    values = choose_flats(history(flat(31, [30]), flat(31, [40], sown=SOWN + timedelta(days=60))), STEM).values
    assert len({v.tray for v in values}) == 2


def test_too_few_flats_for_so_many_blocks_claim_nothing():
    flats = [flat(i, [40 + i], light="ab"[i % 2], batch=f"b{i // 2}", variety=f"v{(i + 1) // 2 % 3}") for i in range(4)]
    assert compare(history(*flats), STEM).why_nothing is not None


def test_flats_that_came_from_another_light_are_no_like_of_those_that_stood_there_always():
    """Two varieties, both under the panel when measured; one of them grew up under the bulb."""
    move = [LightChange(SOWN + timedelta(days=12), "bulb", "panel")]
    flats = [flat(i, [40 + i, 43], light="panel", variety="XY"[i // 3], changes=move if i >= 3 else ())
             for i in range(6)]
    assert "variety and light can't be told apart" in compare(history(*flats), replace(STEM, by="variety")).why_nothing
    moved = [replace(f, changes=tuple(move)) for f in flats]
    assert compare(history(*moved), replace(STEM, by="variety")).why_nothing is None


# --- age and leaf stage


def test_the_age_most_flats_were_measured_at_counts_and_the_rest_is_named():
    flats = [flat(31, [30], age=(14, 21)), flat(32, [31], age=21), flat(33, [32], age=22, light="b"),
             flat(34, [33], age=(21, 28), light="b"), flat(35, [33], age=(14, 28), light="b")]
    chosen = choose_flats(history(*flats), STEM)
    assert chosen.stage.age_days == 21
    assert [v.age_days for v in chosen.values] == [21, 21, 22, 21]
    assert [(o.place, o.why) for o in chosen.left_out] == [("flat 35", "not measured at 21 days: measured at 14, 28")]


def test_an_age_that_is_named_counts():
    chosen = choose_flats(history(flat(31, [30], age=(14, 21)), flat(32, [31], age=21)), replace(STEM, age_days=14))
    assert [v.age_days for v in chosen.values] == [14] and [o.place for o in chosen.left_out] == ["flat 32"]


def test_equal_leaf_stage_takes_each_flat_at_the_day_it_was_there():
    fast, slow = flat(31, [40] * 10, age=14, leaves=2.2), flat(32, [44] * 10, age=21, leaves=1.8)
    young = flat(33, [20] * 10, age=14, leaves=0.5)
    chosen = choose_flats(history(fast, slow, young), replace(STEM, leaves=2))
    assert [v.age_days for v in chosen.values] == [14, 21]
    assert chosen.left_out[0].place == "flat 33" and "means were 0.5" in chosen.left_out[0].why
    assert "2 true leaves" in str(chosen.stage)


def test_without_sowing_dates_leaf_stages_are_asked_for():
    with pytest.raises(SeedlingError, match="--leaves"):
        choose_flats(history(flat(31, [30], sown=None)), STEM)


# --- lights that changed, unknown things


@pytest.mark.parametrize("after,kept", [(2, True), (6, True), (9, False), (25, True)])
def test_a_light_changed_after_seedlings_were_up_leaves_the_flat_out(after, kept):
    """2: within 3 days of sowing; 6: before the first measuring and within 7; 25: after the day compared."""
    changed = flat(31, [30], changes=[LightChange(SOWN + timedelta(days=after), "a", "b")])
    why = reasons(changed, flat(32, [31]))
    assert ("flat 31" not in why) is kept
    if not kept:
        assert why["flat 31"] == "light changed from a to b 9 days after sowing"


def test_a_change_after_the_first_measuring_counts_early_too():
    changed = flat(31, [30], age=(4, 21), changes=[LightChange(SOWN + timedelta(days=6), "a", "b")])
    assert "flat 31" in reasons(changed, flat(32, [31]))


def test_what_is_not_known_is_left_out_and_named():
    assert reasons(flat(31, [30], light=None), flat(32, [30])) == {"flat 31": "light not known"}
    bare = flat(31, [30], figure="height_mm")
    no_stem = replace(bare, days=tuple(replace(d, measurement=replace(d.measurement, cells=tuple(
        replace(c, stem_length_mm=None) for c in d.measurement.cells))) for d in bare.days))
    assert reasons(no_stem, flat(32, [30])) == {"flat 31": "stem length never measured"}


def test_several_crops_are_not_compared():
    mixed = history(flat(31, [30]), flat(32, [30]), flat(41, [30], crop="basil", light="b"))
    with pytest.raises(SeedlingError, match=r"tomato \(2 flats\), basil \(1 flat\).*--crop 'tomato'"):
        compare(mixed, STEM)
    assert compare(mixed, replace(STEM, crop="Tomatoes")).crop == "tomato"  # another name of the crop
    with pytest.raises(SeedlingError, match="no flats of pepper"):
        compare(mixed, replace(STEM, crop="pepper"))


def test_names_that_are_not_there_are_told():
    with pytest.raises(SeedlingError, match="'c'.*a, b"):
        compare(season({"a": [38, 40], "b": [50, 47]}), replace(STEM, against="c"))


def test_spectrum_and_dose_come_from_the_lighting():
    def lit(spectrum: str, ppfd: float) -> Lighting:
        return Lighting("1", "x", spectrum=spectrum, ppfd_umol=((ppfd,),), hours=16)

    flats = [flat(i, [40 + i % 3], light=f"lamp {i}", lighting=lit(["red", "white"][i % 2], [100, 200][i % 2]))
             for i in range(6)]
    found = compare(history(*flats), replace(STEM, by="spectrum"))
    assert {g.name for g in found.groups} == {"red", "white"}
    # 100 and 200 umol m-2 s-1 for 16 h: 5.76 and 11.52 mol m-2 d-1 (PPFD x 3600 x hours / 10^6)
    dose = next(check for check in found.checks if check.about == "daily light")
    assert dose.state == "look" and "red 5.8" in dose.text and "white 11.5" in dose.text


def test_only_single_plants_count():
    two = flat(31, [30, 99])
    measured = two.days[0].measurement
    cells = measured.cells[0], replace(measured.cells[1], plants=2)
    day = replace(two.days[0], measurement=replace(measured, cells=cells))
    assert choose_flats(history(replace(two, days=(day,))), STEM).values[0].cells == (30,)

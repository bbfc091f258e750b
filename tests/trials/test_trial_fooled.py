"""What would fool its owner: designs in which something else than the light makes the difference. All flats are
invented; in none of them does the light do anything, unless a test says otherwise."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from trial_season import SOWN, flat, season

from seedlingcv.records.history import FlatHistory, History, LightChange, Lighting, Stand
from seedlingcv.trials.answer import answer, next_trial
from seedlingcv.trials.compare import Comparison, compare
from seedlingcv.trials.design import Question, choose_flats

STEM = Question(figure="stem_length_mm")


def compared(*flats: FlatHistory, question: Question = STEM) -> Comparison:
    return compare(History(tuple(flats)), question)


def check_of(found: Comparison, about: str):
    return next(check for check in found.checks if check.about == about)


# --- other plants


def test_varieties_count_alike_in_a_flat_however_many_plants_each_has():
    """X is 40 mm, Y 60 mm, under either light; old flats have 30 X and 6 Y, new ones 6 X and 30 Y."""
    flats = []
    for i in range(6):
        for variety, many in (("X", (30, 6)[i // 3]), ("Y", (6, 30)[i // 3])):
            mean = {"X": 40, "Y": 60}[variety] + i % 3
            flats.append(flat(31 + i, mean + np.linspace(-5, 5, many), light=("old", "new")[i // 3], variety=variety,
                              part=f"rows {variety}"))
    found = compared(*flats)
    assert found.differences[0].estimate == pytest.approx(0)
    assert all(value.mean == pytest.approx(50 + i % 3) for i, value in enumerate(choose_flats(
        History(tuple(flats)), STEM).values))


def test_varieties_count_alike_on_a_shelf_however_many_flats_each_has():
    flats = [flat(10 * shelf + i, [y * 20 + 40 + shelf, y * 20 + 42 + i], light=("old", "new")[shelf // 2],
                  variety="XY"[y], shelf=str(shelf))
             for shelf in range(4) for i, y in enumerate([0, 0, 0, 1] if shelf < 2 else [0, 1, 1, 1])]
    found = compared(*flats)
    assert found.kind == "shelf" and abs(found.differences[0].estimate) < 4  # over all flats it would be 12


def test_flats_whose_crop_is_not_known_are_left_out_where_one_is_named():
    named = season({"old": [40, 41, 42]}).flats
    unnamed = [replace(f, crop=None) for f in season({"new": [70, 71, 72]}, seed=2).flats]
    chosen = choose_flats(History((*named, *unnamed)), STEM)
    assert [out.why for out in chosen.left_out] == ["crop not known"] * 3
    assert {value.group for value in chosen.values} == {"old"}


@pytest.mark.parametrize("change,said", [
    (lambda f, new: replace(f, seed_lot=f"lot {new}"), "light and seed lot can't be told apart"),
    (lambda f, new: replace(f, days=tuple(replace(d, source=("photo", "ruler")[new]) for d in f.days)),
     "light and way of measuring can't be told apart"),
    (lambda f, new: replace(f, variety="X" if new else None),
     "or one that isn't written down (column variety), so light and variety"),
    (lambda f, new: replace(f, batch="spring", sown=SOWN + timedelta(days=14 * new), days=tuple(
        replace(d, measurement=replace(d.measurement, day=d.day + timedelta(days=14 * new))) for d in f.days)),
     "light and batch can't be told apart"),
])  # fmt: skip
def test_what_came_with_the_light_alone_can_not_be_told_from_it(change, said):
    flats = season({"old": [40, 41, 42], "new": [50, 51, 53]}).flats
    assert said in compared(*(change(f, i > 2) for i, f in enumerate(flats))).why_nothing


def test_a_sowing_that_never_pauses_is_not_one():
    flats = [flat(31 + i, [40 + i % 2], light="ab"[i % 2], sown=SOWN + timedelta(days=3 * i)) for i in range(10)]
    batches = {value.batch for value in choose_flats(History(tuple(flats)), STEM).values}
    assert batches == {"sown from 1 Mar 2025", "sown from 10 Mar 2025", "sown from 19 Mar 2025",
                       "sown from 28 Mar 2025"}


# --- other places


def test_a_group_that_meets_the_others_in_one_flat_claims_nothing():
    """Old in the first batch, new in the second but for one long flat."""
    old = [flat(31 + i, [44 + i, 46], light="old", batch="1") for i in range(6)]
    new = [flat(41 + i, [44 + i, 47], light="new", batch="2") for i in range(5)]
    odd = flat(51, [62, 63], light="new", batch="1")
    assert "through one flat only, so light and flat can't be told apart" in compared(*old, *new, odd).why_nothing
    assert compared(*old, *new, odd, replace(odd, flat=52)).why_nothing is None


def test_where_shelves_are_not_written_down_it_says_what_that_would_change():
    found = compare(season({"old": [60, 62, 61], "new": [40, 42, 41]}), STEM)
    assert answer(found).endswith("if no two flats shared a lamp (shelves aren't written down).")
    assert check_of(found, "lamps").state == "unknown"
    own = [replace(f, days=tuple(replace(d, shelf=str(i)) for d in f.days))
           for i, f in enumerate(season({"old": [60, 62, 61], "new": [40, 42, 41]}).flats)]
    found = compared(*own)
    assert found.kind == "flat" and "lamp" not in answer(found)
    assert all(check.about != "lamps" for check in found.checks)


def test_a_flat_that_was_moved_to_its_shelf_lately_is_not_of_that_shelf():
    moved = replace(flat(31, [40], shelf="2"), stands=(Stand(SOWN, "1"), Stand(SOWN + timedelta(days=20), "2")))
    settled = replace(flat(32, [41], shelf="2"), stands=(Stand(SOWN, "1"), Stand(SOWN + timedelta(days=2), "2")))
    chosen = choose_flats(History((moved, settled)), replace(STEM, by="shelf"))
    assert [(out.place, out.why) for out in chosen.left_out] == [("flat 31", "moved to 2 20 days after sowing")]


@pytest.mark.parametrize("first,state", [("AB", "look"), ("BA", None)])
def test_varieties_that_always_lay_on_the_same_side_of_the_flat(first, state):
    flats = []
    for number in range(31, 35):
        sides = "AB" if number % 2 else first
        flats += [flat(number, [40 + number % 3, 42], variety="X", part=f"rows {sides[0]}"),
                  flat(number, [44 + number % 2, 46], variety="Y", part=f"rows {sides[1]}")]
    found = compared(*flats, question=replace(STEM, by="variety"))
    assert next((c.state for c in found.checks if c.about == "places in the flat"), None) == state


# --- other times


def test_flats_potted_up_before_are_told_as_missing():
    flats = [replace(f, days=f.days[:1], potted=SOWN + timedelta(days=20)) if i > 6 else f for i, f in enumerate(
        season({"old": [40, 41, 42, 43], "new": [40, 41, 42, 50, 51]}, age=(14, 28)).flats)]
    found = compared(*flats, question=replace(STEM, age_days=28))
    assert {out.why for out in found.left_out} == {"potted up on 2025-03-21, before that (new)"}
    told = check_of(found, "who is missing")
    assert told.state == "look" and "new 2 of 5, old 0 of 4" in told.text


def test_a_flat_is_told_by_a_straight_line_between_two_looks():
    """Leaves 1 and 3, stems 20 and 40 mm a week apart: 2 leaves and 30 mm in between."""
    young, old = flat(31, [20.0, 22], leaves=1, age=14), flat(31, [40.0, 42], leaves=3, age=21)
    both = replace(young, days=(*young.days, *old.days))
    (value,) = choose_flats(History((both,)), replace(STEM, leaves=2)).values
    assert value.cells == (30, 32) and value.true_leaves == 2 and value.age_days == 17.5
    (value,) = choose_flats(History((both,)), replace(STEM, age_days=15)).values
    assert value.cells == pytest.approx((20 + 20 / 7, 22 + 20 / 7))
    far = replace(both, days=(*young.days, *flat(31, [40.0, 42], leaves=3, age=28).days))
    assert not choose_flats(History((far,)), replace(STEM, leaves=2)).values  # a fortnight apart: nobody knows


def test_groups_at_other_stages_are_not_compared():
    flats = [flat(31 + i, [40 + i, 44], light="ab"[i // 3], age=(20, 22)[i // 3]) for i in range(6)]
    assert "was measured at another stage (22.0 days of b, 20.0 days of a" in compared(
        *flats, question=replace(STEM, age_days=21)).why_nothing


# --- what the checks call fine


def test_a_plant_far_off_among_few_is_seen_by_its_weight():
    """Eight plants a flat are too few to see that one is far off; that means and medians disagree is told."""
    rng = np.random.default_rng(4)
    flats = [flat(31 + i, [*(40 + rng.normal(0, 1) + rng.normal(0, 3, 7)), 40 if i < 4 else 120],
                  light=("old", "new")[i // 4], shelf=str(i)) for i in range(8)]
    told = check_of(compared(*flats), "single plants")
    assert told.state == "look" and told.text.startswith("Some flats have too few plants")


def test_one_name_over_two_doses_is_told():
    def lit(ppfd: float) -> Lighting:
        return Lighting("1", "x", ppfd_umol=((ppfd,),), hours=16)

    flats = [flat(31 + i, [40 + i % 3], light="ab"[i % 2], lighting=lit([100, 200, 100, 200, 300, 200][i]))
             for i in range(6)]
    told = check_of(compared(*flats), "daily light")
    assert told.state == "look" and "Not every flat under a got as much light in a day: 5.8 to 17.3" in told.text
    some = [replace(f, days=tuple(replace(d, lighting=None) for d in f.days)) if i == 2 else f
            for i, f in enumerate(flats)]
    assert check_of(compared(*some), "daily light").state == "unknown"


def test_a_light_under_which_a_flat_came_lately_is_not_credited_with_its_life():
    late = [flat(41 + i, [50 + i], light="new", changes=[LightChange(SOWN + timedelta(days=17), "sill", "new")])
            for i in range(3)]
    chosen = choose_flats(History((*season({"old": [60, 61, 62]}).flats, *late)), STEM)
    assert {out.why for out in chosen.left_out} == {"light changed from sill to new 17 days after sowing"}
    found = compared(*season({"old": [60, 61, 62]}).flats, *late)
    assert found.why_nothing and "leave them there" in next_trial(found)[0]

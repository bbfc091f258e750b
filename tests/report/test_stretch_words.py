"""What is said of stretch over time: claims with their doubts, who isn't counted. All flats are invented."""

from dataclasses import replace

import invented_flats as made_up
import numpy as np
import pytest

from seedlingcv.crops.crop import load_crop
from seedlingcv.records.history import History, Lighting
from seedlingcv.report import stretch_words as words
from seedlingcv.stretch.change import change_effects
from seedlingcv.stretch.growth import growth_by_place
from seedlingcv.stretch.place import places_of
from seedlingcv.stretch.study import study_of

AGES, TURN = (12, 15, 18, 21, 24, 27, 30), 21


def flats(step, shelves=("1", "2", "3", "4", "5", "6"), **more):
    """Three flats that change light and from then on grow by `step` mm a day more, three that stay."""
    found = []
    for i, shelf in enumerate(shelves):
        turn = TURN if i < 3 else None
        since = np.array(AGES) - TURN
        means = 30 + (2 + 0.02 * i) * since + (np.where(since > 0, step + 0.01 * i * i, 0) * since if turn else 0)
        found.append(made_up.course(31 + i, AGES, means, turn=turn, shelf=shelf, **more))
    return found


def line_of(members):
    return words.change_line(next(e for e in change_effects(History(tuple(members))) if e.field == "stem_length_mm"))


@pytest.mark.parametrize(("step", "said"), [(-1.0, "the change slowed it by 1.0 mm a day, 10 mm in ten days (95 %"),
                                            (1.0, "the change sped it up by 1.0 mm a day, 10 mm in ten days (95 %")])
def test_what_a_change_did_where_shelves_were_several(step, said):
    assert line_of(flats(step)).startswith(f"Stem length: {said}")


@pytest.mark.parametrize(("shelves", "said"), [
    ("111456", "in these flats, all on one shelf, growth slowed by 1.0 mm a day, 10 mm in ten days; one shelf can't "
               "show that the light did it (95 %"),
    ("123444", "in these flats growth slowed by 1.0 mm a day, 10 mm in ten days; those that stayed were all on one "
               "shelf, so it may have been the shelf and not the light (95 %"),
    ([None] * 6, "in these flats growth slowed by 1.0 mm a day, 10 mm in ten days; where the flats stood isn't written "
                 "down, so nobody can say that the light did it (95 %"),
])
def test_a_doubt_stands_in_the_sentence_it_concerns(shelves, said):
    assert line_of(flats(-1.0, shelves)).startswith(f"Stem length: {said}")


def test_no_clear_effect_needs_no_doubt():
    line = line_of(flats(0.0, "111222"))
    assert "no clear effect" in line and "shelf" not in line


def test_a_light_of_one_letter_is_called_a_light():
    assert "in those that stayed under light a 2.1 mm" in line_of(flats(-1.0, before="a"))
    assert words.called("bulb", "light") == "bulb" and words.called("b, after a", "shelf") == "shelf b, after a"


def test_who_isnt_counted_and_why():
    members = [replace(flat, variety="Other" if i > 4 else "Stella") for i, flat in enumerate(flats(-1.0))]
    members[0] = replace(members[0], potted=members[0].changes[0].day)
    effect = change_effects(History(tuple(members)))[1]
    assert words.left_out_lines(effect) == ["Not counted: flat 31 (potted up too soon after)",
                                            "Not put beside: flat 36 (another variety)"]


def test_parts_are_counted_as_one_flat():
    one, *rest = flats(0.0)
    parts = replace(one, part="rows A-C"), replace(one, part="rows D-F", days=one.days[1:])
    study = study_of(History((*parts, *rest)), lambda _: load_crop("tomato"), "light")
    assert words.counts(study).startswith("6 flats on 7 days")


def leaning(number, along, lighting):
    index = 0.8 + along * np.linspace(0, 1, 12)
    return made_up.history([made_up.day(20, np.tile(50 * index, 6), light="bulb", lighting=lighting, flat=number)],
                           flat=number)


@pytest.mark.parametrize(("readings", "said"), [
    ((150.4, 149.6), "show no difference: 150 µmol there, 150 at column 1"),
    ((200, 150), "agree: 150 µmol there, 200 at column 1"), ((150, 200), "don't show it: 200 µmol there"),
])
def test_what_the_light_readings_say_of_a_side(readings, said):
    lighting = Lighting("top", "bulb", ppfd_umol=(readings,))
    flats_ = tuple(leaning(31 + i, 0.3 + 0.01 * i, lighting) for i in range(3))
    line, = words.side_lines(places_of(History(flats_), "light"))
    assert f"; the light readings {said}" in line


def test_sides_are_said_to_hold_together():
    flats_ = [leaning(31 + i, 0.3 + 0.01 * i, None) for i in range(6)]
    one = places_of(History(tuple(flats_)), "light")
    assert words.together_line(one).startswith("The 95 % hold for both directions together")
    other = [replace(f, days=tuple(replace(d, light="panel") for d in f.days)) for f in flats_[3:]]
    two = places_of(History((*flats_[:3], *other)), "light")
    assert words.together_line(two).startswith("The 95 % hold for all 4 sides looked at together")
    assert words.together_line(places_of(History((flats_[0],)), "light")) == ""


def test_growth_under_a_light_names_the_flats_left_out():
    kept = [made_up.course(31 + i, [14, 18], [20, 28 + i]) for i in range(2)]
    other = made_up.course(33, [14, 18], [20, 28])
    days = [replace(day, measurement=replace(day.measurement, cells=cells)) for day, cells in
            zip(other.days, (other.days[0].measurement.cells[:6], other.days[1].measurement.cells[4:]), strict=True)]
    other = replace(other, days=tuple(days))
    said = words.place_growth(growth_by_place([*kept, other], "light", "stem_length_mm")[0])
    assert said.endswith("2 flats; left out: 1 flat without the same plants on every day)")
    alone = words.place_growth(growth_by_place([other], "light", "stem_length_mm")[0])
    assert alone == "not told: 1 flat without the same plants on every day"

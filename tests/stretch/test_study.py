"""Why a flat's band can't be judged, in words that fit. All flats are invented."""

from dataclasses import replace

import pytest
from invented_flats import course, day, history

from seedlingcv.crops.crop import load_crop
from seedlingcv.records.history import History
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.stretch.study import study_of


def as_one_line(look):
    """The day as a ruler's one line for the whole flat."""
    (cell, *_) = look.measurement.cells
    return replace(look, measurement=replace(look.measurement, cells=(replace(cell, cell=WHOLE_FLAT),)))


TOO_FEW = history([day(20, [40.0, 42.0]), day(26, [44.0, 45.0])])
CASES = [
    (TOO_FEW, "fewer than 5 plants"),
    (history([as_one_line(look) for look in TOO_FEW.days]), "one line for the whole flat"),
    (history([day(20, [40.0] * 12)]), "measured on one day only"),
]


@pytest.mark.parametrize(("flat", "why"), CASES, ids=[why for _, why in CASES])
def test_a_flat_that_cannot_be_judged_is_named_with_the_reason(flat, why):
    ((_, said),) = study_of(History((flat,)), lambda _: load_crop("tomato"), "flat").unjudged
    assert why in said


def test_a_flat_with_plants_enough_on_two_days_is_judged():
    assert study_of(History((course(31, [20, 26], [40, 44]),)), lambda _: load_crop("tomato"), "flat").unjudged == ()

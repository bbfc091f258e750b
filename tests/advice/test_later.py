"""A verdict read on a later day says the same as judging the same figures anew on that day."""

from datetime import date, timedelta

import pytest

from seedlingcv.advice.later import read_on
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

SEEN = date(2025, 3, 20)
SOWN = date(2025, 3, 5)


def flat(leaves, stem_mm=30.0, spread_mm=60.0, cover=0.15):
    cells = tuple(CellMeasurement(f"{row}{column}", 1, cover, spread_mm, 900.0, leaves, stem_length_mm=stem_mm)
                  for row in "ABCDEF" for column in range(1, 13))
    return FlatMeasurement(31, SEEN, 6, 12, cells, "tomato", sown=SOWN)


@pytest.mark.parametrize("days", [0, 1, 3, 5, 8, 10, 11, 25])
@pytest.mark.parametrize(("leaves", "stem_mm"), [(0, 30.0), (1, 30.0), (2, 30.0), (3, 80.0), (6, 30.0)])
def test_reading_on_and_judging_anew_agree_in_what_to_do(days, leaves, stem_mm):
    crop, measured, today = load_crop("tomato"), flat(leaves, stem_mm), SEEN + timedelta(days)
    anew = advise(measured, crop, today)
    read = read_on(advise(measured, crop, SEEN), SEEN, today)
    assert (read.action, read.as_of) == (anew.action, anew.as_of)
    assert (read.earliest, read.latest, read.due) == (anew.earliest, anew.latest, anew.due)


def test_a_flat_that_was_to_wait_and_is_ready_by_now_is_to_be_looked_at():
    waits = advise(flat(1), load_crop("tomato"), SEEN)
    assert waits.action == "wait"
    later = read_on(waits, SEEN, waits.earliest)
    assert later.action == "unsure" and later.reasons[0].endswith("look") and waits.reasons[0] in later.reasons


def test_what_is_not_transplanted_stays_so():
    never = advise(flat(3), load_crop("carrot"), SEEN)
    assert read_on(never, SEEN, SEEN + timedelta(60)) == never

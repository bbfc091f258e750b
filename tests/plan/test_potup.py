"""The order of the list. That a flat whose delay can't be mended goes first is common practice, no source."""

from datetime import date, timedelta
from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from seedlingcv.advice.verdict import Verdict
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.plan.potup import Entry, is_hurried, pot_up_list, turn

TODAY = date(2025, 3, 20)


def entry(flat, action, due=None, mends=True, part=None, **more):
    day = None if due is None else TODAY + timedelta(due)
    verdict = Verdict(action, due=day, latest=day, delay_mends=mends, **more)
    return Entry(FlatMeasurement(flat, TODAY, 6, 12, ()), verdict, part)


def order(entries):
    return [(e.measurement.flat, e.part) for e in pot_up_list(entries)]


def test_the_last_sensible_day_decides_then_what_cannot_be_mended():
    entries = [
        entry(5, "pot_up", 3),
        entry(4, "pot_up_early", 3, mends=False),
        entry(3, "pot_up", -2),
        entry(2, "sow_again", 0, mends=False),
        entry(6, "unsure"),  # to be looked at, but no day is known
        entry(9, "wait", 1, mends=False),
        entry(8, "wait", 5),
        entry(1, "do_not_transplant", mends=None),
        entry(7, "pot_up", -30, as_of=TODAY - timedelta(30)),
    ]
    want = [3, 2, 4, 5, 6, 7, 9, 8, 1]
    for some in ([*entries], entries[::-1], entries[3:] + entries[:3]):
        assert [flat for flat, _ in order(some)] == want


def test_parts_of_a_flat_stand_alone():
    entries = [entry(12, "pot_up", 5, part="rows A-C"), entry(12, "pot_up", 1, part="rows D-F"), entry(12, "wait", 0)]
    assert order(entries) == [(12, "rows D-F"), (12, "rows A-C"), (12, None)]
    assert [e.place for e in pot_up_list(entries)] == ["flat 12 rows D-F", "flat 12 rows A-C", "flat 12"]


def test_the_order_does_not_depend_on_how_flats_come():
    entries = [entry(n, "pot_up", due, mends) for n, (due, mends) in enumerate([(1, True), (1, False), (None, True)])]
    assert len({tuple(order(some)) for some in permutations(entries)}) == 1


def test_what_is_a_hurry():
    assert is_hurried(entry(1, "pot_up", 7).verdict, TODAY)
    assert not is_hurried(entry(1, "pot_up", 8).verdict, TODAY)
    assert is_hurried(entry(1, "sow_again").verdict, TODAY) and is_hurried(entry(1, "pot_up_early").verdict, TODAY)
    assert not is_hurried(entry(1, "wait", 0).verdict, TODAY)
    assert not is_hurried(entry(1, "pot_up", -9, as_of=TODAY).verdict, TODAY)
    assert not is_hurried(Verdict("do_not_transplant"), TODAY)


actions = st.sampled_from(["pot_up", "pot_up_early", "wait", "sow_again", "unsure"])


@given(actions, st.integers(-20, 20), st.integers(0, 20), st.booleans())
def test_sooner_goes_first_and_on_equal_days_what_cannot_be_mended(action, due, more, mends):
    sooner, later = entry(1, action, due, mends), entry(2, action, due + more, not mends)
    if more:
        assert turn(sooner.verdict) < turn(later.verdict)
    else:
        first = min((sooner, later), key=lambda e: turn(e.verdict))
        assert first.verdict.delay_mends is False

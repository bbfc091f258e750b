"""What must hold for any flat. Figures are drawn at random."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import crop_names, load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

TODAY = date(2025, 3, 20)
CROPS = {name: load_crop(name) for name in crop_names()}


def maybe(strategy):
    return st.none() | strategy


cells = st.builds(
    CellMeasurement,
    cell=st.just("A1"),
    plants=maybe(st.integers(0, 2)),
    canopy_cover=maybe(st.floats(0, 1)),
    leaf_spread_mm=maybe(st.floats(5, 150)),
    true_leaves=maybe(st.integers(0, 9)),
    stem_length_mm=maybe(st.floats(3, 200)),
    hypocotyl_length_mm=maybe(st.floats(2, 120)),
)
# Alike plants make definite flats, unlike ones make doubtful flats: both kinds are wanted.
alike = st.builds(lambda cell, n: (replace(cell, plants=1),) * n, cells, st.integers(0, 8))
unlike = st.lists(cells, max_size=8).map(tuple)
ages = maybe(st.integers(0, 90))
flats = st.builds(
    lambda measured, layout, age: FlatMeasurement(
        7, TODAY, *layout, cells=measured, sown=None if age is None else TODAY - timedelta(age)
    ),
    alike | unlike,
    st.sampled_from([(3, 6), (5, 10), (6, 12), (8, 16), (10, 20), (12, 24)]),
    ages,
)
names = st.sampled_from(sorted(CROPS))


@given(flats, names, st.integers(0, 30))
@settings(max_examples=300, deadline=None)
def test_a_verdict_is_whole_and_keeps_the_crop_rules(flat, name, later):
    crop = CROPS[name]
    today = TODAY + timedelta(later)
    verdict = advise(flat, crop, today)
    assert verdict == advise(flat, crop, today), "a pure function"
    assert verdict.reasons and len(verdict.reasons[0]) <= 90
    assert len(set(verdict.reasons)) == len(verdict.reasons)
    assert verdict.urgency >= 0
    if verdict.earliest and verdict.latest:
        assert verdict.earliest <= verdict.latest
    potting = verdict.action in ("pot_up", "pot_up_early")
    assert (verdict.burial is not None) == potting
    if crop.transplant_tolerance == "avoid":
        assert verdict.action == "do_not_transplant"
    else:
        assert verdict.action != "do_not_transplant"
    if verdict.action == "sow_again":
        assert crop.transplant_tolerance == "once"
    if potting:
        assert verdict.burial == crop.burial
    if name == "strawberry" and potting:
        assert (verdict.burial, verdict.burial_depth_mm) == ("crown_above", 0.0)


@given(flats, names)
@settings(max_examples=300, deadline=None)
def test_depth_keeps_every_limit(flat, name):
    crop = CROPS[name]
    verdict = advise(flat, crop, TODAY)
    if verdict.burial_depth_mm is None:
        return
    assert verdict.burial_depth_mm >= 0
    if verdict.burial == "to_seed_leaves":
        assert verdict.burial_depth_mm <= crop.burial_limit_mm
        assert verdict.burial_depth_mm <= flat.summary("hypocotyl_length_mm").median
    if verdict.burial == "deep":
        stem = flat.summary("stem_length_mm")
        tallest = [flat.summary("hypocotyl_length_mm").median] + ([stem.median] if stem else [])
        assert verdict.burial_depth_mm <= max(tallest)


@given(flats, names, st.integers(0, 60), st.integers(0, 60))
@settings(max_examples=300, deadline=None)
def test_later_is_never_less_urgent(flat, name, one, other):
    crop = CROPS[name]
    sooner, later = sorted((one, other))
    first = advise(flat, crop, TODAY + timedelta(sooner))
    second = advise(flat, crop, TODAY + timedelta(later))
    assert second.urgency >= first.urgency


@given(flats, names, st.integers(0, 60))
@settings(max_examples=300, deadline=None)
def test_sown_earlier_is_never_less_urgent(flat, name, days):
    if flat.sown is None:
        return
    crop = CROPS[name]
    older = replace(flat, sown=flat.sown - timedelta(days))
    assert advise(older, crop, TODAY).urgency >= advise(flat, crop, TODAY).urgency


@given(flats)
@settings(max_examples=100, deadline=None)
def test_an_unknown_crop_is_always_unsure(flat):
    verdict = advise(flat, None, TODAY)
    assert verdict.action == "unsure" and verdict.missing and verdict.burial is None
    assert len(verdict.reasons[0]) <= 90

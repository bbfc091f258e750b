"""What must hold for any flat. Figures are drawn at random."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from seedlingcv.advice.findings import OLD_DAYS
from seedlingcv.advice.pots import HEADSPACE_MM, USUAL_POTS, Pot
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import crop_names, load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.plan.potup import turn
from seedlingcv.records.ruler import WHOLE_FLAT

TODAY = date(2025, 3, 20)
CROPS = {name: load_crop(name) for name in crop_names()}
FIRM = ("pot_up", "pot_up_early", "wait", "sow_again")


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
    se=st.just({}) | st.just({"legginess": 0.2}),
)
# Alike plants make definite flats, unlike ones make doubtful flats: both kinds are wanted, and one line for all.
alike = st.builds(lambda cell, n: (replace(cell, plants=1),) * n, cells, st.integers(0, 8))
unlike = st.lists(cells, max_size=8).map(tuple)
whole = cells.map(lambda cell: (replace(cell, cell=WHOLE_FLAT, plants=1),))
ages = maybe(st.integers(0, 90))
flats = st.builds(
    lambda measured, layout, age: FlatMeasurement(
        7, TODAY, *layout, cells=measured, sown=None if age is None else TODAY - timedelta(age)
    ),
    alike | unlike | whole,
    st.sampled_from([(3, 6), (5, 10), (6, 12), (8, 16), (10, 20), (12, 24), (0, 0)]),
    ages,
)
names = st.sampled_from(sorted(CROPS))
roots = maybe(st.sampled_from(["not_ready", "firm", "root_bound"]))
pots = maybe(st.sampled_from(USUAL_POTS) | st.builds(Pot, st.floats(30, 300), st.floats(30, 300),
                                                      st.sampled_from(["square", "round"])))


@given(flats, names, st.integers(0, 30), roots, pots)
@settings(max_examples=400, deadline=None)
def test_a_verdict_is_whole_and_keeps_the_crop_rules(flat, name, later, check, pot):
    crop = CROPS[name]
    today = TODAY + timedelta(later)
    verdict = advise(flat, crop, today, roots=check, pot=pot)
    assert verdict == advise(flat, crop, today, roots=check, pot=pot), "a pure function"
    assert verdict.reasons and len(verdict.reasons[0]) <= 90
    assert len(set(verdict.reasons)) == len(verdict.reasons)
    if verdict.earliest and verdict.latest:
        assert verdict.earliest <= verdict.latest
    if verdict.earliest:
        assert verdict.earliest >= TODAY
    if verdict.latest and verdict.due and verdict.action != "unsure":
        assert verdict.due <= verdict.latest
    assert [end.day for end in verdict.limits] == sorted(end.day for end in verdict.limits)
    assert (verdict.binding is None) == (not verdict.limits)
    potting = verdict.action in ("pot_up", "pot_up_early")
    assert (verdict.burial is not None) == (verdict.depth is not None) == potting
    if crop.transplant_tolerance == "avoid":
        assert verdict.action == "do_not_transplant"
    else:
        assert verdict.action != "do_not_transplant"
    if verdict.action == "sow_again":
        assert crop.transplant_tolerance == "once"
    if potting:
        assert verdict.burial == crop.burial
    if crop.burial == "crown_above" and potting:
        assert (verdict.burial_depth_mm, verdict.depth.mark, verdict.depth.take_off) == (0.0, "crown_level", ())


@given(flats, names, roots, pots)
@settings(max_examples=400, deadline=None)
def test_burying_never_exceeds_the_crops_limit_or_the_pot(flat, name, check, pot):
    crop = CROPS[name]
    verdict = advise(flat, crop, TODAY, roots=check, pot=pot)
    depth = verdict.depth
    if depth is None or depth.depth_mm is None:
        return
    assert verdict.burial_depth_mm == depth.depth_mm >= 0
    assert depth.covered_mm <= depth.wanted_mm
    if depth.depth_mm > 0:
        assert depth.plug_mm + depth.depth_mm + HEADSPACE_MM <= depth.pot.depth_mm + 1e-9
    if depth.way == "laid":
        assert depth.covered_mm <= depth.laid_mm
    elif depth.way == "deeper_pot":
        assert depth.covered_mm + depth.plug_mm + HEADSPACE_MM <= depth.pot_needed_mm + 1e-9
        assert depth.pot_suggested is None or depth.pot_suggested.depth_mm >= depth.pot_needed_mm
    else:
        assert depth.covered_mm == depth.depth_mm
    if verdict.burial in ("same_depth", "crown_above"):
        assert depth.covered_mm == 0
    if verdict.burial == "to_seed_leaves":
        assert depth.covered_mm <= crop.burial_limit_mm
        assert depth.covered_mm <= flat.summary("hypocotyl_length_mm").median
        assert depth.take_off == ()
    if verdict.burial == "deep":
        stem = flat.summary("stem_length_mm")
        tallest = [flat.summary("hypocotyl_length_mm").median] + ([stem.median] if stem else [])
        assert depth.covered_mm <= max(tallest)


@given(flats, names, st.integers(0, OLD_DAYS), st.integers(0, OLD_DAYS), roots)
@settings(max_examples=400, deadline=None)
def test_later_is_never_less_urgent(flat, name, one, other, check):
    # Up to the day from which the figures are too old for today's list: then the flat is to be looked at, not worked.
    crop = CROPS[name]
    sooner, later = sorted((one, other))
    first = advise(flat, crop, TODAY + timedelta(sooner), roots=check)
    second = advise(flat, crop, TODAY + timedelta(later), roots=check)
    assert turn(second) <= turn(first)


@given(flats, names, st.integers(0, 60))
@settings(max_examples=300, deadline=None)
def test_sown_earlier_is_never_less_urgent(flat, name, days):
    assume(flat.sown is not None)
    crop = CROPS[name]
    older = replace(flat, sown=flat.sown - timedelta(days))
    assert turn(advise(older, crop, TODAY)) <= turn(advise(flat, crop, TODAY))


def stretched(flat, factor):
    """The same plants with longer stems."""
    cells = tuple(replace(c, stem_length_mm=c.stem_length_mm and c.stem_length_mm * factor) for c in flat.cells)
    return replace(flat, cells=cells)


@given(flats, st.sampled_from(sorted(n for n, c in CROPS.items() if c.burial and not c.burial_mends_stretch)),
       st.floats(1, 5), st.integers(0, OLD_DAYS), roots)
@settings(max_examples=500, deadline=None)
def test_more_stretch_never_makes_a_flat_that_cannot_be_mended_less_urgent(flat, name, factor, later, check):
    crop, today = CROPS[name], TODAY + timedelta(later)
    less = advise(flat, crop, today, roots=check)
    more = advise(stretched(flat, factor), crop, today, roots=check)
    assert turn(more) <= turn(less)


@given(flats, names, roots)
@settings(max_examples=400, deadline=None)
def test_missing_data_never_yields_a_firm_verdict(flat, name, check):
    """Without the leaf stage and without cover and age together nothing is decided; nor on stems alone."""
    crop = CROPS[name]
    assume(crop.transplant_tolerance != "avoid")
    no_leaves = replace(flat, cells=tuple(replace(c, true_leaves=None) for c in flat.cells))
    for bare in (replace(no_leaves, sown=None),
                 replace(no_leaves, cells=tuple(replace(c, canopy_cover=None) for c in no_leaves.cells))):
        verdict = advise(bare, crop, TODAY, roots=check)
        leggy_for_good = verdict.legginess_band == "leggy" and verdict.action == "sow_again"
        assert verdict.action == "unsure" or leggy_for_good, verdict.reasons
        assert verdict.missing
    nothing = replace(flat, cells=tuple(CellMeasurement(c.cell, plants=1) for c in flat.cells))
    verdict = advise(nothing, crop, TODAY, roots=check)
    assert verdict.action == "unsure" and verdict.burial is None and verdict.depth is None


@given(flats, names)
@settings(max_examples=200, deadline=None)
def test_a_flat_is_thrown_away_only_on_clear_figures(flat, name):
    verdict = advise(flat, CROPS[name], TODAY)
    if verdict.action != "sow_again":
        return
    leaves, index = flat.summary("true_leaves"), flat.summary("legginess")
    overgrown = leaves is not None and leaves.median > CROPS[name].pot_up_true_leaves[1] + 2
    assert overgrown or index.plants >= 4 or flat.cells[0].cell == WHOLE_FLAT
    assert any("Look at the flat before" in c for c in verdict.cautions)


@given(flats)
@settings(max_examples=100, deadline=None)
def test_an_unknown_crop_is_always_unsure(flat):
    verdict = advise(flat, None, TODAY)
    assert verdict.action == "unsure" and verdict.missing and verdict.burial is None
    assert len(verdict.reasons[0]) <= 90


@given(flats, names, st.integers(0, 30), roots)
@settings(max_examples=200, deadline=None)
def test_inches_change_words_and_nothing_else(flat, name, later, check):
    today = TODAY + timedelta(later)
    mm = advise(flat, CROPS[name], today, roots=check)
    inch = advise(flat, CROPS[name], today, roots=check, inch=True)
    words = ("reasons", "cautions", "assumed")
    assert replace(mm, **dict.fromkeys(words, ())) == replace(inch, **dict.fromkeys(words, ()))
    text = " ".join((*inch.reasons, *inch.cautions, *inch.assumed)).replace("280 x 540 mm", "")
    assert " mm" not in text

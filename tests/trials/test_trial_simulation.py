"""Thousands of invented trials of which the truth is known: how often a difference is claimed where there is none, and
how often the 95 % intervals miss the true one. Both must come out between 3 and 7 %.

Flats differ as much as plants of one flat do (standard deviation 1 each), unless a test says otherwise; flats have 12
to 72 plants. The functions are those that `seedlingcv compare` uses. One standard error of a rate of 5 % is 0.5 % over
2 000 trials, 0.2 % over 10 000.
"""

from dataclasses import replace
from datetime import date
from functools import cache
from itertools import combinations_with_replacement

import numpy as np
import pytest
from scipy import stats
from trial_season import SOWN, flat

from seedlingcv.records.history import FlatHistory, History
from seedlingcv.trials.compare import compare, estimate
from seedlingcv.trials.design import FlatValue, Question
from seedlingcv.trials.means import overall
from seedlingcv.trials.mixed import mixed_estimates
from seedlingcv.trials.pairs import contrast, differences, pairs_to_compare, simultaneous
from seedlingcv.trials.units import Layout, lay_out

pytestmark = pytest.mark.slow
MANY, FEW = 10_000, 2_000
PLANTS = (12, 72, 24, 50, 36, 18)  # of the flats, over and over
LEAST, MOST = 0.03, 0.07


def values_of(trial: list[tuple[str, str, str]]) -> list[FlatValue]:
    """Flats of a trial from (light, batch, shelf); their figures are of no account."""
    return [FlatValue(f"flat {i}", i, light, ((0.0,),), date(2025, 3, 22), 21, 2.0, 50.0, batch, shelf=shelf,
                      sowing=batch) for i, (light, batch, shelf) in enumerate(trial)]


def flat_means(flats: int, draws: int, rng: np.random.Generator, *, plants: tuple[int, ...] = PLANTS) -> np.ndarray:
    """(draws, flats): a flat's own deviation and the mean of its plants' (exactly distributed as such a mean is)."""
    counts = np.resize(plants, flats)
    return rng.normal(size=(draws, flats)) + rng.normal(size=(draws, flats)) / np.sqrt(counts)


def levels(layout: Layout, factor: str, sd: float, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draws, units): each unit's level's own deviation."""
    labels = [getattr(unit, factor) for unit in layout.tested]
    names = sorted(set(labels))
    return sd * rng.normal(size=(draws, len(names)))[:, [names.index(label) for label in labels]]


def rates(layout: Layout, values: np.ndarray, shifts: dict[str, float],
          against: str | None = None) -> tuple[float, float]:
    """How often a difference is claimed where there is none, in the first half of the values (2 x draws, units), and
    how often some pair's interval misses the true one, in the second half, with the groups shifted."""
    pairs, way = pairs_to_compare(layout.groups, against, ())
    weights = [contrast(layout.groups, one, other) for one, other in pairs]
    true = [shifts[one] - shifts[other] for one, other in pairs]
    added = np.array([shifts[unit.group] for unit in layout.tested])
    half = len(values) // 2
    shares = []
    for some, truth in ((values[:half], [0.0] * len(pairs)), (values[half:] + added, true)):
        estimates = estimate(layout, some)
        parts = [estimates.contrast(w) for w in weights]
        off = np.stack([np.abs(e - d) / se for (e, se, _), d in zip(parts, truth, strict=True)])
        if way == "dunnett":  # depends on the design alone: from one trial
            one = differences(estimate(layout, values[0]), layout.groups, pairs, way)[0]
            limit = (one.high - one.low) / 2 / one.se
        else:
            limit = np.stack([limits(np.broadcast_to(part[2], len(some)), way, len(layout.groups)) for part in parts])
        shares.append(float(np.mean(np.any(off > limit, axis=0))))
    return shares[0], shares[1]


def limits(df: np.ndarray, way: str, groups: int) -> np.ndarray:
    """The critical value of |t|, between those of fifty degrees of freedom: the studentised range is slow."""
    shares, values = known_limits(way, groups)
    return np.interp(1 / df, shares, values)


@cache
def known_limits(way: str, groups: int) -> tuple[np.ndarray, np.ndarray]:
    shares = np.linspace(1 / 200, 1 / 1.2, 50)
    return shares, simultaneous(np.zeros(50), 1 / shares, way, groups)[0]


def told(name: str, *shares: float) -> None:
    print(f"{name:60s}", *(f"{100 * share:6.2f} %" for share in shares))


@pytest.mark.parametrize("one,other", [*combinations_with_replacement(range(2, 7), 2)])
def test_two_lights_of_two_to_six_flats(one, other):
    rng = np.random.default_rng(100 * one + other)
    layout = lay_out(values_of([("old", "", "")] * one + [("new", "", "")] * other), "light")
    claimed, missed = rates(layout, flat_means(one + other, 2 * MANY, rng), {"old": 0.0, "new": 1.3})
    told(f"two lights, {one} v {other} flats", claimed, missed)
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST


@pytest.mark.parametrize("one,other", [(3, 3), (3, 6), (4, 6), (6, 6)])
def test_two_lights_one_of_which_scatters_more(one, other):
    rng = np.random.default_rng(one * 10 + other)
    layout = lay_out(values_of([("old", "", "")] * one + [("new", "", "")] * other), "light")
    for wide in ("old", "new"):
        factor = np.array([1.5 if unit.group == wide else 1.0 for unit in layout.tested])
        claimed, missed = rates(layout, factor * flat_means(one + other, 2 * MANY, rng), {"old": 0.0, "new": 1.3})
        told(f"two lights, {one} v {other} flats, {wide} scatters 1.5 times", claimed, missed)
        assert LEAST <= claimed <= MOST
        assert LEAST <= missed <= MOST


def test_over_plants_nearly_every_trial_finds_something():
    """Why flats count and not plants: the same trials, tested over plants as if each were its own trial."""
    rng = np.random.default_rng(5)
    naive, right = [], []
    layout = lay_out(values_of([("old", "", "")] * 4 + [("new", "", "")] * 4), "light")
    for _ in range(FEW):
        flats = [rng.normal() + rng.normal(size=n) for n in np.resize(PLANTS, 8)]
        old, new = np.concatenate(flats[:4]), np.concatenate(flats[4:])
        naive.append(stats.ttest_ind(old, new, equal_var=False).pvalue < 0.05)
        right.append([flat.mean() for flat in flats])
    claimed, _ = rates(layout, np.array(right), {"old": 0.0, "new": 0.0})
    told("4 v 4 flats: over flats, over plants", claimed, float(np.mean(naive)))
    assert LEAST <= claimed <= MOST
    assert np.mean(naive) > 0.5


@pytest.mark.parametrize("sizes", [(2, 2, 2), (3, 3, 3), (2, 4, 6), (6, 6, 6), (4, 3, 5, 3)], ids=str)
def test_several_lights_all_pairs_at_once(sizes):
    rng = np.random.default_rng(sum(sizes))
    names = [f"light {i}" for i in range(len(sizes))]
    trial = [(name, "", "") for name, size in zip(names, sizes, strict=True) for _ in range(size)]
    layout = lay_out(values_of(trial), "light")
    values = flat_means(sum(sizes), 2 * MANY, rng)
    shifts = {name: 0.7 * i for i, name in enumerate(names)}
    claimed, missed = rates(layout, values, shifts)
    shared = estimate(layout, values[:1]).method != "welch"  # else each trial has its own limit by Dunnett: too slow
    dunnett = rates(layout, values, shifts, against="light 0") if shared else ()
    told(f"lights of {sizes} flats: all pairs; against one", claimed, missed, *dunnett)
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST
    assert all(LEAST <= share <= MOST for share in dunnett)


@pytest.mark.parametrize("sizes", [(3, 3, 3), (3, 4, 5), (3, 6, 6), (4, 8, 8), (6, 6, 6)], ids=str)
def test_several_lights_one_of_which_scatters_twice_as_much(sizes):
    rng = np.random.default_rng(3 * sum(sizes))
    names = [f"light {i}" for i in range(len(sizes))]
    trial = [(name, "", "") for name, size in zip(names, sizes, strict=True) for _ in range(size)]
    layout = lay_out(values_of(trial), "light")
    for wide in (names[0], names[-1]):
        factor = np.array([2.0 if unit.group == wide else 1.0 for unit in layout.tested])
        claimed, missed = rates(layout, factor * flat_means(sum(sizes), 2 * MANY, rng),
                                {name: 0.7 * i for i, name in enumerate(names)})
        told(f"lights of {sizes} flats, {wide} scatters twice as much", claimed, missed)
        assert LEAST <= claimed <= MOST
        assert LEAST <= missed <= MOST


def test_equal_leaf_stage_where_one_light_is_faster():
    """At equal leaf stage nothing differs, but one light brings the plants there 20 % sooner: what is told of the
    stage by looks a week apart must not make that a difference in length."""
    days, rng = (14, 21, 28), np.random.default_rng(3)
    claimed = 0
    for _ in range(FEW // 8):
        flats = []
        for number in range(8):
            speed, own = (1.2 if number > 3 else 1.0), rng.normal(0, 2.5)
            looks = []
            for day in days:
                leaves = np.clip(np.round(0.14 * speed * day - 1 + rng.normal(0, 0.4, 24)), 0, None)
                stems = 10 + 15 * (0.14 * speed * day - 1) + own + rng.normal(0, 3, 24)
                looks.append(flat(31 + number, stems, light=("old", "new")[number > 3], age=day).days[0])
                cells = tuple(replace(cell, true_leaves=int(count)) for cell, count in zip(
                    looks[-1].measurement.cells, leaves, strict=True))
                looks[-1] = replace(looks[-1], measurement=replace(looks[-1].measurement, cells=cells))
            flats.append(FlatHistory(31 + number, crop="tomato", sown=SOWN, days=tuple(looks)))
        found = compare(History(tuple(flats)), Question(figure="stem_length_mm", leaves=2.0)).differences[0]
        claimed += found.real
    told("equal leaf stage, looks a week apart", claimed / (FEW // 8))
    assert claimed / (FEW // 8) <= MOST + 0.02  # 250 trials: one and a half standard errors


@pytest.mark.parametrize("flats", [1, 2])
def test_several_lights_in_every_batch(flats):
    """Blocks: batches differ twice as much as flats do; with `flats` of a light in a batch, one more here and there."""
    rng = np.random.default_rng(flats)
    trial = [(light, f"batch {b}", "") for b in range(4) for light in "abc"
             for _ in range(flats + (flats > 1 and b == 0))]
    layout = lay_out(values_of(trial), "light")
    assert layout.blocks == ("batch",)
    values = flat_means(len(trial), 2 * MANY, rng) + levels(layout, "batch", 2.0, 2 * MANY, rng)
    claimed, missed = rates(layout, values, {"a": 0.0, "b": 0.5, "c": 1.0})
    told(f"three lights in four batches, {flats} flats", claimed, missed)
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST


def test_a_lamp_over_a_shelf_of_flats():
    """Three shelves a light, two to six flats on each; shelves differ half as much as flats do."""
    rng = np.random.default_rng(11)
    trial = [("ab"[s % 2], "", f"shelf {s}") for s in range(6) for _ in range(2 + s % 5)]
    values = values_of(trial)
    layout = lay_out(values, "light")
    assert layout.kind == "shelf" and len(layout.tested) == 6
    shelves = [flat.shelf for flat in values]
    flats = flat_means(len(trial), 2 * MANY, rng)
    of_shelf = {unit.shelf: 0.5 * rng.normal(size=2 * MANY) for unit in layout.tested}
    means = np.stack([of_shelf[unit.shelf] + flats[:, [s == unit.shelf for s in shelves]].mean(-1)
                      for unit in layout.tested], axis=-1)
    claimed, missed = rates(layout, means, {"a": 0.0, "b": 1.0})
    over_flats = flats + np.stack([of_shelf[s] for s in shelves], axis=-1)
    of_a = np.array([flat.group == "a" for flat in values])
    naive = np.mean(stats.ttest_ind(over_flats[:, of_a], over_flats[:, ~of_a], axis=1).pvalue < 0.05)
    told("three shelves a light: over shelves; over flats", claimed, missed, float(naive))
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST
    assert naive > MOST


SHELVES = {"old": {"s1": (1, 2, 3, 4), "s2": (1, 2, 4), "s3": (2, 3)},
           "new": {"s4": (1, 3, 4), "s5": (1, 2, 3, 4), "s6": (2, 4)}}


@pytest.mark.parametrize("shelf_sd", [1.0, 0.0])
def test_mixed_model_with_shelves_used_batch_after_batch(shelf_sd):
    """Three shelves a light, not all in each of four batches, one to three flats at a time."""
    rng = np.random.default_rng(21)
    trial = [(light, f"batch {b}", shelf) for light, shelves in SHELVES.items() for shelf, batches in shelves.items()
             for b in batches for _ in range(1 + (b + int(shelf[1])) % 3)]
    flats = values_of(trial)
    layout = lay_out(flats, "light")
    assert layout.random == ("shelf",) and layout.blocks == ("batch",)
    of_unit = np.array([[float(flat in unit.flats) for flat in flats] for unit in layout.tested])
    shared = levels(layout, "batch", 1.0, FEW, rng) + levels(layout, "shelf", shelf_sd, FEW, rng)
    shared += 0.5 * rng.normal(size=shared.shape)  # a shelf's own luck in one batch
    of_flats = shared @ of_unit + flat_means(len(flats), FEW, rng)
    claimed, missed = mixed_rates(layout, of_flats @ (of_unit / of_unit.sum(1, keepdims=True)).T)
    plants = of_flats[..., None] + rng.normal(size=(*of_flats.shape, 24))
    old = np.array([flat.group == "old" for flat in flats])
    naive = stats.ttest_ind(plants[:, old].reshape(FEW, -1), plants[:, ~old].reshape(FEW, -1), axis=1).pvalue
    told(f"mixed: shelves (SD {shelf_sd:g}) x batches; over plants", claimed, missed, float(np.mean(naive < 0.05)))
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST
    assert np.mean(naive < 0.05) > 0.5


def test_mixed_model_with_batches_that_had_not_all_lights():
    rng = np.random.default_rng(31)
    has = {"a": (1, 2, 3, 4), "b": (1, 2, 5, 6), "c": (3, 4, 5, 6)}
    trial = [(light, f"batch {b}", "") for light, batches in has.items() for b in batches
             for _ in range(1 + (2 * b + ord(light)) % 3)]
    layout = lay_out(values_of(trial), "light")
    assert layout.random == ("batch",) and not layout.blocks
    values = levels(layout, "batch", 1.0, FEW, rng) + flat_means(len(trial), FEW, rng)
    claimed, missed = mixed_rates(layout, values)
    told("mixed: three lights, two in each of six batches", claimed, missed)
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST


def test_mixed_model_with_shelves_and_batches_that_had_not_all():
    """Both random, and shelves that don't differ: the case that a variance estimated as 0 could spoil."""
    rng = np.random.default_rng(5)
    has = {"a": {"s1": (1, 2, 3, 4), "s2": (1, 2, 5), "s3": (2, 3, 6)},
           "b": {"s4": (1, 3, 4), "s5": (1, 5, 6, 7), "s6": (2, 4, 7)}}
    trial = [(light, f"batch {b}", shelf) for light, shelves in has.items() for shelf, batches in shelves.items()
             for b in batches]
    layout = lay_out(values_of(trial), "light")
    assert set(layout.random) == {"batch", "shelf"}
    values = levels(layout, "batch", 1.0, FEW, rng) + flat_means(len(trial), FEW, rng)
    claimed, missed = mixed_rates(layout, values)
    told("mixed: three shelves a light, seven batches", claimed, missed)
    assert LEAST <= claimed <= MOST
    assert LEAST <= missed <= MOST


def mixed_rates(layout: Layout, values: np.ndarray) -> tuple[float, float]:
    """How often F claims a difference, and how often some pair's interval misses the truth, which is 0 here."""
    pairs, way = pairs_to_compare(layout.groups, None, ())
    limits: dict[float, float] = {}
    claimed = missed = unfitted = 0
    for row in values:
        estimates = mixed_estimates(layout, row)
        if estimates is None:  # one fit in a thousand: then batches are blocks, as in `analyse`
            unfitted += 1
            estimates = estimate(replace(layout, blocks=("batch",), random=()), row)
        parts = [estimates.contrast(contrast(layout.groups, one, other)) for one, other in pairs]
        df = round(4 * min(float(part[2]) for part in parts)) / 4  # in quarters: the studentised range is slow
        if df not in limits:
            limits[df] = float(simultaneous(np.zeros(1), np.array([df]), way, len(layout.groups))[0][0])
        missed += max(abs(float(e / se)) for e, se, _ in parts) > limits[df]
        claimed += overall(estimates).p < 0.05
    assert unfitted <= 0.003 * len(values)
    return claimed / len(values), missed / len(values)

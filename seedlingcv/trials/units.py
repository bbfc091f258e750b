"""What counts once: the experimental units, and what else they differ in.

A light is given to a flat, or to a whole shelf where one lamp covers several flats. Plants of one flat, and flats of
one shelf, share much else as well as the light, so they can't say whether the light did it: testing over plants is
pseudoreplication (Hurlbert 1984, Ecol. Monogr. 54:187-211; from memory).

The unit is therefore the coarsest thing that has one group only:

    flat        where each flat has its own light, or where flats stand isn't known
    shelf       for lights, where one lamp covers a shelf with several flats: a shelf's flats of one sowing are averaged
    lamp        the same where several lights hang over a shelf: its flats of one sowing under one light are averaged
    batch, variety, light, shelf   where each was seen under one group only, but a group has several of them

Where each group has a single level of such a thing, the two are *tied* and nothing can be claimed: one shelf a light
stays one shelf, however often it is sown. Nor where a group meets the others through one unit only.

Things that were mixed over the groups are taken out: as fixed blocks, or as random effects where not every group was in
every level and there are enough levels to tell how much they differ.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from statistics import fmean

import numpy as np

from seedlingcv.trials.design import BY, FlatValue

# What else may differ, for each thing compared. A shelf's light is part of the shelf, a lot's variety part of the lot.
ALSO = {
    "light": ("batch", "variety", "shelf"), "spectrum": ("batch", "variety", "shelf"), "shelf": ("batch", "variety"),
    "variety": ("batch", "light", "shelf", "tray"), "seed_lot": ("batch", "light", "shelf", "tray"),
    "batch": ("variety", "light", "shelf"),
}  # fmt: skip
# What makes tied groups look different too, but is no cause to take blocks out where it is mixed.
TIES = ("seed_lot", "source")
WORDS = BY | {"flat": "flat", "tray": "flat", "lamp": "lamp", "sowing": "sowing of a shelf",
              "source": "way of measuring"}
PLURALS = {"light": "lights", "spectrum": "spectra", "shelf": "shelves", "variety": "varieties",
           "seed lot": "seed lots", "batch": "batches", "flat": "flats", "lamp": "lamps",
           "sowing of a shelf": "sowings of shelves"}
LIGHTS = ("light", "spectrum")
ON_SHELVES = ("shelf", "lamp", "sowing of a shelf")
RANDOM = ("batch", "shelf", "tray")
NO_PARTNER = "has nothing left to be compared with"
LEVELS_FOR_RANDOM = 5  # fewer tell too little about their own variance; then fixed blocks, which need no such guess


@dataclass(frozen=True)
class Unit:
    """`value` is the mean over its flats of their means, batches and varieties counted alike; the rest are labels,
    empty where unknown."""

    name: str
    group: str
    value: float
    flats: tuple[FlatValue, ...]
    batch: str = ""
    variety: str = ""
    light: str = ""
    shelf: str = ""
    tray: str = ""
    sowing: str = ""
    seed_lot: str = ""
    source: str = ""

    @property
    def plants(self) -> int:
        return sum(flat.plants for flat in self.flats)


@dataclass(frozen=True)
class Layout:
    """groups tested; blocks (fixed) and random: names of a Unit's labels; shown_only: group -> why it isn't tested,
    to be read after its name (`has one flat only, so …`)."""

    by: str
    units: tuple[Unit, ...]
    kind: str
    groups: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    random: tuple[str, ...] = ()
    shown_only: dict[str, str] = field(default_factory=dict)

    @property
    def tested(self) -> tuple[Unit, ...]:
        return tuple(unit for unit in self.units if unit.group in self.groups)

    def crosses(self, factor: str) -> bool:
        """Whether some level of the factor was seen under several groups."""
        return any(len(groups) > 1 for groups in _levels(self.tested, factor).values())

    def values_of(self, group: str) -> list[float]:
        return [unit.value for unit in self.units if unit.group == group]


def lay_out(values: Sequence[FlatValue], by: str) -> Layout:
    """The units and how they may be compared; `groups` is empty where nothing can be claimed, `shown_only` says why."""
    every = _units(values, by)
    shown_only: dict[str, str] = {}
    layout = every
    while True:
        why = _untestable(layout)
        if not why:
            break
        shown_only |= why
        rest = [value for value in values if value.group not in shown_only]
        if len({value.group for value in rest}) < 2:
            left = {value.group: shown_only.get(value.group, NO_PARTNER) for value in values}
            return replace(every, groups=(), blocks=(), random=(), shown_only=left)
        layout = _units(rest, by)
    shown = tuple(unit for unit in every.units if unit.group in shown_only)
    return replace(layout, units=(*layout.units, *shown), shown_only=shown_only)


def _units(values: Sequence[FlatValue], by: str) -> Layout:
    units = [Unit(_own_name(value, values), value.group, value.mean, (value,), value.batch, value.variety, value.light,
                  value.shelf, value.tray, value.sowing, value.seed_lot, value.source) for value in values]
    kind, blocks, random = "flat", [], []
    if by in LIGHTS:
        units, kind = _under_lamps(units)
    for factor in ALSO[by]:
        levels = _levels(units, factor)
        if len(levels) < 2 or any(len(groups) > 1 for groups in levels.values()) or len(levels) == len(units):
            continue
        if all(len({getattr(u, factor) for u in units if u.group == group}) == 1 for group in _groups(units)):
            continue  # tied
        if factor == "shelf" and by in LIGHTS and not _same_sowings(units):
            random.append("shelf")
        else:
            units, kind = _merged(units, lambda u, f=factor: getattr(u, f), lambda u, f=factor: _named(u, f)), factor
    groups = _groups(units)
    for factor in ALSO[by]:
        levels = _levels(units, factor)
        if len(levels) > 1 and any(len(seen) > 1 for seen in levels.values()):
            partly = any(len(seen) < len(groups) for seen in levels.values())
            as_random = partly and factor in RANDOM and len(levels) >= LEVELS_FOR_RANDOM
            (random if as_random else blocks).append(factor)
    blocks = [f for f in blocks if not any(_finer(units, other, f) for other in (*blocks, *random) if other != f)]
    return Layout(by, tuple(units), WORDS[kind], groups, tuple(blocks), tuple(random))


def _finer(units: Sequence[Unit], fine: str, coarse: str) -> bool:
    """Whether what `coarse` tells of a unit follows from `fine`, as a light follows from a shelf."""
    seen = {(getattr(u, fine), getattr(u, coarse)) for u in units}
    levels = {getattr(u, coarse) for u in units}
    return len(seen) == len({level for level, _ in seen}) > len(levels)


def without_random(layout: Layout) -> Layout | None:
    """The same without random effects, for where a mixed model fails: shelf means, or batches as fixed blocks. None
    where too few units are left."""
    units, kind = layout.units, layout.kind
    blocks = (*layout.blocks, *(factor for factor in layout.random if layout.crosses(factor)))
    for factor in layout.random:
        if not layout.crosses(factor):
            units, kind = tuple(_merged(units, lambda u, f=factor: (u.group, getattr(u, f)),
                                        lambda u, f=factor: _named(u, f))), WORDS[factor]
            blocks = tuple(block for block in blocks if block != "batch")
    simpler = replace(layout, units=units, blocks=blocks, kind=kind, random=())
    return None if _untestable(simpler) else simpler


def _groups(units: Sequence[Unit]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(unit.group for unit in units))


def _levels(units: Sequence[Unit], factor: str) -> dict[str, set[str]]:
    """Level -> the groups seen in it."""
    levels: dict[str, set[str]] = {}
    for unit in units:
        levels.setdefault(getattr(unit, factor), set()).add(unit.group)
    return levels


def _own_name(value: FlatValue, values: Sequence[FlatValue]) -> str:
    shared = sum(other.tray == value.tray for other in values) > 1
    return f"{value.tray}, {value.group}" if shared else value.tray


def _under_lamps(units: list[Unit]) -> tuple[list[Unit], str]:
    """Flats of one sowing on one shelf under one light averaged, where there are several such: one lamp lit them. And
    what the units are then."""
    together: dict[tuple[str, str, str], int] = {}
    for unit in units:
        if unit.shelf:
            together[unit.shelf, unit.light, unit.sowing] = together.get((unit.shelf, unit.light, unit.sowing), 0) + 1
    if max(together.values(), default=0) < 2:
        return units, "flat"
    lights: dict[tuple[str, str], set[str]] = {}
    for shelf, light, sowing in together:
        lights.setdefault((shelf, sowing), set()).add(light)
    several = {place for place, found in lights.items() if len(found) > 1}
    sowings = len({unit.sowing for unit in units}) > 1

    def name(unit: Unit) -> str:
        if not unit.shelf:
            return unit.name
        return (_named(unit, "shelf") + (f", {unit.light}" if (unit.shelf, unit.sowing) in several else "")
                + (f", {unit.sowing}" if sowings and unit.sowing else ""))

    merged = _merged(units, lambda u: (u.shelf, u.light, u.sowing) if u.shelf else u.name, name)
    return merged, "lamp" if several else "sowing" if len({place for place, _ in lights}) < len(lights) else "shelf"


def _named(unit: Unit, factor: str) -> str:
    level = getattr(unit, factor)
    return level_name(factor, level) if level else f"{WORDS[factor]} not named"


def level_name(factor: str, level: str) -> str:
    """`shelf 2`, `rack 1 upper`, `batch March`: with what it is where its own name doesn't say it."""
    says_itself = level.casefold().startswith((WORDS[factor], "sown from")) or (
        factor == "shelf" and any(len(word) > 2 and word.isalpha() for word in level.split()))
    return level if says_itself else f"{WORDS[factor]} {level}"


def _merged(units: Sequence[Unit], key: Callable[[Unit], object], name: Callable[[Unit], str]) -> list[Unit]:
    """Units of one key averaged, over batches and varieties counted alike; a label on which they differ lists them
    all."""
    together: dict[object, list[Unit]] = {}
    for unit in units:
        together.setdefault(key(unit), []).append(unit)
    merged = []
    for members in together.values():
        labels = {label: " and ".join(sorted({getattr(u, label) for u in members} - {""}))
                  for label in ("batch", "variety", "light", "shelf", "tray", "sowing", "seed_lot", "source")}
        flats = tuple(flat for unit in members for flat in unit.flats)
        alike: dict[tuple[str, str], list[float]] = {}
        for unit in members:
            alike.setdefault((unit.batch, unit.variety), []).append(unit.value)
        value = fmean(fmean(values) for values in alike.values())
        merged.append(Unit(name(members[0]), members[0].group, value, flats, **labels))
    return merged


def _same_sowings(units: Sequence[Unit]) -> bool:
    """Whether every shelf had the same sowings, once each: then shelf means are free of them."""
    seen: dict[str, list[str]] = {}
    for unit in units:
        seen.setdefault(unit.shelf, []).append(unit.sowing)
    return len({tuple(sorted(sowings)) for sowings in seen.values()}) == 1


def _untestable(layout: Layout) -> dict[str, str]:
    """Groups that can't be compared with the rest, and why."""
    by, kind = BY[layout.by], layout.kind
    if single := [group for group in layout.groups if len(layout.values_of(group)) < 2]:
        return dict.fromkeys(single, f"has one {kind} only, so {by} and {kind} can't be told apart")
    for factor in (*ALSO[layout.by], *(tie for tie in TIES if tie != layout.by)):
        levels = _levels(layout.units, factor)
        if len(levels) == len(layout.groups) > 1 and all(len(groups) == 1 for groups in levels.values()):
            word = WORDS[factor]
            own = f"has a {word} of its own" + (f", or one that isn't written down (column {factor})"
                                                if "" in levels else "")
            return dict.fromkeys(layout.groups, f"{own}, so {by} and {word} can't be told apart")
    crossed = [f for f in (*layout.blocks, *layout.random) if layout.crosses(f)]
    together = _connected(layout, crossed)
    shared = " and ".join(WORDS[f] for f in (*layout.blocks, *layout.random))
    if apart := [group for group in layout.groups if group not in together or len(together) == 1]:
        return dict.fromkeys(apart, f"shares no {shared} with the others, so {by} and {shared} can't be told apart")
    if len(layout.tested) - design_matrix(layout, layout.blocks).shape[1] < 1:
        many = " and ".join(PLURALS[WORDS[f]] for f in layout.blocks)
        return dict.fromkeys(layout.groups, f"has too few {PLURALS[kind]} for so many {many}")
    if layout.blocks and (apart := _through_one(layout, crossed, together)):
        return dict.fromkeys(apart, f"shares a {shared} with the others through one {kind} only, so {by} and {kind} "
                                    "can't be told apart")
    return {}


def _through_one(layout: Layout, crossed: Sequence[str], together: Sequence[str]) -> tuple[str, ...]:
    """Groups that lose touch with the others without a single unit."""
    for left_out in layout.tested:
        rest = replace(layout, units=tuple(unit for unit in layout.tested if unit is not left_out))
        if len(still := _connected(rest, crossed)) < len(together):
            return tuple(group for group in layout.groups if group not in still or len(still) == 1)
    return ()


def _connected(layout: Layout, crossed: Sequence[str]) -> tuple[str, ...]:
    """The largest set of groups whose differences can be had within blocks (estimable contrasts)."""
    x = _columns(layout, crossed)
    row_space = np.linalg.pinv(x) @ x
    sets = [{group} for group in layout.groups]
    for one, other in combinations(range(len(layout.groups)), 2):
        contrast = np.zeros(x.shape[1])
        contrast[one], contrast[other] = 1, -1
        if np.allclose(contrast @ row_space, contrast, atol=1e-8):
            both = [s for s in sets if layout.groups[one] in s or layout.groups[other] in s]
            sets = [s for s in sets if s not in both] + [set().union(*both)]
    return tuple(max(sets, key=lambda s: (len(s), sum(unit.group in s for unit in layout.units))))


def design_matrix(layout: Layout, blocks: Sequence[str]) -> np.ndarray:
    """Units x (groups, then blocks), of full column rank: a column a group, and blocks coded to sum to 0, so that a
    group's coefficient is its mean over the blocks' levels counted alike."""
    x = _columns(layout, blocks)
    kept: list[int] = []
    for column in range(x.shape[1]):
        if np.linalg.matrix_rank(x[:, [*kept, column]]) > len(kept):
            kept.append(column)
    return x[:, kept]


def _columns(layout: Layout, blocks: Sequence[str]) -> np.ndarray:
    units = layout.tested
    columns = [np.array([unit.group == group for unit in units], float) for group in layout.groups]
    for factor in blocks:
        labels = [getattr(unit, factor) for unit in units]
        *levels, last = sorted(set(labels))
        columns += [np.array([(label == level) - float(label == last) for label in labels]) for level in levels]
    return np.column_stack(columns)

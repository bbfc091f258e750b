"""What counts once: the experimental units, and what else they differ in.

A light is given to a flat, or to a whole shelf where one lamp covers several flats. Plants of one flat, and flats of
one shelf, share much else as well as the light, so they can't say whether the light did it: testing over plants is
pseudoreplication (Hurlbert 1984, Ecol. Monogr. 54:187-211; from memory).

The unit is therefore the coarsest thing that has one group only:

    flat        where each flat has its own light, or groups are mixed within shelves
    shelf       for lights, where one lamp covers a shelf with several flats: a shelf's flats of one sowing are averaged
    batch, variety, light, shelf   where each was seen under one group only, but a group has several of them

Where each group has a single level of such a thing, the two are *tied* and nothing can be claimed. One tie is let
through and told: one shelf a light, repeated in several batches, as growers with two shelves must do.

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
WORDS = BY | {"flat": "flat", "tray": "flat"}
PLURALS = {"light": "lights", "spectrum": "spectra", "shelf": "shelves", "variety": "varieties",
           "seed lot": "seed lots", "batch": "batches", "flat": "flats"}
LIGHTS = ("light", "spectrum")
RANDOM = ("batch", "shelf", "tray")
NO_PARTNER = "has nothing left to be compared with"
LEVELS_FOR_RANDOM = 5  # fewer tell too little about their own variance; then fixed blocks, which need no such guess


@dataclass(frozen=True)
class Unit:
    """`value` is the mean over its flats of their means; the rest are labels, empty where unknown."""

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
    notes: tuple[str, ...] = ()

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
                  value.shelf, value.tray, value.sowing) for value in values]
    kind, notes, blocks, random = "flat", [], [], []
    if by in LIGHTS and _lamp_over_shelf(units):
        units, kind = _merged(units, lambda u: (u.shelf, u.sowing) if u.shelf else u.name, _shelf_name(units)), "shelf"
    for factor in ALSO[by]:
        levels = _levels(units, factor)
        if len(levels) < 2 or any(len(groups) > 1 for groups in levels.values()) or len(levels) == len(units):
            continue
        if all(len({getattr(u, factor) for u in units if u.group == group}) == 1 for group in _groups(units)):
            if factor == "shelf" and by in LIGHTS and len(_levels(units, "sowing")) > 1:
                notes.append("Each light hung over one shelf all the time, so a warmer or draughtier shelf would look "
                             "the same. Swap the lights between batches to be sure.")
        elif factor == "shelf" and by in LIGHTS and not _same_sowings(units):
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
    return Layout(by, tuple(units), WORDS[kind], groups, tuple(blocks), tuple(random), notes=tuple(notes))


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


def _lamp_over_shelf(units: Sequence[Unit]) -> bool:
    """Whether each shelf has one light at a time, and some shelf several flats: then the shelf is what was lit."""
    seen: dict[tuple[str, str], list[str]] = {}
    for unit in units:
        if unit.shelf:
            seen.setdefault((unit.shelf, unit.sowing), []).append(unit.group)
    return all(len(set(groups)) == 1 for groups in seen.values()) and any(len(groups) > 1 for groups in seen.values())


def _shelf_name(units: Sequence[Unit]) -> Callable[[Unit], str]:
    several = len({unit.sowing for unit in units}) > 1

    def name(unit: Unit) -> str:
        if not unit.shelf:
            return unit.name
        return _named(unit, "shelf") + (f", {unit.sowing}" if several and unit.sowing else "")

    return name


def _named(unit: Unit, factor: str) -> str:
    level = getattr(unit, factor)
    return level_name(factor, level) if level else f"{WORDS[factor]} not named"


def level_name(factor: str, level: str) -> str:
    """`shelf 2`, `rack 1 upper`, `batch March`: with what it is where its own name doesn't say it."""
    says_itself = level.casefold().startswith((WORDS[factor], "sown from")) or (
        factor == "shelf" and any(len(word) > 2 and word.isalpha() for word in level.split()))
    return level if says_itself else f"{WORDS[factor]} {level}"


def _merged(units: Sequence[Unit], key: Callable[[Unit], object], name: Callable[[Unit], str]) -> list[Unit]:
    """Units of one key averaged; a label on which they differ lists them all."""
    together: dict[object, list[Unit]] = {}
    for unit in units:
        together.setdefault(key(unit), []).append(unit)
    merged = []
    for members in together.values():
        labels = {label: " and ".join(sorted({getattr(u, label) for u in members} - {""}))
                  for label in ("batch", "variety", "light", "shelf", "tray", "sowing")}
        flats = tuple(flat for unit in members for flat in unit.flats)
        merged.append(Unit(name(members[0]), members[0].group, fmean(u.value for u in members), flats, **labels))
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
    for factor in ALSO[layout.by]:
        levels = _levels(layout.units, factor)
        tied = len(levels) == len(layout.groups) > 1 and all(len(groups) == 1 for groups in levels.values())
        if tied and not (factor == "shelf" and layout.notes):
            word = WORDS[factor]
            return dict.fromkeys(layout.groups, f"has a {word} of its own, so {by} and {word} can't be told apart")
    together = _connected(layout)
    if apart := [group for group in layout.groups if group not in together or len(together) == 1]:
        shared = " and ".join(WORDS[f] for f in (*layout.blocks, *layout.random))
        return dict.fromkeys(apart, f"shares no {shared} with the others, so {by} and {shared} can't be told apart")
    if len(layout.tested) - design_matrix(layout, layout.blocks).shape[1] < 1:
        many = " and ".join(PLURALS[WORDS[f]] for f in layout.blocks)
        return dict.fromkeys(layout.groups, f"has too few {PLURALS[kind]} for so many {many}")
    return {}


def _connected(layout: Layout) -> tuple[str, ...]:
    """The largest set of groups whose differences can be had within blocks (estimable contrasts)."""
    x = _columns(layout, [f for f in (*layout.blocks, *layout.random) if layout.crosses(f)])
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

"""A flat's figures at the age or leaf stage compared.

A flat that was looked at before and after that stage is told by a straight line between the two looks, plant by plant;
so a flat that reached the stage between two photos is not taken for younger or older than it was. A flat with looks on
one side only counts by the nearest, where that is within a tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from seedlingcv.records.history import FlatDay, FlatHistory
from seedlingcv.records.ruler import WHOLE_FLAT

AGE_TOLERANCE_DAYS = 1
LEAF_TOLERANCE = 0.5  # true leaves, mean of the flat
MOST_APART_DAYS, MOST_APART_LEAVES = 1.0, 0.5  # of groups' mean age or leaf stage (judgement)
MOST_BETWEEN_DAYS = 10  # looks further apart don't tell what was in between (judgement: weekly photos, one late)


@dataclass(frozen=True)
class Stage:
    """At equal `age_days`, or at equal `leaves` (mean true leaves of the flat)."""

    age_days: int | None = None
    leaves: float | None = None

    def __str__(self) -> str:
        if self.age_days is not None:
            return f"{self.age_days} days after sowing (give or take {AGE_TOLERANCE_DAYS})"
        return f"{self.leaves:g} true leaves (flats whose mean is within {LEAF_TOLERANCE:g})"

    @property
    def most_apart(self) -> float:
        """How far groups' mean stages may lie apart: more makes a difference by itself."""
        return MOST_APART_DAYS if self.age_days is not None else MOST_APART_LEAVES

    def told(self, value: float) -> str:
        return f"{value:.1f} {'days' if self.age_days is not None else 'true leaves'}"


@dataclass(frozen=True)
class Look:
    """A flat on a day on which it has the figure, or between two such days.

    day : of two the nearer; cells : cell -> figure of its one plant; true_leaves, spread_mm : means of the flat
    """

    day: FlatDay
    cells: dict[str, float]
    age_days: float | None
    true_leaves: float | None
    spread_mm: float | None

    @property
    def whole(self) -> bool:
        """One line of a ruler sheet for all its plants, nobody knows of how many."""
        return list(self.cells) == [WHOLE_FLAT]


def looks_of(flat: FlatHistory, figure: str) -> tuple[Look, ...]:
    """The days on which some single plant has the figure, oldest first."""
    found = []
    for day in flat.days:
        cells = {cell.cell: float(value) for cell in day.measurement.singles
                 if (value := getattr(cell, figure)) is not None}
        if cells:
            age = (day.day - flat.sown).days if flat.sown else day.age_days
            found.append(Look(day, cells, age, _mean_of(day, "true_leaves"), _mean_of(day, "leaf_spread_mm")))
    return tuple(found)


def at_stage(looks: Sequence[Look], stage: Stage) -> Look | None:
    """The flat at the stage, None where it wasn't seen near it."""
    off = [(abs(own - _wanted(stage)), look) for look in looks if (own := _own(look, stage)) is not None]
    if not off:
        return None
    nearest, look = min(off, key=lambda pair: pair[0])
    if nearest > 0:
        for before, after in pairwise(looks):
            if (between := _between(before, after, stage)) is not None:
                return between
    tolerance = AGE_TOLERANCE_DAYS if stage.age_days is not None else LEAF_TOLERANCE
    return look if nearest <= tolerance + 1e-9 else None


def why_not_then(looks: Sequence[Look], stage: Stage) -> str:
    if stage.age_days is not None:
        ages = [f"{look.age_days:g}" for look in looks if look.age_days is not None]
        return (f"not measured at {stage.age_days} days: measured at {', '.join(ages)}" if ages else
                "no sowing date known")
    leaves = [f"{look.true_leaves:.1f}" for look in looks if look.true_leaves is not None]
    return (f"not measured near {stage.leaves:g} true leaves: means were {', '.join(leaves)}" if leaves else
            "true leaves not counted")


def usual_stage(flats: Sequence[Sequence[Look]]) -> Stage | None:
    """The age at which most flats were measured, of two such ages the older one; None where no age is known."""
    aged = [ages for looks in flats if (ages := {look.age_days for look in looks if look.age_days is not None})]

    def worth(age: float) -> tuple[int, int, float]:
        off = [min(abs(own - age) for own in of_flat) for of_flat in aged]
        return sum(days <= AGE_TOLERANCE_DAYS for days in off), sum(days == 0 for days in off), age

    return Stage(age_days=int(max(set().union(*aged), key=worth))) if aged else None


def _wanted(stage: Stage) -> float:
    wanted = stage.leaves if stage.age_days is None else stage.age_days
    assert wanted is not None
    return wanted


def _own(look: Look, stage: Stage) -> float | None:
    return look.true_leaves if stage.age_days is None else look.age_days


def _between(before: Look, after: Look, stage: Stage) -> Look | None:
    """None where the stage doesn't lie between, or the looks are too far apart or under another light."""
    first, last, wanted = _own(before, stage), _own(after, stage), _wanted(stage)
    cells = [cell for cell in before.cells if cell in after.cells]
    if first is None or last is None or not first < wanted < last or 2 * len(cells) < len(before.cells) or (
            (after.day.day - before.day.day).days > MOST_BETWEEN_DAYS
            or (before.day.light, before.day.shelf) != (after.day.light, after.day.shelf)):
        return None
    share = (wanted - first) / (last - first)

    def line(one: float | None, other: float | None) -> float | None:
        return None if one is None or other is None else one + share * (other - one)

    values = {cell: before.cells[cell] + share * (after.cells[cell] - before.cells[cell]) for cell in cells}
    return Look(before.day if share < 0.5 else after.day, values, line(before.age_days, after.age_days),
                line(before.true_leaves, after.true_leaves), line(before.spread_mm, after.spread_mm))


def _mean_of(day: FlatDay, figure: str) -> float | None:
    had = [value for cell in day.measurement.singles if (value := getattr(cell, figure)) is not None]
    return fmean(had) if had else None

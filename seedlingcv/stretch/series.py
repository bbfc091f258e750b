"""What a flat measured day by day, and flats together at equal age or leaf stage.

A group is flats of one crop that stood under the same lights (or on the same shelves) in the same order, so that its
mean is over flats with one past. Its interval is over flats; see over_flats.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import floor, sqrt
from statistics import fmean, median, stdev

from seedlingcv.records.history import FlatDay, FlatHistory, History
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.stretch.over_flats import Mean, mean_over_flats, sown_of

FIELDS = ("stem_length_mm", "legginess", "canopy_cover", "true_leaves")
BY = ("flat", "shelf", "light")
LEAST_SAME_PLANTS = 3  # measured on every look of a line (judgement): flats are the units, fewer plants only less sure


@dataclass(frozen=True)
class Look:
    """One figure of a flat on one day.

    plants  measured plants (for canopy cover: cells); se : standard error of their mean, by their scatter alone; None
            with fewer than two
    leaves  median true leaves that day; age_days since sowing
    """

    at: FlatDay
    age_days: int | None
    leaves: float | None
    median: float
    mean: float
    se: float | None
    plants: int

    @property
    def day(self) -> date:
        return self.at.day


@dataclass(frozen=True)
class Group:
    """`name`: a flat, or the light or shelf (`old panel, then new panel` where flats were moved on)."""

    name: str
    crop: str | None
    flats: tuple[FlatHistory, ...]


@dataclass(frozen=True)
class MeanAt:
    """A mean over flats at an age in days, or at a number of true leaves."""

    at: float
    mean: Mean


def values_on(day: FlatDay, field: str) -> dict[str, float]:
    """By cell: canopy cover of every cell that has it, other figures of cells with one plant."""
    cells = day.measurement.cells if field == "canopy_cover" else day.measurement.singles
    return {c.cell: float(value) for c in cells if (value := getattr(c, field)) is not None}


def looks_of(history: FlatHistory, field: str) -> tuple[Look, ...]:
    """The flat's figure on each day that has it, oldest first."""
    looks = []
    for day in history.days:
        values = list(values_on(day, field).values())
        if values:
            leaves = values_on(day, "true_leaves")
            se = stdev(values) / sqrt(len(values)) if len(values) > 1 else None
            looks.append(Look(day, age_on(history, day.day), median(leaves.values()) if leaves else None,
                              median(values), fmean(values), se, len(values)))
    return tuple(looks)


def same_plants(looks: Sequence[Look], field: str) -> tuple[Look, ...]:
    """The looks with the figures of those plants alone that were measured on all of them: where the largest are gone
    later, or were missed, means of whoever is left would tell of growth that never was.

    Looks at fewer than LEAST_SAME_PLANTS are left out first; empty where fewer remain on all. One line for a whole flat
    is taken as it stands.
    """
    values = {look.day: values_on(look.at, field) for look in looks}
    looks = [k for k in looks if k.plants >= LEAST_SAME_PLANTS or list(values[k.day]) == [WHOLE_FLAT]]
    cells = [cell for cell in values[looks[0].day] if all(cell in values[k.day] for k in looks)] if looks else []
    if len(cells) < LEAST_SAME_PLANTS and cells != [WHOLE_FLAT]:
        return ()
    return tuple(_with(look, [values[look.day][cell] for cell in cells]) for look in looks)


def _with(look: Look, values: Sequence[float]) -> Look:
    se = stdev(values) / sqrt(len(values)) if len(values) > 1 else None
    return replace(look, median=median(values), mean=fmean(values), se=se, plants=len(values))


def age_on(history: FlatHistory, day: date) -> int | None:
    """Days since sowing."""
    sown = sown_of(history)
    return (day - sown).days if sown else None


def groups_of(history: History, by: str) -> tuple[Group, ...]:
    """by : `flat`, `shelf` or `light`. By crop first, then in the order in which flats come."""
    found: dict[tuple, list[FlatHistory]] = {}
    names: dict[tuple, str] = {}
    for flat in history.flats:
        if by == "flat":
            key, name = (flat.flat, flat.part, sown_of(flat) or (flat.days[0].day if flat.days else None)), flat.place
        else:
            name = path_of(flat, by)
            key = (name.casefold(),)
        key = (flat.crop or "", *key)
        names.setdefault(key, name)
        found.setdefault(key, []).append(flat)
    groups = [Group(names[key], flats[0].crop, tuple(flats)) for key, flats in found.items()]
    return tuple(sorted(groups, key=lambda g: g.crop or "~"))


def path_of(flat: FlatHistory, by: str) -> str:
    """`bulb`, or `bulb, then new panel`: the lights (or shelves) the flat was measured under, in order."""
    path: list[str] = []
    for day in flat.days:
        place = getattr(day, by)
        if place and (not path or path[-1].casefold() != place.casefold()):
            path.append(place)
    return ", then ".join(path) or f"{by} not known"


def mean_curve(flats: Sequence[FlatHistory], field: str, *, against_leaves: bool = False) -> tuple[MeanAt, ...]:
    """Mean over flats of the flats' medians, at each age to the nearest day, or at each whole number of true leaves."""
    at: dict[int, list[tuple]] = {}
    for flat in flats:
        for look in looks_of(flat, field):
            x = look.leaves if against_leaves else look.age_days
            if x is not None:
                at.setdefault(floor(x + 0.5), []).append((flat, look.median))
    return tuple(MeanAt(x, mean) for x, values in sorted(at.items()) if (mean := mean_over_flats(values)))

"""Where under a light plants stretch: legginess across the flat, averaged over the flats that stood there.

Each flat's own mean is taken out of its cells, days are averaged within a flat, and flats are the units. A flat counts
where it stood first: moved on, it still shows how it stretched there. What is claimed are two slopes, along the flat's
length and its width: a plane a flat (measure/gradient.py), then the mean over flats with its t interval. Intervals are
widened so that all of a study hold together in 95 % of cases: one of many sides would soon look weak by chance. Plants
are leggier where they get less light; that the light is weaker there is an explanation and no measurement, unless PPFD
was read on a grid.

Parts of mixed flats are left out: one crop at one end would look like weak light.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from seedlingcv.flat.layout import cell_name, standard_layout
from seedlingcv.measure.gradient import fit_plane
from seedlingcv.records.history import SIDES, FlatDay, FlatHistory, History, Lighting
from seedlingcv.records.parts import cell_place
from seedlingcv.stretch.over_flats import Mean, count_flats, mean_over_flats
from seedlingcv.stretch.series import values_on

FIELD = "legginess"
COARSE = (3, 6)  # rows and columns of the map where flats of different layouts stood
LEAST_FLATS = 2
LEVEL_SHARE = 0.05  # of the larger reading: within it a meter doesn't tell two ends apart (judgement)
Spot = tuple[int, int]  # row and column of the map, from 0
Slopes = list[tuple[FlatHistory, float]]


@dataclass(frozen=True)
class Across:
    """How much leggier plants are at the far end than at the near one: from `near` to `far`, names of SIDES.

    slope        mean over flats of the difference between the outermost cells, in legginess, with its interval, which
                 holds together with those of the other places and direction (Bonferroni)
    window_side  the end that faces a window; None where neither is known to
    ppfd_umol    mean reading at the near and far end, where lights were read on a grid
    """

    near: str
    far: str
    slope: Mean
    window_side: str | None
    ppfd_umol: tuple[float, float] | None

    @property
    def clear(self) -> bool:
        return self.slope.low is not None and (self.slope.low > 0 or self.slope.high < 0)

    @property
    def weak_end(self) -> str:
        """The leggier end."""
        return self.far if self.slope.mean > 0 else self.near

    @property
    def readings_agree(self) -> bool | None:
        """Whether the leggier end is the one with the lower readings; None without readings, or where they are level:
        within LEVEL_SHARE of each other."""
        if self.ppfd_umol is None or max(self.ppfd_umol) * (1 - LEVEL_SHARE) <= min(self.ppfd_umol):
            return None
        return (self.ppfd_umol[1] - self.ppfd_umol[0]) * self.slope.mean < 0


@dataclass(frozen=True)
class Place:
    """Legginess under a light or on a shelf.

    rows, columns : of the map; `cells[row][column]` is the mean over flats of a cell's legginess less its flat's, None
        where no plant was measured
    length, width : None where no flat had a plane (plants of one row alone)
    same_layout : of all flats, so that the map's cells are the flats' own
    together : how many sides' intervals of this study hold at once, this place's among them
    """

    name: str
    crop: str | None
    flats: tuple[FlatHistory, ...]
    rows: int
    columns: int
    cells: tuple[tuple[float | None, ...], ...]
    length: Across | None
    width: Across | None
    same_layout: bool
    together: int = 1

    @property
    def enough(self) -> bool:
        return count_flats(self.flats) >= LEAST_FLATS

    def side(self, name: str) -> str:
        """A side as its flats' tags name it: `column 12`, `row F`; in general words where layouts differ."""
        if name == "last column" and self.same_layout:
            return f"column {self.columns}"
        if name == "last row" and self.same_layout:
            return f"row {cell_name(self.rows - 1, 1)[0]}"
        return name if not name.startswith("last") else f"the {name}"


def places_of(history: History, by: str) -> tuple[Place, ...]:
    """by : `light` or `shelf`. Places without a measured legginess are left out."""
    found: dict[tuple[str, str], dict[int, list[FlatDay]]] = {}
    names: dict[str, str] = {}
    for index, flat in enumerate(history.flats):
        for day in _before_moving(flat, by):
            name = getattr(day, by)
            if name and flat.part is None and _has_places(day):
                names.setdefault(name.casefold(), name)
                found.setdefault((flat.crop or "", name.casefold()), {}).setdefault(index, []).append(day)
    places = [(names[name], crop or None, [(history.flats[i], days) for i, days in members.items()])
              for (crop, name), members in sorted(found.items())]
    slopes = [(_slopes(members, 0), _slopes(members, 1)) for _, _, members in places]
    together = sum(count_flats(flat for flat, _ in own) >= LEAST_FLATS for both in slopes for own in both)
    return tuple(_place(*place, both, max(together, 1)) for place, both in zip(places, slopes, strict=True))


def _before_moving(flat: FlatHistory, by: str) -> Sequence[FlatDay]:
    """The days under the light (on the shelf) of its first day. Later ones still show how it stretched there."""
    first = next((name for day in flat.days if (name := getattr(day, by))), None)
    moved = next((i for i, day in enumerate(flat.days) if getattr(day, by) not in (None, first)), len(flat.days))
    return flat.days[:moved]


def _has_places(day: FlatDay) -> bool:
    return day.measurement.rows > 0 and any(cell_place(cell) for cell in values_on(day, FIELD))


def _place(name: str, crop: str | None, members: Sequence[tuple[FlatHistory, list[FlatDay]]],
           slopes: tuple[Slopes, Slopes], together: int) -> Place:
    layouts = Counter((d.measurement.rows, d.measurement.columns) for _, days in members for d in days)
    same = len(layouts) == 1
    rows, columns = next(iter(layouts)) if same else COARSE
    of_flats = [(flat, _relative(days, rows, columns)) for flat, days in members]
    cells = tuple(tuple(_cell(of_flats, (row, column)) for column in range(columns)) for row in range(rows))
    return Place(name, crop, tuple(flat for flat, _ in members), rows, columns, cells,
                 *(_across(members, axis, slopes[axis], together) for axis in (0, 1)), same, together)


def _cell(of_flats: Sequence[tuple[FlatHistory, dict[Spot, float]]], spot: Spot) -> float | None:
    mean = mean_over_flats((flat, own[spot]) for flat, own in of_flats if spot in own)
    return mean.mean if mean else None


def _relative(days: Sequence[FlatDay], rows: int, columns: int) -> dict[Spot, float]:
    """One flat's plants by the map's cell, less the flat's mean of that day; the mean over its days."""
    found: dict[Spot, list[float]] = {}
    for day in days:
        values = values_on(day, FIELD)
        mean, today = fmean(values.values()), {}
        for cell, value in values.items():
            if spot := _on_map(day, cell, rows, columns):
                today.setdefault(spot, []).append(value - mean)
        for spot, own in today.items():
            found.setdefault(spot, []).append(fmean(own))
    return {spot: fmean(own) for spot, own in found.items()}


def _on_map(day: FlatDay, cell: str, rows: int, columns: int) -> Spot | None:
    """The map's cell that holds the middle of a flat's cell."""
    place = cell_place(cell)
    if place is None:
        return None
    down, along = (place[0] + 0.5) / day.measurement.rows, (place[1] - 0.5) / day.measurement.columns
    return int(down * rows), int(along * columns)


def _slopes(members: Sequence[tuple[FlatHistory, list[FlatDay]]], axis: int) -> Slopes:
    """Each flat's mean over its days. axis : 0 along the length (columns), 1 along the width (rows)"""
    slopes = []
    for flat, days in members:
        own = [end for day in days if (end := _end_to_end(day, axis)) is not None]
        if own:
            slopes.append((flat, fmean(own)))
    return slopes


def _across(members: Sequence[tuple[FlatHistory, list[FlatDay]]], axis: int, slopes: Slopes,
            together: int) -> Across | None:
    slope = mean_over_flats(slopes, together)
    if slope is None:
        return None
    near, far = (SIDES[2], SIDES[3]) if axis == 0 else (SIDES[0], SIDES[1])
    lightings = list(dict.fromkeys(day.lighting for _, days in members for day in days if day.lighting))
    return Across(near, far, slope, _window_side(lightings, near, far), _readings(lightings, axis))


def _end_to_end(day: FlatDay, axis: int) -> float | None:
    """Difference between the outermost cells by the flat's plane."""
    plane = fit_plane(day.measurement, FIELD)
    if plane is None:
        return None
    layout = standard_layout(day.measurement.rows, day.measurement.columns)
    steps = (layout.columns if axis == 0 else layout.rows) - 1
    return float(plane.slope[axis]) * layout.pitch_mm[axis] * steps / 100


def _window_side(lightings: Sequence[Lighting], near: str, far: str) -> str | None:
    """Where it is the same for all that hung there; one light may hang over several shelves."""
    sides = {x.window_side for x in lightings}
    side = sides.pop() if len(sides) == 1 else None
    return side if side in (near, far) else None


def _readings(lightings: Sequence[Lighting], axis: int) -> tuple[float, float] | None:
    """Mean PPFD in the first and last row or column of the readings; None without a grid. Of several the mean."""
    ends = []
    for lighting in lightings:
        grid = lighting.ppfd_umol
        lines = list(zip(*grid, strict=False)) if axis == 0 else list(grid)
        if len(lines) > 1:
            ends.append((fmean(lines[0]), fmean(lines[-1])))
    return (fmean(e[0] for e in ends), fmean(e[1] for e in ends)) if ends else None

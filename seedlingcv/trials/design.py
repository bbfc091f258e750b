"""Which flats are compared, and at which age or leaf stage: one value a flat, every flat left out named.

A flat's value is the mean of its cells with one plant. Parts of a flat that belong to one group are taken together:
they stand under one light. Which of these values may count as independent is decided in `units.py`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from statistics import fmean, median, stdev

from seedlingcv.crops.crop import load_crop
from seedlingcv.errors import CropError, SeedlingError
from seedlingcv.records.history import FlatDay, FlatHistory, History, LightChange, Lighting
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.trials.figures import FIGURES, Figure

BY = {"light": "light", "spectrum": "spectrum", "shelf": "shelf", "variety": "variety", "seed_lot": "seed lot",
      "batch": "batch"}  # what can be compared -> how it is said
AGE_TOLERANCE_DAYS = 1
LEAF_TOLERANCE = 0.5  # true leaves, mean of the flat
# A light changed before seedlings are up is no change for them: within 3 days of sowing, or before the first
# measuring and within 7 days. Common practice, no source.
EARLY_DAYS, EARLY_UNSEEN_DAYS = 3, 7
SOWING_GAP_DAYS = 3  # sowings that follow within so many days are one; a batch where flats have no batch's name
REUSED_AFTER_DAYS = 21  # the records' own rule: a later sowing of a flat's number is another flat


@dataclass(frozen=True)
class Question:
    """What is compared. `age_days` and `leaves` exclude each other; neither: the age most flats were measured at.

    against : one group that every other is held against; pairs : only these pairs of groups
    difference : that would matter, in the figure's own unit; else the crop's (`matters.py`)
    """

    by: str = "light"
    figure: str = "legginess"
    crop: str | None = None
    age_days: int | None = None
    leaves: float | None = None
    against: str | None = None
    pairs: tuple[tuple[str, str], ...] = ()
    difference: float | None = None

    @property
    def measure(self) -> Figure:
        return FIGURES[self.figure]


@dataclass(frozen=True)
class FlatValue:
    """One flat's plants at the stage compared; `cells` are single plants' figures in the figure's own unit. `light`
    names all lights it stood under until then, so that flats with another past are not taken for alike."""

    tray: str  # "flat 31": the same for its parts, another one for the number used again
    flat: int
    group: str
    cells: tuple[float, ...]
    day: date
    age_days: int | None
    true_leaves: float | None
    spread_mm: float | None
    batch: str
    variety: str = ""
    light: str = ""
    shelf: str = ""
    sowing: str = ""  # flats sown within a few days of each other share a shelf at the same time
    lighting: Lighting | None = None
    source: str = "photo"  # or "ruler", or both of a flat whose parts were measured in two ways
    whole: bool = False  # one line of a ruler sheet for all its plants, nobody knows of how many

    @property
    def plants(self) -> int:
        """Plants measured; 0 where one line stands for all."""
        return 0 if self.whole else len(self.cells)

    @property
    def median(self) -> float:
        return median(self.cells)

    @property
    def mean(self) -> float:
        return fmean(self.cells)

    @property
    def sd(self) -> float | None:
        return stdev(self.cells) if len(self.cells) > 1 else None


@dataclass(frozen=True)
class LeftOut:
    place: str
    why: str


@dataclass(frozen=True)
class Stage:
    """At equal `age_days`, or at equal `leaves` (mean true leaves of the flat)."""

    age_days: int | None = None
    leaves: float | None = None

    def __str__(self) -> str:
        if self.age_days is not None:
            return f"{self.age_days} days after sowing (give or take {AGE_TOLERANCE_DAYS})"
        return f"{self.leaves:g} true leaves (flats whose mean is within {LEAF_TOLERANCE:g})"


@dataclass(frozen=True)
class Chosen:
    values: tuple[FlatValue, ...]
    left_out: tuple[LeftOut, ...]
    crop: str | None
    stage: Stage


@dataclass(frozen=True)
class _Flat:
    """A flat's or part's history, which flat and batch it is of, and the days on which it has the figure."""

    history: FlatHistory
    tray: str
    batch: str
    sowing: str
    days: tuple[_Candidate, ...]


@dataclass(frozen=True)
class _Candidate:

    history: FlatHistory
    day: FlatDay
    cells: tuple[float, ...]

    @property
    def age_days(self) -> int | None:
        return (self.day.day - self.history.sown).days if self.history.sown else self.day.age_days

    @property
    def true_leaves(self) -> float | None:
        return _mean_of(self.day, "true_leaves")


def choose_flats(history: History, question: Question) -> Chosen:
    """The values to compare. Raises SeedlingError where the crop must be named, or no flat has the figure."""
    histories, crop = _of_one_crop(history.flats, question)
    sowings = _sowings(histories)
    batches = [flat.batch or "" for flat in histories] if all(flat.batch for flat in histories) else sowings
    flats = [_Flat(flat, tray, batch, sowing, _days_with(flat, question.figure))
             for flat, tray, batch, sowing in zip(histories, _trays(histories), batches, sowings, strict=True)]
    left_out = [LeftOut(flat.history.place, f"{question.measure.name} never measured")
                for flat in flats if not flat.days]
    measured = [flat for flat in flats if flat.days]
    if not measured:
        raise SeedlingError(f"No flat{f' of {crop}' if crop else ''} has its {question.measure.name} measured.",
                            where="records", next_step="Compare another figure with --figure, or measure more flats.")
    stage = _stage(measured, question)
    values: dict[tuple[str, str], FlatValue] = {}
    for flat in measured:
        found = _nearest(flat.days, stage)
        group, why = (None, _why_not_then(flat.days, stage)) if found is None else _group(found, question)
        if found is None or group is None:
            left_out.append(LeftOut(flat.history.place, why))
            continue
        value = _value(flat, found, group)
        same = values.get((value.tray, group))
        values[value.tray, group] = value if same is None else replace(
            same, cells=same.cells + value.cells, variety=_joined(same.variety, value.variety),
            source=_joined(same.source, value.source), whole=same.whole and value.whole)
    return Chosen(tuple(values.values()), tuple(left_out), crop, stage)


def _joined(one: str, other: str) -> str:
    return one if one == other else " and ".join(sorted({one or "unnamed", other or "unnamed"}))


def _of_one_crop(flats: Sequence[FlatHistory], question: Question) -> tuple[list[FlatHistory], str | None]:
    count = Counter(flat.crop for flat in flats if flat.crop)
    if question.crop is None and len(count) > 1:
        listed = ", ".join(f"{crop} ({number} flat{'s' if number > 1 else ''})" for crop, number in count.most_common())
        raise SeedlingError(f"Different crops can't be compared with each other, and there are several: {listed}.",
                            where="records", next_step=f"Name one, such as --crop '{count.most_common(1)[0][0]}'.")
    if question.crop is None:
        return list(flats), next(iter(count), None)
    wanted = {question.crop.casefold()}
    with suppress(CropError):  # also by another name of the crop
        wanted.add(load_crop(question.crop).name)
    found = [flat for flat in flats if flat.crop and flat.crop.casefold() in wanted]
    if not found:
        known = ", ".join(count) or "none is named"
        raise SeedlingError(f"There are no flats of {question.crop}; crops there: {known}.", where="records",
                            next_step="Name one of these with --crop.")
    return found, found[0].crop


def _trays(flats: Sequence[FlatHistory]) -> list[str]:
    """Each history's flat. Parts of one flat share it; a number used again after a later sowing is another."""
    names = []
    for flat in flats:
        sowings = sorted(f.sown for f in flats if f.flat == flat.flat and f.sown)
        starts = [day for day, before in zip(sowings, [None, *sowings], strict=False)
                  if before is None or day - before > timedelta(days=REUSED_AFTER_DAYS)]
        own = max((day for day in starts if flat.sown and day <= flat.sown), default=None)
        names.append(f"flat {flat.flat}" + (f" sown {own.day} {own:%b %Y}" if own and len(starts) > 1 else ""))
    return names


def _sowings(flats: Sequence[FlatHistory]) -> list[str]:
    """A name for what was sown within a few days of each other; empty where that isn't known."""
    sowings = sorted({flat.sown for flat in flats if flat.sown})
    starts = [day for day, before in zip(sowings, [None, *sowings], strict=False)
              if before is None or day - before > timedelta(days=SOWING_GAP_DAYS)]
    first = [max((day for day in starts if flat.sown and day <= flat.sown), default=None) for flat in flats]
    return [f"sown from {day.day} {day:%b %Y}" if day else "" for day in first]


def _days_with(flat: FlatHistory, figure: str) -> tuple[_Candidate, ...]:
    found = []
    for day in flat.days:
        cells = tuple(float(value) for cell in day.measurement.singles
                      if (value := getattr(cell, figure)) is not None)
        if cells:
            found.append(_Candidate(flat, day, cells))
    return tuple(found)


def _stage(flats: Sequence[_Flat], question: Question) -> Stage:
    """The stage asked for, or the age at which most flats were measured; of two such ages the older one."""
    if question.leaves is not None:
        return Stage(leaves=question.leaves)
    if question.age_days is not None:
        return Stage(age_days=question.age_days)
    aged = [ages for flat in flats if (ages := {c.age_days for c in flat.days if c.age_days is not None})]
    ages = set().union(*aged)
    if not ages:
        raise SeedlingError("No flat's sowing date is known, so flats can't be compared at equal age.", where="records",
                            next_step="Write the dates into the register, column sown, or compare at equal leaf stage "
                                      "with --leaves 2.")

    def worth(age: int) -> tuple[int, int, int]:
        off = [min(abs(own - age) for own in of_flat) for of_flat in aged]
        return sum(days <= AGE_TOLERANCE_DAYS for days in off), sum(days == 0 for days in off), age

    return Stage(age_days=max(ages, key=worth))


def _off(candidate: _Candidate, stage: Stage) -> float | None:
    """How far a day is from the stage, None where that isn't known."""
    at, wanted = ((candidate.age_days, stage.age_days) if stage.age_days is not None else
                  (candidate.true_leaves, stage.leaves))
    return None if at is None or wanted is None else abs(at - wanted)


def _nearest(days: Sequence[_Candidate], stage: Stage) -> _Candidate | None:
    """The day nearest to the stage, within its tolerance."""
    tolerance = AGE_TOLERANCE_DAYS if stage.age_days is not None else LEAF_TOLERANCE
    near = [(off, c) for c in days if (off := _off(c, stage)) is not None and off <= tolerance + 1e-9]
    return min(near, key=lambda pair: pair[0])[1] if near else None


def _why_not_then(days: Sequence[_Candidate], stage: Stage) -> str:
    if stage.age_days is not None:
        ages = [str(c.age_days) for c in days if c.age_days is not None]
        return (f"not measured at {stage.age_days} days: measured at {', '.join(ages)}" if ages else
                "no sowing date known")
    leaves = [f"{c.true_leaves:.1f}" for c in days if c.true_leaves is not None]
    return (f"not measured near {stage.leaves:g} true leaves: means were {', '.join(leaves)}" if leaves else
            "true leaves not counted")


def _group(found: _Candidate, question: Question) -> tuple[str | None, str]:
    """The flat's group, or why it has none."""
    flat, day, by = found.history, found.day, question.by
    if by in ("light", "spectrum", "shelf") and (late := _late_changes(found)):
        after = (late[0].day - flat.sown).days if flat.sown else None
        when = f"{after} days after sowing" if after is not None else f"on {late[0].day.isoformat()}"
        return None, f"light changed from {late[0].before} to {late[0].after} {when}"
    known = {"light": day.light, "spectrum": day.lighting.spectrum if day.lighting else None, "shelf": day.shelf,
             "variety": flat.variety, "seed_lot": flat.seed_lot, "batch": flat.batch}[by]
    return (known, "") if known else (None, f"{BY[by]} not known")


def _late_changes(found: _Candidate) -> list[LightChange]:
    """The changes of light that the flat has had too late to count as standing under one light."""
    flat, first_seen, late = found.history, found.history.days[0].day, []
    for change in flat.changes:
        after = (change.day - flat.sown).days if flat.sown else None
        early = after is not None and (after <= EARLY_DAYS or (after <= EARLY_UNSEEN_DAYS and change.day <= first_seen))
        if change.day <= found.day.day and not early:
            late.append(change)
    return late


def _value(flat: _Flat, found: _Candidate, group: str) -> FlatValue:
    day, late = found.day, _late_changes(found)
    lights = [late[0].before, *(change.after for change in late)] if late else [day.light or ""]
    return FlatValue(tray=flat.tray, flat=flat.history.flat, group=group, cells=found.cells, day=day.day,
                     age_days=found.age_days, true_leaves=found.true_leaves,
                     spread_mm=_mean_of(day, "leaf_spread_mm"), batch=flat.batch, variety=flat.history.variety or "",
                     light=", then ".join(lights), shelf=day.shelf or "", sowing=flat.sowing, lighting=day.lighting,
                     source=day.source, whole=[cell.cell for cell in day.measurement.singles] == [WHOLE_FLAT])


def _mean_of(day: FlatDay, figure: str) -> float | None:
    had = [value for cell in day.measurement.singles if (value := getattr(cell, figure)) is not None]
    return fmean(had) if had else None

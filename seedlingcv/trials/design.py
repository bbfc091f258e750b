"""Which flats are compared: one value a flat, every flat left out named.

A flat's value is the mean of its cells with one plant. Parts of a flat that belong to one group are taken together:
they stand under one light. Of several varieties in it each counts alike, so that another mixture of them is no
difference. Which of these values may count as independent is decided in `units.py`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import chain, pairwise
from statistics import fmean, median, stdev

from seedlingcv.crops.crop import names_of
from seedlingcv.errors import SeedlingError
from seedlingcv.records.history import SAME_SOWING_DAYS, FlatDay, FlatHistory, History, LightChange, Lighting
from seedlingcv.trials.figures import FIGURES, Figure
from seedlingcv.trials.stage import Look, Stage, at_stage, looks_of, usual_stage, why_not_then

BY = {"light": "light", "spectrum": "spectrum", "shelf": "shelf", "variety": "variety", "seed_lot": "seed lot",
      "batch": "batch"}  # what can be compared -> how it is said
# A light changed before seedlings are up is no change for them: within 3 days of sowing, or before the first
# measuring and within 7 days. Common practice, no source.
EARLY_DAYS, EARLY_UNSEEN_DAYS = 3, 7
# Sowings that follow within 3 days are one, but not one that goes on for over a week; a batch where flats have no
# batch's name.
SOWING_GAP_DAYS, SOWING_MOST_DAYS = 3, 7


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
    """One flat's plants at the stage compared; `cells` are single plants' figures in the figure's own unit, by variety
    where there are several. `light` names all lights it stood under until then, so that flats with another past are
    not taken for alike."""

    tray: str  # "flat 31": the same for its parts, another one for the number used again
    flat: int
    group: str
    of_varieties: tuple[tuple[float, ...], ...]
    day: date
    age_days: float | None
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
    seed_lot: str = ""
    part: str = ""

    @property
    def cells(self) -> tuple[float, ...]:
        return tuple(chain.from_iterable(self.of_varieties))

    @property
    def plants(self) -> int:
        """Plants measured; 0 where one line stands for all."""
        return 0 if self.whole else len(self.cells)

    @property
    def median(self) -> float:
        return fmean(median(cells) for cells in self.of_varieties)

    @property
    def mean(self) -> float:
        return fmean(fmean(cells) for cells in self.of_varieties)

    @property
    def sd(self) -> float | None:
        return stdev(self.cells) if len(self.cells) > 1 else None


@dataclass(frozen=True)
class LeftOut:
    """potted_from : the group it would have been in, of a flat that was potted up before"""

    place: str
    why: str
    potted_from: str | None = None


@dataclass(frozen=True)
class Chosen:
    values: tuple[FlatValue, ...]
    left_out: tuple[LeftOut, ...]
    crop: str | None
    stage: Stage


@dataclass(frozen=True)
class _Flat:
    """A flat's or part's history, which flat and batch it is of, and its looks that have the figure."""

    history: FlatHistory
    tray: str
    batch: str
    sowing: str
    looks: tuple[Look, ...]


def choose_flats(history: History, question: Question) -> Chosen:
    """The values to compare. Raises SeedlingError where the crop must be named, or no flat has the figure."""
    histories, crop, left_out = _of_one_crop(history.flats, question)
    sowings = _sowings(histories)
    flats = [_Flat(flat, tray, batch, sowing, looks_of(flat, question.figure)) for flat, tray, batch, sowing in zip(
        histories, _trays(histories), _batches(histories, sowings), sowings, strict=True)]
    left_out += [LeftOut(flat.history.place, f"{question.measure.name} never measured")
                 for flat in flats if not flat.looks]
    measured = [flat for flat in flats if flat.looks]
    if not measured:
        raise SeedlingError(f"No flat{f' of {crop}' if crop else ''} has its {question.measure.name} measured.",
                            where="records", next_step="Compare another figure with --figure, or measure more flats.")
    stage = _stage(measured, question)
    parts: dict[tuple[str, str], list[FlatValue]] = {}
    for flat in measured:
        found = at_stage(flat.looks, stage)
        if found is None:
            left_out.append(_not_then(flat, stage, question))
            continue
        group, why = _group(flat.history, found, question)
        if group is None:
            left_out.append(LeftOut(flat.history.place, why))
            continue
        parts.setdefault((flat.tray, group), []).append(_value(flat, found, group))
    return Chosen(tuple(_together(values) for values in parts.values()), tuple(left_out), crop, stage)


def _together(parts: Sequence[FlatValue]) -> FlatValue:
    """The parts of one flat that belong to one group, by variety."""
    of_varieties: dict[str, list[float]] = {}
    for part in parts:
        of_varieties.setdefault(part.variety, []).extend(part.cells)
    joined = {name: _joined([getattr(part, name) for part in parts])
              for name in ("variety", "source", "seed_lot", "part")}
    return replace(parts[0], of_varieties=tuple(tuple(cells) for cells in of_varieties.values()),
                   whole=all(part.whole for part in parts), **joined)


def _joined(names: Sequence[str]) -> str:
    different = set(names)
    return names[0] if len(different) == 1 else " and ".join(sorted(name or "unnamed" for name in different))


def _of_one_crop(flats: Sequence[FlatHistory],
                 question: Question) -> tuple[list[FlatHistory], str | None, list[LeftOut]]:
    """Its flats, its name, and the flats whose crop isn't known, which may be another."""
    count = Counter(flat.crop for flat in flats if flat.crop)
    if question.crop is None and len(count) > 1:
        listed = ", ".join(f"{crop} ({number} flat{'s' if number > 1 else ''})" for crop, number in count.most_common())
        raise SeedlingError(f"Different crops can't be compared with each other, and there are several: {listed}.",
                            where="records", next_step=f"Name one, such as --crop '{count.most_common(1)[0][0]}'.")
    if question.crop is None and not count:
        return list(flats), None, []
    wanted = names_of(question.crop or next(iter(count)))
    found = [flat for flat in flats if flat.crop and flat.crop.casefold() in wanted]
    if not found:
        known = ", ".join(count) or "none is named"
        raise SeedlingError(f"There are no flats of {question.crop}; crops there: {known}.", where="records",
                            next_step="Name one of these with --crop.")
    return found, found[0].crop, [LeftOut(flat.place, "crop not known") for flat in flats if not flat.crop]


def _trays(flats: Sequence[FlatHistory]) -> list[str]:
    """Each history's flat. Parts of one flat share it; a number used again after a later sowing is another."""
    names = []
    for flat in flats:
        sowings = sorted(f.sown for f in flats if f.flat == flat.flat and f.sown)
        starts = [day for day, before in zip(sowings, [None, *sowings], strict=False)
                  if before is None or day - before > timedelta(days=SAME_SOWING_DAYS)]
        own = max((day for day in starts if flat.sown and day <= flat.sown), default=None)
        names.append(f"flat {flat.flat}" + (f" sown {own.day} {own:%b %Y}" if own and len(starts) > 1 else ""))
    return names


def _sowings(flats: Sequence[FlatHistory]) -> list[str]:
    """A name for what was sown within a few days of each other; empty where that isn't known."""
    starts: list[date] = []
    before: date | None = None
    for day in sorted({flat.sown for flat in flats if flat.sown}):
        if before is None or (day - before).days > SOWING_GAP_DAYS or (day - starts[-1]).days > SOWING_MOST_DAYS:
            starts.append(day)
        before = day
    first = [max((day for day in starts if flat.sown and day <= flat.sown), default=None) for flat in flats]
    return [f"sown from {day.day} {day:%b %Y}" if day else "" for day in first]


def _batches(flats: Sequence[FlatHistory], sowings: Sequence[str]) -> list[str]:
    """The batch as named, or what was sown together; a name that was given to several sowings stands for each alone."""
    if not all(flat.batch for flat in flats):
        return list(sowings)
    sown: dict[str, set[str]] = {}
    for flat, sowing in zip(flats, sowings, strict=True):
        sown.setdefault(flat.batch or "", set()).add(sowing)
    return [f"{flat.batch}, {sowing}" if len(sown[flat.batch or ""]) > 1 else flat.batch or ""
            for flat, sowing in zip(flats, sowings, strict=True)]


def _stage(flats: Sequence[_Flat], question: Question) -> Stage:
    """The stage asked for, or the age at which most flats were measured."""
    if question.leaves is not None or question.age_days is not None:
        return Stage(None if question.leaves is not None else question.age_days, question.leaves)
    if (stage := usual_stage([flat.looks for flat in flats])) is None:
        raise SeedlingError("No flat's sowing date is known, so flats can't be compared at equal age.", where="records",
                            next_step="Write the dates into the register, column sown, or compare at equal leaf stage "
                                      "with --leaves 2.")
    return stage


def _not_then(flat: _Flat, stage: Stage, question: Question) -> LeftOut:
    """A flat that was potted up before it came to the stage is told as such: who is missing matters."""
    history, last = flat.history, flat.looks[-1]
    ahead = last.age_days if stage.age_days is not None else last.true_leaves
    wanted = stage.age_days if stage.age_days is not None else stage.leaves
    if history.potted is None or ahead is None or wanted is None or ahead > wanted:
        return LeftOut(history.place, why_not_then(flat.looks, stage))
    group, _ = _group(history, last, question)
    why = f"potted up on {history.potted.isoformat()}, before that" + (f" ({group})" if group else "")
    return LeftOut(history.place, why, group)


def _group(flat: FlatHistory, found: Look, question: Question) -> tuple[str | None, str]:
    """The flat's group, or why it has none."""
    day, by = found.day, question.by
    if by in ("light", "spectrum", "shelf") and (late := late_changes(flat, day.day)):
        return None, f"light changed from {late[0].before} to {late[0].after} {_after_sowing(flat, late[0].day)}"
    if by == "shelf" and (moved := _late_move(flat, day)):
        return None, f"moved to {day.shelf} {_after_sowing(flat, moved)}"
    known = {"light": day.light, "spectrum": day.lighting.spectrum if day.lighting else None, "shelf": day.shelf,
             "variety": flat.variety, "seed_lot": flat.seed_lot, "batch": flat.batch}[by]
    return (known, "") if known else (None, f"{BY[by]} not known")


def _after_sowing(flat: FlatHistory, day: date) -> str:
    return f"{(day - flat.sown).days} days after sowing" if flat.sown else f"on {day.isoformat()}"


def late_changes(flat: FlatHistory, until: date) -> list[LightChange]:
    """The changes of light that the flat has had too late to count as standing under one light."""
    return [change for change in flat.changes if change.day <= until and not _early(flat, change.day)]


def _late_move(flat: FlatHistory, at: FlatDay) -> date | None:
    """The day on which the flat came to its shelf from another one, if it was too late to count as standing there."""
    shelves = [(stand.since, stand.shelf) for stand in flat.stands if stand.since is None or stand.since <= at.day]
    came = [since for (_, before), (since, shelf) in pairwise(shelves) if since and before and shelf != before]
    return came[-1] if came and not _early(flat, came[-1]) else None


def _early(flat: FlatHistory, day: date) -> bool:
    after = (day - flat.sown).days if flat.sown else None
    return after is not None and (after <= EARLY_DAYS or (after <= EARLY_UNSEEN_DAYS and day <= flat.days[0].day))


def _value(flat: _Flat, found: Look, group: str) -> FlatValue:
    day, history = found.day, flat.history
    late = late_changes(history, day.day)
    lights = [late[0].before, *(change.after for change in late)] if late else [day.light or ""]
    return FlatValue(tray=flat.tray, flat=history.flat, group=group, of_varieties=(tuple(found.cells.values()),),
                     day=day.day, age_days=found.age_days, true_leaves=found.true_leaves, spread_mm=found.spread_mm,
                     batch=flat.batch, variety=history.variety or "", light=", then ".join(lights),
                     shelf=day.shelf or "", sowing=flat.sowing, lighting=day.lighting, source=day.source,
                     whole=found.whole, seed_lot=history.seed_lot or "", part=history.part or "")

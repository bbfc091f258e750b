"""The records during one run over a folder: what was kept before, what this run adds, what they say for the list.

The photos stay the source of truth: a lost file of records is made again from them and the tables beside them.

1. A photo that this version measured before is not looked at again, unless it is of its flat's newest day, a new
   photo of its flat and day has come, or the register names another layout now, or a crop by which measuring differs:
   so the version that is kept tells by which figures of the crop.
2. Every day of a flat is measured and kept, the newest one and those before it.
3. For the list the figures count as corrected by hand (figures by ruler don't overrule a photo, a correction does); the
   day before, from which growth is told, comes from the records; a root check by hand of the last week counts where
   the register is silent.
4. A flat that was potted up since it was seen is left off the list. This and all of rule 3 is told of the flat that had
   the number on the day it was seen, and of no day after the one that the list is for.
5. Records that can't be added to or read any more are told of once; the list is made all the same. A day that can't be
   kept is told of and costs no other day.
6. Where the register's flat was sown after a photo, the number was used again: then the records tell what flat it was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from seedlingcv import __version__
from seedlingcv.advice.findings import FIRM_DAYS, LEAST_GROWTH_DAYS
from seedlingcv.assess.look import Look, look_at
from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.errors import CropError, RecordsError
from seedlingcv.flags import Problem
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.grouping import Candidate, FlatPhotos, group_photos
from seedlingcv.photo.read import content_hash
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.kept import entry_tree
from seedlingcv.plan.potup import Entry
from seedlingcv.records.log import Correction
from seedlingcv.records.register import FlatRow

if TYPE_CHECKING:
    from seedlingcv.records.database import Records
    from seedlingcv.records.history import FlatHistory

T = TypeVar("T")
Past = dict[tuple[int, str | None], tuple["FlatHistory", Crop | None]]


# A register with some columns only leaves these to the records; roots are of a day.
REMEMBERED = ("crop", "variety", "rows", "columns", "sown", "light", "seed_lot", "batch", "shelf")


@dataclass
class Keeping:
    """Open records and what goes wrong with them.

    days, kept : flat, day and photos of what this version measured; of each such photo its flat and day
    rows : what the records know of flats; own_crops : the grower's crop file
    """

    records: Records
    complaints: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    days: set[tuple[int, date, frozenset[str]]] = field(default_factory=set)
    kept: dict[str, tuple[int, date]] = field(default_factory=dict)
    rows: Mapping[int, tuple[FlatRow, ...]] = field(default_factory=dict)
    corrections: Sequence[Correction] = ()  # to keep once their days are measured
    closed: bool = False  # to adding
    silent: bool = False  # to reading
    own_crops: Path | None = None

    def __post_init__(self) -> None:
        from seedlingcv.records.recall import register_rows

        self.rows = register_rows(self.records)

    def look_up(self, own_crops: Path | None) -> None:
        """What was measured before, to be asked before photos are looked at. Raises RecordsError."""
        from seedlingcv.records.recall import known_days, known_photos

        self.own_crops = own_crops
        by_crop = cache(lambda crop: version_for(crop, own_crops))
        self.days = known_days(self.records, by_crop)
        measured = {(flat, day) for flat, day, _ in self.days}
        known = known_photos(self.records)  # not those of a run that broke off before it kept them in full
        self.kept = {photo: (flat, day) for photo, (flat, day) in known.items() if day and (flat, day) in measured}
        self.kept |= {key: (flat, day) for flat, day, keys in self.days for key in keys if key in known}

    def add(self, job: Callable[[Records], object]) -> None:
        """Do it, unless something failed before; what fails now is complained of."""
        from seedlingcv.records.keep import NotKept

        if self.closed:
            return
        try:
            job(self.records)
        except NotKept as error:
            self.complaints.append(str(error))
        except RecordsError as error:
            self.closed = True
            self.complaints.append(f"{error} The list is complete; what it rests on was not kept.")

    def ask(self, question: Callable[[Records], T], without: T) -> T:
        """What the records say; `without` where they can't be read any more, which is complained of once."""
        if self.silent:
            return without
        try:
            return question(self.records)
        except RecordsError as error:
            self.silent = True
            self.complaints.append(f"{error} The list was made without what the records know.")
            return without

    def keep_day(self, measured: FlatMeasurement, keys: Sequence[str], crop: str | None) -> None:
        """crop : of the row that the photos were measured by"""
        from seedlingcv.records.keep import keep_day

        version = version_for(crop, self.own_crops)
        self.add(lambda records: keep_day(records, measured, source="photo", keys=keys, version=version))


def crop_figures(crop: str | None, own_crops: Path | None) -> tuple[float | None, bool]:
    """What measuring depends on: the crop's usual height in mm, and whether its leaves come in pairs."""
    if crop:
        with suppress(CropError):  # the list tells of it
            known = load_crop(crop, own_crops)
            return known.usual_height_mm, known.leaves_in_pairs
    return None, False


def version_for(crop: str | None, own_crops: Path | None) -> str:
    """The program's version, and by which figures of the crop it measures."""
    height_mm, in_pairs = crop_figures(crop, own_crops)
    return ", ".join(filter(None, (__version__, f"plants of {height_mm:g} mm" if height_mm else "",
                                   "leaves in pairs" if in_pairs else "")))


def look_through(files: Sequence[Path], folder: Path, keeping: Keeping | None,
                 progress: Callable[[int, str], None]) -> list[Look]:
    """A first look at every photo, but for those that rule 1 spares."""
    kept = keeping.kept if keeping else {}
    at = {path: kept[known] for path in files if kept and (known := content_hash(path)) in kept}
    looks: dict[Path, Look] = {}

    def look(path: Path) -> None:
        name = path.relative_to(folder).as_posix()
        progress(len(looks), name)
        looks[path] = look_at(path, name)

    for path in files:
        if path not in at:
            look(path)
    fresh = {(r.flat, r.taken.date()) for r in (x.result for x in looks.values()) if r.flat and r.taken}
    newest: dict[int, date] = {}
    for flat, day in (*fresh, *at.values()):
        newest[flat] = max(day, newest.get(flat, day))
    for path, (flat, day) in at.items():
        if day == newest[flat] or (flat, day) in fresh:
            look(path)
        else:
            looks[path] = _spared(path, path.relative_to(folder).as_posix(), flat, day)
    return [looks[path] for path in files]


def _spared(path: Path, name: str, flat: int, day: date) -> Look:
    note = f"of {day}; in the records already"
    return Look(path, PhotoResult(name, flat=flat, problems=(Problem("spare", fatal=False),), note=note))


def keep_photos_seen(keeping: Keeping, looks: Iterable[Look]) -> None:
    from seedlingcv.records.keep import Photo, keep_photos

    photos = [Photo(look.result.file, look.sha256, look.result.view, look.result.taken, look.result.flat,
                    look.result.usable, tuple(p.code for p in look.result.problems))
              for look in looks if look.sha256]
    keeping.add(lambda records: keep_photos(records, photos))


def days_before(candidates: Sequence[Candidate], groups: Sequence[FlatPhotos]) -> list[FlatPhotos]:
    """Each flat's photos of every day before its newest, the oldest first."""
    newest = {g.flat: g.day for g in groups if g.day and not g.days_apart}
    old = [c for c in candidates if c.taken and c.flat in newest and c.taken.date() < newest[c.flat]]
    days = sorted({c.taken.date() for c in old if c.taken})
    return [group for day in days for group in group_photos(c for c in old if c.taken and c.taken.date() == day)]


def photo_keys(group: FlatPhotos, looks: Sequence[Look]) -> tuple[str, ...]:
    return tuple(looks[i].sha256 for i in (group.overhead, group.second, group.side) if i is not None)


def is_kept(keeping: Keeping, group: FlatPhotos, looks: Sequence[Look]) -> bool:
    return (group.flat, group.day, frozenset(photo_keys(group, looks))) in keeping.days


def keep_corrections(keeping: Keeping) -> None:
    from seedlingcv.records.keep import keep_corrections as keep
    from seedlingcv.records.summary import strays

    if keeping.corrections:
        keeping.add(lambda records: keeping.complaints.extend(keep(records, keeping.corrections)))
        keeping.notes += keeping.ask(lambda records: strays(records, keeping.corrections), [])


def as_corrected(keeping: Keeping, now: FlatMeasurement) -> FlatMeasurement:
    """The flat's figures with corrections by hand."""
    from seedlingcv.records.recall import with_corrections

    return keeping.ask(lambda records: with_corrections(records, now), now)


def day_of_growth(keeping: Keeping, now: FlatMeasurement) -> FlatMeasurement | None:
    """The flat some days before, as the records have it."""
    from seedlingcv.records.recall import earlier_day

    if now.day is None:
        return None
    before = now.day - timedelta(LEAST_GROWTH_DAYS - 1)
    return keeping.ask(lambda records: earlier_day(records, now.flat, before, seen=now.day), None)


def rows_of(keeping: Keeping, rows: tuple[FlatRow, ...], flat: int, day: date | None) -> tuple[FlatRow, ...]:
    """The register's rows of the flat (rule 6); where it is silent, what the records know; one row at least."""
    from seedlingcv.records.recall import rows_on

    known = keeping.rows.get(flat, ())
    rows = tuple(_filled(row, known) for row in rows) or known
    sown = min((row.sown for row in rows if row.sown), default=None)
    if sown and day and day < sown:
        rows = keeping.ask(lambda records: rows_on(records, flat, day), ())
    return rows or (FlatRow(flat),)


def _filled(row: FlatRow, known: Sequence[FlatRow]) -> FlatRow:
    """With what the records, to which the register was added, know of the same part of the same crop."""
    same = next((k for k in known if k.part == row.part and row.crop in (None, k.crop)), None)
    if same is None:
        return row
    return replace(row, **{name: getattr(same, name) for name in REMEMBERED if getattr(row, name) is None})


def roots_by_hand(keeping: Keeping, row: FlatRow, seen: date | None, today: date) -> FlatRow:
    """The row with the word of a root check of the week before the flat was seen, or since then up to today, if it says
    none itself."""
    from seedlingcv.records.recall import newest_root_check

    if not seen or row.roots or row.part:
        return row
    check = keeping.ask(lambda records: newest_root_check(records, row.flat, seen=seen, today=today), None)
    return replace(row, roots=check.roots) if check and check.day >= seen - timedelta(FIRM_DAYS) else row


def pasts(keeping: Keeping, entries: Sequence[Entry], crop_of: Callable[[Entry], Crop | None], today: date) -> Past:
    """What the records know up to today of the listed flats, by number and part."""
    from seedlingcv.records.recall import read_history

    seen = {e.measurement.flat: e.measurement.day or today for e in entries}
    known = keeping.ask(lambda records: read_history(records, flats=list(seen), until=today, on=seen).flats, ())
    by_place = {(h.flat, h.part): h for h in known}
    found = {}
    for entry in entries:
        key = (entry.measurement.flat, entry.part)
        if key in by_place:
            found[key] = (by_place[key], crop_of(entry))
    return found


def with_past(entries: Sequence[Entry], past: Mapping) -> tuple[list[Entry], list[str]]:
    """The entries with what the records say of their stretch, and a note on flats that were potted up since."""
    from seedlingcv.stretch.band import left_band

    stay, gone = [], []
    for entry in entries:
        history, crop = past.get((entry.measurement.flat, entry.part), (None, None))
        seen = entry.measurement.day
        if history and history.potted and seen and history.potted >= seen:
            gone.append(f"{entry.place} on {history.potted}")
            continue
        left = left_band(history, crop) if history and crop else None
        stay.append(replace(entry, measurement=_lit(entry.measurement, history),
                            left_band=left.sentence if left else None))
    return stay, [f"Potted up already: {', '.join(gone)}."] if gone else []


def _lit(measured: FlatMeasurement, history: FlatHistory | None) -> FlatMeasurement:
    """With the light that the flat's shelf had, where the register names none."""
    lights = [look.light for look in history.days if look.day == measured.day] if history else []
    return replace(measured, light=measured.light or next(iter(lights), None))


def keep_roots(keeping: Keeping, roots: Mapping[int, str], groups: Sequence[FlatPhotos]) -> None:
    """roots : what photos of the root board showed, by flat"""
    from seedlingcv.records.keep import keep_root_checks
    from seedlingcv.records.log import RootCheck

    checks = [RootCheck(g.flat, g.day, roots[g.flat], source="photo") for g in groups if g.flat in roots and g.day]
    keeping.add(lambda records: keep_root_checks(records, checks))


def keep_list(keeping: Keeping, entries: Sequence[Entry], today: date) -> None:
    from seedlingcv.records.keep import KeptVerdict, keep_verdicts

    kept = [KeptVerdict(e.measurement.flat, e.part, e.measurement.day, today, e.verdict.action, e.verdict.due,
                        entry_tree(e)) for e in entries if e.measurement.day]
    keeping.add(lambda records: keep_verdicts(records, kept))

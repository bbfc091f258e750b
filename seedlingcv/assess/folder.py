"""From a folder of photos to a pot-up list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

from seedlingcv.advice.findings import LEAST_GROWTH_DAYS
from seedlingcv.advice.own_marks import shift_by
from seedlingcv.advice.pots import Pot
from seedlingcv.assess.flat import FlatViews, MeasuredFlat, measure_flat
from seedlingcv.assess.look import Look, look_at, with_problem
from seedlingcv.assess.masks import SUFFIX as MASK_SUFFIX
from seedlingcv.assess.roots import settle_roots
from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.errors import CropError, PhotoError
from seedlingcv.flags import Problem
from seedlingcv.measure.pictures import FlatPictures
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.grouping import Candidate, FlatPhotos, group_photos
from seedlingcv.photo.read import is_photo_name
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.entries import entries_of, parts_of
from seedlingcv.plan.potup import Entry, pot_up_list
from seedlingcv.records.marks import Marks
from seedlingcv.records.register import FlatRow, Register

Progress = Callable[[int, int, str], None]  # steps done, steps in all, what is being done


@dataclass(frozen=True)
class Assessment:
    """entries in the list's order; pictures by flat; complaints about register and crops, one line each."""

    entries: list[Entry]
    photos: list[PhotoResult]
    pictures: dict[int, FlatPictures] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)
    today: date = field(default_factory=date.today)

    @property
    def needs_attention(self) -> bool:
        return bool(self.complaints) or any(not p.usable and "spare" not in {q.code for q in p.problems}
                                            for p in self.photos)


def photo_files(folder: Path) -> list[Path]:
    """All photos in the folder and below, by name; the program's own label images are left out.

    Raises PhotoError if the folder is not there or holds no photo.
    """
    if not folder.is_dir():
        raise PhotoError("There is no such folder.", where=str(folder), next_step="Name the folder with the photos.")
    found = sorted(p for p in folder.rglob("*") if is_photo_name(p) and not p.name.endswith(MASK_SUFFIX)
                   and not any(part.startswith(".") for part in p.relative_to(folder).parts))
    if not found:
        raise PhotoError("There are no photos in this folder.", where=str(folder),
                         next_step="Copy the JPEG, PNG or HEIC files from the phone into it.")
    return found


@dataclass(frozen=True)
class _Seen:
    """A flat's figures, and those of some days before, if it was photographed then too."""

    rows: tuple[FlatRow, ...]
    now: FlatMeasurement
    earlier: FlatMeasurement | None


def assess_folder(folder: Path, register: Register | None = None, *, own_crops: Path | None = None,
                  today: date | None = None, inch: bool = False, masks: Path | None = None, pot: Pot | None = None,
                  marks: Marks | None = None, progress: Progress = lambda done, total, name: None) -> Assessment:
    """Look at every photo, measure every flat, and say what to do with each.

    today : the day the list is for; the newest photo's day if None
    pot : the pot that is used, else the usual one for the cell size
    marks : the grower's own marks, which shift crops' limits of stretch
    """
    files = photo_files(folder)
    looks: list[Look] = []
    for number, path in enumerate(files):
        name = path.relative_to(folder).as_posix()
        progress(number, 2 * len(files), name)
        looks.append(look_at(path, name))
    candidates = [look.candidate(i) for i, look in enumerate(looks) if look.result.usable and look.roots is None]
    groups = group_photos(candidates)
    before = _some_days_before(candidates, groups)
    newest = max((g.day for g in groups if g.day), default=None)
    today = today or newest or date.today()
    complaints = list(register.complaints) if register else []
    rows = {g.flat: (register.rows(g.flat) if register else ()) or (FlatRow(g.flat),) for g in groups}
    seen: list[_Seen] = []
    pictures, done = {}, len(files)
    for group in groups:
        progress(done, 2 * len(files), f"flat {group.flat}")
        first = rows[group.flat][0]
        measured, now = _measure(group, looks, first, own_crops, masks)
        earlier = _measure(before[group.flat], looks, first, own_crops, None)[1] if group.flat in before else None
        seen.append(_Seen(rows[group.flat], now, earlier))
        pictures[group.flat] = measured.pictures
        _note_what_measuring_found(group, looks, measured)
        if earlier:
            _note_growth(before[group.flat], looks)
        done += sum(i is not None for i in (group.overhead, group.second, group.side)) + len(group.spare)
    roots = settle_roots(looks, {g.flat: g.day for g in groups}, rows)
    parts = [part for s in seen for m in (s.now, s.earlier) if m for _, part, _ in parts_of(m, s.rows)]
    shift, unused = shift_by(marks, parts, own_crops)
    complaints += [*(marks.complaints if marks else ()), *unused]

    def crop_of(row: FlatRow) -> Crop | None:
        crop = _crop(row, own_crops, complaints)
        return shift(crop) if crop else None

    entries = [entry for s in seen for entry in entries_of(s.now, s.rows, crop_of, today=today, inch=inch, pot=pot,
                                                           earlier=s.earlier, photo_roots=roots.get(s.now.flat))]
    progress(2 * len(files), 2 * len(files), "")
    return Assessment(pot_up_list(entries), [look.result for look in looks], pictures, complaints, today)


def _some_days_before(candidates: Sequence[Candidate], groups: Sequence[FlatPhotos]) -> dict[int, FlatPhotos]:
    """Each flat's photos of its newest earlier day from which growth can be told, where there are any."""
    until = {g.flat: g.day - timedelta(LEAST_GROWTH_DAYS) for g in groups if g.day and not g.days_apart}
    old = [c for c in candidates if c.taken and c.flat in until and c.taken.date() <= until[c.flat]]
    return {g.flat: g for g in group_photos(old)}


def _crop(row: FlatRow, own_crops: Path | None, complaints: list[str]) -> Crop | None:
    if row.crop is None:
        return None
    try:
        return load_crop(row.crop, own_crops)
    except CropError as error:
        complaints.append(f"Flat {row.flat}: {error}")
        return None


def _measure(group: FlatPhotos, looks: Sequence[Look], row: FlatRow, own_crops: Path | None,
             masks: Path | None) -> tuple[MeasuredFlat, FlatMeasurement]:
    """row : the flat's first in the register."""
    views = FlatViews(*(looks[i] if i is not None else None for i in (group.overhead, group.second, group.side)))
    layout = (row.rows, row.columns) if row.rows and row.columns else None
    crop = _crop(row, own_crops, [])
    measured = measure_flat(views, layout, crop.usual_height_mm if crop else None, masks,
                            leaves_in_pairs=crop is not None and crop.leaves_in_pairs)
    apart = ("days_apart",) if group.days_apart else ()
    flags = (*_warnings(group, looks), *apart, *measured.flags, *(p.code for p in measured.problems.values()))
    return measured, FlatMeasurement(group.flat, group.day, measured.rows, measured.columns, measured.cells,
                                     flags=tuple(dict.fromkeys(flags)))


def _warnings(group: FlatPhotos, looks: Sequence[Look]) -> tuple[str, ...]:
    used = (i for i in (group.overhead, group.second, group.side) if i is not None)
    return tuple(dict.fromkeys(p.code for i in used for p in looks[i].result.problems))


def _note_what_measuring_found(group: FlatPhotos, looks: list[Look], measured: MeasuredFlat) -> None:
    """Write into the photos' results what only measuring could tell, and which photos were put aside."""
    for view, index in (("overhead", group.overhead), ("second", group.second), ("side", group.side)):
        problem = measured.problems.get(view)
        if index is not None and problem is not None:
            looks[index] = with_problem(looks[index], problem, usable=not problem.fatal)
    if group.days_apart and group.side is not None:
        problem = Problem("days_apart", fatal=False, facts={"days": group.days_apart})
        looks[group.side] = with_problem(looks[group.side], problem, usable=looks[group.side].result.usable)
    for index, why in group.spare.items():
        looks[index] = with_problem(looks[index], Problem("spare", fatal=False), usable=False, note=why)


def _note_growth(group: FlatPhotos, looks: list[Look]) -> None:
    for index in (group.overhead, group.second, group.side):
        if index is not None:
            result = replace(looks[index].result, note=f"of {group.day}; looked at for growth since then")
            looks[index] = replace(looks[index], result=result)

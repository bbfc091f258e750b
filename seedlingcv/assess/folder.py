"""From a folder of photos to a pot-up list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from seedlingcv.advice.rules import advise
from seedlingcv.assess.flat import FlatViews, MeasuredFlat, measure_flat
from seedlingcv.assess.look import Look, look_at
from seedlingcv.assess.masks import SUFFIX as MASK_SUFFIX
from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.errors import CropError, PhotoError
from seedlingcv.flags import Problem
from seedlingcv.measure.pictures import FlatPictures
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.grouping import FlatPhotos, group_photos
from seedlingcv.photo.read import is_photo_name
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.potup import Entry, pot_up_list
from seedlingcv.records.register import FlatRow, Register

Progress = Callable[[int, int, str], None]  # steps done, steps in all, what is being done


@dataclass(frozen=True)
class Assessment:
    """entries by urgency; pictures by flat; complaints about register and crops, one line each."""

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


def assess_folder(folder: Path, register: Register | None = None, *, own_crops: Path | None = None,
                  today: date | None = None, inch: bool = False, masks: Path | None = None,
                  progress: Progress = lambda done, total, name: None) -> Assessment:
    """Look at every photo, measure every flat, and say what to do with each.

    today : the day the list is for; the newest photo's day if None
    """
    files = photo_files(folder)
    looks: list[Look] = []
    for number, path in enumerate(files):
        name = path.relative_to(folder).as_posix()
        progress(number, 2 * len(files), name)
        looks.append(look_at(path, name))
    groups = group_photos([look.candidate(i) for i, look in enumerate(looks) if look.result.usable])
    newest = max((g.day for g in groups if g.day), default=None)
    today = today or newest or date.today()
    complaints = list(register.complaints) if register else []
    entries, pictures, done = [], {}, len(files)
    for group in groups:
        progress(done, 2 * len(files), f"flat {group.flat}")
        row = (register.get(group.flat) if register else None) or FlatRow(group.flat)
        crop = _crop(row, own_crops, complaints)
        measured = _measure(group, looks, row, crop, masks)
        measurement = _measurement(group, row, measured, _warnings(group, looks))
        entries.append(Entry(measurement, advise(measurement, crop, today, inch=inch)))
        pictures[group.flat] = measured.pictures
        _note_what_measuring_found(group, looks, measured)
        done += sum(i is not None for i in (group.overhead, group.second, group.side)) + len(group.spare)
    progress(2 * len(files), 2 * len(files), "")
    return Assessment(pot_up_list(entries), [look.result for look in looks], pictures, complaints, today)


def _crop(row: FlatRow, own_crops: Path | None, complaints: list[str]) -> Crop | None:
    if row.crop is None:
        return None
    try:
        return load_crop(row.crop, own_crops)
    except CropError as error:
        complaints.append(f"Flat {row.flat}: {error}")
        return None


def _measure(group: FlatPhotos, looks: Sequence[Look], row: FlatRow, crop: Crop | None,
             masks: Path | None) -> MeasuredFlat:
    views = FlatViews(*(looks[i] if i is not None else None for i in (group.overhead, group.second, group.side)))
    layout = (row.rows, row.columns) if row.rows and row.columns else None
    return measure_flat(views, layout, crop.usual_height_mm if crop else None, masks)


def _warnings(group: FlatPhotos, looks: Sequence[Look]) -> tuple[str, ...]:
    used = (i for i in (group.overhead, group.second, group.side) if i is not None)
    return tuple(dict.fromkeys(p.code for i in used for p in looks[i].result.problems))


def _measurement(group: FlatPhotos, row: FlatRow, measured: MeasuredFlat, warnings: tuple[str, ...]) -> FlatMeasurement:
    apart = ("days_apart",) if group.days_apart else ()
    flags = (*warnings, *apart, *measured.flags, *(p.code for p in measured.problems.values()))
    return FlatMeasurement(group.flat, group.day, measured.rows, measured.columns, measured.cells, crop=row.crop,
                           variety=row.variety, sown=row.sown, light=row.light, flags=tuple(dict.fromkeys(flags)))


def _note_what_measuring_found(group: FlatPhotos, looks: list[Look], measured: MeasuredFlat) -> None:
    """Write into the photos' results what only measuring could tell, and which photos were put aside."""
    for view, index in (("overhead", group.overhead), ("second", group.second), ("side", group.side)):
        problem = measured.problems.get(view)
        if index is not None and problem is not None:
            looks[index] = _with_problem(looks[index], problem, usable=not problem.fatal)
    if group.days_apart and group.side is not None:
        problem = Problem("days_apart", fatal=False, facts={"days": group.days_apart})
        looks[group.side] = _with_problem(looks[group.side], problem, usable=looks[group.side].result.usable)
    for index, why in group.spare.items():
        looks[index] = _with_problem(looks[index], Problem("spare", fatal=False), usable=False, note=why)


def _with_problem(look: Look, problem: Problem, *, usable: bool, note: str = "") -> Look:
    result = replace(look.result, problems=(*look.result.problems, problem), usable=usable,
                     note=note or look.result.note)
    return replace(look, result=result)

"""From a folder of photos to a pot-up list."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

from seedlingcv.advice.findings import LEAST_GROWTH_DAYS
from seedlingcv.advice.pots import Pot
from seedlingcv.assess import keeping as book
from seedlingcv.assess.flat import FlatViews, MeasuredFlat, measure_flat
from seedlingcv.assess.keeping import Keeping
from seedlingcv.assess.listing import Seen, Wishes, make_list
from seedlingcv.assess.look import Look, with_problem
from seedlingcv.assess.masks import SUFFIX as MASK_SUFFIX
from seedlingcv.assess.roots import settle_roots
from seedlingcv.errors import PhotoError
from seedlingcv.flags import Problem
from seedlingcv.measure.pictures import FlatPictures
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.photo.grouping import Candidate, FlatPhotos, group_photos
from seedlingcv.photo.read import is_photo_name
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.potup import Entry
from seedlingcv.records.marks import Marks
from seedlingcv.records.register import FlatRow, Register

REGISTERS = ("flats.csv", "flats.xlsx")
Progress = Callable[[int, int, str], None]  # steps done, steps in all, what is being done


@dataclass(frozen=True)
class Assessment:
    """entries in the list's order; pictures by flat; complaints about register and crops, notes that need nothing done,
    one line each; what the records know of the flats."""

    entries: list[Entry]
    photos: list[PhotoResult]
    pictures: dict[int, FlatPictures] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    past: book.Past = field(default_factory=dict)
    today: date = field(default_factory=date.today)

    @property
    def needs_attention(self) -> bool:
        return bool(self.complaints) or any(not p.usable and "spare" not in {q.code for q in p.problems}
                                            for p in self.photos)


def photo_files(folder: Path) -> list[Path]:
    """All photos in the folder and below, by name; the program's own label images are left out, and so is a folder
    below with a register of its own: its flats are others.

    Raises PhotoError if the folder is not there or holds no photo.
    """
    if not folder.is_dir():
        raise PhotoError("There is no such folder.", where=str(folder), next_step="Name the folder with the photos.")
    apart = {p.parent for p in folder.rglob("*") if p.name.lower() in REGISTERS} - {folder}
    found = sorted(p for p in folder.rglob("*") if is_photo_name(p) and not p.name.endswith(MASK_SUFFIX)
                   and not apart & set(p.parents)
                   and not any(part.startswith(".") for part in p.relative_to(folder).parts))
    if not found:
        raise PhotoError("There are no photos in this folder.", where=str(folder),
                         next_step="Copy the JPEG, PNG or HEIC files from the phone into it.")
    return found


def assess_folder(folder: Path, register: Register | None = None, *, own_crops: Path | None = None,
                  today: date | None = None, inch: bool = False, masks: Path | None = None, pot: Pot | None = None,
                  marks: Marks | None = None, keeping: Keeping | None = None,
                  progress: Progress = lambda done, total, name: None) -> Assessment:
    """Look at every photo, measure every flat, and say what to do with each.

    today : the day the list is for; the newest photo's day if None
    pot : the pot that is used, else the usual one for the cell size
    marks : the grower's own marks, which shift crops' limits of stretch
    keeping : the records to add to, if any (keeping.py has the rules)
    """
    files = photo_files(folder)
    if keeping:
        keeping.look_up(own_crops)
    looks = book.look_through(files, folder, keeping, lambda done, name: progress(done, 2 * len(files), name))
    candidates = [look.candidate(i) for i, look in enumerate(looks) if look.result.usable and look.roots is None]
    groups = group_photos(candidates)
    newest = max((g.day for g in groups if g.day), default=None)
    today = today or newest or date.today()
    rows = {g.flat: _rows(g, register, keeping, today) for g in groups}
    measurer = _Measurer(looks, rows, own_crops, lambda done, name: progress(len(files) + done, 2 * len(files), name))
    older = book.days_before(candidates, groups) if keeping else []
    if keeping:
        _measure_days_before(older, measurer, keeping)
    before = {} if keeping else _some_days_before(candidates, groups)
    seen, pictures = _measure_newest(groups, before, measurer, masks, keeping)
    for group in older:
        _note(group, looks, "looked at for the records")
    roots = settle_roots(looks, {g.flat: g.day for g in groups}, rows)
    listing = make_list(seen, Wishes(today, own_crops, inch, pot, marks), keeping, roots)
    if keeping:
        book.keep_photos_seen(keeping, looks)
        book.keep_roots(keeping, roots, groups)
    complaints = [*(register.complaints if register else ()), *listing.complaints,
                  *(keeping.complaints if keeping else ())]
    progress(2 * len(files), 2 * len(files), "")
    return Assessment(listing.entries, [look.result for look in looks], pictures, list(dict.fromkeys(complaints)),
                      listing.notes, listing.past, today)


def _measure_newest(groups: Sequence[FlatPhotos], before: Mapping[int, FlatPhotos], measurer: _Measurer,
                    masks: Path | None, keeping: Keeping | None) -> tuple[list[Seen], dict[int, FlatPictures]]:
    """Every flat's newest day and the day from which its growth is told: that of `before`, or the records'."""
    looks, rows = measurer.looks, measurer.rows
    seen, pictures = [], {}
    for group in groups:
        measured, now = measurer.measure(group, masks)
        earlier = measurer.measure(before[group.flat])[1] if group.flat in before else None
        seen.append(Seen(tuple(rows[group.flat]), now, earlier))
        pictures[group.flat] = measured.pictures
        if keeping and now.cells:
            keeping.keep_day(now, book.photo_keys(group, looks), rows[group.flat][0].crop)
        _note_what_measuring_found(group, looks, measured)
        if group.flat in before:
            _note(before[group.flat], looks, "looked at for growth since then")
    if keeping:
        book.keep_corrections(keeping)
        seen = [replace(s, now=book.as_corrected(keeping, s.now), earlier=book.day_of_growth(keeping, s.now))
                for s in seen]
    return seen, pictures


def _rows(group: FlatPhotos, register: Register | None, keeping: Keeping | None,
          today: date) -> tuple[FlatRow, ...]:
    """What the register says of a flat; where it is silent, what the records know."""
    rows = register.rows(group.flat) if register else ()
    if keeping is None:
        return rows or (FlatRow(group.flat),)
    rows = book.rows_of(keeping, rows, group.flat, group.day)
    return (book.roots_by_hand(keeping, rows[0], group.day, today), *rows[1:]) if len(rows) == 1 else rows


@dataclass
class _Measurer:
    """Measures one flat's photos of one day after the other; tells how far it is."""

    looks: list[Look]
    rows: Mapping[int, Sequence[FlatRow]]
    own_crops: Path | None
    progress: Callable[[int, str], None]
    done: int = 0

    def measure(self, group: FlatPhotos, masks: Path | None = None,
                row: FlatRow | None = None) -> tuple[MeasuredFlat, FlatMeasurement]:
        """row : what the flat is, if not what it is on its newest day"""
        self.progress(self.done, f"flat {group.flat}")
        row = row or self.rows[group.flat][0]
        views = FlatViews(*(None if i is None else self.looks[i] for i in (group.overhead, group.second, group.side)))
        layout = (row.rows, row.columns) if row.rows and row.columns else None
        height_mm, in_pairs = book.crop_figures(row.crop, self.own_crops)
        measured = measure_flat(views, layout, height_mm, masks, leaves_in_pairs=in_pairs)
        self.done += sum(i is not None for i in (group.overhead, group.second, group.side)) + len(group.spare)
        apart = ("days_apart",) if group.days_apart else ()
        flags = (*_warnings(group, self.looks), *apart, *measured.flags, *(p.code for p in measured.problems.values()))
        return measured, FlatMeasurement(group.flat, group.day, measured.rows, measured.columns, measured.cells,
                                         flags=tuple(dict.fromkeys(flags)))


def _measure_days_before(groups: Sequence[FlatPhotos], measurer: _Measurer, keeping: Keeping) -> None:
    """Into the records with every day that they don't hold yet."""
    for group in groups:
        if not keeping.closed and not book.is_kept(keeping, group, measurer.looks):
            row = book.rows_of(keeping, tuple(measurer.rows[group.flat]), group.flat, group.day)[0]
            measured = measurer.measure(group, row=row)[1]
            if measured.cells:
                keeping.keep_day(measured, book.photo_keys(group, measurer.looks), row.crop)


def _some_days_before(candidates: Sequence[Candidate], groups: Sequence[FlatPhotos]) -> dict[int, FlatPhotos]:
    """Each flat's photos of its newest earlier day from which growth can be told, where there are any."""
    until = {g.flat: g.day - timedelta(LEAST_GROWTH_DAYS) for g in groups if g.day and not g.days_apart}
    old = [c for c in candidates if c.taken and c.flat in until and c.taken.date() <= until[c.flat]]
    return {g.flat: g for g in group_photos(old)}


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


def _note(group: FlatPhotos, looks: list[Look], what_for: str) -> None:
    for index in (group.overhead, group.second, group.side):
        if index is not None:
            result = replace(looks[index].result, note=f"of {group.day}; {what_for}")
            looks[index] = replace(looks[index], result=result)

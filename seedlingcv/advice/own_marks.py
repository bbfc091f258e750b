"""A grower's own marks brought together with the flats they were put on, to shift crops' stretch limits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from seedlingcv.crops.crop import Crop, load_crop
from seedlingcv.crops.marks import with_marks
from seedlingcv.errors import CropError
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.records.marks import Mark, Marks

Shift = Callable[[Crop], Crop]


def shift_by(marks: Marks | None, seen: Iterable[FlatMeasurement], own: Path | None = None) -> tuple[Shift, list[str]]:
    """A function that gives a crop with its limits where the marks put them, and a complaint for each mark not used.

    seen : flats with what was measured, or the parts of flats; a mark without a legginess takes that of its flat and
        day, in a flat with several crops that of its crop
    own : the grower's crop file, which may hold names that don't come along
    """
    if marks is None:
        return (lambda crop: crop), []
    measured: dict[tuple, list[FlatMeasurement]] = {}
    for part in seen:
        measured.setdefault((part.flat, part.day), []).append(part)
    by_crop: dict[str, list[Mark]] = {}
    complaints = []
    for mark in marks.marks:
        parts = measured.get((mark.flat, mark.day), [])
        several = mark.crop is None and len({_name(part.crop, own) for part in parts}) > 1
        mark = mark if several else _filled(mark, _joined(mark, parts, own))
        name = _name(mark.crop, own)
        if name is None or mark.legginess is None:
            lacks = "crop isn't known" if name is None else "legginess isn't known"
            why = "the flat holds several crops" if several else f"the {lacks}"
            when = f" of {mark.day}" if mark.day else ""
            complaints.append(f"{marks.path.name}: the mark on flat {mark.flat}{when} isn't used, since {why}; "
                              f"write {'its crop' if several else 'it'} beside the mark.")
        else:
            by_crop.setdefault(name, []).append(mark)
    return (lambda crop: with_marks(crop, by_crop.get(crop.name, ()))), complaints


def _joined(mark: Mark, parts: Sequence[FlatMeasurement], own: Path | None) -> FlatMeasurement | None:
    """The mark's flat as one; of a flat with several parts those that have the mark's crop."""
    if len(parts) > 1 and mark.crop is not None:
        parts = [part for part in parts if _name(part.crop, own) == _name(mark.crop, own)]
    return replace(parts[0], cells=tuple(cell for part in parts for cell in part.cells)) if parts else None


def _filled(mark: Mark, flat: FlatMeasurement | None) -> Mark:
    """What the mark's own row doesn't say, from the flat of that day."""
    if flat is None:
        return mark
    index, leaves = flat.summary("legginess"), flat.summary("true_leaves")
    if mark.legginess is None and index is not None:
        mark = replace(mark, legginess=index.median)
    if mark.true_leaves is None and leaves is not None:
        mark = replace(mark, true_leaves=leaves.median)
    return replace(mark, crop=mark.crop or flat.crop)


def _name(crop: str | None, own: Path | None) -> str | None:
    """The crop's own name, whatever alias was written; None for one that isn't known."""
    if crop is None:
        return None
    try:
        return load_crop(crop, own).name
    except CropError:
        return None

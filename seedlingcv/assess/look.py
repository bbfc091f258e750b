"""A first look at one photo: can it be used, from where was it taken, of which flat?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.errors import PhotoError
from seedlingcv.flags import Problem
from seedlingcv.flat.backdrop import fit_side
from seedlingcv.flat.layout import standard_layout
from seedlingcv.flat.pose import Pose, fit_overhead
from seedlingcv.measure.roots import RootCheck, check_roots
from seedlingcv.photo.exif import focal_length_px
from seedlingcv.photo.grouping import Candidate
from seedlingcv.photo.quality import check_picture
from seedlingcv.photo.read import Photo, read_photo
from seedlingcv.photo.result import PhotoResult
from seedlingcv.tags.check import BACKDROP_IDS, check_pose, check_tags, flat_of, view_of
from seedlingcv.tags.detect import Tag, detect_tags
from seedlingcv.tags.family import CORNER_IDS, SQUARE_MM
from seedlingcv.tags.root_board import BOARD_IDS


@dataclass(frozen=True)
class Look:
    """What the first look found. Pixels are let go; they are read again for the photos that are used."""

    path: Path
    result: PhotoResult
    tags: tuple[Tag, ...] = ()
    size: tuple[int, int] = (0, 0)
    focal_px: float | None = None
    pose: Pose | None = None  # overhead only
    roots: RootCheck | None = None  # the root board only
    sha256: str = ""

    def candidate(self, index: int) -> Candidate:
        assert self.result.view is not None
        assert self.result.flat is not None
        needed = BACKDROP_IDS if self.result.view == "side" else CORNER_IDS
        own = [t for t in self.tags if t.id in needed]
        return Candidate(
            index, self.result.view, self.result.flat, self.result.taken,
            tilt_deg=self.pose.tilt_deg if self.pose else None, px_per_mm=self.result.px_per_mm,
            n_cards=len(own), sharpness=float(np.median([t.sharpness for t in own])),
            eye_mm=tuple(self.pose.eye_mm) if self.pose else None,
        )


def look_at(path: Path, name: str) -> Look:
    """Never raises for a bad photo: what is wrong stands in the result."""
    try:
        photo = read_photo(path)
    except PhotoError as error:
        note = f"{error.what} {error.next_step}".strip()
        return Look(path, PhotoResult(name, problems=(Problem("unreadable"),), note=note))
    return replace(_look(photo, name), sha256=photo.sha256)


def _look(photo: Photo, name: str) -> Look:
    height, width = photo.image.shape[:2]
    size = (width, height)
    tags = detect_tags(cv2.cvtColor(photo.image, cv2.COLOR_BGR2GRAY))
    if shows_board(tags):
        return _look_at_roots(photo, name, tags)
    result = PhotoResult(name, view=view_of(tags), flat=flat_of(tags), taken=photo.exif.taken)
    problems = check_picture(photo.image, tags) or check_tags(tags, size)
    look = Look(photo.path, result, tuple(tags), size, focal_length_px(photo.exif, width, height))
    if any(p.fatal for p in problems):
        return replace(look, result=replace(result, problems=tuple(problems)))
    try:
        if result.view == "overhead":
            pose = fit_overhead(tags, size, look.focal_px, standard_layout(1, 1).outer_mm)
            look = replace(look, pose=pose)
        else:  # the layout, which moves the row by some mm, is not known yet and not needed for this
            pose = fit_side(tags, size, look.focal_px, rows=6, columns=12)
    except (PhotoError, cv2.error, np.linalg.LinAlgError, ValueError):
        code = "grid_unsure" if result.view == "overhead" else "side_view_wrong"
        return replace(look, result=replace(result, problems=(*problems, Problem(code))))
    scale = _px_per_mm(tags, result.view)
    problems += check_pose(result.view, pose.tilt_deg, scale)
    result = replace(result, residual_px=pose.residual_px, residual_mm=pose.residual_mm, px_per_mm=scale,
                     problems=tuple(problems), usable=not any(p.fatal for p in problems))
    return replace(look, result=result)


def shows_board(tags: Sequence[Tag]) -> bool:
    """More of the root board's tags than of the cards: one may lie about on the bench where a flat is photographed."""
    board = {t.id for t in tags} & set(BOARD_IDS)
    return len(board) > len({t.id for t in tags} & {*CORNER_IDS, *BACKDROP_IDS})


def _look_at_roots(photo: Photo, name: str, tags: list[Tag]) -> Look:
    check = check_roots(photo.image, tags)
    result = PhotoResult(name, view="roots", flat=check.flat, taken=photo.exif.taken, px_per_mm=check.photo_px_per_mm)
    problems = []
    if not check.plugs:
        problems.append(Problem("roots_unsure", facts={"why": check.reason}))
    if check.flat is None:
        problems.append(Problem("roots_no_flat"))
    note = check.reason if check.plugs else ""
    result = replace(result, problems=tuple(problems), usable=not problems, note=note)
    return Look(photo.path, result, tuple(tags), photo.image.shape[1::-1], roots=check)


def with_problem(look: Look, problem: Problem, *, usable: bool, note: str | None = None) -> Look:
    """The look with one problem more; a note, if given, takes the place of the old one."""
    result = replace(look.result, problems=(*look.result.problems, problem), usable=usable,
                     note=look.result.note if note is None else note)
    return replace(look, result=result)


def _px_per_mm(tags: list[Tag], view: str) -> float:
    ids = BACKDROP_IDS if view == "side" else CORNER_IDS
    return float(np.mean([t.side_px for t in tags if t.id in ids])) / SQUARE_MM

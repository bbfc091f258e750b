"""A first look at one photo: can it be used, from where was it taken, of which flat?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.errors import PhotoError
from seedlingcv.flags import Problem
from seedlingcv.flat.backdrop import fit_side
from seedlingcv.flat.layout import standard_layout
from seedlingcv.flat.pose import Pose, fit_overhead
from seedlingcv.photo.exif import focal_length_px
from seedlingcv.photo.grouping import Candidate
from seedlingcv.photo.quality import check_picture
from seedlingcv.photo.read import Photo, read_photo
from seedlingcv.photo.result import PhotoResult
from seedlingcv.tags.check import BACKDROP_IDS, check_pose, check_tags, flat_of, view_of
from seedlingcv.tags.detect import Tag, detect_tags
from seedlingcv.tags.family import CORNER_IDS, SQUARE_MM


@dataclass(frozen=True)
class Look:
    """What the first look found. Pixels are let go; they are read again for the photos that are used."""

    path: Path
    result: PhotoResult
    tags: tuple[Tag, ...] = ()
    size: tuple[int, int] = (0, 0)
    focal_px: float | None = None
    pose: Pose | None = None  # overhead only

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
    return _look(photo, name)


def _look(photo: Photo, name: str) -> Look:
    height, width = photo.image.shape[:2]
    size = (width, height)
    tags = detect_tags(cv2.cvtColor(photo.image, cv2.COLOR_BGR2GRAY))
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


def _px_per_mm(tags: list[Tag], view: str) -> float:
    ids = BACKDROP_IDS if view == "side" else CORNER_IDS
    return float(np.mean([t.side_px for t in tags if t.id in ids])) / SQUARE_MM

"""Which photos belong together, and which of them are used.

The rule, whatever the files are called:

1. Photos with the same flat number, taken on the same day, belong together. The number comes from the flat's tag,
   the day from the time the phone wrote (EXIF).
2. A photo without a time goes with the flat's only day; if the flat has photos of several days, it is put aside;
   if none has a time, all belong together and the day is unknown.
3. Of several days the newest is used, and the others are put aside. But where a flat has overhead photos of one
   day only and side photos of one other day only, both are used, since a phone's clock is oftener wrong than a
   flat is photographed in halves; the day is then the overhead photos', and `days_apart` says so.
4. Overhead: four cards before three, then the least tilt, then the sharpest. A second one is kept to see heights
   by parallax: that whose camera stood furthest from the first's, up to 200 mm. Whether it was far enough is told
   when heights are measured.
5. Side: both backdrop tags before one, then the sharpest on the plants (edge rise in mm, so finer pixels count).
6. Equally good photos: the first in order.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from math import dist, inf, isfinite
from typing import Literal

ENOUGH_MOVED_MM = 200.0  # more adds tilt and hidden leaves rather than accuracy


@dataclass(frozen=True)
class Candidate:
    """A usable photo, without its pixels.

    index      the caller's own number of the photo
    n_cards    corner cards (overhead) or backdrop tags (side) that were read
    sharpness  edge rise in px as `seedlingcv.tags.detect.Tag.sharpness`: small is sharp
    eye_mm     where the camera stood in the flat's frame (x, y, z), overhead only
    """

    index: int
    view: Literal["overhead", "side"]
    flat: int
    taken: datetime | None = None
    tilt_deg: float | None = None
    px_per_mm: float | None = None
    n_cards: int = 0
    sharpness: float | None = None
    eye_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class FlatPhotos:
    """The photos to measure one flat by, as `Candidate.index`. `spare` tells why each other one is put aside."""

    flat: int
    day: date | None
    overhead: int | None = None
    second: int | None = None
    side: int | None = None
    days_apart: int = 0
    spare: dict[int, str] = field(default_factory=dict)


def group_photos(candidates: Iterable[Candidate]) -> list[FlatPhotos]:
    """One entry a flat, by number. The rule stands at the top of this module."""
    by_flat: dict[int, list[Candidate]] = {}
    for candidate in candidates:
        by_flat.setdefault(candidate.flat, []).append(candidate)
    return [_choose(flat, by_flat[flat]) for flat in sorted(by_flat)]


def _choose(flat: int, photos: list[Candidate]) -> FlatPhotos:
    days = {p.taken.date() for p in photos if p.taken}
    day, apart = max(days, default=None), 0
    halves = _halves(photos)
    if halves:
        day, apart = halves[0], abs((halves[0] - halves[1]).days)
    used, spare = [], {}
    for photo in photos:
        if photo.taken is None and len(days) > 1:
            spare[photo.index] = f"without a time, so it may be of any of {len(days)} days"
        elif photo.taken is not None and photo.taken.date() != day and not halves:
            spare[photo.index] = f"of {photo.taken.date()}; the newest day, {day}, is assessed"
        else:
            used.append(photo)
    overhead = min((p for p in used if p.view == "overhead"), key=_overhead_order, default=None)
    second = _second(overhead, used)
    side = min((p for p in used if p.view == "side"), key=_side_order, default=None)
    chosen = (overhead, second, side)
    spare |= {p.index: "a better photo of this day is used" for p in used if p not in chosen}
    return FlatPhotos(flat, day, *(p.index if p else None for p in chosen), days_apart=apart, spare=spare)


def _halves(photos: Sequence[Candidate]) -> tuple[date, date] | None:
    """The overhead photos' day and the side photos' other day, where each view has one day only."""
    overhead, side = ({p.taken.date() for p in photos if p.taken and p.view == view} for view in ("overhead", "side"))
    if len(overhead) == len(side) == 1 and overhead != side:
        return overhead.pop(), side.pop()
    return None


def _second(first: Candidate | None, used: Sequence[Candidate]) -> Candidate | None:
    if first is None or first.eye_mm is None:
        return None
    moved = [(dist(p.eye_mm[:2], first.eye_mm[:2]), p) for p in used
             if p.view == "overhead" and p.eye_mm and p is not first]
    best = min(moved, key=lambda m: (-min(m[0], ENOUGH_MOVED_MM), _overhead_order(m[1])), default=None)
    return best[1] if best else None


def _overhead_order(photo: Candidate) -> tuple:
    tilt = inf if photo.tilt_deg is None else photo.tilt_deg
    return photo.n_cards < 4, tilt, *_sharpness_order(photo)


def _side_order(photo: Candidate) -> tuple:
    return photo.n_cards < 2, *_sharpness_order(photo)


def _sharpness_order(photo: Candidate) -> tuple[float, float, int]:
    px_per_mm, rise_px = photo.px_per_mm or 0.0, photo.sharpness
    known = px_per_mm > 0 and rise_px is not None and isfinite(rise_px)
    return (rise_px / px_per_mm if known else inf), -px_per_mm, photo.index

"""What the tags in a picture tell of it: which view, which flat, and what is wrong with the set-up.

Nothing is measured here; places are judged roughly, in the plane of the cards as the picture shows it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np

from seedlingcv.flags import Problem
from seedlingcv.tags.detect import Tag
from seedlingcv.tags.family import (
    BACKDROP_LEFT,
    BACKDROP_RIGHT,
    BACKDROP_WIDTH_MM,
    CARD_MM,
    CORNER_IDS,
    SQUARE_MM,
    is_flat,
)

View = Literal["overhead", "side"]

BACKDROP_IDS = (BACKDROP_LEFT, BACKDROP_RIGHT)
# where the corner cards' centres lie, in mm along row A and towards the last row: laid on the corners of a
# 546 x 278 mm flat they stick out a little
CARD_PLACES_MM = {0: (0.0, 0.0), 1: (561.0, 0.0), 2: (561.0, 306.0), 3: (0.0, 306.0)}
SQUARE_CORNERS_MM = SQUARE_MM / 2 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], float)
GRAZING = 0.35  # a square this flat is seen from 70 degrees off: on the rim, from the side

# a flat's own tag hangs on the row-A rim, in the line of cards 0 and 1; a neighbour's lies beyond
OWN_TAG_ROW_MM = 45.0
OWN_TAG_ALONE_ROW_MM = 100.0  # a tag seen alone may hang askew, but no neighbour's rim is so near
OWN_TAG_ALONG_MM = (-60.0, 620.0)
OWN_TAG_COLUMN = (-0.1, 1.1)  # side: between the backdrop's tags
OWN_TAG_BELOW = (0.15, 1.0)  # side: below the line of the backdrop's tags, of the distance between them

TILT_WARN_DEG, TILT_LIMIT_DEG = 33.0, 42.0  # a second overhead photo, taken from one side, may reach 30
SIDE_TILT_WARN_DEG, SIDE_TILT_LIMIT_DEG = 18.0, 30.0  # the protocol asks for 3 to 12
LEAST_PX_PER_MM, FEW_PX_PER_MM = 2.0, 2.5  # a stem of 1.5 mm must cover three pixels


def view_of(tags: Sequence[Tag]) -> View | None:
    """From above, at least two corner cards lie face up to the camera; from the side, the backdrop shows a tag."""
    facing = {t.id for t in _corner_cards(tags)}
    if len(facing) >= 3:
        return "overhead"
    if any(t.id in BACKDROP_IDS for t in tags):
        return "side"
    return "overhead" if len(facing) == 2 else None


def flat_of(tags: Sequence[Tag]) -> int | None:
    """The number of the flat that the cards or the backdrop belong to; None if no tag, or more than one, fits."""
    own = {t.id for t in _own_tags(tags)}
    return own.pop() if len(own) == 1 else None


def check_tags(tags: Sequence[Tag], size: tuple[int, int]) -> list[Problem]:
    """What is wrong with the set-up: `no_cards`, `card_missing`, `cropped`, `two_flats`, `no_flat_tag`.

    size : (width, height) of the picture in px.
    Three corner cards, or one of the backdrop's tags, still do: `card_missing` is then no reason to refuse.
    Only for a picture in which `seedlingcv.photo.quality.check_picture` found no fault: a blurred one shows no
    cards either.
    """
    view = view_of(tags)
    seen = {t.id: t.centre for t in _corner_cards(tags)}
    if view is None and not seen:
        return [Problem("no_cards")]
    problems = _two_flats(tags)
    missing = [i for i in CORNER_IDS if i not in seen]
    if view == "side":
        seen = {t.id: t.centre for t in tags if t.id in BACKDROP_IDS}
        missing = [i for i in BACKDROP_IDS if i not in seen]
    outside = [i for i in missing if not problems and _is_outside(i, tags, view, size)]
    if outside:
        problems.append(Problem("cropped"))
    enough = len(seen) >= (1 if view == "side" else 3)
    # with few cards the place of the others is a guess: then they are named as missing too
    hidden = [i for i in missing if i not in outside] if enough else missing
    if hidden:
        which = _listed(hidden) + (" of the backdrop" if view == "side" else "")
        problems.append(Problem("card_missing", fatal=not enough, facts={"cards": which}))
    if flat_of(tags) is None and not any(p.code == "two_flats" for p in problems):
        problems.append(Problem("no_flat_tag"))
    return problems


def check_pose(view: View, tilt_deg: float | None, px_per_mm: float | None) -> list[Problem]:
    """`tilted` and `low_resolution`, once the camera's place is known.

    tilt_deg : overhead, the angle between the view axis and straight down; side, between it and the horizontal.
    """
    problems = []
    warn, limit = (SIDE_TILT_WARN_DEG, SIDE_TILT_LIMIT_DEG) if view == "side" else (TILT_WARN_DEG, TILT_LIMIT_DEG)
    if tilt_deg is not None and tilt_deg > warn:
        problems.append(Problem("tilted", fatal=tilt_deg > limit, facts={"tilt_deg": tilt_deg}))
    if px_per_mm is not None and px_per_mm < FEW_PX_PER_MM:
        problems.append(Problem("low_resolution", fatal=px_per_mm < LEAST_PX_PER_MM, facts={"px_per_mm": px_per_mm}))
    return problems


def _corner_cards(tags: Sequence[Tag]) -> list[Tag]:
    return [t for t in tags if t.id in CORNER_IDS and not _is_grazing(t)]


def _is_grazing(tag: Tag) -> bool:
    sides = np.linalg.norm(tag.corners - np.roll(tag.corners, -1, axis=0), axis=1)
    across, down = sides[0] + sides[2], sides[1] + sides[3]
    return bool(min(across, down) < GRAZING * max(across, down))


def _two_flats(tags: Sequence[Tag]) -> list[Problem]:
    own = sorted({t.id for t in _own_tags(tags)})
    if len(own) > 1:
        return [Problem("two_flats", facts={"flats": _listed(own)})]
    counts = Counter(t.id for t in tags if t.id in (*CORNER_IDS, *BACKDROP_IDS))
    twice = [i for i, n in sorted(counts.items()) if n > 1]
    return [Problem("two_flats", facts={"flats": f"card {_listed(twice)} twice"})] if twice else []


def _own_tags(tags: Sequence[Tag]) -> list[Tag]:
    """The flat tags where this flat's own can hang; all of them if the cards don't tell where that is."""
    flats = [t for t in tags if is_flat(t.id)]
    backdrop = {t.id: t.centre for t in tags if t.id in BACKDROP_IDS}
    counts = Counter(t.id for t in _corner_cards(tags))
    cards = [t for t in _corner_cards(tags) if counts[t.id] == 1]
    if view_of(tags) == "overhead" and len(cards) > 2:
        reach = OWN_TAG_ROW_MM if len(flats) > 1 else OWN_TAG_ALONE_ROW_MM
        to_flat = np.linalg.inv(_flat_plane(cards))
        places = [(t, _project(to_flat, t.centre)) for t in flats]
        low, high = OWN_TAG_ALONG_MM
        return [t for t, (along, row) in places if low <= along <= high and abs(row) <= reach]
    if view_of(tags) == "side" and len(backdrop) == 2:
        along = backdrop[BACKDROP_RIGHT] - backdrop[BACKDROP_LEFT]
        axes = np.array([along, [-along[1], along[0]]]) / (along @ along)
        places = [(t, axes @ (t.centre - backdrop[BACKDROP_LEFT])) for t in flats]
        low, high = OWN_TAG_COLUMN
        return [t for t, (column, below) in places
                if low <= column <= high and OWN_TAG_BELOW[0] <= below <= OWN_TAG_BELOW[1]]
    return flats


def _flat_plane(cards: Sequence[Tag]) -> np.ndarray:
    """(3, 3) matrix from mm along row A and towards the last row to px, from two or more corner cards.

    Every card is a square of known size, so three of them show the perspective. Two are too askew, as laid by
    hand, to do so: from their centres alone come a turn, a scale and a shift.
    """
    if len(cards) > 2:
        places = np.concatenate([CARD_PLACES_MM[t.id] + SQUARE_CORNERS_MM for t in cards])
        matrix, _ = cv2.findHomography(places, np.concatenate([t.corners for t in cards]), 0)
        return matrix if matrix is not None else np.full((3, 3), np.nan)
    first, second = cards
    place = np.array(CARD_PLACES_MM[first.id])
    turn = complex(*(second.centre - first.centre)) / complex(*(CARD_PLACES_MM[second.id] - place))
    linear = np.array([[turn.real, -turn.imag], [turn.imag, turn.real]])
    return np.vstack([np.column_stack([linear, first.centre - linear @ place]), [0, 0, 1]])


def _project(matrix: np.ndarray, point: np.ndarray) -> np.ndarray:
    x, y, w = matrix @ [*point, 1.0]
    return np.array([x, y]) / w


def _is_outside(card: int, tags: Sequence[Tag], view: View | None, size: tuple[int, int]) -> bool:
    """True if the missing card should lie wholly outside the picture, going by those that are seen."""
    if view == "side":
        beside = [t for t in tags if t.id in BACKDROP_IDS]
        if len(beside) != 1:
            return False
        other = beside[0].corners
        rightwards = (other[1] - other[0] + other[2] - other[3]) / 2 / SQUARE_MM  # px of one mm
        step = (BACKDROP_WIDTH_MM - CARD_MM) * rightwards
        place = other.mean(axis=0) + (step if card == BACKDROP_RIGHT else -step)
        margin = CARD_MM * float(np.linalg.norm(rightwards))
    else:
        cards = _corner_cards(tags)
        if len(cards) < 2:
            return False
        plane, at = _flat_plane(cards), np.array(CARD_PLACES_MM[card])
        place = _project(plane, at)
        margin = CARD_MM / 2 * float(np.linalg.norm(_project(plane, at + [1, 0]) - place))
    return bool((place < -margin).any() or (place > np.array(size) + margin).any())


def _listed(numbers: Sequence[int]) -> str:
    *most, last = [str(n) for n in numbers]
    return f"{', '.join(most)} and {last}" if most else last

"""Stems in the flattened side view: found where they rise from the soil, followed upward.

The best paths are found by dynamic programming over (height, place, slope). A path is paid for being a tube of
the stem's own width: plant in the middle and none on both sides. A leaf across the stem pays nothing for some
mm and the path goes straight on. The path runs past the shoot apex into a petiole where there is one; where
the stem ends is for `seedlingcv.measure.side` to say.

Heights are counted in px above the tray's line (`SideStrip.line`), which the camera's roll may tilt a little.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.segment.side import PX_PER_MM, SideStrip

WIDTHS = (5, 7, 10, 14, 20)  # px, of tubes looked for: 1 to 4 mm
SEED_LEVELS = (-12, 8)  # px above the tray's line at which a tube that came up is taken note of
SEED_SCORE = 6.0
MIN_REWARD = 0.4  # what a row must pay for the path to be worth going on
SLOPES = np.arange(-2, 3)  # px sideways for each px up
LOW_STEEPEST = 1  # before tray and soil, where dividers run at a slant
BEND_COST = np.float32(0.6)  # for each px of change of slope
GIVE_UP = 25  # a path may lose this much on its way across a leaf
REACH = 45  # mm sideways that a stem may wander
NOT = np.float32(-1e6)


@dataclass(frozen=True)
class Trace:
    """A followed stem, in strip px.

    points   (n, 2) middle of the tube, bottom to top, one a row; the first where the tube leaves the soil or
             comes up behind the front rim
    width    px, of the tube that fits it best, horizontal
    score    what the path was paid
    """

    points: np.ndarray
    width: float
    score: float


def find_traces(strip: SideStrip) -> list[Trace]:
    """All stems that rise from the soil to a plant before the backdrop, left to right."""
    line = strip.line
    deep = int(np.max(strip.front - line)) + 2
    levels = np.arange(-deep, int(line.max()))
    columns = np.arange(strip.tube.shape[1])
    rows = np.clip((line[None, :] - levels[:, None]).astype(int), 0, strip.tube.shape[0] - 1)
    tube = strip.tube[rows, columns]
    tube[levels[:, None] < (line - strip.front)[None, :]] = 0
    low = levels < SEED_LEVELS[-1] + 1
    paid, found = {}, []
    for width in WIDTHS:
        paid[width] = tube_reward(tube[low], width) - MIN_REWARD
        found += _climb(paid[width], levels[low], width)
    traces, taken = [], []
    for score, x, _, width, start_x, start in sorted(found, reverse=True):
        if any(abs(x - other) <= max(width, wide) for other, wide in taken):
            continue
        taken.append((x, width))
        path = _follow(tube, paid[width], start_x, start - levels[0], width)
        if path is not None:
            points, score = path
            at = np.clip(points[:, 0].astype(int), 0, len(line) - 1)
            traces.append(Trace(np.column_stack([points[:, 0], line[at] - points[:, 1] - levels[0]]),
                                float(width), score))
    return _distinct([t for t in traces if _meets_plant(t, strip)])


def _climb(reward: np.ndarray, levels: np.ndarray, width: int) -> list[tuple]:
    """Paths that may start at any level: (score, x, level, width, start x, start level) of the best that
    pass the SEED_LEVELS."""
    slopes = SLOPES[np.abs(SLOPES) <= LOW_STEEPEST]
    columns = np.arange(reward.shape[1])
    best = np.zeros((len(slopes), len(columns)), np.float32)
    start = np.zeros((2, *best.shape), np.int32)
    found = []
    for at, level in enumerate(levels):
        fresh = best <= 0
        best[fresh] = 0
        start[0] = np.where(fresh, columns, start[0])
        start[1] = np.where(fresh, level, start[1])
        best, choice = _step(best, reward[at], slopes)
        for k in (0, 1):
            came = np.take_along_axis(start[k], choice.astype(np.int64), axis=0)
            start[k] = _shifted(came, slopes, 0)
        if level in SEED_LEVELS:
            top, which = best.max(axis=0), best.argmax(axis=0)
            for x in np.flatnonzero(top > SEED_SCORE):
                if top[x] >= top[max(0, x - width) : x + width + 1].max():
                    found.append((float(top[x]), int(x), int(level), width, *start[:, which[x], x].tolist()))
    return found


def _step(best: np.ndarray, reward: np.ndarray, slopes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """One row up, the slope changing by 1 at most. best (slopes, places): the new best scores, and at the place
    it came from the slope each (slope, place) had before."""
    steeper, flatter = np.full_like(best, NOT), np.full_like(best, NOT)
    steeper[:-1], flatter[1:] = best[1:] - BEND_COST, best[:-1] - BEND_COST
    value = np.maximum(np.maximum(steeper, flatter), best)
    own = np.arange(len(slopes), dtype=np.int8)[:, None]
    choice = own + (steeper == value) - (flatter == value) * (steeper != value)
    choice = np.where(best == value, own, choice).astype(np.int8)
    value -= 0.05 * np.abs(slopes[:, None]).astype(np.float32)
    return _shifted(value, slopes, NOT) + reward, choice


def _shifted(values: np.ndarray, slopes: np.ndarray, fill) -> np.ndarray:
    """Each row moved sideways by its slope."""
    out = np.full_like(values, fill)
    for j, by in enumerate(slopes):
        if by > 0:
            out[j, by:] = values[j, :-by]
        elif by < 0:
            out[j, :by] = values[j, -by:]
        else:
            out[j] = values[j]
    return out


def _follow(tube: np.ndarray, low: np.ndarray, x: int, first: int, width: float):
    """The best path from (x, row first) upward: ((n, 2) x and row, bottom to top, score), or None."""
    half = min(REACH * PX_PER_MM, tube.shape[1])
    left = max(0, x - half)
    reward = tube_reward(tube[first:, left : x + half], width) - MIN_REWARD
    reward[: len(low) - first] = low[first:, left : x + half]
    rows, columns = reward.shape
    best = np.full((len(SLOPES), columns), NOT)
    best[:, x - left] = 0
    back = np.zeros((rows, len(SLOPES), columns), np.int8)
    top_score, top = 0.0, None
    for up in range(1, rows):
        if up < len(low) - first:
            best[np.abs(SLOPES) > LOW_STEEPEST] = NOT
        best, back[up] = _step(best, reward[up], SLOPES)
        j, c = divmod(int(best.argmax()), columns)
        if best[j, c] > top_score:
            top_score, top = float(best[j, c]), (up, j, c)
        if best[j, c] < top_score - GIVE_UP:
            break
    if top is None or top_score < SEED_SCORE:
        return None
    up, j, c = top
    path = []
    while up > 0:
        path.append((left + c, first + up))
        c -= SLOPES[j]
        up, j = up - 1, back[up, j, c]
    path.append((left + c, first))
    return np.array(path[::-1], float), top_score


def tube_reward(mask: np.ndarray, width: float) -> np.ndarray:
    """(rows, columns), 1 where a tube of `width` px has plant inside and none on either side."""
    inside, left, right = _beside(mask, width)
    return inside - (left + right) / 2


def _beside(values: np.ndarray, width: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row-wise means over a bar of `width` px around each place, and over a strip on its left and right."""
    columns = np.arange(values.shape[1])
    total = np.concatenate([np.zeros_like(values[:, :1]), np.cumsum(values, axis=1, dtype=np.float32)], axis=1)

    def mean(first: float, last: float) -> np.ndarray:
        a = np.clip(columns + int(round(first)), 0, len(columns))
        b = np.clip(columns + int(round(last)) + 1, 0, len(columns))
        count = np.maximum(b - a, 1).astype(np.float32)
        return (total[:, b] - total[:, a]) / count

    half = width / 2
    return (mean(-0.8 * half, 0.8 * half), mean(-half * 2.4 - 1, -half * 1.4 - 1),
            mean(half * 1.4 + 1, half * 2.4 + 1))


def _meets_plant(trace: Trace, strip: SideStrip) -> bool:
    """A twig or divider ends at the tray's line; a stem has plant before the backdrop at its upper end."""
    x, row = trace.points[-1]
    line = strip.line[int(np.clip(x, 0, len(strip.line) - 1))]
    if row < line - PX_PER_MM:
        return True
    reach = 4 * PX_PER_MM
    beside = strip.plant[max(0, int(line) - reach) : int(line), int(max(0, x - reach / 2)) : int(x + reach / 2)]
    return np.count_nonzero(beside) > PX_PER_MM**2


def _distinct(traces: list[Trace]) -> list[Trace]:
    """Drop a trace whose lower part runs inside a better one."""
    kept: list[Trace] = []
    for trace in sorted(traces, key=lambda t: -t.score):
        if all(_apart(trace.points[: 4 * PX_PER_MM], other) for other in kept):
            kept.append(trace)
    return sorted(kept, key=lambda t: t.points[0, 0])


def _apart(low: np.ndarray, other: Trace) -> bool:
    x = np.interp(-low[:, 1], -other.points[:, 1], other.points[:, 0])
    return float(np.median(np.abs(low[:, 0] - x))) > max(other.width, 4)


def label_plants(strip: SideStrip, stems: dict[int, list[Trace]]) -> tuple[np.ndarray, np.ndarray]:
    """(labels, joined), uint16 by column: plant goes to the stem it is nearest to along the plant (not as the crow
    flies, since leaves reach over their neighbours). What no stem is joined to goes to the nearest labelled plant;
    in `joined` only before the backdrop, where it is plant beyond doubt (a pale stalk may have been missed)."""
    from skimage.segmentation import watershed

    plant = strip.plant
    markers = np.zeros(plant.shape, np.int32)
    for column, traces in stems.items():
        for trace in traces:
            points = np.round(trace.points).astype(np.int32)
            cv2.polylines(markers, [points], False, int(column), 1)
    if not stems:
        return (np.zeros(plant.shape, np.uint16),) * 2
    half = (slice(None, None, 2), slice(None, None, 2))
    seeds = cv2.dilate(markers.astype(np.uint16), np.ones((2, 2), np.uint8)).astype(np.int32)[half]
    grown = watershed(np.zeros(seeds.shape, np.uint8), seeds * (plant[half] > 0), mask=plant[half] > 0)
    _, nearest = cv2.distanceTransformWithLabels((grown == 0).astype(np.uint8), cv2.DIST_L2, 5,
                                                 labelType=cv2.DIST_LABEL_PIXEL)
    column_of = np.zeros(int(nearest.max()) + 1, np.uint16)
    column_of[nearest[grown > 0]] = grown[grown > 0]
    every = cv2.resize(column_of[nearest], plant.shape[::-1], interpolation=cv2.INTER_NEAREST)
    joined = cv2.resize(grown.astype(np.uint16), plant.shape[::-1], interpolation=cv2.INTER_NEAREST)
    clear = np.arange(plant.shape[0])[:, None] < strip.line[None, :] - PX_PER_MM
    joined = np.where(clear, every, joined)
    return (np.where(plant > 0, every, 0).astype(np.uint16), np.where(plant > 0, joined, 0).astype(np.uint16))

"""How far the stem goes on above the seed-leaf node in a row of one sowing.

A shoot apex is rarely seen as such: the stem runs on into a petiole. What is seen is where petioles leave the stem,
and the uppermost such fork lies at the apex or close below it. Leaves before the stem hide forks and lobes make
others, so one plant tells little and the row decides: all its plants vote with all their forks on the share of the
way from node to plant top that the stem takes. Where few forks are seen, the stem's looks above the node count: none
of it goes on where the path turns off into a seed leaf's stalk, and more where it stays as thick as below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seedlingcv.measure.stem_path import StemPath

# By the stem's looks: where nothing tells; by the width above the node against that below; where the path turns.
USUAL = 0.34
WIDTH_USUAL, WIDTH_SLOPE, WIDTH_LIMITS = 0.7, 0.35, (0.2, 0.5)
FORK_DEG = (9.0, 17.0)  # a path that turns this much at the node follows a seed leaf's stalk, not a stem
FORKED = 0.04
LOOKS_SD, UNKNOWN_SD = 0.12, 0.14
ROW_ENOUGH = 5  # plants, for the row to say something
SHARES = np.arange(0, 0.801, 0.01)
LOWEST, HIGHEST = -0.15, 0.8  # forks counted; higher ones are a leaf's own
# Log odds, not tuned: a fork with a long arm, 1; each fork above it, -1, an apex has none; and in every second plant
# the fork at the apex is not seen. The fork of the seed leaves is seen wherever the apex is, so its arms don't count.
FAR_MM = 6.0
SEED_LEAVES = 0.1
NOT_SEEN = float(np.log(0.5))
SAME = 0.04  # forks of one leaf pair
PLANT_SD = 0.10  # of the share between plants of a row; 0.07 to 0.15 did as well
ROW_SE = 0.06  # of the row's share; on eight drawn flats it was off by 0.01 to 0.10


@dataclass(frozen=True)
class Above:
    """One plant above its node: the share of the way from node to top at which it forks and how far the shorter
    arm goes on (mm), the width there against below, None where it can't be told, and how much the path turns at the
    node."""

    forks: tuple[tuple[float, float], ...]
    width: float | None
    bend_deg: float | None


def above_node(path: StemPath, node_mm: float) -> Above:
    span = max(path.height_mm - node_mm, 2.0)
    forks = [((arc - node_mm) / span, side) for arc, side in path.forks]
    return Above(tuple((s, side) for s, side in forks if LOWEST < s < HIGHEST), path.upper_width(node_mm),
                 path.bend_deg(node_mm))


def row_share(row: list[Above]) -> tuple[float, float]:
    """Share of the way from node to plant top that the stem takes in this row, and its standard error."""
    usual, sd = _by_looks(row)
    votes = -0.5 * ((SHARES - usual) / sd) ** 2
    for plant in row:
        if plant.forks:
            votes = votes + np.logaddexp.reduce(_log_odds(plant.forks), axis=0)
    chance = np.exp(votes - votes.max())
    chance /= chance.sum()
    share = float(chance @ SHARES)
    return share, float(np.hypot(ROW_SE, np.sqrt(chance @ (SHARES - share) ** 2)))


def _log_odds(forks: tuple[tuple[float, float], ...]) -> np.ndarray:
    """(n + 1, shares) that the apex is at each fork, the last that it is at none of them."""
    places = np.array([place for place, _ in forks])
    above = (places[None, :] > places[:, None] + SAME).sum(axis=1)
    support = np.array([min(side / FAR_MM, 1) if place > SEED_LEAVES else 0 for place, side in forks]) - above
    odds = support[:, None] - 0.5 * ((places[:, None] - SHARES) / PLANT_SD) ** 2
    return np.vstack([odds, np.full(len(SHARES), NOT_SEEN)])


def _by_looks(row: list[Above]) -> tuple[float, float]:
    share, sd = USUAL, UNKNOWN_SD
    widths = [p.width for p in row if p.width is not None]
    if len(widths) >= ROW_ENOUGH:
        share = float(np.clip(share + WIDTH_SLOPE * (np.median(widths) - WIDTH_USUAL), *WIDTH_LIMITS))
        sd = LOOKS_SD
    bends = [p.bend_deg for p in row if p.bend_deg is not None]
    if len(bends) >= ROW_ENOUGH:
        forked = float(np.clip((np.median(bends) - FORK_DEG[0]) / (FORK_DEG[1] - FORK_DEG[0]), 0, 1))
        share = (1 - forked) * share + forked * FORKED
        sd = LOOKS_SD
    return share, sd

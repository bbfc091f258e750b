"""Where the seed-leaf (cotyledon) nodes of a row of stems are.

A node is where arms leave the stem, best on both sides; so do petioles higher up, and a leaf before the stem looks
like an arm too. One plant alone often leaves it open which it is. The row tells: its plants are of one sowing and
age, so their nodes lie at much the same share of their heights. All plants vote on that share with all their arms;
then each node is put at the mean over the plant's arms, each by its chance, and the arms' disagreement is in its
standard error. Arms are read off the followed stem's outline, and off the plant's forks.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from seedlingcv.measure.stem_path import LOWEST_ARM_MM, StemPath

# Usual height of the node against the plant's, and its spread between rows.
USUAL, USUAL_SD = 0.58, 0.12
# The same between plants of a row; 0.05 to 0.08 on eight drawn flats. 0.06 to 0.09 gave nodes as good.
PLANT_SD = 0.07
SHARES = np.arange(0.15, 0.951, 0.01)
# Log odds, all of them of size 1, not tuned: an arm that reaches far, one on the other side, a place low down.
FAR_MM = 6.0
NOT_SEEN = -2.0  # log odds that no arm is the node; -1 to -3 gave nodes as good
MOST_UNSEEN = 0.5  # chance of that with which there is no answer
NODE_SE_MM, NODE_RELATIVE_SE = 1.2, 0.02  # of an arm's beginning


@dataclass(frozen=True)
class Node:
    """`arc_mm` along the stem from the soil, and its standard error."""

    arc_mm: float
    se_mm: float


def usual_node(paths: Iterable[StemPath]) -> float:
    """The share of their heights at which the row's plants have their nodes."""
    votes = -0.5 * ((SHARES - USUAL) / USUAL_SD) ** 2
    for path in paths:
        votes = votes + np.logaddexp.reduce(_log_odds(path, SHARES)[1], axis=0)
    return float(SHARES[np.argmax(votes)])


def find_node(path: StemPath, usual: float) -> Node | None:
    """The node of one plant, None where most likely it is not seen."""
    places, odds = _log_odds(path, np.array([usual]))
    chance = np.exp(odds[:, 0] - odds.max())
    chance /= chance.sum()
    if chance[-1] > MOST_UNSEEN:
        return None
    height = max(path.height_mm, 1.0)
    places = np.append(places, usual * height)
    middle = float(chance @ places)
    spread = chance @ (places - middle) ** 2 + chance[-1] * (PLANT_SD * height) ** 2
    return Node(middle, float(np.sqrt(spread + NODE_SE_MM**2 + (NODE_RELATIVE_SE * middle) ** 2)))


def _log_odds(path: StemPath, shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places in mm of n arms, forks and pairs, and (n + 1, shares) log odds that the node is there, the last for
    none."""
    height = max(path.height_mm, 1.0)
    found = [c for sides in ((path.left, path.right), path.bridged) for c in _arms(path.arms(sides), height)]
    found += _forks([fork for fork in path.forks if fork[0] > LOWEST_ARM_MM], height)
    places, support = np.array(found).reshape(-1, 2).T
    odds = (support - places / height)[:, None] - 0.5 * ((places[:, None] / height - shares) / PLANT_SD) ** 2
    return places, np.vstack([odds, np.full(len(shares), NOT_SEEN)])


def _arms(arms: list[tuple[float, float, bool]], height: float) -> Iterable[tuple[float, float]]:
    """(place, support) of each arm and of each pair on both sides at nearly the same height."""
    for start, length, left in arms:
        yield start, min(length / FAR_MM, 1)
        for start2, length2, left2 in arms:
            if left2 != left and start2 >= start:
                yield from _pair((start, length), (start2, length2), height)


def _forks(forks: list[tuple[float, float]], height: float) -> Iterable[tuple[float, float]]:
    """The same of forks, whose sides are not known."""
    forks = sorted(forks)
    for number, (place, length) in enumerate(forks):
        yield place, min(length / FAR_MM, 1)
        for other in forks[number + 1 :]:
            yield from _pair((place, length), other, height)


def _pair(low: tuple[float, float], high: tuple[float, float], height: float) -> Iterable[tuple[float, float]]:
    apart = max(1.5, 0.07 * height)
    gap = high[0] - low[0]
    if gap < apart:
        support = sum(min(length / FAR_MM, 1) for _, length in (low, high)) + 1 - 0.5 * gap / apart
        yield (low[0] + high[0]) / 2, support

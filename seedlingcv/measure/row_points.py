"""Where on their stems the plants of a row have their seed-leaf (cotyledon) nodes and their shoot apices.

The network gives places, each with its chance, and often several to a plant: a fork of a leaf looks like a node, and
a petiole like a stem that goes on. The row tells: its plants are of one sowing and age, so their nodes lie at much
the same share of their heights, and their apices at much the same share of the way from there to the top. All plants
vote on that share with all their places; then each plant's point is the mean over its places, each by its chance,
and their disagreement is in its standard error.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from seedlingcv.measure.stem_path import StemPath
from seedlingcv.segment.side_model import SideReading

SHARES = np.arange(0, 0.951, 0.01)
NOT_SEEN = -3.0  # log odds that a plant's point is at none of its places; -2 to -4 gave figures as good
LIMITS = 0.02, 0.98  # a network's chances are never surer than this

LOWEST_NODE_MM = 2.0
ABOVE_NODE = (-0.3, 1.0)  # of the way to the top: where an apex may be; those seen below the node lie at it
MOST_UNSEEN = 0.5  # chance that the node was not seen with which there is no answer
POINT_SE_MM, NODE_RELATIVE_SE = 1.2, 0.02  # of a seen node or apex
# The network puts apices a little low. Fitted on seven of eight rendered flats and tried on the eighth, each in turn,
# it was 1.1 to 1.2, and stems were off by 1.70 mm instead of 1.82 mm.
APEX_LIFT = 1.15


@dataclass(frozen=True)
class Habit:
    """The usual share and its spread between rows, and its spread between the plants of a row."""

    usual: float
    sd: float
    plant_sd: float


NODE = Habit(0.58, 0.12, 0.07)  # of the height; between plants 0.05 to 0.08 on eight rendered flats
APEX = Habit(0.34, 0.20, 0.10)  # of the way from node to top


@dataclass(frozen=True)
class Places:
    """shares (n,) at which the network sees a plant's point, and its chances (n,)."""

    shares: np.ndarray
    chances: np.ndarray


@dataclass(frozen=True)
class Share:
    """A share, its standard error, and for a plant the chance that its point was not seen."""

    value: float
    se: float
    unseen: float = 0.0


@dataclass(frozen=True)
class StemPoints:
    """Arc lengths of a plant's node and apex in mm, with their standard errors."""

    node_mm: float
    node_se_mm: float
    apex_mm: float
    apex_se_mm: float


def row_points(paths: dict[int, StemPath], single: list[int], seen: SideReading) -> dict[int, StemPoints | None]:
    """Node and apex by column; None where the node was not seen. `single` : columns with one plant, which tell the
    row's habit"""
    places = {c: _node_places(path, seen) for c, path in paths.items()}
    row = row_share((places[c] for c in single), NODE)
    nodes = {c: plant_share(places[c], row, NODE) for c in paths}
    places = {c: _apex_places(path, nodes[c].value * path.height_mm, seen) for c, path in paths.items()}
    row = row_share((places[c] for c in single), APEX)
    return {c: None if nodes[c].unseen > MOST_UNSEEN
            else _in_mm(path.height_mm, nodes[c], plant_share(places[c], row, APEX)) for c, path in paths.items()}


def _node_places(path: StemPath, seen: SideReading) -> Places:
    arc, chance = path.along(seen.node)
    high = arc > LOWEST_NODE_MM
    return Places(arc[high] / max(path.height_mm, 1.0), chance[high])


def _apex_places(path: StemPath, node_mm: float, seen: SideReading) -> Places:
    arc, chance = path.along(seen.apex)
    shares = (arc - node_mm) / max(path.height_mm - node_mm, 2.0)
    near = (shares > ABOVE_NODE[0]) & (shares < ABOVE_NODE[1])
    return Places(np.maximum(shares[near], 0), chance[near])


def _in_mm(height_mm: float, node: Share, apex: Share) -> StemPoints:
    node_mm = node.value * height_mm
    node_se = float(np.hypot(np.hypot(node.se * height_mm, POINT_SE_MM), NODE_RELATIVE_SE * node_mm))
    above = max(height_mm - node_mm, 0.0)
    share = min(APEX_LIFT * apex.value, 1.0)
    apex_se = np.hypot(np.hypot(APEX_LIFT * apex.se * above, POINT_SE_MM), (1 - share) * node_se)
    return StemPoints(node_mm, node_se, node_mm + share * above, float(apex_se))


def row_share(row: Iterable[Places], habit: Habit) -> Share:
    """What the row's plants have in common."""
    votes = -0.5 * ((SHARES - habit.usual) / habit.sd) ** 2
    for plant in row:
        votes = votes + np.logaddexp.reduce(_log_odds(plant, SHARES, habit), axis=0)
    chance = np.exp(votes - votes.max())
    chance /= chance.sum()
    value = float(chance @ SHARES)
    return Share(value, float(np.sqrt(chance @ (SHARES - value) ** 2)))


def plant_share(plant: Places, row: Share, habit: Habit) -> Share:
    """One plant's share. Where it was not seen the row's takes its place."""
    odds = _log_odds(plant, np.array([row.value]), habit)[:, 0]
    chance = np.exp(odds - odds.max())
    chance /= chance.sum()
    places = np.append(plant.shares, row.value)
    value = float(chance @ places)
    spread = chance @ (places - value) ** 2 + chance[-1] * (habit.plant_sd**2 + row.se**2)
    return Share(value, float(np.sqrt(spread)), float(chance[-1]))


def _log_odds(plant: Places, shares: np.ndarray, habit: Habit) -> np.ndarray:
    """(n + 1, shares) log odds that the plant's point is at each of its places, the last for none, where the row's
    is at each of the shares."""
    chances = np.clip(plant.chances, *LIMITS)
    odds = np.log(chances / (1 - chances))[:, None]
    off = (plant.shares[:, None] - shares) / habit.plant_sd
    return np.vstack([odds - 0.5 * off**2, np.full(len(shares), NOT_SEEN)])

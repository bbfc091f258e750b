"""What the depth drawing shows, in mm: the plant in its old plug and in its new pot. No drawing here."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi

from seedlingcv.advice.burial import LEAST_LEAVES, Depth, plug_size_mm
from seedlingcv.advice.pots import MEAN_WIDTH
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement

PLUG_TAPER = 0.7  # a plug's width at its foot over that at its top: common practice, no source
# A plant that was not measured is drawn as an example, and the drawing says so.
EXAMPLE_STEM_MM, EXAMPLE_SEED_LEAVES_MM, EXAMPLE_SPREAD_MM = 45.0, 22.0, 60.0
LONGEST_LEAF_MM = 45.0  # a longer one would make the drawing small
COVER_OVER_PLUG_MM = 5.0  # a plug laid on its side stays under the mix
SCALES = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0)  # one to so many


@dataclass(frozen=True)
class DepthPlan:
    """Lengths mm. Heights of nodes are above the plug's top, along the stem.

    covered_mm      stem under the new surface; in a rosette 0
    leaf_nodes_mm   of the true leaves, the lowest first; `paired` leaves stand two to a node
    taken_leaves    how many of the lowest true leaves come off
    laid_mm         (way "laid") stem that fits when the plug lies on the pot's bottom
    measured        False where the plant is an example
    """

    plug_wide_mm: float
    plug_mm: float
    pot_wide_mm: float
    pot_mm: float
    headspace_mm: float
    way: str
    rosette: bool
    stem_mm: float
    seed_leaves_mm: float
    leaf_nodes_mm: tuple[float, ...]
    leaf_mm: float
    paired: bool
    covered_mm: float
    taken_seed_leaves: bool
    taken_leaves: int
    laid_mm: float | None
    measured: bool

    @property
    def surface_mm(self) -> float:
        """Of the new mix, above the pot's bottom."""
        return self.pot_mm - self.headspace_mm

    @property
    def plug_foot_mm(self) -> float:
        """Of an upright plug's foot above the pot's bottom; below 0 the pot is too shallow for the plug."""
        return self.surface_mm - self.covered_mm - self.plug_mm

    @property
    def lying_mm(self) -> float:
        """Of the middle of a plug on its side, above the pot's bottom: higher where the stem doesn't fill the room."""
        spare = max(0.0, (self.laid_mm or 0.0) - self.covered_mm)
        highest = self.surface_mm - COVER_OVER_PLUG_MM - self.plug_wide_mm / 2
        return max(self.plug_wide_mm / 2, min(self.plug_wide_mm / 2 + spare, highest))

    @property
    def laid_path_mm(self) -> tuple[float, float, float]:
        """The buried stem of a laid plant: straight on from the plug, radius of its quarter turn, straight up.

        In a square pot the plug may lie along the diagonal, which the drawing, seen from the side, hasn't: there a
        tighter turn makes up for it.
        """
        up = self.surface_mm - self.lying_mm
        beyond = max(0.0, 2 * self.pot_half_mm(self.lying_mm) - self.plug_mm)
        turn = min(up, beyond)
        along = max(0.0, self.covered_mm - pi / 2 * turn - (up - turn))
        if along + turn > beyond:
            turn = min(turn, max(0.0, (beyond + up - self.covered_mm) / (2 - pi / 2)))
            along = beyond - turn
        return along, turn, up - turn

    def pot_half_mm(self, height_mm: float) -> float:
        """Half the pot's inner width so high above its bottom."""
        foot = (2 * MEAN_WIDTH - 1) * self.pot_wide_mm
        return (foot + (self.pot_wide_mm - foot) * height_mm / self.pot_mm) / 2

    @property
    def plant_mm(self) -> float:
        """From the plug's top to the tip of the uppermost leaves, as drawn."""
        return self.leaf_mm * 0.9 if self.rosette else self.stem_mm + 0.6 * self.leaf_mm

    @property
    def tall_mm(self) -> float:
        above = self.surface_mm + self.plant_mm - (0 if self.rosette else self.covered_mm)
        return max(self.plug_mm + self.plant_mm, self.pot_mm, above)

    @property
    def wide_mm(self) -> tuple[float, float]:
        """Of the old plug's and the new pot's half of the drawing."""
        leaves = 2 * self.leaf_mm
        return max(self.plug_wide_mm, leaves), max(self.pot_wide_mm, leaves)

    def scale(self, width_mm: float, height_mm: float) -> float:
        """One to how many: the largest usual scale at which all fits into so much paper."""
        wanted = max(sum(self.wide_mm) / width_mm, self.tall_mm / height_mm)
        return next((s for s in SCALES if s >= wanted), SCALES[-1])


def depth_plan(measurement: FlatMeasurement, depth: Depth | None, crop: Crop | None) -> DepthPlan | None:
    """None where the flat's layout, and with it the plug's size, is unknown.

    The plant is a smaller one of the flat (lower quartiles), as the advice goes by: three in four are taller.
    """
    plug_wide_mm, plug_mm = plug_size_mm(measurement.rows * measurement.columns)
    if depth is None or plug_mm is None:
        return None
    pot_wide_mm, pot_mm = _pot(depth)
    stem_mm, seed_leaves_mm, nodes, measured = _plant(measurement)
    covered_mm = depth.covered_mm
    if covered_mm is None:  # by the mark alone, as far as the pot allows
        to_leaves = depth.mark == "first_true_leaves" and nodes
        room = max(0.0, pot_mm - depth.headspace_mm - plug_mm)
        covered_mm = min(nodes[0] if to_leaves else seed_leaves_mm, room)
    spread = measurement.summary("leaf_spread_mm")
    leaf_mm = min(LONGEST_LEAF_MM, (spread.median if spread else EXAMPLE_SPREAD_MM) / 2)
    return DepthPlan(
        plug_wide_mm, depth.plug_mm or plug_mm, pot_wide_mm, pot_mm, depth.headspace_mm, depth.way,
        rosette=depth.mark == "crown_level", stem_mm=stem_mm, seed_leaves_mm=seed_leaves_mm, leaf_nodes_mm=nodes,
        leaf_mm=leaf_mm, paired=crop is not None and crop.leaves_in_pairs,
        covered_mm=0.0 if depth.mark == "crown_level" else covered_mm,
        taken_seed_leaves="seed_leaves" in depth.take_off,
        taken_leaves=sum({"lowest_leaf": 1, "lowest_2_leaves": 2}.get(part, 0) for part in depth.take_off),
        laid_mm=depth.laid_mm, measured=measured or depth.mark == "crown_level",
    )


def _pot(depth: Depth) -> tuple[float, float]:
    if depth.way != "deeper_pot" or depth.pot_needed_mm is None:
        return depth.pot.width_mm, depth.pot.depth_mm
    usual = depth.pot_suggested
    return (usual.width_mm, usual.depth_mm) if usual else (depth.pot.width_mm, 10 * ceil(depth.pot_needed_mm / 10))


def _plant(measurement: FlatMeasurement) -> tuple[float, float, tuple[float, ...], bool]:
    """(stem, seed-leaf node, nodes of the true leaves, whether both lengths were measured)."""
    stem, hypocotyl = measurement.summary("stem_length_mm"), measurement.summary("hypocotyl_length_mm")
    leaves = measurement.summary("true_leaves")
    if hypocotyl is None:
        stem_mm = stem.quartile_low if stem else EXAMPLE_STEM_MM
        seed_leaves_mm = stem_mm * EXAMPLE_SEED_LEAVES_MM / EXAMPLE_STEM_MM
    else:
        seed_leaves_mm = hypocotyl.quartile_low
        stem_mm = max(seed_leaves_mm, stem.quartile_low if stem else seed_leaves_mm)
    number = round(leaves.median) if leaves else 2
    step = (stem_mm - seed_leaves_mm) / max(LEAST_LEAVES, number)
    nodes = tuple(seed_leaves_mm + step * (i + 1) for i in range(number))
    return stem_mm, seed_leaves_mm, nodes, stem is not None and hypocotyl is not None

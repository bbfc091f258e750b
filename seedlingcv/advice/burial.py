"""How much deeper a plant may go into its pot."""

from __future__ import annotations

from dataclasses import dataclass

from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement

HEADSPACE_MM = 13  # left free below the rim for water: common practice, no source
# Crops whose stem roots all along, so that one too long for the pot may lie: the tomato file's source; tomatillo
# is treated as tomato.
LAID_SLANTWISE = ("tomato", "tomatillo")
MARGIN_MM = 3  # of bare stem kept below the seed leaves or the lowest true leaf (judgement)
# Share of the stem above the seed leaves that lies below the lowest true leaf: 0.26 or more in tomato 'M82'
# up to five weeks (epicotyl 22.1 of 84.1 mm; data of repository MaloofLab/Lavelle-2015, seen, computed).
BARE_SHARE = 0.25

# Depth of the plug by cells a flat, mm. 50, 72, 128, 200: a US supplier's specification table of plug flats
# (seen); 288: Japanese tray standard (seen); 18 pots: common practice, no source.
PLUG_DEPTH_MM = {18: 80, 50: 59, 72: 57, 128: 51, 200: 45, 288: 40}


@dataclass(frozen=True)
class Pot:
    """Sizes a nursery commonly uses: common practice, no source."""

    width_mm: float
    depth_mm: float


SMALL_POT, LARGE_POT = Pot(90, 80), Pot(150, 130)


@dataclass(frozen=True)
class Depth:
    """depth_mm: how much deeper than now, None if unknown. wanted_mm: what a deep enough pot would allow."""

    depth_mm: float | None
    wanted_mm: float | None
    pot: Pot
    plug_mm: float

    @property
    def short_mm(self) -> float:
        """By how much the pot falls short of `wanted_mm`; 0 where that isn't known."""
        return 0.0 if self.wanted_mm is None else self.wanted_mm - self.depth_mm

    @property
    def pot_needed_mm(self) -> float | None:
        """The pot depth that would allow `wanted_mm`."""
        return None if self.wanted_mm is None else self.plug_mm + self.wanted_mm + HEADSPACE_MM


def burial_depth(measurement: FlatMeasurement, crop: Crop) -> Depth:
    """The depth by the crop's burial rule, never more than the pot has room for.

    Heights along the stem are lower quartiles over the flat's plants, so that three of four plants fit.
    """
    cells = measurement.rows * measurement.columns
    plug_mm = PLUG_DEPTH_MM[min(PLUG_DEPTH_MM, key=lambda size: abs(size - cells))]
    pot = LARGE_POT if cells <= 24 else SMALL_POT  # up to 24 cells a flat the plants stand in pots already
    wanted_mm = _wanted_mm(measurement, crop)
    if wanted_mm is None:
        return Depth(None, None, pot, plug_mm)
    room_mm = max(0.0, pot.depth_mm - plug_mm - HEADSPACE_MM)
    return Depth(min(wanted_mm, room_mm), wanted_mm, pot, plug_mm)


def _wanted_mm(measurement: FlatMeasurement, crop: Crop) -> float | None:
    if crop.burial in ("same_depth", "crown_above"):
        return 0.0
    hypocotyl = measurement.summary("hypocotyl_length_mm")
    if hypocotyl is None:
        return None
    bare_mm = hypocotyl.quartile_low
    if crop.burial == "deep":
        bare_mm += BARE_SHARE * _epicotyl_mm(measurement)
    wanted_mm = max(0.0, bare_mm - MARGIN_MM)
    return wanted_mm if crop.burial_limit_mm is None else min(wanted_mm, crop.burial_limit_mm)


def _epicotyl_mm(measurement: FlatMeasurement) -> float:
    """Stem above the seed leaves, 0 where it isn't known or there are fewer than two true leaves."""
    leaves, stem = measurement.summary("true_leaves"), measurement.summary("stem_length_mm")
    hypocotyl = measurement.summary("hypocotyl_length_mm")
    if leaves is None or leaves.median < 2 or stem is None or hypocotyl is None:
        return 0.0
    return max(0.0, stem.quartile_low - hypocotyl.quartile_low)

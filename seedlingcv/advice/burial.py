"""How much deeper a plant may go into its pot, what comes off first, and what stays above."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from seedlingcv.advice.pots import HEADSPACE_MM, LARGE_POT, SMALL_POT, Pot, laid_room_mm, usual_pot
from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement

# Crops whose stem roots all along, so that one too long for the pot may lie and its lowest leaves may go: the
# tomato file's source; tomatillo and ground cherry are treated as tomato.
ROOTS_ALONG_STEM = ("tomato", "tomatillo", "ground cherry")
MARGIN_MM = 3  # of bare stem kept below the seed leaves or the lowest true leaf (judgement)
# Of the stem above the seed leaves, the lowest leaf stands at 0.26, the second at 0.54 and the third at 0.82 in
# tomato 'M82' of four leaves, 35 days old (epicotyl and internodes 22.1, 23.1, 23.5, 15.4 mm; data of repository
# MaloofLab/Lavelle-2015, seen, computed). Held: leaf number / number of leaves, of four at least, which is less.
LEAST_LEAVES = 4
KEPT_LEAVES = 3  # true leaves left on a plant whose lowest are taken off: common practice, no source
NEAR_MM = 5  # of stem: as good as reached (judgement)
ROOM_CLEARLY_SHORT_MM = 15  # from here upright in this pot doesn't mend a stretched stem (judgement)

# Plugs by cells a flat, (width at the top, depth) mm. 50, 72, 128, 200: a US supplier's specification table of plug
# flats (seen); 288: Japanese tray standard (seen); 18 pots: common practice, no source.
PLUGS_MM = {18: (85, 80), 50: (48, 59), 72: (39, 57), 128: (30, 51), 200: (23, 45), 288: (20, 40)}


@dataclass(frozen=True)
class Depth:
    """Lengths mm along the stem; None where not known. Of the flat's plants the lower quartile, so that three in
    four have as much stem.

    depth_mm       how much deeper than now, upright in this pot: never over the crop's limit or the pot's room
    wanted_mm      what the crop's rule gives in a deep enough pot
    covered_mm     stem covered the way that is advised
    mark           what the crew goes by: first_true_leaves, lowest_kept_leaves, seed_leaves, part_way,
                   plug_on_bottom, old_depth, crown_level
    way            upright, laid (plug on its side, stem slantwise), deeper_pot
    take_off       before planting: seed_leaves, lowest_leaf, lowest_2_leaves
    above_mm       of a middling plant's stem, what stays above the surface
    laid_mm        stem that finds room laid slantwise; None where crop or pot don't allow it
    lay_in         where neither does: the smallest usual pot in which the stem may be laid
    """

    depth_mm: float | None
    wanted_mm: float | None
    mark: str
    pot: Pot
    plug_mm: float | None
    way: str = "upright"
    covered_mm: float | None = None
    take_off: tuple[str, ...] = ()
    above_mm: float | None = None
    laid_mm: float | None = None
    lay_in: Pot | None = None
    headspace_mm: float = HEADSPACE_MM

    @property
    def short_mm(self) -> float:
        """By how much the pot falls short of `wanted_mm`; 0 where that isn't known."""
        return 0.0 if self.wanted_mm is None or self.depth_mm is None else self.wanted_mm - self.depth_mm

    @property
    def pot_needed_mm(self) -> float | None:
        """The pot depth that would allow `wanted_mm` upright."""
        if self.wanted_mm is None or self.plug_mm is None:
            return None
        return self.plug_mm + self.wanted_mm + HEADSPACE_MM

    @property
    def pot_suggested(self) -> Pot | None:
        """The smallest usual pot that would allow it; None where only pots too large for a seedling would."""
        needed_mm = self.pot_needed_mm
        return None if needed_mm is None else usual_pot(lambda pot: pot.depth_mm >= needed_mm)

    @property
    def plug_fits(self) -> bool:
        """False only where the plug is known to stand higher than the pot's filling."""
        return self.plug_mm is None or self.plug_mm <= self.pot.depth_mm - HEADSPACE_MM


def burial_depth(measurement: FlatMeasurement, crop: Crop, *, pot: Pot | None = None, stretched: bool = False) -> Depth:
    """The depth by the crop's burial rule, never more than the pot has room for.

    stretched : the flat is leggy: then the stem may be laid or the lowest leaves taken off where the crop allows it
    """
    cells = measurement.rows * measurement.columns
    plug_width_mm, plug_mm = plug_size_mm(cells)
    pot = pot or (LARGE_POT if 0 < cells <= 24 else SMALL_POT)  # up to 24 cells the plants stand in pots already
    wanted_mm, mark, bare_leaves = _wanted(measurement, crop, stretched)
    if wanted_mm is None or plug_mm is None:
        known = 0.0 if wanted_mm == 0 else None
        return Depth(known, wanted_mm, mark, pot, plug_mm, covered_mm=known, above_mm=_above(measurement, known))
    depth_mm = min(wanted_mm, max(0.0, pot.depth_mm - plug_mm - HEADSPACE_MM))
    may_lie = crop.name in ROOTS_ALONG_STEM
    laid_mm = laid_room_mm(pot, plug_mm, plug_width_mm) if may_lie else None

    def room(other: Pot) -> bool:
        return wanted_mm - (laid_room_mm(other, plug_mm, plug_width_mm) or 0.0) <= ROOM_CLEARLY_SHORT_MM

    way, covered_mm = "upright", depth_mm
    if stretched and wanted_mm - depth_mm > ROOM_CLEARLY_SHORT_MM:
        way, covered_mm = "deeper_pot", wanted_mm
        if laid_mm is not None and room(pot):
            way, covered_mm = "laid", min(wanted_mm, laid_mm)
    if way == "upright" and wanted_mm - depth_mm > NEAR_MM:
        mark = "plug_on_bottom"
    elif way == "laid" and covered_mm < _to_seed_leaves(measurement) - NEAR_MM:
        mark = "part_way"
    return Depth(
        depth_mm, wanted_mm, mark, pot, plug_mm, way, covered_mm,
        take_off=_take_off(measurement, covered_mm, bare_leaves), above_mm=_above(measurement, covered_mm),
        laid_mm=laid_mm, lay_in=usual_pot(room) if way == "deeper_pot" and may_lie else None,
    )


def plug_size_mm(cells: int) -> tuple[float, float] | tuple[None, None]:
    """(width, depth) of the plug in a standard flat of so many cells, by the listed one nearest in ratio."""
    if cells <= 0:
        return None, None
    return PLUGS_MM[min(PLUGS_MM, key=lambda size: abs(log(size / cells)))]


def _wanted(measurement: FlatMeasurement, crop: Crop, stretched: bool) -> tuple[float | None, str, int]:
    """(length by the crop's rule, the crew's mark, how many of the lowest true leaves come off for it)."""
    if crop.burial in ("same_depth", "crown_above"):
        return 0.0, "old_depth" if crop.burial == "same_depth" else "crown_level", 0
    leaves = measurement.summary("true_leaves")
    hypocotyl, stem = measurement.summary("hypocotyl_length_mm"), measurement.summary("stem_length_mm")
    to_leaves = crop.burial == "deep" and leaves is not None and leaves.median >= 2
    if hypocotyl is None:
        return None, "first_true_leaves" if to_leaves else "seed_leaves", 0
    bare_mm, mark, off = hypocotyl.quartile_low, "seed_leaves", 0
    if to_leaves and stem is not None:
        if stretched and crop.name in ROOTS_ALONG_STEM:
            off = min(2, max(0, int(leaves.median) - KEPT_LEAVES))
        above_mm = max(0.0, stem.quartile_low - hypocotyl.quartile_low)
        bare_mm += (off + 1) / max(LEAST_LEAVES, leaves.median) * above_mm
        mark = "lowest_kept_leaves" if off else "first_true_leaves"
    wanted_mm = max(0.0, bare_mm - MARGIN_MM)
    if crop.burial_limit_mm is not None and wanted_mm > crop.burial_limit_mm:
        return crop.burial_limit_mm, mark if wanted_mm - crop.burial_limit_mm <= NEAR_MM else "part_way", 0
    return wanted_mm, mark, off


def _take_off(measurement: FlatMeasurement, covered_mm: float, may_go: int) -> tuple[str, ...]:
    """What would lie under the surface and rot there; of the true leaves no more than `may_go`."""
    hypocotyl, stem = measurement.summary("hypocotyl_length_mm"), measurement.summary("stem_length_mm")
    if hypocotyl is None or covered_mm <= _to_seed_leaves(measurement):
        return ()
    gone = 0
    if may_go:
        step_mm = (stem.quartile_low - hypocotyl.quartile_low) / max(LEAST_LEAVES, _leaves(measurement))
        gone = sum(covered_mm > hypocotyl.quartile_low + leaf * step_mm - MARGIN_MM for leaf in range(1, may_go + 1))
    return ("seed_leaves", *{0: (), 1: ("lowest_leaf",), 2: ("lowest_2_leaves",)}[gone])


def _leaves(measurement: FlatMeasurement) -> float:
    return measurement.summary("true_leaves").median


def _to_seed_leaves(measurement: FlatMeasurement) -> float:
    return max(0.0, measurement.summary("hypocotyl_length_mm").quartile_low - MARGIN_MM)


def _above(measurement: FlatMeasurement, covered_mm: float | None) -> float | None:
    stem = measurement.summary("stem_length_mm")
    return None if stem is None or covered_mm is None else max(0.0, stem.median - covered_mm)

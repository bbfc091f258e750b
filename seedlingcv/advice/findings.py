"""What a flat's measurements say, given its crop and the date: the facts that the rules decide on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, sqrt

from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement, Summary

MIN_PLANTS = 4  # a single plant tells little about a flat's stretch (judgement)
CROWDED_COVER = 0.65  # neighbours touch at about 0.6 to 0.7: common practice, no source
# Of the usual weeks to pot-up, what emergence and seed leaves take: common practice, no source.
SHARE_BEFORE_LEAVES = 1 / 3


@dataclass(frozen=True)
class Findings:
    """`leaves`, `cover` and `legginess` are None unless enough single plants were measured (see `too_few`).

    only_stems       the plants of which stems were measured where nothing was seen from above, else 0
    empty            every cell was counted and none holds a plant
    band             compact, normal, watch, leggy; None if the stretch can't be judged
    stretch_limit    the leggy limit in use (higher for plants too young for the others)
    stretch_clear    leggy by more than chance: the median's 90 % interval lies above the limit
    roots_circle     the day roots begin to circle in this cell size, roots_full when they surely do
    window_opens     the day the plants have enough true leaves
    window_closes    the last day their number of leaves suits the window
    """

    today: date
    measured_on: date
    crop: Crop
    cells: int
    empty: bool
    leaves: Summary | None
    cover: Summary | None
    legginess: Summary | None
    too_few: tuple[str, ...]
    only_stems: int
    band: str | None
    stretch_limit: float | None
    stretch_clear: bool
    leggy_share: float | None
    age_days: int | None
    days_per_leaf: float
    roots_circle: date | None
    roots_full: date | None
    window_opens: date | None
    window_closes: date | None

    @property
    def leaf_count(self) -> float | None:
        return self.leaves.median if self.leaves else None

    @property
    def crowded(self) -> bool:
        return self.cover is not None and self.cover.median > CROWDED_COVER

    @property
    def latest(self) -> date | None:
        """The last sensible day to pot up: the plants leave the window or the roots begin to circle."""
        return min((d for d in (self.window_closes, self.roots_circle) if d), default=None)

    @property
    def photo_age_days(self) -> int:
        return (self.today - self.measured_on).days


def find(measurement: FlatMeasurement, crop: Crop, today: date) -> Findings:
    """The findings for a crop that is potted up (not one whose `transplant_tolerance` is `avoid`)."""
    cells = measurement.rows * measurement.columns
    measured_on = measurement.day or today
    leaves, cover, legginess, too_few = _summaries(measurement)
    limit, band = _stretch(crop, leaves, legginess)
    age = (today - measurement.sown).days if measurement.sown and measurement.sown <= today else None
    root_days = crop.root_bound_days(cells) if age is not None else None
    per_leaf = _days_per_leaf(crop)
    least, most = crop.pot_up_true_leaves
    return Findings(
        today=today,
        measured_on=measured_on,
        crop=crop,
        cells=cells,
        empty=bool(measurement.cells) and all(c.plants == 0 for c in measurement.cells),
        leaves=leaves,
        cover=cover,
        legginess=legginess,
        too_few=too_few,
        only_stems=_only_stems(measurement),
        band=band,
        stretch_limit=limit,
        stretch_clear=band == "leggy" and _lower_bound(legginess) > limit,
        leggy_share=_share_above(measurement, limit) if band else None,
        age_days=age,
        days_per_leaf=per_leaf,
        roots_circle=measurement.sown + timedelta(root_days[0]) if root_days else None,
        roots_full=measurement.sown + timedelta(root_days[1]) if root_days else None,
        window_opens=_day_of(least, leaves, measured_on, per_leaf),
        window_closes=_day_of(most, leaves, measured_on, per_leaf),
    )


def _summaries(measurement: FlatMeasurement):
    enough, too_few = [], []
    for field, wording in (
        ("true_leaves", "true leaves could be counted"),
        ("canopy_cover", "cover could be measured"),
        ("legginess", "stem and spread could be measured"),
    ):
        summary = measurement.summary(field)
        # All plants of a nearly empty flat are enough, but not for stretch, where plants differ most.
        wanted = MIN_PLANTS if field == "legginess" else min(MIN_PLANTS, len(measurement.singles))
        if summary and summary.plants < wanted:
            too_few.append(f"{wording} on {_plants(summary.plants)} only")
            summary = None
        enough.append(summary)
    return *enough, tuple(too_few)


def _only_stems(measurement: FlatMeasurement) -> int:
    from_above = ("true_leaves", "canopy_cover", "leaf_spread_mm")
    stems = measurement.summary("stem_length_mm")
    return 0 if stems is None or any(measurement.summary(f) for f in from_above) else stems.plants


def _plants(n: int) -> str:
    return f"{n} plant" if n == 1 else f"{n} plants"


def _stretch(
    crop: Crop, leaves: Summary | None, legginess: Summary | None
) -> tuple[float | None, str | None]:
    """The leggy limit in use and the band of the flat's median.

    Too young (or unknown) plants can only be called leggy, by the higher limit: their small first leaves make
    the index high even in full light.
    """
    bands = crop.legginess
    if bands is None or legginess is None:
        return None, None
    index = legginess.median
    if leaves is None or leaves.median < bands.from_true_leaves:
        return bands.young_leggy_above, "leggy" if index > bands.young_leggy_above else None
    if index > bands.leggy_above:
        return bands.leggy_above, "leggy"
    if index >= bands.normal_below:
        return bands.leggy_above, "watch"
    return bands.leggy_above, "normal" if index >= bands.compact_below else "compact"


def _lower_bound(summary: Summary) -> float:
    """Lower end of the median's 90 % interval; normal scatter: SE = 1.2533 x (IQR / 1.349) / sqrt(n)."""
    iqr = summary.quartile_high - summary.quartile_low
    return summary.median - 1.645 * 1.2533 * (iqr / 1.349) / sqrt(summary.plants)


def _share_above(measurement: FlatMeasurement, limit: float) -> float:
    had = [c.legginess for c in measurement.singles if c.legginess is not None]
    return sum(value > limit for value in had) / len(had)


def _days_per_leaf(crop: Crop) -> float:
    """From the crop's own usual weeks to the middle of its leaf window, less the time before true leaves."""
    days = 7 * sum(crop.weeks_to_pot_up) / 2
    return days * (1 - SHARE_BEFORE_LEAVES) / (sum(crop.pot_up_true_leaves) / 2)


def _day_of(count: int, leaves: Summary | None, measured_on: date, per_leaf: float) -> date | None:
    """The day the median plant has so many true leaves (in the past if it has more)."""
    if leaves is None:
        return None
    return measured_on + timedelta(ceil((count - leaves.median) * per_leaf))

"""What a flat's measurements say, given its crop, on the day it was seen: the facts that the rules decide on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil, log2, sqrt
from statistics import median

from seedlingcv.crops.crop import Crop
from seedlingcv.measure.table import FlatMeasurement, Summary
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.stretch.band import SEED_LEAVES_AT

MIN_PLANTS = 4  # a single plant tells little about a flat's stretch (judgement)
CROWDED_COVER = 0.65  # neighbours touch at about 0.6 to 0.7: common practice, no source
FIRM_DAYS = 7  # from roots that hold the plug to roots that circle: judgement
LEAF_COUNT_SE = 0.5  # of a flat's median count, by photo or by hand: crews differ by half a leaf (judgement)
WHOLE_FLAT_SE = 0.2  # relative, where one line stands for a whole flat: plants of a flat differ by as much (judgement)
OLD_DAYS = 10  # about two new leaves: figures older than this no longer show today's flat (judgement)
LEAST_GROWTH_DAYS = 3  # between two looks, below which growth isn't told from error (judgement)


@dataclass(frozen=True)
class Growth:
    """Days a new true leaf takes, and days in which canopy cover doubles; `measured` where two looks told it."""

    per_leaf: float
    doubling: float
    leaf_measured: date | None = None
    cover_measured: date | None = None


@dataclass(frozen=True)
class Findings:
    """As of `measured_on`. `leaves`, `cover` and `legginess` are None unless enough single plants were measured.

    too_few      why one of them is None although something was measured
    only_stems   the plants of which stems were measured where nothing was seen from above, else 0
    whole        one line of a sheet stands for all plants
    empty        every cell was counted and none holds a plant
    index_se     standard error of the flat's median legginess: scatter of its plants, and the measuring error that
                 they share (a flat's errors are alike: medians are no better than single plants)
    roots        a root check: not_ready, firm, root_bound; it overrides what the age would say
    """

    today: date
    measured_on: date
    crop: Crop
    cells: int
    empty: bool
    whole: bool
    leaves: Summary | None
    cover: Summary | None
    legginess: Summary | None
    index_se: float
    too_few: tuple[str, ...]
    only_stems: int
    leggy_share: float | None
    sown: date | None
    growth: Growth
    roots: str | None = None
    roots_from: str = "hand"

    @property
    def leaf_count(self) -> float | None:
        return self.leaves.median if self.leaves else None

    @property
    def crowded(self) -> bool:
        return self.cover is not None and self.cover.median > CROWDED_COVER

    @property
    def seen_days_ago(self) -> int:
        return (self.today - self.measured_on).days

    @property
    def old(self) -> bool:
        return self.seen_days_ago > OLD_DAYS

    @property
    def age_days(self) -> int | None:
        """Days from sowing to the day it was seen."""
        return (self.measured_on - self.sown).days if self.sown and self.sown <= self.measured_on else None

    @property
    def stretch_limit(self) -> float | None:
        """The leggy limit in use: the higher one for plants too young for the others, or of unknown age."""
        bands = self.crop.legginess
        if bands is None or self.legginess is None:
            return None
        return bands.leggy_limit(self.leaf_count)

    @property
    def _young(self) -> bool:
        return self.leaves is None or self.leaves.median < self.crop.legginess.from_true_leaves

    @property
    def band(self) -> str | None:
        """compact, normal, watch, leggy. Too young plants can only be called leggy: their small first leaves make the
        index high even in full light."""
        if self.stretch_limit is None:
            return None
        index, bands = self.legginess.median, self.crop.legginess
        if index > self.stretch_limit:
            return "leggy"
        if self._young:
            return None
        if index >= bands.normal_below:
            return "watch"
        return "normal" if index >= bands.compact_below else "compact"

    @property
    def stretch_clear(self) -> bool:
        """Leggy by more than chance and measuring error: the median's 90 % interval lies above the limit."""
        return self.band == "leggy" and self.legginess.median - 1.645 * self.index_se > self.stretch_limit

    @property
    def root_days(self) -> tuple[int, int] | None:
        """Days from sowing until roots begin to circle and surely circle, by the crop and the cell size."""
        return self.crop.root_bound_days(self.cells) if self.age_days is not None and self.cells > 0 else None

    @property
    def roots_circle(self) -> date | None:
        """By a check, else by age. Firm roots have a week yet, or until their age says so if that is later."""
        by_age = self.sown + timedelta(self.root_days[0]) if self.root_days else None
        if self.roots == "root_bound":
            return self.measured_on
        if self.roots == "firm":
            return max(by_age or date.min, self.measured_on + timedelta(FIRM_DAYS))
        return None if self.roots == "not_ready" else by_age

    @property
    def roots_full(self) -> date | None:
        if self.roots == "root_bound":
            return self.measured_on
        return self.sown + timedelta(self.root_days[1]) if self.root_days and self.roots is None else None

    @property
    def roots_have_room(self) -> bool:
        """Known, by a check or by age, not to circle yet."""
        if self.roots is not None:
            return self.roots != "root_bound"
        return self.roots_circle is not None and self.measured_on < self.roots_circle

    @property
    def touch(self) -> date | None:
        """The day neighbours begin to touch, in the past if they do already."""
        if self.cover is None or self.cover.median < CROWDED_COVER / 2**8:  # nearly bare: too far off to reckon
            return None
        doublings = log2(CROWDED_COVER / self.cover.median)
        return self.measured_on + timedelta(ceil(doublings * self.growth.doubling))

    def day_of(self, count: float) -> date | None:
        """The day the median plant has so many true leaves, in the past if it has more."""
        if self.leaves is None:
            return None
        return self.measured_on + timedelta(ceil((count - self.leaves.median) * self.growth.per_leaf))


def find(measurement: FlatMeasurement, crop: Crop, today: date, *, roots: str | None = None, roots_from: str = "hand",
         earlier: FlatMeasurement | None = None) -> Findings:
    """The findings for a crop that is potted up (not one whose `transplant_tolerance` is `avoid`).

    earlier : the same flat some days before, to measure its growth
    """
    measured_on = measurement.day or today
    whole = is_whole(measurement)
    leaves, cover, legginess, too_few = _summaries(measurement, whole)
    found = Findings(
        today=today, measured_on=measured_on, crop=crop, cells=measurement.rows * measurement.columns,
        empty=bool(measurement.cells) and all(c.plants == 0 for c in measurement.cells), whole=whole,
        leaves=leaves, cover=cover, legginess=legginess, index_se=_index_se(measurement, legginess, whole),
        too_few=too_few, only_stems=_only_stems(measurement), leggy_share=None, sown=measurement.sown,
        growth=_growth(measurement, crop, earlier, (leaves, cover)), roots=roots, roots_from=roots_from,
    )
    if found.band is None:
        return found
    return replace(found, leggy_share=_share_above(measurement, found.stretch_limit))


def is_whole(measurement: FlatMeasurement) -> bool:
    return len(measurement.cells) == 1 and measurement.cells[0].cell == WHOLE_FLAT


def _summaries(measurement: FlatMeasurement, whole: bool):
    enough, too_few = [], []
    for field, wording in (
        ("true_leaves", "true leaves could be counted"),
        ("canopy_cover", "cover could be measured"),
        ("legginess", "stem and spread could be measured"),
    ):
        summary = measurement.summary(field)
        # All plants of a nearly empty flat are enough, but not for stretch, where plants differ most.
        wanted = MIN_PLANTS if field == "legginess" else min(MIN_PLANTS, len(measurement.singles))
        if summary and summary.plants < wanted and not whole:
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


def _index_se(measurement: FlatMeasurement, summary: Summary | None, whole: bool) -> float:
    """Scatter's share: SE of a median = 1.2533 x (IQR / 1.349) / sqrt(n), for normal scatter."""
    if summary is None:
        return 0.0
    if whole:
        return WHOLE_FLAT_SE * summary.median
    scatter = 1.2533 * ((summary.quartile_high - summary.quartile_low) / 1.349) / sqrt(summary.plants)
    own = [c.se["legginess"] for c in measurement.singles if c.legginess is not None and "legginess" in c.se]
    return sqrt(scatter**2 + (median(own) if own else 0.0) ** 2)


def _share_above(measurement: FlatMeasurement, limit: float) -> float:
    had = [c.legginess for c in measurement.singles if c.legginess is not None]
    return sum(value > limit for value in had) / len(had)


def _growth(measurement: FlatMeasurement, crop: Crop, earlier: FlatMeasurement | None,
            now: tuple[Summary | None, Summary | None]) -> Growth:
    """Measured between two looks where they are days apart and show growth, else expected of the crop.

    Expected: the usual weeks to the middle of the leaf window, less the time before true leaves, give the days a leaf
    takes; cover doubles with each new leaf or pair of leaves, as each is larger than all before it (judgement:
    published well-lit plants are faster, lettuce 62-fold in 17 days, repository CEAOD/Data 2018, seen).
    """
    days = 7 * sum(crop.weeks_to_pot_up) / 2
    per_leaf = days * (1 - SEED_LEAVES_AT) / max(1, sum(crop.pot_up_true_leaves) / 2)
    expected = Growth(per_leaf, per_leaf * (2 if crop.leaves_in_pairs else 1))
    if earlier is None or measurement.day is None or earlier.day is None:
        return expected
    apart = (measurement.day - earlier.day).days
    if apart < LEAST_GROWTH_DAYS:
        return expected
    before_leaves, before_cover, *_ = _summaries(earlier, is_whole(earlier))
    leaf_measured = cover_measured = None
    per, doubling = expected.per_leaf, expected.doubling
    leaves, cover = now
    if leaves and before_leaves and leaves.median - before_leaves.median >= LEAF_COUNT_SE:
        per, leaf_measured = apart / (leaves.median - before_leaves.median), earlier.day
    if cover and before_cover and before_cover.median > 0 and cover.median > 1.1 * before_cover.median:
        doubling, cover_measured = apart / log2(cover.median / before_cover.median), earlier.day
    return Growth(per, doubling, leaf_measured, cover_measured)

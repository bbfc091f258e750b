"""What is measured in each cell: the only schema of figures.

`None` means "not had", and `flags` says why (see `seedlingcv.flags.CELL`); it is never 0 by default.
Definitions:

canopy_cover          fraction of the cell's area (divider middle to divider middle) under any vegetation,
                      seen straight from above
leaf_spread_mm        maximum Feret diameter of the plant seen straight from above (ISO 9276-6 term)
leaf_area_mm2         area of the plant's projection seen from above
true_leaves           leaves with a blade over 5 mm; cotyledons not counted
greenness             green leaf index (2G-R-B)/(2G+R+B), -1 to 1, on light-corrected colour, mean over the
                      plant (Louhaichi, Borman & Johnson 2001, Geocarto Int. 16(1):65-70; from memory)
yellow_fraction       share of the plant's pixels whose corrected red is not below its green
stem_length_mm        along the stem's curve from soil to shoot apex
hypocotyl_length_mm   along the curve from soil to the cotyledon node
stem_diameter_mm      at half the hypocotyl
height_mm             highest point above the soil, vertical
row_spread_mm         extent along the row in the side photo
lean_deg              line from base to apex against the vertical
legginess             stem_length_mm / leaf_spread_mm
sturdiness_quotient   height (cm) / stem diameter (mm): the forestry sense, small is sturdy (Roller 1977; from
                      memory). The floriculture literature also prints its inverse.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from statistics import median


@dataclass(frozen=True)
class CellMeasurement:
    cell: str
    plants: int | None = None
    canopy_cover: float | None = None
    leaf_spread_mm: float | None = None
    leaf_area_mm2: float | None = None
    true_leaves: int | None = None
    greenness: float | None = None
    yellow_fraction: float | None = None
    stem_length_mm: float | None = None
    stem_from: str | None = None
    hypocotyl_length_mm: float | None = None
    stem_diameter_mm: float | None = None
    height_mm: float | None = None
    row_spread_mm: float | None = None
    lean_deg: float | None = None
    flags: tuple[str, ...] = ()
    se: dict[str, float] = field(default_factory=dict)  # standard errors by field name

    @property
    def legginess(self) -> float | None:
        if self.stem_length_mm is None or not self.leaf_spread_mm:
            return None
        return self.stem_length_mm / self.leaf_spread_mm

    @property
    def sturdiness_quotient(self) -> float | None:
        if self.height_mm is None or not self.stem_diameter_mm:
            return None
        return (self.height_mm / 10) / self.stem_diameter_mm


@dataclass(frozen=True)
class Summary:
    """A figure over a flat's single-plant cells: median, quartiles, and on how many plants it rests."""

    median: float
    quartile_low: float
    quartile_high: float
    plants: int


def summarise(values: list[float | None]) -> Summary | None:
    had = sorted(v for v in values if v is not None)
    if not had:
        return None

    def quantile(q: float) -> float:
        place = q * (len(had) - 1)
        low = int(place)
        high = min(low + 1, len(had) - 1)
        return had[low] + (had[high] - had[low]) * (place - low)

    return Summary(median(had), quantile(0.25), quantile(0.75), len(had))


@dataclass(frozen=True)
class FlatMeasurement:
    """One flat on one day: what the register says and what was measured. Lists run A1, A2 … row by row."""

    flat: int
    day: date | None  # the day the photos were taken
    rows: int
    columns: int
    cells: tuple[CellMeasurement, ...]
    crop: str | None = None
    variety: str | None = None
    sown: date | None = None
    light: str | None = None
    flags: tuple[str, ...] = ()  # codes of `seedlingcv.flags.PHOTO` that reached the flat as warnings

    @property
    def layout(self) -> str:
        return f"{self.rows}x{self.columns}"

    @property
    def singles(self) -> list[CellMeasurement]:
        return [c for c in self.cells if c.plants == 1]

    def summary(self, field_name: str) -> Summary | None:
        return summarise([getattr(c, field_name) for c in self.singles])

"""The figures that can be compared, and how a difference in each is said."""

from __future__ import annotations

from dataclasses import dataclass

from seedlingcv.units import MM_PER_INCH


@dataclass(frozen=True)
class Figure:
    """A measure of `measure/table.py` as a trial shows it.

    more, less : what plants with more, or less, of it had; `{}` is the size of the difference
    per_shown  : figure's own unit in one shown unit (0.01 where fractions are shown as per cents)
    unit, inch_unit, per_inch_unit : unit as shown, and its counterpart with --inches (None: the same)
    """

    field: str
    name: str
    more: str
    less: str
    decimals: int
    unit: str = ""
    per_shown: float = 1.0
    inch_unit: str | None = None
    per_inch_unit: float = 1.0
    meaning: str = ""  # where the name doesn't say it

    def heading(self, inch: bool = False) -> str:
        """`Stem length, mm`, `Legginess (stem length / leaf spread)`."""
        unit = self.shown_unit(inch)
        return (f"{self.name[0].upper()}{self.name[1:]}" + (f", {unit}" if unit else "")
                + (f" ({self.meaning})" if self.meaning else ""))

    @property
    def told(self) -> str:
        """`legginess (stem length / leaf spread)`: with its meaning, where it is named first."""
        return f"{self.name} ({self.meaning})" if self.meaning else self.name

    def shown_unit(self, inch: bool) -> str:
        return self.inch_unit if inch and self.inch_unit else self.unit

    def per(self, inch: bool) -> float:
        """The figure's own unit in one unit as shown."""
        return self.per_inch_unit if inch and self.inch_unit else self.per_shown

    def number(self, value: float | None, inch: bool = False, *, finer: int = 0) -> str:
        """As shown, without the unit; `–` for one not had. finer : so many digits more"""
        if value is None:
            return "–"
        digits = self.decimals + (1 if inch and self.inch_unit else 0) + finer
        shown = round(value / self.per(inch), digits)
        return f"{shown + 0.0:.{digits}f}".replace("-", "\u2212")

    def text(self, value: float | None, inch: bool = False) -> str:
        unit = self.shown_unit(inch)
        return f"{self.number(value, inch)}{' ' if unit else ''}{unit}"


INCHES = {"inch_unit": "in", "per_inch_unit": MM_PER_INCH}
FIGURES = {figure.field: figure for figure in (
    Figure("legginess", "legginess", "were {} leggier", "were {} less leggy", 2,
           meaning="stem length / leaf spread"),
    Figure("stem_length_mm", "stem length", "had stems {} longer", "had stems {} shorter", 1, "mm", **INCHES),
    Figure("hypocotyl_length_mm", "stem to the seed leaves", "had {} more stem below the seed leaves",
           "had {} less stem below the seed leaves", 1, "mm", **INCHES),
    Figure("leaf_spread_mm", "leaf spread", "spread their leaves {} wider", "spread their leaves {} less wide", 1, "mm",
           **INCHES),
    Figure("canopy_cover", "canopy cover", "covered {} more", "covered {} less", 1, "% of the cell", 0.01),
    Figure("true_leaves", "true leaves", "had {} more", "had {} fewer", 1, "true leaves"),
    Figure("stem_diameter_mm", "stem diameter", "had stems {} thicker", "had stems {} thinner", 2, "mm", **INCHES),
    Figure("height_mm", "height", "stood {} taller", "stood {} lower", 1, "mm", **INCHES),
    Figure("leaf_area_mm2", "leaf area", "had {} more leaf", "had {} less leaf", 1, "cm²", 100.0, "sq in",
           MM_PER_INCH**2),
)}  # fmt: skip

"""Numbers as words and Markdown tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from seedlingcv.benchmarks.scores import Score


@dataclass(frozen=True)
class Name:
    """How the page speaks of a figure: `digits` after the point, in `unit`."""

    text: str
    unit: str
    digits: int


NAMES = {
    "canopy_cover": Name("canopy cover", "", 3),
    "leaf_spread_mm": Name("leaf spread", "mm", 1),
    "leaf_area_mm2": Name("leaf area", "mm²", 0),
    "true_leaves": Name("true leaves", "leaves", 2),
    "height_mm": Name("plant height", "mm", 1),
    "hypocotyl_length_mm": Name("hypocotyl, front row", "mm", 1),
    "stem_diameter_mm": Name("stem diameter, front row", "mm", 2),
    "row_spread_mm": Name("spread along the row, front row", "mm", 1),
    "lean_deg": Name("lean, front row", "°", 1),
    "stem_side": Name("stem length, front row (side photo)", "mm", 1),
    "stem_parallax": Name("stem length, other rows (from height)", "mm", 1),
    "legginess_side": Name("legginess, front row", "", 2),
    "legginess_parallax": Name("legginess, other rows", "", 2),
}


def value(measure: str, number: float | None, *, signed: bool = False, digits: int | None = None) -> str:
    if number is None:
        return "–"
    name = NAMES[measure]
    unit = f"{'' if name.unit == '°' else ' '}{name.unit}" if name.unit else ""
    digits = name.digits if digits is None else digits
    rounded = round(number, digits) + 0.0  # no "-0.0"
    return f"{rounded:{'+' if signed and rounded else ''}.{digits}f}{unit}".replace("-", "−")


def percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.0f} %"


def number(x: float | None, digits: int) -> str:
    return "–" if x is None else f"{x:.{digits}f}"


def caption(measure: str, got: float, true: float) -> str:
    """One cell's figure beside the truth."""
    digits = 0 if measure == "true_leaves" else None
    said, really = (value(measure, x, digits=digits).removesuffix(" leaves") for x in (got, true))
    return f"{NAMES[measure].text.split(',')[0]}: measured {said}, in truth {really}"


def error(measure: str, found: Score, kind: str = "mae") -> str:
    """The mean absolute error in its unit, or the median relative error."""
    if kind == "median_rel":
        return percent(found.median_rel)
    return value(measure, found.mae)


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)

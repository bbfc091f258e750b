"""Grower's units, converted only where they are shown. Inside: mm, degrees, fractions, °C.

1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
"""

from __future__ import annotations

MM_PER_INCH = 25.4


def inches(mm: float) -> float:
    return mm / MM_PER_INCH


def length(mm: float | None, *, inch: bool = False) -> str:
    """A length as a grower reads it: `37 mm`, or to the nearest eighth of an inch: `1 1/2 in`."""
    if mm is None:
        return "–"
    if not inch:
        return f"{mm:.0f} mm"
    eighths = round(inches(mm) * 8)
    whole, part = divmod(eighths, 8)
    fraction = {0: "", 1: "1/8", 2: "1/4", 3: "3/8", 4: "1/2", 5: "5/8", 6: "3/4", 7: "7/8"}[part]
    return f"{' '.join(t for t in (str(whole) if whole else '', fraction) if t) or '0'} in"

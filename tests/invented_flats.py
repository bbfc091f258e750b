"""INVENTED flats in memory for the tests of stretch over time: no date or figure in them was measured."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.history import FlatDay, FlatHistory, LightChange, Lighting

SOWN = date(2025, 2, 20)
PANEL, BULB = "new panel", "bulb"


def day(age: int, stems: Sequence[float], *, spreads: float | Sequence[float] = 50.0, leaves: float | None = 3,
        cover: float | None = 0.3, light: str | None = None, shelf: str | None = None, lighting: Lighting | None = None,
        source: str = "photo", layout: tuple[int, int] = (6, 12), flat: int = 31, sown: date | None = SOWN) -> FlatDay:
    """One plant a cell with these stems (mm), A1, A2 … row by row."""
    rows, columns = layout
    spreads = np.broadcast_to(spreads, len(stems))
    names = [cell_name(i // columns, i % columns + 1) for i in range(len(stems))]
    cells = tuple(CellMeasurement(name, 1, cover, float(spread), 900.0, leaves, stem_length_mm=float(stem))
                  for name, stem, spread in zip(names, stems, spreads, strict=True))
    measured = FlatMeasurement(flat, SOWN + timedelta(age), rows, columns, cells, "tomato", None, sown, light)
    return FlatDay(measured, shelf, light, lighting, source)


def history(days: Sequence[FlatDay], *, flat: int = 31, crop: str | None = "tomato", sown: date | None = SOWN,
            changes: Sequence[LightChange] = (), part: str | None = None, **more) -> FlatHistory:
    return FlatHistory(flat, part, crop, None, sown, days=tuple(days), changes=tuple(changes), **more)


def change_at(age: int, before: str = BULB, after: str = PANEL) -> LightChange:
    return LightChange(SOWN + timedelta(age), before, after)


def course(flat: int, ages: Sequence[int], means: Sequence[float], *, turn: int | None = None, plants: int = 12,
           wobble: float = 3.0, before: str = BULB, after: str = PANEL, spread: float = 50.0, **more) -> FlatHistory:
    """A flat whose plants differ by a fixed pattern about each day's mean; from age `turn` on under another light."""
    pattern = wobble * np.linspace(-1, 1, plants)
    days = [day(age, mean + pattern, flat=flat, spreads=spread,
                light=after if turn is not None and age >= turn else before, **more)
            for age, mean in zip(ages, means, strict=True)]
    return history(days, flat=flat, changes=[change_at(turn, before, after)] if turn is not None else ())

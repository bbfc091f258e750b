"""Invented seasons for the tests of comparisons: every figure in them is drawn at random, none was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.history import FlatDay, FlatHistory, History, LightChange, Lighting

SOWN = date(2025, 3, 1)


def flat(number: int, values: Sequence[float], *, light: str | None = "old tubes", age: int | Sequence[int] = 21,
         figure: str = "stem_length_mm", leaves: float = 2, spread: float = 50.0, crop: str | None = "tomato",
         variety: str | None = None, batch: str | None = None, shelf: str | None = None, sown: date | None = SOWN,
         lighting: Lighting | None = None, changes: Sequence[LightChange] = (), part: str | None = None,
         seed_lot: str | None = None) -> FlatHistory:
    """A flat whose plants have `values`, one a cell, at each of the ages; its spread and leaves all alike."""
    whole = int(leaves)
    cells = []
    for i, value in enumerate(values):
        count = whole + (1 if i < round((leaves - whole) * len(values)) else 0)
        cell = CellMeasurement(f"{'ABCDEFGHIJKL'[i // 12]}{i % 12 + 1}", plants=1, true_leaves=count,
                               leaf_spread_mm=spread, stem_length_mm=float(value))
        cells.append(cell if figure == "stem_length_mm" else replace(cell, **{figure: value}))
    days = []
    for days_old in [age] if isinstance(age, int) else age:
        on = (sown or SOWN) + timedelta(days=days_old)
        measured = FlatMeasurement(number, on, 6, 12, tuple(cells), crop=crop, variety=variety, sown=sown, light=light)
        days.append(FlatDay(measured, shelf, light, lighting))
    return FlatHistory(number, part, crop, variety, sown, seed_lot, batch, tuple(days), changes=tuple(changes))


def season(means: dict[str, Sequence[float]], *, plants: int = 24, plant_sd: float = 8.0, seed: int = 1,
           **more: object) -> History:
    """Flats 31, 32 … under each light, one a mean stem length (mm); plants differ within each."""
    rng, number, flats = np.random.default_rng(seed), 31, []
    for light, of_light in means.items():
        for mean in of_light:
            drawn = rng.normal(size=plants)
            drawn = mean + plant_sd * (drawn - drawn.mean())  # the flat's mean is exactly the one given
            flats.append(flat(number, drawn, light=light, **more))  # type: ignore[arg-type]
            number += 1
    return History(tuple(flats))

"""Invented flats for the tests of the rules."""

from datetime import date, timedelta

from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

TODAY = date(2025, 3, 20)


def flat(
    leaves=None,
    index=None,
    *,
    cover=0.3,
    age=None,
    cells=(6, 12),
    plants=8,
    hypocotyl=None,
    crop="tomato",
    **extra,
):
    """A flat whose first `plants` cells hold one plant each, all alike; `index` is the legginess."""
    spread = 50.0
    had = CellMeasurement(
        cell="A1",
        plants=1,
        canopy_cover=cover,
        leaf_spread_mm=spread,
        true_leaves=leaves,
        stem_length_mm=None if index is None else index * spread,
        stem_from=None if index is None else "side",
        hypocotyl_length_mm=hypocotyl,
    )
    sown = None if age is None else TODAY - timedelta(age)
    return FlatMeasurement(7, TODAY, *cells, cells=(had,) * plants, crop=crop, sown=sown, **extra)


def answer(crop, *args, today=TODAY, roots=None, pot=None, earlier=None, **kwargs):
    measured = flat(*args, crop=crop, **kwargs)
    return advise(measured, load_crop(crop), today, roots=roots, pot=pot, earlier=earlier)

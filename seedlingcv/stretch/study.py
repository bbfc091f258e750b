"""Everything that is said of stretch over time, in one result: what `seedlingcv stretch` shows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from seedlingcv.crops.crop import Crop
from seedlingcv.records.history import FlatHistory, History
from seedlingcv.records.ruler import WHOLE_FLAT
from seedlingcv.stretch.band import LEAST_PLANTS, LeftBand, left_band
from seedlingcv.stretch.change import ChangeEffect, change_effects
from seedlingcv.stretch.growth import FlatGrowth, PlaceGrowth, growth_by_place, growth_of
from seedlingcv.stretch.place import Place, places_of
from seedlingcv.stretch.series import FIELDS, Group, groups_of, looks_of

CropOf = Callable[[FlatHistory], Crop | None]


@dataclass(frozen=True)
class Study:
    """left       flats that left their band or are about to, the longest outside first; without those potted up
    unjudged   flats that can't be judged yet, with the reason
    growth     of each flat, by field; by_place : under each light (on each shelf), by field
    """

    by: str
    history: History
    groups: tuple[Group, ...]
    left: tuple[tuple[FlatHistory, LeftBand], ...]
    unjudged: tuple[tuple[FlatHistory, str], ...]
    growth: dict[str, tuple[FlatGrowth, ...]]
    by_place: dict[str, tuple[PlaceGrowth, ...]]
    changes: tuple[ChangeEffect, ...]
    places: tuple[Place, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """Every day on which a flat was measured."""
        return tuple(sorted({day.day for flat in self.history.flats for day in flat.days}))


def study_of(history: History, crop_of: CropOf, by: str) -> Study:
    """by : `flat`, `shelf` or `light`, what is drawn together. For single flats growth and place are told by light."""
    place = "shelf" if by == "shelf" else "light"
    flats = history.flats
    still = [flat for flat in flats if flat.potted is None]
    left = [(flat, band) for flat in still if (band := left_band(flat, crop_of(flat)))]
    return Study(
        by=by, history=history, groups=groups_of(history, by),
        left=tuple(sorted(left, key=lambda pair: (not pair[1].left, pair[1].day, pair[0].flat))),
        unjudged=tuple((flat, why) for flat in still if (why := _why_unjudged(flat, crop_of(flat)))),
        growth={field: tuple(g for flat in flats if (g := growth_of(flat, field))) for field in FIELDS},
        by_place={field: growth_by_place(flats, place, field) for field in FIELDS},
        changes=change_effects(history), places=places_of(history, place),
    )


def _why_unjudged(flat: FlatHistory, crop: Crop | None) -> str:
    """Why nothing is said of a flat's band; empty where it was looked at."""
    if crop is None:
        return "its crop isn't known"
    if crop.legginess is None:
        return "its crop has no stem to measure"
    looks = looks_of(flat, "legginess")
    enough = [look for look in looks if look.plants >= LEAST_PLANTS]
    if len(enough) >= 2:
        return ""
    if not looks:
        return "its legginess was not measured"
    if len(looks) < 2:
        return "measured on one day only"
    if all(cell.cell == WHOLE_FLAT for look in looks for cell in look.at.measurement.cells):
        return "its figures are one line for the whole flat, not plant by plant"
    return f"legginess measured on fewer than {LEAST_PLANTS} plants"

"""A season as the records know it, flat by flat and day by day: what `stretch/` and `trials/` reckon with.

Nothing here knows a database; `recall.py` fills it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from seedlingcv.measure.table import FlatMeasurement

SAME_SOWING_DAYS = 21  # sowings of one numbered flat lie further apart than a date is mistaken (judgement)
SIDES = ("row A", "last row", "column 1", "last column")  # of a flat, as its tags name them


@dataclass(frozen=True)
class Lighting:
    """A light over a shelf, from one day to another (both included; None: open).

    light        the fixture's name, such as `old panel`; what the register's column `light` names too
    kind         type of lamp, such as `LED panel`; spectrum such as `white 4000 K`
    ppfd_umol    photosynthetic photon flux density at the canopy, µmol m-2 s-1: readings as a grid (rows of columns,
                 row A first); one value is a grid of one; empty where it was not measured
    hours        of light a day; distance_mm lamp to canopy; red_far_red ratio of photon fluxes
    window_side  which side of the flats on this shelf faces a window, one of SIDES
    """

    shelf: str
    light: str
    kind: str | None = None
    spectrum: str | None = None
    ppfd_umol: tuple[tuple[float, ...], ...] = ()
    hours: float | None = None
    distance_mm: float | None = None
    red_far_red: float | None = None
    window_side: str | None = None
    since: date | None = None
    until: date | None = None

    @property
    def mean_ppfd_umol(self) -> float | None:
        readings = [value for row in self.ppfd_umol for value in row]
        return sum(readings) / len(readings) if readings else None

    @property
    def dli_mol(self) -> float | None:
        """Daily light integral, mol m-2 d-1, of the mean reading."""
        ppfd = self.mean_ppfd_umol
        return None if ppfd is None or self.hours is None else daily_light_integral(ppfd, self.hours)

    def covers(self, day: date) -> bool:
        return (self.since is None or self.since <= day) and (self.until is None or day <= self.until)


def daily_light_integral(ppfd_umol: float, hours: float) -> float:
    """DLI in mol m-2 d-1 from PPFD in µmol m-2 s-1 and hours of light a day: PPFD x 3600 x hours / 10^6.

    The usual definition, as in Torres & Lopez, Purdue Extension HO-238-W (first page seen).
    """
    return ppfd_umol * 3600 * hours / 1e6


@dataclass(frozen=True)
class Stand:
    """Where a flat stood from a day on, until its next stand. `light` only where no shelf says it."""

    since: date | None
    shelf: str | None = None
    light: str | None = None


@dataclass(frozen=True)
class FlatDay:
    """A flat, or a part of it, on one day, corrections by hand applied.

    lighting : what was over it that day, as far as known; `light` its name, also where the shelf is unknown
    source : "photo" or "ruler"
    """

    measurement: FlatMeasurement
    shelf: str | None = None
    light: str | None = None
    lighting: Lighting | None = None
    source: str = "photo"

    @property
    def day(self) -> date:
        assert self.measurement.day is not None  # the records keep no day without a date
        return self.measurement.day

    @property
    def age_days(self) -> int | None:
        """Days since sowing."""
        return (self.day - self.measurement.sown).days if self.measurement.sown else None


@dataclass(frozen=True)
class LightChange:
    """The first day under another light."""

    day: date
    before: str
    after: str


@dataclass(frozen=True)
class FlatHistory:
    """One flat, or one part of it, through a season; `days` and `stands` oldest first.

    A flat number used again after a new sowing is another history. `part` is such as `rows A-C`. `changes` are all
    since sowing.
    """

    flat: int
    part: str | None = None
    crop: str | None = None
    variety: str | None = None
    sown: date | None = None
    seed_lot: str | None = None
    batch: str | None = None
    days: tuple[FlatDay, ...] = ()
    stands: tuple[Stand, ...] = ()
    changes: tuple[LightChange, ...] = ()
    potted: date | None = None

    @property
    def changes_seen(self) -> tuple[LightChange, ...]:
        """Those before which the flat was looked at."""
        return tuple(change for change in self.changes if self.days and change.day > self.days[0].day)

    @property
    def place(self) -> str:
        return f"flat {self.flat}" + (f" {self.part}" if self.part else "")


@dataclass(frozen=True)
class History:
    flats: tuple[FlatHistory, ...]
    lightings: tuple[Lighting, ...] = ()

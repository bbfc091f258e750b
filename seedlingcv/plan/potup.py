"""The pot-up list: which flats go first.

The rule, by dates:
1. What there is something to do with today (pot up, sow again, look) comes before what was last seen long ago, then
   what waits, and last what isn't transplanted.
2. Then the flat whose last sensible day comes first; a flat without one comes after those that have one.
3. On equal days a flat whose delay can't be mended goes before one whose delay can: a stretched tomato is buried
   deeper, a stretched cucumber is lost.
4. Then by the flat's number.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from seedlingcv.advice.verdict import Verdict
from seedlingcv.measure.table import FlatMeasurement

WORK, OLD, WAITS, NOTHING = range(4)
HURRY_DAYS = 7  # a last sensible day within a week is a hurry: a nursery plans by the week (judgement)


@dataclass(frozen=True)
class Entry:
    """A flat or a part of one. `part` is such as `rows A-C`; the measurement then holds that part's cells only.
    `left_band` says since when and how fast the flat outgrows its crop's usual stretch, where the records show it."""

    measurement: FlatMeasurement
    verdict: Verdict
    part: str | None = None
    left_band: str | None = None

    @property
    def place(self) -> str:
        """`flat 12`, `flat 12 rows A-C`."""
        return f"flat {self.measurement.flat}" + (f" {self.part}" if self.part else "")


def pot_up_list(entries: Iterable[Entry]) -> list[Entry]:
    """The flats in the order in which they want work, by the rule at the top."""
    return sorted(entries, key=lambda e: (*turn(e.verdict), e.measurement.flat, e.part or ""))


def turn(verdict: Verdict) -> tuple[int, date, bool]:
    """What orders the list: smaller goes first."""
    if verdict.action == "do_not_transplant":
        stage = NOTHING
    elif verdict.as_of is not None:
        stage = OLD
    else:
        stage = WAITS if verdict.action == "wait" else WORK
    return stage, last_day(verdict) or date.max, bool(verdict.delay_mends)


def last_day(verdict: Verdict) -> date | None:
    return verdict.due or verdict.latest


def is_hurried(verdict: Verdict, today: date) -> bool:
    """Something is to be done with it, and its last sensible day lies within a week; or it is
    stretched or crowded."""
    if turn(verdict)[0] != WORK:
        return False
    last = last_day(verdict) or date.max
    return verdict.action in ("sow_again", "pot_up_early") or last <= today + timedelta(HURRY_DAYS)

"""The pot-up list: which flats go first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from seedlingcv.advice.verdict import Verdict
from seedlingcv.measure.table import FlatMeasurement


@dataclass(frozen=True)
class Entry:
    measurement: FlatMeasurement
    verdict: Verdict


def pot_up_list(entries: Iterable[Entry]) -> list[Entry]:
    """The flats by urgency, then by the last sensible day, then by number."""
    return sorted(entries, key=lambda e: (-e.verdict.urgency, e.verdict.latest or date.max, e.measurement.flat))

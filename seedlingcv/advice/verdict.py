"""What to do with a flat: the answer, its dates, and the reasons with their numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Action = Literal["pot_up", "pot_up_early", "wait", "sow_again", "do_not_transplant", "unsure"]
Burial = Literal["deep", "to_seed_leaves", "same_depth", "crown_above"]


@dataclass(frozen=True)
class Verdict:
    """`reasons[0]` is the one line of why. `urgency` orders the list: larger goes first, 0 means no hurry."""

    action: Action
    burial: Burial | None = None
    burial_depth_mm: float | None = None  # how much deeper than now
    earliest: date | None = None
    latest: date | None = None
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    urgency: float = 0.0
    legginess_band: str | None = None  # "compact", "normal", "watch", "leggy"
    leggy_share: float | None = None  # fraction of measured single plants above the crop's "leggy" limit
    assumed: tuple[str, ...] = ()  # what the verdict took for granted
    missing: tuple[str, ...] = ()  # what would make it surer

"""What to do with a flat: the answer, its dates, and the reasons with their numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from seedlingcv.advice.burial import Depth

Action = Literal["pot_up", "pot_up_early", "wait", "sow_again", "do_not_transplant", "unsure"]
Burial = Literal["deep", "to_seed_leaves", "same_depth", "crown_above"]
LimitKind = Literal["leaves", "touch", "roots", "stretch"]


@dataclass(frozen=True)
class Limit:
    """One thing that ends the time for potting up, and its last good day."""

    kind: LimitKind
    day: date
    text: str
    assumed: bool  # reckoned from habits of the trade, not seen in this flat


@dataclass(frozen=True)
class Verdict:
    """`reasons[0]` is the one line of why.

    earliest, latest  sensible days to pot up, never before the day the flat was seen; None where there is none
    due               the day the list goes by: the last sensible day as reckoned, in the past where it is overdue
    binding           the limit that sets `due`; `limits` holds all of them, the first day first
    delay_mends       whether a delay can be repaired: a stretched tomato is buried deeper, a cucumber can't be
    as_of             set where the figures are too old for today's list: the verdict is of that day
    depth             how deep, what comes off, what stays above; only where the answer is to pot up
    """

    action: Action
    burial: Burial | None = None
    burial_depth_mm: float | None = None  # how much deeper than now
    earliest: date | None = None
    latest: date | None = None
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    legginess_band: str | None = None  # "compact", "normal", "watch", "leggy"
    leggy_share: float | None = None  # fraction of measured single plants above the crop's "leggy" limit
    assumed: tuple[str, ...] = ()  # what the verdict took for granted
    missing: tuple[str, ...] = ()  # what would make it surer
    due: date | None = None
    binding: LimitKind | None = None
    limits: tuple[Limit, ...] = ()
    delay_mends: bool | None = None
    would_change: tuple[str, ...] = ()  # reckoned: what other figures would lead to
    bands_from: str | None = None  # whose stretch limits were used
    as_of: date | None = None
    depth: Depth | None = None

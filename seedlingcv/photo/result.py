"""What became of one photo file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from seedlingcv.flags import Problem


@dataclass(frozen=True)
class PhotoResult:
    file: str  # relative to the assessed folder, with "/"
    view: Literal["overhead", "side", "roots"] | None = None
    flat: int | None = None
    usable: bool = False
    problems: tuple[Problem, ...] = ()
    taken: datetime | None = None
    px_per_mm: float | None = None  # on the rim plane (overhead) or the row-A plane (side)
    residual_px: float | None = None  # root mean square of the card corners against the fitted pose
    residual_mm: float | None = None
    note: str = ""  # for what no code covers, such as a decoder's words

"""Words for a helper on their first day."""

from __future__ import annotations

from seedlingcv import units
from seedlingcv.advice.verdict import Verdict

ACTION = {
    "pot_up": "Pot up now",
    "pot_up_early": "Pot up early",
    "wait": "Wait",
    "sow_again": "Sow again",
    "do_not_transplant": "Do not transplant",
    "unsure": "Not sure",
}

BURIAL = {
    "deep": "Bury deep: to just under the lowest true leaves",
    "to_seed_leaves": "A little deeper: up to the seed leaves, never above them",
    "same_depth": "Same depth as now: plug level with the new mix",
    "crown_above": "Keep the crown (growing point) above the surface",
}


def action_label(verdict: Verdict) -> str:
    if verdict.action == "pot_up_early":
        cause = "stretched" if verdict.legginess_band == "leggy" else "crowded"
        return f"{ACTION['pot_up_early']} - {cause}"
    return ACTION[verdict.action]


def burial_line(verdict: Verdict, *, inch: bool = False) -> str:
    """The crew's line on depth, empty where the flat is not potted up."""
    if verdict.burial is None:
        return ""
    line = BURIAL[verdict.burial]
    if verdict.burial in ("deep", "to_seed_leaves") and verdict.burial_depth_mm is not None:
        line += f" (at most {units.length(verdict.burial_depth_mm, inch=inch)} deeper than now)"
    return line + "."


def count(number: float, noun: str, plural: str | None = None) -> str:
    """`1 true leaf`, `2.5 true leaves`."""
    return f"{number:g} {noun if number == 1 else plural or noun + 's'}"


def true_leaves(number: float) -> str:
    return count(number, "true leaf", "true leaves")


def ratio(index: float, limit: float) -> str:
    """An index to one decimal, to two where one would hide on which side of the limit it lies."""
    return f"{index:.1f}" if f"{index:.1f}" != f"{limit:.1f}" else f"{index:.2f}"


def percent(fraction: float) -> str:
    return f"{100 * fraction:.0f} %"


def night_temperature(celsius: float, *, inch: bool = False) -> str:
    return f"{celsius * 9 / 5 + 32:.0f} °F" if inch else f"{celsius:g} °C"

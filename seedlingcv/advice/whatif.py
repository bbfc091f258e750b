"""What would change the answer: the rules run again on other figures, and said only where they lead elsewhere."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from seedlingcv.advice import wording as say
from seedlingcv.advice.dates import Outcome, settle, shifted
from seedlingcv.advice.findings import CROWDED_COVER, LEAF_COUNT_SE, Findings

MOST_LINES = 4
DAYS_WORTH_SAYING = 2
NEAR_INDEX = 1.3  # times the limit: beyond it no doubt about the spread would turn the answer
COVER_STEP = 0.1

ANSWER = {
    "pot_up": "pot up",
    "pot_up_early": "pot up early",
    "wait": "wait",
    "sow_again": "sow again",
    "unsure": "look at the flat",
}


def would_change(found: Findings, outcome: Outcome) -> tuple[str, ...]:
    """One line for each figure that, a little off, would lead to another answer or to days more or less."""
    lines = [*_leaves(found, outcome), *_stretch(found, outcome), *_cover(found, outcome), *_roots(found, outcome)]
    return tuple(lines[:MOST_LINES])


def _leaves(found: Findings, outcome: Outcome) -> list[str]:
    if found.leaves is None:
        return []
    lines = []
    for step in (-LEAF_COUNT_SE, LEAF_COUNT_SE):
        other = found.leaf_count + step
        if other >= 0:
            if_ = f"if true leaves are {say.number(other)}, not {say.number(found.leaf_count)}"
            lines += _line(outcome, settle(shifted(found, leaves=other)), if_, found.today)
    return lines


def _cover(found: Findings, outcome: Outcome) -> list[str]:
    if found.cover is None:
        return []
    now, lines = found.cover.median, []
    for other in (now - COVER_STEP, now + COVER_STEP):
        if 0 < other < 1:
            if_ = f"if leaves cover {say.percent(other)}, not {say.percent(now)}"
            lines += _line(outcome, settle(shifted(found, cover=other)), if_, found.today)
    return lines if found.crowded or now > CROWDED_COVER - 2 * COVER_STEP else []


def _stretch(found: Findings, outcome: Outcome) -> list[str]:
    """The other side of the leggy limit, where it is near."""
    limit = found.stretch_limit
    if limit is None or not limit / NEAR_INDEX < found.legginess.median < limit * NEAR_INDEX:
        return []
    leggy = found.band == "leggy"
    other = settle(shifted(found, legginess=limit if leggy else limit * 1.001))
    side = "or less" if leggy else "or more"
    now = say.ratio(found.legginess.median, limit)
    return _line(outcome, other, f"if stems are {say.limit(limit)} x the leaf spread {side}, not {now}", found.today)


def _roots(found: Findings, outcome: Outcome) -> list[str]:
    """What a plug tipped out now could show."""
    if found.roots is not None or outcome.decision.action == "sow_again":
        return []
    lines = []
    for state, words in (("root_bound", "circle thickly"), ("firm", "hold the plug and don't circle")):
        other = settle(replace(found, roots=state))
        lines += _line(outcome, other, f"if a tipped-out plug shows roots that {words}", found.today)
    return lines


def _line(now: Outcome, other: Outcome, if_: str, today: date) -> list[str]:
    """A sentence on how the other outcome differs, or none."""
    if other.decision.action != now.decision.action:
        answer = ANSWER[other.decision.action]
        if other.decision.action == "wait" and other.earliest:
            answer += f" until {say.day(other.earliest)}"
        elif other.decision.action in ("pot_up", "pot_up_early") and other.latest and other.latest > today:
            answer += f" by {say.day(other.latest)}"
        return [f"{answer[0].upper()}{answer[1:]} {if_}"]
    if now.due is None or other.due is None or other.decision.action in ("unsure", "sow_again"):
        return []
    days = (max(other.due, today) - max(now.due, today)).days
    if abs(days) < DAYS_WORTH_SAYING:
        return []
    return [f"{abs(days)} days {'more' if days > 0 else 'less'} {if_}"]

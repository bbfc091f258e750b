"""By when: the days that leaf stage, neighbours, roots and stretch leave for potting up.

Each limit is a last good day. The earliest of them binds:

leaves   the day the plants reach the last leaf number of the crop's window
touch    3 days after neighbours touch (cover 65 %): then they shade each other and stretch
roots    the day roots begin to circle, by age and cell size; a root check overrides the age
stretch  3 days after a leggy flat was seen, 7 after one that stretches a little (watch)

The first good day is the first leaf number of the window, or before it, from the first true leaf on, the day
neighbours touch or the roots surely fill the cell. Where a limit falls before the first good day, the first good
day is the last as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil

from seedlingcv.advice import wording as say
from seedlingcv.advice.decide import Decision, decide
from seedlingcv.advice.findings import FIRM_DAYS, Findings
from seedlingcv.advice.verdict import Limit

STRETCH_DAYS = 3  # a stretched flat shouldn't wait longer: common practice, no source
WATCH_DAYS = 7  # one that begins to stretch: common practice, no source
SHADE_DAYS = 3  # from touching to stretching: common practice, no source
RECHECK_DAYS = 4  # until a plug that fell apart is tried again: judgement


@dataclass(frozen=True)
class Outcome:
    """A decision with its dates; see `Verdict` for what they mean."""

    decision: Decision
    earliest: date | None = None
    latest: date | None = None
    due: date | None = None
    limits: tuple[Limit, ...] = ()


def settle(found: Findings) -> Outcome:
    """What to do and by when. Pure: `whatif` runs it again on other figures."""
    decision, ends = decide(found), limits(found)
    due = ends[0].day if ends else None
    if decision.action == "sow_again":
        due = min(due or found.measured_on, found.measured_on)  # every day counts, and none mends it
        return Outcome(decision, due=due, limits=ends)
    if decision.action == "unsure":
        if found.band == "leggy":
            due = min(due or found.measured_on, found.measured_on)
        return Outcome(decision, latest=due, due=due, limits=ends)
    if decision.action != "wait":
        latest = max(due, found.measured_on) if due else None
        return Outcome(decision, found.measured_on, latest, due, ends)
    first = _first_day(found)
    if first and not found.old and first <= found.today and found.measured_on < found.today:
        ready = f"Seen {say.days_ago(found.seen_days_ago)}; by reckoning it is ready since {say.day(first)}: look"
        return Outcome(Decision("unsure", ready, (decision.why, *decision.more)), latest=due, due=due, limits=ends)
    latest = max(due, first) if due and first else due
    return Outcome(decision, first, latest, latest, ends)


def limits(found: Findings) -> tuple[Limit, ...]:
    """All limits that can be told, the first day first."""
    ends = [_leaves(found), _touch(found), _roots(found), _stretch(found)]
    return tuple(sorted((end for end in ends if end), key=lambda end: end.day))


def _leaves(found: Findings) -> Limit | None:
    last = found.crop.pot_up_true_leaves[1]
    day = found.day_of(last)
    if day is None:
        return None
    if day <= found.measured_on:
        text = f"The leaf window ends at {say.true_leaves(last)}: the plants have {say.number(found.leaf_count)}"
        return Limit("leaves", day, text, assumed=day < found.measured_on)
    text = (f"{say.true_leaves(last)}, the end of the leaf window, about {say.day(day)} "
            f"({say.number(found.leaf_count)} now, {_pace(found)})")
    return Limit("leaves", day, text, assumed=True)


def _pace(found: Findings) -> str:
    pairs = found.crop.leaves_in_pairs
    days, what = found.growth.per_leaf * (2 if pairs else 1), "a new pair" if pairs else "a new one"
    if found.growth.leaf_measured:
        return f"{what} every {say.number(days)} days, measured since {say.day(found.growth.leaf_measured)}"
    return f"{what} about every {round(days)} days"


def _touch(found: Findings) -> Limit | None:
    day = found.touch
    if day is None:
        return None
    now = f"leaves cover {say.percent(found.cover.median)} of the cell"
    end = day + timedelta(SHADE_DAYS)
    if found.crowded:
        return Limit("touch", end, f"Neighbours touch and shade each other: {now}", assumed=False)
    days = round(found.growth.doubling, 1 if found.growth.cover_measured else 0)
    pace = f"doubling every {days:g} days"
    pace += f", measured since {say.day(found.growth.cover_measured)}" if found.growth.cover_measured else " or so"
    text = f"Neighbours touch about {say.day(day)} ({now}, {pace}) and stretch in their shade from {say.day(end)}"
    return Limit("touch", end, text, assumed=True)


def _roots(found: Findings) -> Limit | None:
    day = found.roots_circle
    if day is None:
        return None
    if found.roots == "firm" and day == found.measured_on + timedelta(FIRM_DAYS):
        text = f"Roots firm on {say.day(found.measured_on)}: about a week until they circle"
    elif found.roots == "root_bound":
        text = f"Root-bound on {say.day(found.measured_on)}: the sooner the better"
    else:
        days = found.root_days[0]
        text = f"Roots begin to circle about {say.day(day)}, {days} days from sowing in a flat of {found.cells}"
    return Limit("roots", day, text, assumed=found.roots != "root_bound")


def _stretch(found: Findings) -> Limit | None:
    if found.band not in ("watch", "leggy"):
        return None
    leggy = found.band == "leggy"
    days, what = (STRETCH_DAYS, "A stretched flat") if leggy else (WATCH_DAYS, "A flat that begins to stretch")
    day = found.measured_on + timedelta(days)
    return Limit("stretch", day, f"{what} waits no longer than {days} days, until {say.day(day)}", assumed=False)


def _first_day(found: Findings) -> date | None:
    """The first day on which a flat that waits may be potted up; never before the day after it was seen."""
    opens = found.day_of(found.crop.pot_up_true_leaves[0])
    if opens is None:
        if found.age_days is None:
            return None
        usual = ceil(found.crop.weeks_to_pot_up[0] * 7)
        opens = found.measured_on + timedelta(max(0, usual - found.age_days))
    leaf = found.day_of(1)
    if leaf is not None:
        reasons = [d for d in (found.touch, found.roots_full) if d]
        if found.band == "leggy" and found.crop.burial_mends_stretch:
            reasons.append(found.measured_on)
        opens = min([opens, *(max(leaf, d) for d in reasons)])
    if found.roots == "not_ready":
        opens = max(opens, found.measured_on + timedelta(RECHECK_DAYS))
    return max(opens, found.measured_on + timedelta(1))


def shifted(found: Findings, **medians: float) -> Findings:
    """The same flat with other medians of `leaves`, `cover` or `legginess`."""
    changed = {field: replace(getattr(found, field), median=value) for field, value in medians.items()}
    return replace(found, **changed)

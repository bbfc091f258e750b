"""What to do with a flat, as of the day it was seen. The rules stand in words at the top of rules.py."""

from __future__ import annotations

from dataclasses import dataclass

from seedlingcv.advice import wording as say
from seedlingcv.advice.findings import CROWDED_COVER, Findings
from seedlingcv.advice.verdict import Action

LEAF_COUNT_DOUBT = 1  # leaves; counts from photos, and crews, differ by one


@dataclass(frozen=True)
class Decision:
    action: Action
    why: str  # the first reason
    more: tuple[str, ...] = ()


def decide(found: Findings) -> Decision:
    nothing = _nothing_to_go_by(found)
    if nothing:
        return nothing
    overgrown = _overgrown(found)
    if overgrown and overgrown.action == "sow_again":
        return overgrown
    decision = (_leggy(found) if found.band == "leggy" else None) or overgrown
    if decision is None:
        decision = _by_leaves(found) if found.leaves else _by_cover(found)
    return _with_root_check(found, decision)


def _nothing_to_go_by(found: Findings) -> Decision | None:
    if found.empty:
        return Decision("unsure", "No seedling was seen in any cell: look at the flat")
    if found.leaves is not None or found.cover is not None or found.legginess is not None:
        return None
    if found.only_stems:
        plants = say.count(found.only_stems, "plant")
        return Decision("unsure", f"Only stems were measured ({plants}): take an overhead photo")
    if found.too_few:
        return Decision("unsure", "Too few plants could be measured: look at the flat")
    return Decision("unsure", "No leaves, cover or stems could be measured: look at the flat")


def _overgrown(found: Findings) -> Decision | None:
    """A crop that is moved once only, past its window. Roots that have room yet forgive one leaf more, roots that
    were found to circle none."""
    crop, leaves = found.crop, found.leaf_count
    if crop.transplant_tolerance != "once" or leaves is None:
        return None
    over = leaves - crop.pot_up_true_leaves[1]
    why = stage_reason(found)
    more = f"Overgrown {crop.name} is better sown again: its roots don't stand being moved"
    if found.roots == "root_bound" and over > 0:
        return Decision("sow_again", why, (roots_reason(found), more))
    if over <= LEAF_COUNT_DOUBT:
        return None
    if over > 2 * LEAF_COUNT_DOUBT:
        return Decision("sow_again", why, (more,))
    if found.roots_have_room:
        return Decision("pot_up", why, (f"Late by its leaves, but the roots have room yet: {roots_reason(found)}",))
    doubt = "Too close to throw the flat away on a leaf count: count a few plants by hand"
    return Decision("unsure", why, (doubt, more))


def _leggy(found: Findings) -> Decision | None:
    crop, leaves = found.crop, found.leaf_count
    why = stretch_reason(found)
    if crop.burial_mends_stretch:
        if leaves is None:
            count = "No leaf count: with a true leaf pot up early and deep, before that only more light helps"
            return Decision("unsure", why, (count,))
        if leaves < 1:
            return Decision("wait", why, ("No true leaf yet: more light now, pot up at the first true leaf",))
        late = leaves > crop.pot_up_true_leaves[1]
        return Decision("pot_up" if late else "pot_up_early", why, ("Deeper potting takes up the long stem",))
    if crop.transplant_tolerance != "once":
        return None
    more = f"A stretched stem of {crop.name} can't be buried: a delay can't be mended"
    if found.stretch_clear:
        return Decision("sow_again", why, (more,))
    return Decision("unsure", why, ("Too close to the limit to throw the flat away: look at the plants", more))


def _by_leaves(found: Findings) -> Decision:
    leaves, why = found.leaf_count, stage_reason(found)
    if leaves >= found.crop.pot_up_true_leaves[0]:
        return Decision("pot_up", why)
    full = found.roots_full is not None and found.measured_on >= found.roots_full
    if full and leaves < 1:
        old = f"{found.age_days} days old" if found.age_days is not None else "Root-bound"
        return Decision("unsure", f"{old} and no true leaf: check warmth and the sown date", (why,))
    if full:
        return Decision("pot_up", roots_reason(found), (why,))
    if found.crowded and leaves >= 1:
        return Decision("pot_up_early", cover_reason(found), (why,))
    return Decision("wait", why)


def _by_cover(found: Findings) -> Decision:
    if found.cover is None or found.age_days is None:
        return Decision("unsure", "No leaf count, and the rest doesn't tell the stage: count a few plants")
    weeks = f"{found.age_days} days old, usually potted up at {found.crop.weeks_to_pot_up[0] * 7:g} or more"
    old_enough = found.age_days >= found.crop.weeks_to_pot_up[0] * 7
    if found.crowded and old_enough:
        return Decision("pot_up", cover_reason(found), (weeks,))
    if not found.crowded and not old_enough:
        return Decision("wait", weeks, (cover_reason(found),))
    doubt = "No leaf count, and age and size disagree: count a few plants"
    return Decision("unsure", doubt, (weeks, cover_reason(found)))


def _with_root_check(found: Findings, decision: Decision) -> Decision:
    """A plug that falls apart waits, unless the crop bears it and the stem or the crowd doesn't wait."""
    if found.roots != "not_ready" or decision.action not in ("pot_up", "pot_up_early"):
        return decision
    if decision.action == "pot_up_early" and found.crop.transplant_tolerance == "easy":
        return decision
    return Decision("wait", roots_reason(found), (decision.why,))


# What the facts are, each with its numbers.


def stage_reason(found: Findings) -> str:
    first, last = found.crop.pot_up_true_leaves
    window = f"{first}-{last}" if first < last else f"{first}"
    if found.crop.leaves_in_pairs and first % 2 == last % 2 == 0:
        window += f", {found.crop.pot_up_said.removesuffix(' of true leaves')}"
    return f"{say.true_leaves(found.leaf_count)} (pot-up window {window})"


def stretch_reason(found: Findings) -> str:
    index, limit = found.legginess.median, found.stretch_limit
    own = found.crop.legginess.marks
    which = "your own marks'" if own else "unproved" if found.crop.bands_unproved else "provisional"
    stems = f"Stems {say.ratio(index, limit)} x the leaf spread"
    limit_said = f"leggy above {say.limit(limit)}"
    if found.band == "leggy":
        return f"{stems}: {limit_said} ({which} limit)"
    if found.band is None:
        stage = "too young" if found.leaves else "leaves not counted, perhaps too young"
        return f"{stems}: {stage} to tell stretch below {say.limit(limit)}"
    return f"{stems}: {found.band} ({limit_said}, {which} limit)"


def cover_reason(found: Findings) -> str:
    state = "crowded" if found.crowded else "not crowded"
    return (f"Leaves cover {say.percent(found.cover.median)} of the cell: {state} "
            f"(crowded above {say.percent(CROWDED_COVER)})")


def roots_reason(found: Findings) -> str:
    if found.roots is not None:
        seen = {"not_ready": "the plug doesn't hold together yet", "firm": "firm, the plug lifts whole",
                "root_bound": "root-bound, they circle"}[found.roots]
        by = "by hand" if found.roots_from == "hand" else "in a photo"
        return f"Roots checked {by} on {say.day(found.measured_on)}: {seen}"
    days = found.root_days
    age = f"{say.count(found.age_days, 'day')} in a flat of {found.cells}"
    return f"{age}: roots circle from day {days[0]}, surely by {days[1]}"

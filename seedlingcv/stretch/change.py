"""What a change of light did: growth a day before and after, flats as units.

Each flat's growth is a straight line through its daily means, in windows of at most WINDOW_DAYS before and after the
change, two looks at least on each side, the same plants on all of them. The look nearest to the change, if within a
day, belongs to both sides. Nothing counts after a flat was potted up. The flat's figure is after minus before; the
estimate is the mean over flats.

Plants of that age change by themselves: stems grow faster as plants grow. So flats of the crop that stayed under their
light are put beside, cut at the same age, and the difference between the two is what can be put down to the light
(difference in differences, by t over flats; trials/means.py says when Welch's). Without them age and light can't be
told apart, and nothing is claimed. Flats that stayed count

- of the same variety, where both are known: varieties stretch at other ages;
- sown within SOWN_WITHIN_DAYS: others lived through other weather;
- on one shelf throughout;
- seen over the same ages. Of plants whose growth bends, a line shows the growth of its window's middle, so the step has
  the bend times the days between the two middles in it: these must be as many (SAME_GAP_DAYS). So of every flat only
  looks count that lie within LOOK_WITHIN_DAYS of one of the usual changed flat's.

Many flats may still be one trial of one lamp: `ChangeEffect.doubt` names what else may be behind.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from statistics import fmean, median

from seedlingcv.records.history import FlatHistory, History, LightChange
from seedlingcv.records.standing import plain_name
from seedlingcv.stretch.growth import slope_through
from seedlingcv.stretch.over_flats import Mean, by_flat, mean_over, sown_of, t_quantile
from seedlingcv.stretch.series import LEAST_SAME_PLANTS, Look, age_on, looks_of, same_plants

FIELDS = ("legginess", "stem_length_mm")
WINDOW_DAYS = 10  # longer ones would take the bend of growth for the light (judgement)
LEAST_LOOKS = 2
LEAST_SPAN_DAYS = 2  # of a window, below which growth isn't told from error (judgement)
AT_CHANGE_DAYS = 1
LOOK_WITHIN_DAYS = 1
LATEST_APART_DAYS = 4  # in age at the change, between the changed flats (judgement)
SAME_GAP_DAYS = 0.3  # that the days between the two middles may differ: of made-up seasons without an effect whose
# growth bends, 10 v 10 flats, 7 to 9 % claimed one with half a day apart, 4 to 5 % with a quarter
SOWN_WITHIN_DAYS = 3  # apart (judgement)


@dataclass(frozen=True)
class TwoSlopes:
    """A flat's growth a day before and after `turn`.

    middles : the ages (days since sowing) at which growth was what the two lines say, None where the sowing date is
        unknown
    shelves : where the flat stood on the looks used, in order, None for unknown
    days : of the looks used, from `turn`
    """

    history: FlatHistory
    turn: date
    before: float
    after: float
    middles: tuple[float, float] | None
    shelves: tuple[str | None, ...]
    days: tuple[int, ...]

    @property
    def gap_days(self) -> float | None:
        """Between the two middles."""
        return self.middles[1] - self.middles[0] if self.middles else None

    @property
    def step(self) -> float:
        return self.after - self.before

    @property
    def age_days(self) -> int | None:
        return age_on(self.history, self.turn)


@dataclass(frozen=True)
class Difference:
    """Mean step of the changed flats less that of those that stayed, with its 95 % interval."""

    mean: float
    low: float
    high: float
    method: str


@dataclass(frozen=True)
class ChangeEffect:
    """One change of light (from `before` to `after`) and what one figure's growth did.

    changed, stayed : flats with two slopes; stayed_under : the lights of those that stayed
    step       mean step of the changed flats, age and light together
    effect     None where it can't be told: `why_not` says why
    left_out   changed flats that could not be counted, with the reason
    not_beside flats that stayed but can't be put beside them, with the reason; without those sown at another time
    """

    crop: str | None
    before: str
    after: str
    field: str
    changed: tuple[TwoSlopes, ...]
    stayed: tuple[TwoSlopes, ...]
    stayed_under: tuple[str, ...]
    step: Mean | None
    effect: Difference | None
    why_not: str
    left_out: tuple[tuple[FlatHistory, str], ...] = ()
    not_beside: tuple[tuple[FlatHistory, str], ...] = ()

    @property
    def doubt(self) -> str | None:
        """Why the light may not have done it, though growth changed: `one shelf` where all changed flats stood on one,
        so that one lamp was tried once; `stayed on one shelf`; `shelves unknown` where it isn't known. None where
        shelves were several on both sides."""
        changed, stayed = (_shelves(flats) for flats in (self.changed, self.stayed))
        if len(changed) == 1 and "" not in changed:
            return "one shelf"
        if "" in changed | stayed:
            return "shelves unknown"
        return "stayed on one shelf" if len(stayed) == 1 else None


def _shelves(flats: Sequence[TwoSlopes]) -> set[str]:
    """Where they stood at the end, by plain names; empty ones for unknown."""
    return {plain_name(flat.shelves[-1] or "") for flat in flats}


def change_effects(history: History) -> tuple[ChangeEffect, ...]:
    """Each change of light of each crop, legginess first, then stem length."""
    changes: dict[tuple[str, str, str], list[tuple[FlatHistory, LightChange]]] = {}
    for flat in history.flats:
        for change in flat.changes_seen:
            key = (flat.crop or "", change.before.casefold(), change.after.casefold())
            changes.setdefault(key, []).append((flat, change))
    return tuple(_effect(history, members, field) for _, members in sorted(changes.items(), key=lambda c: c[0])
                 for field in FIELDS)


def _effect(history: History, members: Sequence[tuple[FlatHistory, LightChange]], field: str) -> ChangeEffect:
    first, change = members[0]
    changed, left_out = _sorted_out((flat, two_slopes(flat, field, c.day)) for flat, c in members)
    usual = _usual_days(changed)
    if _why_not_changed(changed) is None:
        cut = [(c.history, two_slopes(c.history, field, c.turn, usual)) for c in changed]
        changed, uncut = _sorted_out(cut)
        changed, apart = _seen_alike(changed)
        left_out += uncut + apart
    stayed, not_beside = _stayed(history.flats, first.crop, change.before, changed, field, usual)
    changed, stayed = _one_a_flat(changed), _one_a_flat(stayed)
    under = tuple(dict.fromkeys(_light_on(s.history, s.turn) or "light not known" for s in stayed))
    why_not = _why_not_changed(changed) or _why_not_stayed(stayed) or ""
    effect = None if why_not else difference([c.step for c in changed], [s.step for s in stayed])
    step = mean_over([c.step for c in changed]) if changed else None
    return ChangeEffect(first.crop, change.before, change.after, field, changed, stayed, under, step, effect, why_not,
                        tuple(left_out), tuple(not_beside))


Reasoned = list[tuple[FlatHistory, str]]


def _sorted_out(cut: Iterable[tuple[FlatHistory, TwoSlopes | str]]) -> tuple[list[TwoSlopes], Reasoned]:
    cut = list(cut)
    return [s for _, s in cut if isinstance(s, TwoSlopes)], [(flat, s) for flat, s in cut if isinstance(s, str)]


def two_slopes(history: FlatHistory, field: str, turn: date, usual: Sequence[int] | None = None) -> TwoSlopes | str:
    """Growth on both sides of `turn`, or why it can't be told. Windows end where the light changed before or changes
    again, and where the flat was potted up (a look on that day was before it).

    usual : days from the turn near which looks count; None for any
    """
    others = [c.day for c in history.changes if c.day != turn]
    start = max((day for day in others if day < turn), default=date.min)
    end = min((day for day in others if day > turn), default=date.max)
    window, potted = timedelta(WINDOW_DAYS), history.potted or date.max
    near = [k for k in looks_of(history, field) if start <= k.day < end and abs(k.day - turn) <= window]
    if usual is not None:
        days = _matching([(k.day - turn).days for k in near], usual)
        near = [k for k in near if (k.day - turn).days in days]
    looks = [k for k in near if k.day <= potted]
    if not _sides(looks, turn):
        if _sides(near, turn):
            return "potted up too soon after"
        return "not measured twice before and twice after" + ("" if usual is None else " at the others' ages")
    sides = _sides(same_plants(looks, field), turn)
    if not sides:
        return f"fewer than {LEAST_SAME_PLANTS} plants were measured on every day"
    before, after = sides
    used = [*before, *(k for k in after if k.day > before[-1].day)]
    middles = tuple(_middle_age(history, side) for side in sides)
    return TwoSlopes(history, turn, slope_through(before), slope_through(after),
                     middles if None not in middles else None, tuple(k.at.shelf for k in used),
                     tuple((k.day - turn).days for k in used))


def _sides(looks: Sequence[Look], turn: date) -> tuple[list[Look], list[Look]] | None:
    """Looks before and after; None with too few on one of them."""
    nearest = min(looks, key=lambda k: abs(k.day - turn), default=None)
    knot = nearest.day if nearest and abs(nearest.day - turn).days <= AT_CHANGE_DAYS else turn
    before, after = [k for k in looks if k.day <= knot], [k for k in looks if k.day >= knot]
    return (before, after) if _enough(before) and _enough(after) else None


def _enough(looks: Sequence[Look]) -> bool:
    return len(looks) >= LEAST_LOOKS and (looks[-1].day - looks[0].day).days >= LEAST_SPAN_DAYS


def _middle_age(history: FlatHistory, looks: Sequence[Look]) -> float | None:
    """The age at which a parabola is as steep as the straight line that least squares lay through its points there: for
    y = t^2 the line's slope is 2 m + m3 / m2, with m the mean of t, m2 and m3 the sums of (t - m)^2 and (t - m)^3."""
    ages = [age_on(history, look.day) for look in looks]
    if None in ages:
        return None
    mean = fmean(ages)
    return mean + sum((a - mean) ** 3 for a in ages) / sum((a - mean) ** 2 for a in ages) / 2


def _usual_days(changed: Sequence[TwoSlopes]) -> tuple[int, ...]:
    """Of the flat whose days most others share; of several the one with fewest."""
    def shared(own: TwoSlopes) -> tuple[int, int]:
        return sum(len(_matching(c.days, own.days)) for c in changed if c is not own), -len(own.days)

    return max(changed, key=shared).days if changed else ()


def _matching(days: Sequence[int], usual: Sequence[int]) -> list[int]:
    """For each of the usual days the nearest of these days, if near enough, each once."""
    found: list[int] = []
    for want in usual:
        near = [day for day in days if abs(day - want) <= LOOK_WITHIN_DAYS and day not in found]
        found += sorted(near, key=lambda day: abs(day - want))[:1]
    return found


def _seen_alike(changed: Sequence[TwoSlopes]) -> tuple[list[TwoSlopes], Reasoned]:
    """Without those seen over other days than most."""
    def alike(one: TwoSlopes) -> list[TwoSlopes]:
        return [other for other in changed if abs(one.gap_days - other.gap_days) <= SAME_GAP_DAYS]

    most = max((alike(one) for one in changed), key=len, default=[])
    return most, [(c.history, "measured on other days than the rest") for c in changed if c not in most]


def _one_a_flat(slopes: Sequence[TwoSlopes]) -> tuple[TwoSlopes, ...]:
    """Parts of one flat count once, with their mean."""
    return tuple(replace(parts[0], before=fmean(p.before for p in parts), after=fmean(p.after for p in parts))
                 for parts in by_flat((one.history, one) for one in slopes))


def _stayed(flats: Sequence[FlatHistory], crop: str | None, light: str, changed: Sequence[TwoSlopes], field: str,
            usual: Sequence[int]) -> tuple[list[TwoSlopes], Reasoned]:
    """Flats of the crop without a change in the window, cut at the age of those that changed: those under the light
    that these left, or where there are none, under any. And those that can't be put beside."""
    ages = [c.age_days for c in changed]
    if not changed or None in ages:
        return [], []
    age = round(median(ages))
    cut = []
    for flat in flats:
        sown = sown_of(flat)
        if flat.crop != crop or sown is None or _days_apart(sown, changed) > SOWN_WITHIN_DAYS:
            continue
        turn = sown + timedelta(age)
        if not any(abs((change.day - turn).days) <= WINDOW_DAYS for change in flat.changes):
            cut.append((flat, turn, _beside(flat, two_slopes(flat, field, turn, usual), changed)))
    alike = [c for c in cut if (_light_on(c[0], c[1]) or "").casefold() == light.casefold()]
    if not any(isinstance(slopes, TwoSlopes) for *_, slopes in alike):
        alike = cut
    return _sorted_out((flat, slopes) for flat, _, slopes in alike)


def _days_apart(sown: date, changed: Sequence[TwoSlopes]) -> int:
    return min(abs((sown - own).days) for c in changed if (own := sown_of(c.history)))


def _beside(flat: FlatHistory, slopes: TwoSlopes | str, changed: Sequence[TwoSlopes]) -> TwoSlopes | str:
    """One that stayed, or why it can't be put beside those that changed."""
    varieties = {plain_name(c.history.variety or "") for c in changed}
    if flat.variety and "" not in varieties and plain_name(flat.variety) not in varieties:
        return "another variety"
    if isinstance(slopes, str):
        return slopes
    if len({plain_name(shelf) for shelf in slopes.shelves if shelf}) > 1:
        return "moved to another shelf meanwhile"
    if abs(slopes.gap_days - fmean(c.gap_days for c in changed)) > SAME_GAP_DAYS:
        return "measured at other ages"
    return slopes


def _light_on(history: FlatHistory, day: date) -> str | None:
    return min(history.days, key=lambda d: abs(d.day - day)).light


def _why_not_changed(changed: Sequence[TwoSlopes]) -> str | None:
    """Why nothing can be told, as far as the changed flats go."""
    if not changed:
        return "none of them can be counted"
    if len(by_flat((c.history, c) for c in changed)) == 1:
        return "one flat alone can't tell the light from everything else that happened to it"
    ages = [c.age_days for c in changed if c.age_days is not None]
    if len(ages) < len(changed):
        return "the sowing dates aren't known, so flats of the same age can't be found"
    if max(ages) - min(ages) > LATEST_APART_DAYS:
        return f"the flats changed at different ages ({min(ages)} to {max(ages)} days)"
    return None


def _why_not_stayed(stayed: Sequence[TwoSlopes]) -> str | None:
    if not stayed:
        return (f"no flat of the crop, sown within {SOWN_WITHIN_DAYS} days and seen at the same ages, stayed under its "
                "light: age and light can't be told apart")
    if len(stayed) == 1:
        return "only one flat like these stayed under its light: nobody can tell how much flats differ"
    return None


def difference(changed: Sequence[float], stayed: Sequence[float]) -> Difference:
    """Two flats at least in each, one value a flat."""
    import numpy as np

    from seedlingcv.trials.means import two_groups

    estimates = two_groups(np.array(changed), np.array(stayed))
    mean, se, df = (float(x) for x in estimates.contrast(np.array([1.0, -1.0])))
    half = t_quantile(df) * se if se > 0 else 0.0
    return Difference(mean, mean - half, mean + half, estimates.method)

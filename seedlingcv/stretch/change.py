"""What a change of light did: growth a day before and after, flats as units.

Each flat's growth is a straight line through its daily means, in windows of at most WINDOW_DAYS before and after the
change, two looks at least on each side. The look nearest to the change, if within a day, belongs to both sides. The
flat's figure is after minus before; the estimate is the mean over flats.

Plants of that age change by themselves: stems grow faster as plants grow. So flats of the crop that stayed under their
light are put beside, cut at the same age, and the difference between the two is what can be put down to the light
(difference in differences, by t over flats; trials/means.py says when Welch's). Without them age and light can't be
told apart, and nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from statistics import fmean, median

from seedlingcv.records.history import FlatHistory, History, LightChange
from seedlingcv.records.standing import plain_name
from seedlingcv.stretch.growth import slope_through
from seedlingcv.stretch.over_flats import Mean, mean_over, same_flat, t_quantile
from seedlingcv.stretch.series import Look, age_on, looks_of, sown_of

FIELDS = ("legginess", "stem_length_mm")
WINDOW_DAYS = 10  # longer ones would take the bend of growth for the light (judgement)
LEAST_LOOKS = 2
LEAST_SPAN_DAYS = 2  # of a window, below which growth isn't told from error (judgement)
AT_CHANGE_DAYS = 1
SAME_AGE_DAYS = 2  # that the middles of windows may lie apart: growth a day changes little in two (judgement)


@dataclass(frozen=True)
class TwoSlopes:
    """A flat's growth a day before and after `turn`.

    middles : the ages (days since sowing) in the middle of the two windows, None where the sowing date is unknown
    shelf : where the flat stood afterwards
    """

    history: FlatHistory
    turn: date
    before: float
    after: float
    middles: tuple[float, float] | None
    shelf: str | None = None

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
    left_out   changed flats that could not be counted
    at_once    all changed flats stood on one shelf and changed on one day
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
    left_out: tuple[FlatHistory, ...] = ()

    @property
    def at_once(self) -> bool:
        shelves, days = {plain_name(c.shelf or "") for c in self.changed}, {c.turn for c in self.changed}
        return len(self.changed) > 1 and len(days) == 1 and len(shelves) == 1 and "" not in shelves


def change_effects(history: History) -> tuple[ChangeEffect, ...]:
    """Each change of light of each crop, legginess first, then stem length."""
    changes: dict[tuple[str, str, str], list[tuple[FlatHistory, LightChange]]] = {}
    for flat in history.flats:
        for change in flat.changes:
            key = (flat.crop or "", change.before.casefold(), change.after.casefold())
            changes.setdefault(key, []).append((flat, change))
    return tuple(_effect(history, members, field) for _, members in sorted(changes.items(), key=lambda c: c[0])
                 for field in FIELDS)


def _effect(history: History, members: Sequence[tuple[FlatHistory, LightChange]], field: str) -> ChangeEffect:
    first, change = members[0]
    cut = [(flat, two_slopes(flat, field, c.day)) for flat, c in members]
    changed = _one_a_flat([slopes for _, slopes in cut if slopes])
    left_out = tuple(flat for flat, slopes in cut if slopes is None)
    stayed = _stayed(history.flats, first.crop, change.before, changed, field)
    under = tuple(dict.fromkeys(_light_on(s.history, s.turn) or "light not known" for s in stayed))
    why_not = _why_not(changed, stayed)
    effect = None if why_not else difference([c.step for c in changed], [s.step for s in stayed])
    step = mean_over([c.step for c in changed]) if changed else None
    return ChangeEffect(first.crop, change.before, change.after, field, changed, stayed, under, step, effect, why_not,
                        left_out)


def two_slopes(history: FlatHistory, field: str, turn: date) -> TwoSlopes | None:
    """Growth on both sides of `turn`; None with too few looks on one of them. Windows end where the light changed
    before or changes again."""
    others = [c.day for c in history.changes if c.day != turn]
    start = max((day for day in others if day < turn), default=date.min)
    end = min((day for day in others if day > turn), default=date.max)
    window = timedelta(WINDOW_DAYS)
    looks = [k for k in looks_of(history, field) if start <= k.day < end and abs(k.day - turn) <= window]
    nearest = min(looks, key=lambda k: abs(k.day - turn), default=None)
    knot = nearest.day if nearest and abs(nearest.day - turn).days <= AT_CHANGE_DAYS else turn
    before, after = [k for k in looks if k.day <= knot], [k for k in looks if k.day >= knot]
    if not (_enough(before) and _enough(after)):
        return None
    middles = tuple(_middle_age(history, side) for side in (before, after))
    return TwoSlopes(history, turn, slope_through(before), slope_through(after),
                     middles if None not in middles else None, after[-1].at.shelf)


def _enough(looks: Sequence[Look]) -> bool:
    return len(looks) >= LEAST_LOOKS and (looks[-1].day - looks[0].day).days >= LEAST_SPAN_DAYS


def _middle_age(history: FlatHistory, looks: Sequence[Look]) -> float | None:
    ages = [age_on(history, look.day) for look in (looks[0], looks[-1])]
    return None if None in ages else fmean(ages)


def _one_a_flat(slopes: Sequence[TwoSlopes]) -> tuple[TwoSlopes, ...]:
    """Parts of one flat count once, with their mean."""
    found: dict = {}
    for one in slopes:
        found.setdefault((same_flat(one.history), one.turn), []).append(one)
    return tuple(replace(parts[0], before=fmean(p.before for p in parts), after=fmean(p.after for p in parts))
                 for parts in found.values())


def _stayed(flats: Sequence[FlatHistory], crop: str | None, light: str, changed: Sequence[TwoSlopes],
            field: str) -> tuple[TwoSlopes, ...]:
    """Flats of the crop without a change in the window, cut at the age of those that changed: those under the light
    that these left, or where there are none, under any."""
    ages, middles = [c.age_days for c in changed], [c.middles for c in changed if c.middles]
    if not changed or None in ages or not middles:
        return ()
    age, usual = round(median(ages)), [fmean(side) for side in zip(*middles, strict=True)]
    found = []
    for flat in flats:
        sown = sown_of(flat)
        if flat.crop != crop or sown is None:
            continue
        turn = sown + timedelta(age)
        if any(abs((change.day - turn).days) <= WINDOW_DAYS for change in flat.changes):
            continue
        slopes = two_slopes(flat, field, turn)
        if slopes and slopes.middles and all(abs(own - of) <= SAME_AGE_DAYS
                                             for own, of in zip(slopes.middles, usual, strict=True)):
            found.append(slopes)
    alike = [s for s in found if (_light_on(s.history, s.turn) or "").casefold() == light.casefold()]
    return _one_a_flat(alike or found)


def _light_on(history: FlatHistory, day: date) -> str | None:
    return min(history.days, key=lambda d: abs(d.day - day)).light


def _why_not(changed: Sequence[TwoSlopes], stayed: Sequence[TwoSlopes]) -> str:
    """Why the light's share can't be told; empty where it can."""
    if not changed:
        return "no flat was measured twice before and twice after the change"
    if len(changed) == 1:
        return "one flat alone can't tell the light from everything else that happened to it"
    ages = [c.age_days for c in changed if c.age_days is not None]
    if len(ages) < len(changed):
        return "the sowing dates aren't known, so flats of the same age can't be found"
    if max(ages) - min(ages) > 2 * SAME_AGE_DAYS:
        return f"the flats changed at different ages ({min(ages)} to {max(ages)} days)"
    if not stayed:
        return "no flat of the crop stayed under its light over the same ages: age and light can't be told apart"
    if len(stayed) == 1:
        return "only one flat stayed under its light over the same ages: nobody can tell how much flats differ"
    return ""


def difference(changed: Sequence[float], stayed: Sequence[float]) -> Difference:
    """Two flats at least in each, one value a flat."""
    import numpy as np

    from seedlingcv.trials.means import two_groups

    estimates = two_groups(np.array(changed), np.array(stayed))
    mean, se, df = (float(x) for x in estimates.contrast(np.array([1.0, -1.0])))
    half = t_quantile(df) * se if se > 0 else 0.0
    return Difference(mean, mean - half, mean + half, estimates.method)

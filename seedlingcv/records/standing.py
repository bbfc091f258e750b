"""Where a flat stood, and what light was over it on a day.

1. A flat stands where the register says from its sowing on, then where each move says.
2. Over a shelf shines the light that covers the day; of several the one that came last, since people write down the new
   one and forget the old one's end; of those that came together the one the flat's own word names.
3. Where no light over the shelf is known, the flat's own word counts. Where only that is known, it is the light of that
   name that is over no shelf, else the one over the only shelf that has such a light.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from seedlingcv.records.history import LightChange, Lighting, Stand


def plain_name(name: str) -> str:
    return " ".join(name.casefold().split())


def same_name(one: str | None, other: str | None) -> bool:
    """Whatever the capitals: two tables are written on two days."""
    return one is not None and other is not None and plain_name(one) == plain_name(other)


@dataclass(frozen=True)
class Spelling:
    """One spelling of each shelf and of each light, the one that came first, so that whoever comes later can group by
    them as they stand."""

    shelves: dict[str, str] = field(default_factory=dict)
    lights: dict[str, str] = field(default_factory=dict)

    def shelf(self, name: str | None) -> str | None:
        return name and self.shelves.setdefault(plain_name(name), name)

    def light(self, name: str | None) -> str | None:
        return name and self.lights.setdefault(plain_name(name), name)

    def stand(self, said: Stand) -> Stand:
        return replace(said, shelf=self.shelf(said.shelf), light=self.light(said.light))


def stand_on(stands: Sequence[Stand], day: date) -> Stand | None:
    """stands : oldest first"""
    return next((s for s in reversed(stands) if s.since is None or s.since <= day), None)


def light_over(stand: Stand | None, lightings: Sequence[Lighting], day: date) -> tuple[str | None, Lighting | None]:
    """The name of the light over a flat on a day, and all that is known of it."""
    if stand is None:
        return None, None
    covering = [x for x in lightings if x.covers(day)]
    over = [x for x in covering if same_name(x.shelf, stand.shelf)]
    if not over and stand.shelf is None:
        named = [x for x in covering if same_name(x.light, stand.light)]
        over = [x for x in named if not x.shelf] or (named if len({plain_name(x.shelf) for x in named}) == 1 else [])
    if not over:
        return stand.light, None
    last = max(x.since or date.min for x in over)
    together = [x for x in over if (x.since or date.min) == last]
    lighting = next((x for x in together if same_name(x.light, stand.light)), together[0])
    return lighting.light, lighting


def one_by_one(lightings: Sequence[Lighting]) -> list[Lighting]:
    """The lights with the days on which they shone by rule 2: one that another took over from ends before it, and goes
    on after it if that was taken away first. Those that came together stay as they are."""
    found: list[Lighting] = []
    for light in lightings:
        begins = light.since
        for other in _that_came_over(light, lightings):
            assert other.since
            if begins is None or begins < other.since:
                found.append(replace(light, since=begins, until=other.since - timedelta(1)))
            if other.until is None or other.until >= light.until:
                break
            begins = max(begins or date.min, other.until + timedelta(1))
        else:
            found.append(replace(light, since=begins))
    return sorted(found, key=lambda x: (plain_name(x.shelf), x.since or date.min))


def _that_came_over(light: Lighting, lightings: Sequence[Lighting]) -> list[Lighting]:
    """Those that came to its shelf while it was said to be on, the first one first. On the day of a change both may."""
    begun, end = light.since or date.min, light.until or date.min
    came = [x for x in lightings if x.shelf and same_name(x.shelf, light.shelf) and x.since and begun < x.since < end]
    return sorted(came, key=lambda x: x.since or date.min)


def as_told(stands: Iterable[Stand], lightings: Sequence[Lighting]) -> tuple[Stand, ...]:
    """The stands with `light` only where no shelf says it."""
    lit = [x.shelf for x in lightings]
    return tuple(Stand(s.since, s.shelf, None) if any(same_name(s.shelf, shelf) for shelf in lit) else s
                 for s in stands)


def light_changes(stands: Sequence[Stand], lightings: Sequence[Lighting], first: date,
                  last: date) -> tuple[LightChange, ...]:
    """Every day after `first` and up to `last` on which another light shines than was known before."""
    turns = {s.since for s in stands} | {x.since for x in lightings}
    turns |= {x.until + timedelta(1) for x in lightings if x.until and x.until < date.max}
    changes = []
    before = light_over(stand_on(stands, first), lightings, first)[0]
    for day in sorted(d for d in turns if d and first < d <= last):
        after = light_over(stand_on(stands, day), lightings, day)[0]
        if after is not None and before is not None and not same_name(before, after):
            changes.append(LightChange(day, before, after))
        before = after or before
    return tuple(changes)

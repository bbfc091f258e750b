"""What is said of stretch over time, alike on the page and in the terminal: flats first, then lights, then sides."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from statistics import fmean

from seedlingcv.records.history import FlatHistory
from seedlingcv.report.words import count, listed
from seedlingcv.stretch.change import ChangeEffect, TwoSlopes
from seedlingcv.stretch.growth import FlatGrowth, Growth, PlaceGrowth
from seedlingcv.stretch.over_flats import count_flats
from seedlingcv.stretch.place import Across, Place
from seedlingcv.stretch.study import Study
from seedlingcv.units import MM_PER_INCH, length

NAMES = {"stem_length_mm": "stem length", "legginess": "legginess", "canopy_cover": "canopy cover",
         "true_leaves": "true leaves"}
LISTED = 8  # flat numbers named one by one; more are counted

BAND_NOTE = (
    "A flat is judged by the median of its plants. Growth is the mean of each plant's own, with a 95 % interval that "
    "counts what a photo gets wrong for all plants of a flat at once (5 % of stem length and of legginess)."
)
LIGHT_NOTE = (
    "Growth a day in the ten days after the change less that in the ten days before: of each flat the plants measured "
    "on every day used, flats as units. Plants speed up and slow down with age, so only the difference from flats of "
    "the same age that stayed under their light counts. They were sown within three days of the others and seen over "
    "the same ages."
)
SIDE_NOTE = (
    "Of each flat a plane through the legginess of its plants, then the mean over flats. Plants are leggier where they "
    "get less light; nobody measured that light here unless readings are named."
)
# What the light is not alone with: who the growth is told of, and why the light may not have done it.
DOUBTS = {
    "one shelf": ("in these flats, all on one shelf, growth", "one shelf can't show that the light did it"),
    "stayed on one shelf": ("in these flats growth", "those that stayed were all on one shelf, so it may have been the "
                            "shelf and not the light"),
    "shelves unknown": ("in these flats growth", "where the flats stood isn't written down, so nobody can say that the "
                        "light did it"),
}


def amount(value: float, field: str, *, inch: bool = False) -> str:
    """A level: `37 mm`, `0.92`, `31 %`, `2.5`."""
    if field == "stem_length_mm":
        return f"{value / MM_PER_INCH:.1f} in" if inch else length(value)
    if field == "canopy_cover":
        return f"{100 * value:.0f} %"
    return f"{value:.2f}" if field == "legginess" else f"{value:.1f}".removesuffix(".0")


def rate(value: float, field: str, *, inch: bool = False) -> str:
    """A change a day, without its unit."""
    if field == "stem_length_mm":
        text = f"{value / MM_PER_INCH:.3f}" if inch else f"{value:.1f}"
    elif field == "canopy_cover":
        text = f"{100 * value:.1f}"
    else:
        text = f"{value:.3f}" if field == "legginess" else f"{value:.2f}"
    text = text.replace("-", "−")
    return text.removeprefix("−") if not text.strip("−0.") else text  # no minus nought


def with_unit(value: float, field: str, *, inch: bool = False) -> str:
    unit = {"stem_length_mm": " in" if inch else " mm", "canopy_cover": " %"}.get(field, "")
    return rate(value, field, inch=inch) + unit


def interval(low: float, high: float, field: str, *, inch: bool = False) -> str:
    return f"95 % {rate(low, field, inch=inch)} to {rate(high, field, inch=inch)}"


def called(name: str, kind: str) -> str:
    """`bulb`; `light a` where the name is too short to be seen as one. kind : `light` or `shelf`"""
    return f"{kind} {name}" if len(name.split(",")[0]) < 3 else name


def say_day(when: date) -> str:
    return f"{when.day} {when:%B}"


def flat_numbers(flats: Sequence[FlatHistory]) -> str:
    """`flat 31`, `flats 31, 32 and 35`, `12 flats`."""
    names = list(dict.fromkeys(flat.place.removeprefix("flat ") for flat in flats))
    if len(names) > LISTED:
        return f"{len(names)} flats"
    return f"flat{'' if len(names) == 1 else 's'} {listed(names)}"


def counts(study: Study) -> str:
    """`16 flats on 6 days`."""
    return f"{count(count_flats(study.history.flats), 'flat')} on {count(len(study.days), 'day')}"


def left_lines(study: Study) -> list[tuple[str, str]]:
    """(flat and crop, what its legginess did), the longest outside first."""
    return [(f"{flat.place[0].upper()}{flat.place[1:]}, {flat.crop}", band.sentence) for flat, band in study.left]


def how_many_left(study: Study) -> str:
    """`5 of 12 flats left their band; 2 more are about to.`"""
    gone = sum(band.left for _, band in study.left)
    soon = len(study.left) - gone
    text = f"{gone} of {count(_judged(study), 'flat')} left {'its' if gone == 1 else 'their'} band"
    if not gone:
        text = f"None of {count(_judged(study), 'flat')} left its band yet"
    return text + (f"; {soon}{' more' if gone else ''} {'is' if soon == 1 else 'are'} about to." if soon else ".")


def _judged(study: Study) -> int:
    return sum(flat.potted is None for flat in study.history.flats) - len(study.unjudged)


def no_one_left(study: Study) -> str:
    judged = _judged(study)
    return f"None of {count(judged, 'flat')} left its band." if judged else "No flat can be judged yet."


def unjudged_lines(study: Study) -> list[str]:
    """`flats 33 and 34: measured on one day only`."""
    return [f"{flat_numbers(flats)}: {reason}" for reason, flats in _by_reason(study.unjudged)]


def _by_reason(flats: Sequence[tuple[FlatHistory, str]]) -> list[tuple[str, list[FlatHistory]]]:
    why: dict[str, list[FlatHistory]] = {}
    for flat, reason in flats:
        why.setdefault(reason, []).append(flat)
    return list(why.items())


def change_title(effect: ChangeEffect) -> str:
    """`bulb → new panel: flats 31 and 32 (tomato), on 11 March`."""
    flats = [*(slopes.history for slopes in effect.changed), *(flat for flat, _ in effect.left_out)]
    days = sorted({change.day for flat in flats for change in flat.changes_seen
                   if (change.before.casefold(), change.after.casefold()) ==
                   (effect.before.casefold(), effect.after.casefold())})
    when = f"on {say_day(days[0])}" if len(days) == 1 else f"{say_day(days[0])} to {say_day(days[-1])}"
    crop = f" ({effect.crop})" if effect.crop else ""
    return f"{effect.before} → {effect.after}: {flat_numbers(flats)}{crop}, {when}"


def change_line(effect: ChangeEffect, *, inch: bool = False) -> str:
    """What can be put down to the light, or why nothing can. A doubt stands in the sentence it concerns."""
    name = NAMES[effect.field].capitalize()
    if effect.effect is None:
        return f"{name}: nothing is claimed, as {effect.why_not}. {_courses(effect, inch)}".rstrip()
    found, field = effect.effect, effect.field
    if found.low <= 0 <= found.high:
        said = f"no clear effect, {with_unit(found.mean, field, inch=inch)} a day"
    else:
        size = abs(found.mean)
        said = _changed(effect, f"{with_unit(size, field, inch=inch)} a day, "
                                f"{amount(10 * size, field, inch=inch)} in ten days")
    limits = (-found.high, -found.low) if found.high < 0 else (found.low, found.high)
    units = f"{count(len(effect.changed), 'flat')} beside {len(effect.stayed)} that stayed"
    return f"{name}: {said} ({interval(*limits, field, inch=inch)}; {units}). {_courses(effect, inch)}"


def _changed(effect: ChangeEffect, size: str) -> str:
    slower = effect.effect.mean < 0
    if effect.doubt is None:
        return f"the change {'slowed it' if slower else 'sped it up'} by {size}"
    growth, but = DOUBTS[effect.doubt]
    return f"{growth} {'slowed' if slower else 'sped up'} by {size}; {but}"


def _courses(effect: ChangeEffect, inch: bool) -> str:
    """`Growth a day: 1.8 mm before, 0.9 mm after; in those that stayed under bulb 1.9 and 2.2 mm.`"""
    if not effect.changed:
        return ""

    def means(flats: Sequence[TwoSlopes]) -> tuple[str, str]:
        sides = [s.before for s in flats], [s.after for s in flats]
        return tuple(with_unit(fmean(side), effect.field, inch=inch) for side in sides)

    text = "Growth a day: {} before, {} after".format(*means(effect.changed))
    if effect.stayed:
        lights = listed([called(light, "light") for light in effect.stayed_under])
        text += f"; in those that stayed under {lights} {' and '.join(means(effect.stayed))}"
    return text + "."


def left_out_lines(effect: ChangeEffect) -> list[str]:
    """Who isn't counted, and who stayed but can't be put beside, with the reasons."""
    lines = [("Not counted", effect.left_out), ("Not put beside", effect.not_beside)]
    return [f"{title}: {_reasons(flats)}" for title, flats in lines if flats]


def _reasons(flats: Sequence[tuple[FlatHistory, str]]) -> str:
    """`flats 31 and 32 (another variety); flat 35 (measured at other ages)`."""
    return "; ".join(f"{flat_numbers(own)} ({reason})" for reason, own in _by_reason(flats))


def side_lines(places: Sequence[Place]) -> list[str]:
    """A line for each side that is clearly weak, then the places without one together."""
    lines = [f"{_titled(place)}: {_side_line(place, across)}" for place in places for across in clear_sides(place)]
    others: dict[str, list[str]] = {}
    for place in places:
        if not clear_sides(place):
            others.setdefault(_why_none(place), []).append(_titled(place))
    return lines + [f"{why}: {'; '.join(names)}" for why, names in others.items()]


def together_line(places: Sequence[Place]) -> str:
    """What the intervals of several sides hold for; empty where there is one at most."""
    together = max((place.together for place in places), default=1)
    if together < 2:
        return ""
    sides = "both directions" if together == 2 else f"all {together} sides looked at"
    return (f"The 95 % hold for {sides} together: with no weak side anywhere, one season in twenty would still show "
            "one.")


def map_note(place: Place) -> str:
    """Both slopes with their intervals, for beside the map."""
    if why := [across for across in (place.length, place.width) if across and across.slope.low is not None]:
        return f"{'; '.join(_slope(place, across) for across in why)} (95 %, {count(why[0].slope.flats, 'flat')})"
    return _why_none(place)


def _titled(place: Place) -> str:
    return place.name + (f" ({place.crop})" if place.crop else "")


def clear_sides(place: Place) -> list[Across]:
    """The directions along which one end is clearly leggier."""
    return [across for across in (place.length, place.width) if across and across.clear]


def _why_none(place: Place) -> str:
    if place.length is None and place.width is None:
        return "Stems were measured in too few rows or plants to see a side"
    return "No side is clearly weak" if place.enough else "One flat only, so nothing is claimed"


def _side_line(place: Place, across: Across) -> str:
    end = place.side(across.weak_end)
    toward = f"towards {end}"
    if across.window_side:
        at_window = across.window_side == across.weak_end
        toward = f"towards the window side ({end})" if at_window else f"away from the window, towards {end}"
    slope = across.slope
    low, high = (slope.low, slope.high) if slope.mean > 0 else (-slope.high, -slope.low)
    return (f"weak {toward}: legginess {abs(slope.mean):.2f} higher at that end (95 % {low:.2f} to {high:.2f}, "
            f"{count(slope.flats, 'flat')}){_readings(place, across)}")


def _readings(place: Place, across: Across) -> str:
    if across.ppfd_umol is None:
        return "; weak light is the likely reason, it was not measured"
    near, far = across.ppfd_umol
    there, other = (far, near) if across.weak_end == across.far else (near, far)
    other_end = place.side(across.near if across.weak_end == across.far else across.far)
    said = {True: "agree", False: "don't show it", None: "show no difference"}[across.readings_agree]
    return f"; the light readings {said}: {there:.0f} µmol there, {other:.0f} at {other_end}"


def _slope(place: Place, across: Across) -> str:
    low, high = (f"{value:+.2f}".replace("-", "−") for value in (across.slope.low, across.slope.high))
    return f"{place.side(across.far)} against {place.side(across.near)}: {low} to {high}"


def growth_line(growth: FlatGrowth, *, inch: bool = False) -> str:
    """`stem length 21 mm → 46 mm over 12 days, 2.1 mm a day (95 % 1.8 to 2.4)`, and the last step of several."""
    text = _grown(growth.whole, growth.field, inch)
    if len(growth.steps) < 2:
        return text
    last = growth.last_step
    of_last = f"{with_unit(last.per_day, growth.field, inch=inch)} a day"
    if last.low is not None:
        of_last += f" ({interval(last.low, last.high, growth.field, inch=inch)})"
    return f"{text}; over the last {count(last.days, 'day')} {of_last}"


def _grown(growth: Growth, field: str, inch: bool) -> str:
    before, after = (amount(v, field, inch=inch) for v in (growth.before, growth.after))
    text = (f"{NAMES[field]} {before} → {after} over {count(growth.days, 'day')}, "
            f"{with_unit(growth.per_day, field, inch=inch)} a day")
    if growth.low is None:
        return text
    return f"{text} ({interval(growth.low, growth.high, field, inch=inch)})"


def place_growth(growth: PlaceGrowth, *, inch: bool = False) -> str:
    """`1.8 mm a day (95 % 1.2 to 2.4, 4 flats)`, and how many flats are not in it."""
    mean = growth.per_day
    left_out = f"{count(growth.left_out, 'flat')} without the same plants on every day"
    if mean is None:
        return f"not told: {left_out}"
    text, more = f"{with_unit(mean.mean, growth.field, inch=inch)} a day", f"; left out: {left_out}"
    rests = "one flat: no interval" if mean.low is None else (
        f"{interval(mean.low, mean.high, growth.field, inch=inch)}, {count(mean.flats, 'flat')}")
    return f"{text} ({rests}{more if growth.left_out else ''})"

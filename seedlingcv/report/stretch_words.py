"""What is said of stretch over time, alike on the page and in the terminal: flats first, then lights, then sides."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from statistics import fmean

from seedlingcv.records.history import FlatHistory
from seedlingcv.report.words import count, listed
from seedlingcv.stretch.change import ChangeEffect, TwoSlopes
from seedlingcv.stretch.growth import FlatGrowth, Growth, PlaceGrowth
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
    "Growth a day in the ten days after the change less that in the ten days before, flats as units. Plants speed up "
    "and slow down with age, so only the difference from flats of the same age that stayed under their light counts."
)
SIDE_NOTE = (
    "Of each flat a plane through the legginess of its plants, then the mean over flats. Plants are leggier where they "
    "get less light; nobody measured that light here unless readings are named. Of twenty sides that are alike, one "
    "will look weak by chance."
)


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
    flats = len({(flat.flat, flat.sown) for flat in study.history.flats})
    return f"{count(flats, 'flat')} on {count(len(study.days), 'day')}"


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
    why: dict[str, list[FlatHistory]] = {}
    for flat, reason in study.unjudged:
        why.setdefault(reason, []).append(flat)
    return [f"{flat_numbers(flats)}: {reason}" for reason, flats in why.items()]


def change_title(effect: ChangeEffect) -> str:
    """`bulb → new panel: flats 31 and 32 (tomato), on 11 March`."""
    flats = [*(slopes.history for slopes in effect.changed), *effect.left_out]
    days = sorted({change.day for flat in flats for change in flat.changes
                   if (change.before.casefold(), change.after.casefold()) ==
                   (effect.before.casefold(), effect.after.casefold())})
    when = f"on {say_day(days[0])}" if len(days) == 1 else f"{say_day(days[0])} to {say_day(days[-1])}"
    crop = f" ({effect.crop})" if effect.crop else ""
    return f"{effect.before} → {effect.after}: {flat_numbers(flats)}{crop}, {when}"


def change_line(effect: ChangeEffect, *, inch: bool = False) -> str:
    """What can be put down to the light, or why nothing can."""
    name = NAMES[effect.field].capitalize()
    if effect.effect is None:
        return f"{name}: nothing is claimed: {effect.why_not}. {_courses(effect, inch)}".rstrip()
    found, field = effect.effect, effect.field
    units = f"{count(len(effect.changed), 'flat')} beside {len(effect.stayed)} that stayed"
    if found.low <= 0 <= found.high:
        said = f"no clear effect, {with_unit(found.mean, field, inch=inch)} a day"
    else:
        size = abs(found.mean)
        said = (f"the change {'slowed' if found.mean < 0 else 'sped up'} it by {with_unit(size, field, inch=inch)} a "
                f"day, {amount(10 * size, field, inch=inch)} in ten days")
    limits = (-found.high, -found.low) if found.high < 0 else (found.low, found.high)
    text = f"{name}: {said} ({interval(*limits, field, inch=inch)}; {units}). {_courses(effect, inch)}"
    return f"{text} {_at_once(effect)}".rstrip()


def _courses(effect: ChangeEffect, inch: bool) -> str:
    """`Growth a day: 1.8 mm before, 0.9 mm after; in those that stayed under bulb 1.9 and 2.2 mm.`"""
    if not effect.changed:
        return ""

    def means(flats: Sequence[TwoSlopes]) -> tuple[str, str]:
        sides = [s.before for s in flats], [s.after for s in flats]
        return tuple(with_unit(fmean(side), effect.field, inch=inch) for side in sides)

    text = "Growth a day: {} before, {} after".format(*means(effect.changed))
    if effect.stayed:
        text += f"; in those that stayed under {listed(effect.stayed_under)} {' and '.join(means(effect.stayed))}"
    return text + "."


def _at_once(effect: ChangeEffect) -> str:
    if not effect.at_once:
        return ""
    return ("All stood on one shelf and changed on one day: whatever else was new there from that day on would look "
            "the same.")


def left_out_line(effect: ChangeEffect) -> str:
    if not effect.left_out:
        return ""
    return (f"Not counted: {flat_numbers(effect.left_out)}, not measured twice within ten days before and twice within "
            "ten days after.")


def side_lines(places: Sequence[Place]) -> list[str]:
    """A line for each side that is clearly weak, then the places without one together."""
    lines = [f"{_titled(place)}: {_side_line(place, across)}" for place in places for across in _clear(place)]
    others: dict[str, list[str]] = {}
    for place in places:
        if not _clear(place):
            others.setdefault(_why_none(place), []).append(_titled(place))
    return lines + [f"{why}: {'; '.join(names)}" for why, names in others.items()]


def map_note(place: Place) -> str:
    """Both slopes with their intervals, for beside the map."""
    if why := [across for across in (place.length, place.width) if across and across.slope.low is not None]:
        return f"{'; '.join(_slope(place, across) for across in why)} (95 %, {count(why[0].slope.flats, 'flat')})"
    return _why_none(place)


def _titled(place: Place) -> str:
    return place.name + (f" ({place.crop})" if place.crop else "")


def _clear(place: Place) -> list[Across]:
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
    said = "agree" if across.readings_agree else "don't show it"
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
    """`1.8 mm a day (95 % 1.2 to 2.4, 4 flats)`."""
    mean = growth.per_day
    text = f"{with_unit(mean.mean, growth.field, inch=inch)} a day"
    if mean.low is None:
        return f"{text} (one flat: no interval)"
    return f"{text} ({interval(mean.low, mean.high, growth.field, inch=inch)}, {count(mean.flats, 'flat')})"

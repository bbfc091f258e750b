"""What each key of a crop file may hold. A reader returns the value or raises ValueError saying what is wanted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

KINDS = ("vegetable", "herb", "flower")
TOLERANCES = ("easy", "care", "once", "avoid")
BURIALS = ("deep", "to_seed_leaves", "same_depth", "crown_above")
ARRANGEMENTS = ("alternate", "opposite pairs")
FORMS = ("upright", "short stem", "rosette", "no stem")
STAGES = ("seed_leaves", "pot_up", "sale")
LIMITS = ("compact_below", "normal_below", "leggy_above", "young_leggy_above")


def text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("a text in quotes")
    return value


def texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueError('a list of texts, as ["one", "two"]')
    return tuple(text(v) for v in value)


def one_of(choices: tuple) -> Callable[[Any], Any]:
    def read(value: Any) -> Any:
        if isinstance(value, bool) or value not in choices:
            raise ValueError("one of: " + ", ".join(map(str, choices)))
        return value

    return read


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def number(least: float, most: float) -> Callable[[Any], float]:
    def read(value: Any) -> float:
        if not _is_number(value) or not least <= value <= most:
            raise ValueError(f"a number from {least:g} to {most:g}")
        return value

    return read


def pair(least: float, most: float, *, whole: bool = False) -> Callable[[Any], tuple]:
    def read(value: Any) -> tuple:
        good = isinstance(value, list) and len(value) == 2 and all(_is_number(v) for v in value)
        kind = "whole numbers" if whole else "numbers"
        good = good and (not whole or all(isinstance(v, int) for v in value))
        if not good or not least <= value[0] <= value[1] <= most:
            raise ValueError(f"two {kind} [from, to] between {least:g} and {most:g}")
        return tuple(value)

    return read


def by_stage(value: Any) -> dict[str, tuple[float, float]]:
    """Lengths by stage, none of which may shrink as the plant grows."""
    if not isinstance(value, dict) or not value or not set(value) <= set(STAGES):
        raise ValueError("ranges by stage (" + ", ".join(STAGES) + "), as { pot_up = [60, 100] }")
    read = {stage: pair(1, 2000)(value[stage]) for stage in STAGES if stage in value}
    ranges = list(read.values())
    if any(a[0] > b[0] or a[1] > b[1] for a, b in zip(ranges, ranges[1:], strict=False)):
        raise ValueError("ranges that don't shrink from stage to stage")
    return read


def root_bound(value: Any) -> dict[int, tuple[int, int]]:
    if not isinstance(value, dict) or not value or not all(k.isdigit() for k in value):
        raise ValueError("days by cells a flat, as { 72 = [35, 42] }")
    read = {int(k): pair(1, 365, whole=True)(v) for k, v in value.items()}
    days = [read[cells] for cells in sorted(read)]
    if any(a[0] < b[0] or a[1] < b[1] for a, b in zip(days, days[1:], strict=False)):
        raise ValueError("days that don't rise with the number of cells: smaller cells fill sooner")
    return read


def limits(value: Any) -> dict[str, Any]:
    """The fields of `crop.Bands`."""
    wanted = {*LIMITS, "from_true_leaves", "derived_from"}
    if not isinstance(value, dict) or set(value) != wanted:
        raise ValueError("a table with " + ", ".join(sorted(wanted)))
    numbers = [number(0, 20)(value[k]) for k in LIMITS]
    if not 0 < numbers[0] < numbers[1] < numbers[2] <= numbers[3]:
        raise ValueError("limits over 0 that rise: compact_below < normal_below < leggy_above <= young_leggy_above")
    leaves = value["from_true_leaves"]
    if isinstance(leaves, bool) or leaves not in range(11):
        raise ValueError("from_true_leaves as a whole number from 0 to 10")
    return dict(zip(LIMITS, numbers, strict=True)) | {
        "from_true_leaves": leaves,
        "derived_from": text(value["derived_from"]),
    }


ALWAYS: dict[str, Callable] = {
    "family": text,
    "aliases": texts,
    "leaf_arrangement": one_of(ARRANGEMENTS),
    "cotyledons": one_of((0, 1, 2)),
    "transplant_tolerance": one_of(TOLERANCES),
    "min_night_c": number(-20, 30),
    "cautions": texts,
}
TO_POT_UP: dict[str, Callable] = {  # not for crops that are never moved
    "pot_up_true_leaves": pair(0, 20, whole=True),
    "weeks_to_pot_up": pair(0, 52),
    "weeks_in_pot": pair(0, 52),
    "burial": one_of(BURIALS),
    "root_bound_days": root_bound,
}
# What every crop that comes along has besides; a grower's own crop may do without.
SHIPPED: dict[str, Callable] = {
    "botanical_name": text,
    "kind": one_of(KINDS),
    "growth_form": one_of(FORMS),
    "heights_mm": by_stage,
    "day_c": pair(-5, 45),
    "night_c": pair(-5, 35),
    "hazards": texts,
}
SHIPPED_TO_POT_UP: dict[str, Callable] = {
    "crown_rule": text,
    "hardening_days": pair(0, 60, whole=True),
    "hardening": text,
}
OPTIONAL: dict[str, Callable] = {
    "usual_height_mm": number(1, 1000),
    "burial_limit_mm": number(0, 500),
    "spread_mm": by_stage,
    "legginess": limits,
    "seed_hazards": texts,
}
READERS = ALWAYS | TO_POT_UP | SHIPPED | SHIPPED_TO_POT_UP | OPTIONAL
BY_STAGE_OR_LIMIT = ("heights_mm", "spread_mm", "legginess")  # one entry alone may be changed


def contradiction(values: dict[str, Any]) -> str | None:
    """What two values of one crop say against each other, or None."""
    day, night, least = values.get("day_c"), values.get("night_c"), values["min_night_c"]
    if day and night and (night[0] > day[0] or night[1] > day[1]):
        return "night_c is warmer than day_c"
    if night and least > night[0]:
        return "min_night_c is above night_c"
    if values.get("growth_form") == "no stem" and "legginess" in values:
        return 'a crop with growth_form "no stem" can\'t have legginess limits'
    if "usual_height_mm" not in values and "pot_up" not in values.get("heights_mm", {}):
        return "neither usual_height_mm nor heights_mm at pot_up is given"
    return None

"""Words for a helper on their first day."""

from __future__ import annotations

from datetime import date

from seedlingcv.flags import PHOTO

# Flags whose text wants figures that only the photo's own entry has, in words without them.
WITHOUT_FIGURES = {
    "card_missing": "a corner card can't be read",
    "tilted": "the camera was tilted",
    "low_resolution": "too few pixels per mm",
    "two_flats": "tags of more than one flat are in the picture",
    "layout_wrong": "the register's layout isn't the picture's",
}


def warning(code: str) -> str:
    """A photo's flag in words, no figure left to be filled in."""
    text = PHOTO[code].text if code in PHOTO else "{"
    return WITHOUT_FIGURES.get(code, code.replace("_", " ")) if "{" in text else text


def number(value: float) -> str:
    """At most one decimal: `2`, `2.5`."""
    return f"{value:.1f}".removesuffix(".0")


def count(value: float, noun: str, plural: str | None = None) -> str:
    """`1 true leaf`, `2.5 true leaves`."""
    return f"{number(value)} {noun if value == 1 else plural or noun + 's'}"


def true_leaves(value: float) -> str:
    return count(value, "true leaf", "true leaves")


def ratio(index: float, limit: float) -> str:
    """An index to one decimal, to two where one would hide on which side of the limit it lies."""
    return f"{index:.1f}" if f"{index:.1f}" != f"{limit:.1f}" else f"{index:.2f}"


def limit(value: float) -> str:
    """A limit of legginess, to the decimals it has: `1.0`, `0.85`."""
    return f"{value:.1f}" if abs(value - round(value, 1)) < 0.005 else f"{value:.2f}"


def percent(fraction: float) -> str:
    return f"{100 * fraction:.0f} %"


def day(when: date) -> str:
    """`Tue 25 Mar`."""
    return f"{when:%a} {when.day} {when:%b}"


def days_ago(days: int) -> str:
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")


def night_temperature(celsius: float, *, inch: bool = False) -> str:
    return f"{celsius * 9 / 5 + 32:.0f} °F" if inch else f"{celsius:g} °C"

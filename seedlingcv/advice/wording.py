"""Words for a helper on their first day."""

from __future__ import annotations

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


def count(number: float, noun: str, plural: str | None = None) -> str:
    """`1 true leaf`, `2.5 true leaves`."""
    return f"{number:g} {noun if number == 1 else plural or noun + 's'}"


def true_leaves(number: float) -> str:
    return count(number, "true leaf", "true leaves")


def ratio(index: float, limit: float) -> str:
    """An index to one decimal, to two where one would hide on which side of the limit it lies."""
    return f"{index:.1f}" if f"{index:.1f}" != f"{limit:.1f}" else f"{index:.2f}"


def percent(fraction: float) -> str:
    return f"{100 * fraction:.0f} %"


def night_temperature(celsius: float, *, inch: bool = False) -> str:
    return f"{celsius * 9 / 5 + 32:.0f} °F" if inch else f"{celsius:g} °C"

"""Colours for the cell maps: two ramps that only ever get darker, so they read in grey and to any eye."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

RGB = tuple[int, int, int]

# Each runs from pale to dark with lightness falling evenly; hue only helps those who see it.
STRETCH: tuple[RGB, ...] = (
    (251, 243, 214), (243, 208, 138), (222, 154, 87), (183, 98, 70), (125, 52, 66), (60, 18, 48))
COVER: tuple[RGB, ...] = (
    (240, 246, 228), (199, 225, 178), (142, 194, 140), (78, 153, 114), (30, 103, 86), (8, 52, 48))
BLACK, WHITE = (0, 0, 0), (255, 255, 255)


@dataclass(frozen=True)
class Scale:
    """Steps of equal width from `low` to `high`; what lies outside takes the colour of the end."""

    low: float
    high: float
    stops: tuple[RGB, ...]

    def step(self, value: float) -> int:
        place = (value - self.low) / (self.high - self.low) * len(self.stops)
        return min(max(math.floor(place), 0), len(self.stops) - 1)

    def colour(self, value: float) -> RGB:
        return self.stops[self.step(value)]

    @property
    def edges(self) -> list[float]:
        width = (self.high - self.low) / len(self.stops)
        return [self.low + i * width for i in range(len(self.stops) + 1)]


def stretch_scale(values: Iterable[float | None]) -> Scale:
    """One scale for all flats of a report, so that a shade means the same legginess on every page.

    The top twentieth of the values shares the darkest shade, so that one odd plant does not wash out the
    rest. Steps are whole twentieths.
    """
    had = sorted(v for v in values if v is not None)
    if not had:
        return Scale(0.0, 0.05 * len(STRETCH), STRETCH)
    low, high = had[0], had[math.ceil(0.95 * (len(had) - 1))]
    start = math.floor(low * 20 + 1e-9)  # in twentieths
    width = max(1, math.ceil((high * 20 - start) / len(STRETCH) - 1e-9))
    return Scale(start / 20, (start + width * len(STRETCH)) / 20, STRETCH)


def cover_scale() -> Scale:
    return Scale(0.0, 1.0, COVER)


def luminance(colour: RGB) -> float:
    """Relative luminance, 0 to 1, of an sRGB colour (W3C WCAG 2.1, definition of "relative luminance")."""

    def linear(channel: int) -> float:
        c = channel / 255
        return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(c) for c in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: RGB, other: RGB) -> float:
    """Contrast ratio, 1 to 21 (W3C WCAG 2.1, definition of "contrast ratio")."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def ink_on(colour: RGB) -> RGB:
    """Black or white, whichever is read better; the better one never falls below 4.58 : 1."""
    return max((BLACK, WHITE), key=lambda ink: contrast(ink, colour))


def css(colour: RGB) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)

"""Pots that nurseries commonly use, and how much of a seedling finds room in one.

Pots are sold by width; depth and volume differ by maker, so measure yours and name it. Where no source stands,
sizes are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import pi, sqrt

from seedlingcv.units import MM_PER_INCH

HEADSPACE_MM = 13  # half an inch left free below the rim for water: common practice, no source (6 to 25 mm are printed)
MEAN_WIDTH = 0.85  # a pot's width at half depth over its width at the rim: common practice, no source
BEND_MM = 10  # a young tomato stem is bent no tighter than this: judgement
CP = "common practice, no source"


@dataclass(frozen=True)
class Pot:
    """A pot by its outer width at the rim and its depth; `shape` is "square" or "round"."""

    width_mm: float
    depth_mm: float
    shape: str = "square"
    name: str | None = None
    volume_ml: float | None = None
    source: str = CP


# Volumes with a source: pots a bag of 3 cubic feet fills, in a US supplier's list (seen), and pots a cubic foot
# fills, in a table of pot-fill figures (seen), computed to one pot.
USUAL_POTS = (
    Pot(57, 57, "round", "2 1/4 in round", 111, "volume: table of pot-fill figures (seen), 256 pots a cubic foot"),
    Pot(62, 57, "square", "cell of a 6-pack", 140),
    Pot(70, 80, "square", "7 cm square", 270),
    Pot(80, 85, "square", "8 cm square", 380),
    Pot(90, 80, "square", "3 1/2 in square", 420, "18 a carry tray (seen); depth and volume common practice"),
    Pot(90, 80, "round", "9 cm round", 360),
    Pot(102, 89, "square", "4 in square", 578, "volume: a supplier's list of container capacities (seen)"),
    Pot(102, 95, "round", "4 in round", 590, "volume: table of pot-fill figures (seen), 48 pots a cubic foot"),
    Pot(110, 100, "round", "11 cm round", 650),
    Pot(115, 105, "round", "4 1/2 in round", 750),
    Pot(130, 115, "round", "13 cm round", 1050),
    Pot(150, 130, "round", "6 in or 15 cm round", 1600),
    Pot(165, 165, "round", "1 gallon nursery", 2800, "volume: from memory, a trade gallon is 2.7 to 3.0 l"),
    Pot(200, 200, "round", "8 in round", 4700, "volume: table of pot-fill figures (seen), 6 pots a cubic foot"),
)
# What is taken where the grower names none: for plugs, and for plants that stand in pots already.
SMALL_POT = next(p for p in USUAL_POTS if p.name == "3 1/2 in square")
LARGE_POT = next(p for p in USUAL_POTS if p.name == "6 in or 15 cm round")
MOST_FOR_A_SEEDLING_ML = 3000  # in more mix than that a plug's roots sit wet: judgement
LEAST_MM, MOST_MM = 30, 500
TO_MM = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH}


def usual_pot(fits: Callable[[Pot], bool]) -> Pot | None:
    """The smallest usual pot that fits and isn't too large for a seedling."""
    good = (p for p in USUAL_POTS if p.volume_ml <= MOST_FOR_A_SEEDLING_ML and fits(p))
    return min(good, key=lambda p: p.volume_ml, default=None)


def read_pot(text: str) -> Pot:
    """`90x80` (mm), `3.5 x 3 in`, `9x8cm`, with `round` or `square` behind, or a usual pot's name, `4 in round`.

    Raises ValueError, saying how a pot is written.
    """
    plain = " ".join(text.lower().replace('"', "in").replace("inches", "in").replace("inch", "in").split())
    named = {p.name: p for p in USUAL_POTS if p.name} | {"1 gallon": USUAL_POTS[-2], "6 in round": LARGE_POT,
                                                         "15 cm round": LARGE_POT}
    if plain in named:
        return named[plain]
    number = r"([0-9]+(?:[.,][0-9]+)?(?: [0-9]+/[0-9]+)?)"
    unit = r"\s*(mm|cm|in)?\s*"
    match = re.fullmatch(rf"{number}{unit}[x×*]\s*{number}{unit}(?:deep)?\s*(square|round)?", plain)
    if match is None:
        usual = ", ".join(named)
        raise ValueError(f"write width x depth, such as 90x80 (mm) or 3.5x3in, or one of: {usual}")
    width, first, depth, second, shape = match.groups()
    scale = TO_MM[second or first or "mm"]
    width_mm, depth_mm = _number(width) * (TO_MM[first] if first else scale), _number(depth) * scale
    if not all(LEAST_MM <= mm <= MOST_MM for mm in (width_mm, depth_mm)):
        raise ValueError(f"{width_mm:g} x {depth_mm:g} mm is no pot; for inches or cm write the unit, such as 3.5x3in")
    return Pot(width_mm, depth_mm, shape or "square")


def _number(text: str) -> float:
    whole, _, fraction = text.replace(",", ".").partition(" ")
    top, _, bottom = fraction.partition("/")
    return float(whole) + (int(top) / max(1, int(bottom)) if top else 0)


def laid_room_mm(pot: Pot, plug_mm: float, plug_width_mm: float) -> float | None:
    """How much stem finds room with the plug on its side and the stem curved up beyond it; None if the plug doesn't
    fit.

    The plug lies along the pot's longest line at half depth: in a square pot from side to side, or along the diagonal
    less the plug's width where that is longer; in a round one along the chord that leaves room for its width. The stem
    runs on from the plug's middle to the wall, turns up in a quarter circle and rises to the surface.
    """
    width = MEAN_WIDTH * pot.width_mm
    if pot.shape == "round":
        along = sqrt(max(0.0, width**2 - plug_width_mm**2))
    else:
        along = max(width, sqrt(2) * width - plug_width_mm)
    beyond, rise = along - plug_mm, pot.depth_mm - HEADSPACE_MM - plug_width_mm / 2
    if beyond < BEND_MM or rise < plug_width_mm / 2:
        return None
    turn = min(beyond, rise)
    return (beyond - turn) + pi / 2 * turn + (rise - turn)

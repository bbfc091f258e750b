"""What the rules need to know of a crop, read from one TOML file per crop.

Each key of a crop file is a section with `value`, `source` and perhaps `note`. A grower's own file overrides
any of them, one section per crop: plain values will do, the source is then the grower's file.

    [tomato]
    pot_up_true_leaves = [3, 5]
    [tomato.legginess]
    leggy_above = 1.2
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from difflib import get_close_matches
from math import log
from pathlib import Path
from typing import Any

from seedlingcv.errors import CropError

FOLDER = Path(__file__).parent
TOLERANCES = ("easy", "care", "once", "avoid")
BURIALS = ("deep", "to_seed_leaves", "same_depth", "crown_above")
ARRANGEMENTS = ("alternate", "opposite pairs")


@dataclass(frozen=True)
class Bands:
    """Limits of legginess (stem length / leaf spread). Below `from_true_leaves` only the last one is used."""

    compact_below: float
    normal_below: float
    leggy_above: float
    young_leggy_above: float
    from_true_leaves: int
    derived_from: str  # the crop whose published tables they rest on


@dataclass(frozen=True)
class Crop:
    """A crop. Lengths mm, temperatures °C, leaves counted singly also where they come in pairs.

    transplant_tolerance  easy, care, once (young, plug whole), avoid (tap root: not transplanted)
    pot_up_true_leaves    from, to; None (as all that follow potting up) for `avoid`
    weeks_to_pot_up       usual weeks from sowing
    weeks_in_pot          usual weeks in the pot before planting out
    burial                deep, to_seed_leaves, same_depth, crown_above
    burial_limit_mm       most that `to_seed_leaves` may go deeper, else None
    root_bound            cells a flat -> days from sowing (roots begin to circle, surely circle)
    legginess             None where there is no stem to measure
    usual_height_mm       leaves over the soil at the pot-up stage
    cotyledons            seed leaves seen above the soil (0 where they stay below it)
    sources               key of the file -> where its value comes from
    """

    name: str
    family: str
    aliases: tuple[str, ...]
    leaf_arrangement: str
    cotyledons: int
    transplant_tolerance: str
    usual_height_mm: float
    min_night_c: float
    cautions: tuple[str, ...]
    pot_up_true_leaves: tuple[int, int] | None = None
    weeks_to_pot_up: tuple[float, float] | None = None
    weeks_in_pot: tuple[float, float] | None = None
    burial: str | None = None
    burial_limit_mm: float | None = None
    root_bound: dict[int, tuple[int, int]] = field(default_factory=dict)
    legginess: Bands | None = None
    sources: dict[str, str] = field(default_factory=dict)

    @property
    def bands_unproved(self) -> bool:
        return self.legginess is not None and self.legginess.derived_from != self.name

    @property
    def burial_mends_stretch(self) -> bool:
        """Whether deeper potting takes up a stretched stem (25 mm: the least that cabbage kin are given)."""
        limit_mm = self.burial_limit_mm or 0
        return self.burial == "deep" or (self.burial == "to_seed_leaves" and limit_mm >= 25)

    def root_bound_days(self, cells: int) -> tuple[int, int] | None:
        """Days from sowing until roots begin to circle and surely circle, for any number of cells a flat.

        Between two listed sizes by the logarithm of the number of cells, beyond them the nearest listed one.
        """
        if not self.root_bound:
            return None
        sizes = sorted(self.root_bound)
        if cells <= sizes[0] or cells >= sizes[-1]:
            return self.root_bound[sizes[0] if cells <= sizes[0] else sizes[-1]]
        high = next(s for s in sizes if s >= cells)
        low = sizes[sizes.index(high) - 1]
        share = (log(cells) - log(low)) / (log(high) - log(low))
        first, last = (
            round(a + (b - a) * share)
            for a, b in zip(self.root_bound[low], self.root_bound[high], strict=True)
        )
        return first, last


def _text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("a text in quotes")
    return value


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueError('a list of texts, as ["one", "two"]')
    return tuple(_text(v) for v in value)


def _one_of(choices: tuple) -> Callable[[Any], Any]:
    def read(value: Any) -> Any:
        if value not in choices:
            raise ValueError("one of: " + ", ".join(map(str, choices)))
        return value

    return read


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number(least: float, most: float) -> Callable[[Any], float]:
    def read(value: Any) -> float:
        if not _is_number(value) or not least <= value <= most:
            raise ValueError(f"a number from {least:g} to {most:g}")
        return value

    return read


def _pair(least: float, most: float, *, whole: bool = False) -> Callable[[Any], tuple]:
    def read(value: Any) -> tuple:
        good = isinstance(value, list) and len(value) == 2 and all(_is_number(v) for v in value)
        kind = "whole numbers" if whole else "numbers"
        good = good and (not whole or all(isinstance(v, int) for v in value))
        if not good or not least <= value[0] <= value[1] <= most:
            raise ValueError(f"two {kind} [from, to] between {least:g} and {most:g}")
        return tuple(value)

    return read


def _root_bound(value: Any) -> dict[int, tuple[int, int]]:
    if not isinstance(value, dict) or not value or not all(k.isdigit() for k in value):
        raise ValueError("days by cells a flat, as { 72 = [35, 42] }")
    return {int(k): _pair(1, 365, whole=True)(v) for k, v in value.items()}


def _bands(value: Any) -> Bands:
    limits = ("compact_below", "normal_below", "leggy_above", "young_leggy_above")
    wanted = {*limits, "from_true_leaves", "derived_from"}
    if not isinstance(value, dict) or set(value) != wanted:
        raise ValueError("a table with " + ", ".join(sorted(wanted)))
    numbers = [_number(0, 20)(value[k]) for k in limits]
    if not numbers[0] < numbers[1] < numbers[2] <= numbers[3]:
        raise ValueError("limits that rise: compact_below < normal_below < leggy_above <= young_leggy_above")
    leaves = value["from_true_leaves"]
    if leaves not in range(11):
        raise ValueError("from_true_leaves as a whole number from 0 to 10")
    return Bands(*numbers, from_true_leaves=leaves, derived_from=_text(value["derived_from"]))


ALWAYS: dict[str, Callable] = {
    "family": _text,
    "aliases": _texts,
    "leaf_arrangement": _one_of(ARRANGEMENTS),
    "cotyledons": _one_of((0, 1, 2)),
    "transplant_tolerance": _one_of(TOLERANCES),
    "usual_height_mm": _number(1, 1000),
    "min_night_c": _number(-20, 30),
    "cautions": _texts,
}
TO_POT_UP: dict[str, Callable] = {  # not for crops that are never moved
    "pot_up_true_leaves": _pair(0, 20, whole=True),
    "weeks_to_pot_up": _pair(0, 52),
    "weeks_in_pot": _pair(0, 52),
    "burial": _one_of(BURIALS),
    "root_bound_days": _root_bound,
}
OPTIONAL: dict[str, Callable] = {"burial_limit_mm": _number(0, 500), "legginess": _bands}
READERS = ALWAYS | TO_POT_UP | OPTIONAL


@dataclass(frozen=True)
class _Entry:
    value: Any
    source: str
    file: Path


def _read(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as handle:
            return tomllib.load(handle)
    except OSError as error:
        reason = error.strerror or error
        raise CropError(f"can't be read ({reason}).", where=str(path), next_step="Check the path.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise CropError(
            f"is not valid TOML ({error}).", where=str(path), next_step="Compare it with a shipped crop file."
        ) from error


def _shipped_entries(path: Path) -> dict[str, _Entry]:
    entries = {}
    for key, section in _read(path).items():
        if not isinstance(section, dict) or "value" not in section or not section.get("source"):
            raise CropError(
                f"[{key}] needs a value and a source.",
                where=path.name,
                next_step='Write `source = "common practice, no source"` if there is none.',
            )
        entries[key] = _Entry(section["value"], section["source"], path)
    return entries


def _overlay(entries: dict[str, _Entry], section: Any, path: Path, name: str) -> dict[str, _Entry]:
    if not isinstance(section, dict):
        raise CropError(f"'{name}' must be a section.", where=str(path), next_step=f"Head it [{name}].")
    merged = dict(entries)
    for key, given in section.items():
        source = f"own file {path.name}"
        if isinstance(given, dict) and "value" in given:
            given, source = given["value"], given.get("source", source)
        if key == "legginess" and isinstance(given, dict):  # one limit alone may be changed
            shipped = entries[key].value if key in entries else {}
            given = {"derived_from": name} | shipped | given
        merged[key] = _Entry(given, source, path)
    return merged


def _build(name: str, entries: dict[str, _Entry], path: Path) -> Crop:
    values = {}
    for key, entry in entries.items():
        if key not in READERS:
            raise CropError(
                f"[{name}] '{key}' is not a key of a crop.",
                where=entry.file.name,
                next_step="Known keys: " + ", ".join(READERS) + ".",
            )
        try:
            values[key] = READERS[key](entry.value)
        except ValueError as error:
            raise CropError(
                f"[{name}] '{key}' is {entry.value!r}.", where=entry.file.name, next_step=f"Give {error}."
            ) from error
    needed = list(ALWAYS) + ([] if values.get("transplant_tolerance") == "avoid" else list(TO_POT_UP))
    if values.get("burial") == "to_seed_leaves":
        needed.append("burial_limit_mm")
    missing = [key for key in needed if key not in values]
    if missing:
        raise CropError(f"[{name}] lacks {', '.join(missing)}.", where=path.name, next_step="Add it.")
    values["root_bound"] = values.pop("root_bound_days", {})
    return Crop(name=name, sources={k: e.source for k, e in entries.items()}, **values)


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())


def _files() -> dict[str, Path]:
    return {_plain(path.stem): path for path in sorted(FOLDER.glob("*.toml"))}


def _names_and_aliases() -> dict[str, str]:
    """Every plain name and alias -> the crop's name."""
    known = {name: name for name in _files()}
    for name, path in _files().items():
        aliases = _shipped_entries(path).get("aliases")
        known |= {_plain(alias): name for alias in (aliases.value if aliases else [])}
    return known


def crop_names() -> tuple[str, ...]:
    """The names of the shipped crops, sorted."""
    return tuple(_files())


def _own_sections(path: Path, known: dict[str, str]) -> dict[str, Any]:
    sections = {}
    for heading, section in _read(path).items():
        name = known.get(_plain(heading), _plain(heading))
        if name in sections:
            raise CropError(
                f"more than one section is for {name}.",
                where=str(path),
                next_step="Join them under one heading.",
            )
        sections[name] = section
    return sections


def load_crop(name: str, own: Path | None = None) -> Crop:
    """The crop of that name or alias, overlaid with the grower's own file where one is given.

    Raises CropError: unknown crop (with close matches), a file that can't be read, a wrong or missing value.
    """
    known = _names_and_aliases()
    crop = known.get(_plain(name), _plain(name))
    path = _files().get(crop)
    entries = _shipped_entries(path) if path else {}
    own_sections = _own_sections(own, known) if own else {}
    if crop in own_sections and own:
        entries = _overlay(entries, own_sections[crop], own, crop)
    if not entries:
        close = get_close_matches(_plain(name), [*known, *own_sections], n=3)
        meant = f"Did you mean {' or '.join(close)}?" if close else f"Known: {', '.join(crop_names())}."
        raise CropError(f"no crop is called '{name}'.", where="crop files", next_step=meant)
    return _build(crop, entries, path or own or FOLDER)

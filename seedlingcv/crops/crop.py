"""What the rules need to know of a crop, read from one TOML file per crop (`vegetables/`, `herbs/`, `flowers/`).

Each key of a crop file has a `value`, a `source` (an entry of `sources.toml`, or several) and perhaps a `note`.
A grower's own file overrides any of them or adds crops, one section per crop: plain values will do, the source
is then the grower's file. Of heights, spreads and limits one entry alone may be changed.

    [tomato]
    pot_up_true_leaves = [3, 5]
    [tomato.legginess]
    leggy_above = 1.2
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from math import log
from pathlib import Path
from typing import Any

from seedlingcv.crops import values as read
from seedlingcv.crops.values import BURIALS, TOLERANCES
from seedlingcv.errors import CropError

__all__ = ["BURIALS", "FOLDER", "TOLERANCES", "Bands", "Crop", "crop_names", "load_crop"]

FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Bands:
    """Limits of legginess (stem length / leaf spread). Below `from_true_leaves` only the last one is used."""

    compact_below: float
    normal_below: float
    leggy_above: float
    young_leggy_above: float
    from_true_leaves: int
    derived_from: str  # the crop whose published tables they rest on
    marks: int = 0  # the grower's own marks that shifted them (marks.py)

    def leggy_limit(self, true_leaves: float | None) -> float:
        """The leggy limit in use at so many true leaves; the young one where they were not counted."""
        young = true_leaves is None or true_leaves < self.from_true_leaves
        return self.young_leggy_above if young else self.leggy_above

    @property
    def origin(self) -> str:
        """`tomato's tables`, or `own marks (12), starting from tomato's tables`."""
        tables = f"{self.derived_from}'s tables"
        return f"own marks ({self.marks}), starting from {tables}" if self.marks else tables


@dataclass(frozen=True)
class Crop:
    """A crop. Lengths mm, temperatures °C, leaves counted singly also where they come in pairs.

    transplant_tolerance  easy, care, once (young, plug whole), avoid (tap root: not transplanted)
    pot_up_true_leaves    from, to; None (as all that follow potting up) for `avoid`
    weeks_to_pot_up       usual weeks from sowing
    weeks_in_pot          usual weeks from pot-up to sale or planting out
    burial                deep, to_seed_leaves, same_depth, crown_above
    burial_limit_mm       most that `to_seed_leaves` may go deeper, else None
    crown_rule            where the crown or growing point must stay, in words
    root_bound            cells a flat -> days from sowing (roots begin to circle, surely circle)
    legginess             None where there is no stem to measure
    growth_form           upright, short stem (leaves rise above it), rosette, no stem
    heights_mm            leaves over the soil by stage: seed_leaves (open), pot_up, sale (or planting out)
    spread_mm             largest leaf spread of a well-grown plant by stage: seed_leaves, pot_up
    usual_height_mm       leaves over the soil at the pot-up stage, one figure: the middle of heights_mm there
    day_c, night_c        while growing on; min_night_c: below it a check or chilling is likely
    cotyledons            seed leaves seen above the soil (0 where they stay below it)
    cautions              all there is to say, the hazards last
    hazards               those of the cautions about people's and animals' health
    seed_hazards          the same of bought seed, which nobody needs to hear at potting up: not among the cautions
    sources, notes        key of the file -> where its value comes from; what else is to be said of it
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
    botanical_name: str | None = None
    kind: str | None = None
    growth_form: str | None = None
    heights_mm: dict[str, tuple[float, float]] = field(default_factory=dict)
    spread_mm: dict[str, tuple[float, float]] = field(default_factory=dict)
    day_c: tuple[float, float] | None = None
    night_c: tuple[float, float] | None = None
    crown_rule: str | None = None
    hardening_days: tuple[int, int] | None = None
    hardening: str | None = None
    hazards: tuple[str, ...] = ()
    seed_hazards: tuple[str, ...] = ()
    notes: dict[str, str] = field(default_factory=dict)

    @property
    def leaves_in_pairs(self) -> bool:
        return self.leaf_arrangement == "opposite pairs"

    @property
    def pot_up_said(self) -> str | None:
        """The pot-up window as growers say it: `2-4 true leaves`, `2-3 pairs of true leaves`."""
        return None if self.pot_up_true_leaves is None else self.leaves_said(*self.pot_up_true_leaves)

    def leaves_said(self, low: int, high: int) -> str:
        """A number of true leaves in words; in pairs where the crop has them and the numbers allow it."""
        pairs = self.leaves_in_pairs and low % 2 == 0 and high % 2 == 0
        low, high = (low // 2, high // 2) if pairs else (low, high)
        many = "pairs of true leaves" if pairs else "true leaves"
        one = "pair of true leaves" if pairs else "true leaf"
        return f"{low:g} {one if low == 1 else many}" if low == high else f"{low:g}-{high:g} {many}"

    @property
    def bands_unproved(self) -> bool:
        """Whether the limits rest on another crop's tables and not on this grower's marks either."""
        bands = self.legginess
        return bands is not None and bands.derived_from != self.name and bands.marks == 0

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


@dataclass(frozen=True)
class _Entry:
    value: Any
    source: str
    note: str | None
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


@cache
def source_texts() -> dict[str, str]:
    """Entry of `sources.toml` -> how it is said behind a value, with its mark (seen, from memory)."""
    listed = _read(FOLDER / "sources.toml")
    return {key: f"{s['short']} ({s['mark']})" if s["mark"] else s["short"] for key, s in listed.items()}


def _source(given: Any, path: Path, key: str) -> str:
    named = [given] if isinstance(given, str) else given
    unknown = [n for n in named if n not in source_texts()] if isinstance(named, list) else [given]
    if not named or unknown:
        raise CropError(
            f"[{key}] has a source that sources.toml doesn't list: {unknown or given!r}.",
            where=path.name,
            next_step='Add it there, or write source = "common" if there is none.',
        )
    return "; ".join(source_texts()[n] for n in named)


@cache
def _shipped_entries(path: Path) -> dict[str, _Entry]:
    entries = {}
    for key, section in _read(path).items():
        if not isinstance(section, dict) or not {"value", "source"} <= set(section) <= {"value", "source", "note"}:
            raise CropError(
                f"[{key}] needs a value and a source, and may have a note.",
                where=path.name,
                next_step='Write source = "common" if there is none.',
            )
        source = _source(section["source"], path, key)
        entries[key] = _Entry(section["value"], source, section.get("note"), path)
    return entries


def _overlay(entries: dict[str, _Entry], section: Any, path: Path, name: str) -> dict[str, _Entry]:
    if not isinstance(section, dict):
        raise CropError(f"'{name}' must be a section.", where=str(path), next_step=f"Head it [{name}].")
    merged = dict(entries)
    for key, given in section.items():
        source, note = f"own file {path.name}", None
        if isinstance(given, dict) and "value" in given:
            given, source, note = given["value"], str(given.get("source", source)), given.get("note")
        if key in read.BY_STAGE_OR_LIMIT and isinstance(given, dict):
            shipped = entries[key].value if key in entries else {}
            given = ({"derived_from": name} if key == "legginess" else {}) | shipped | given
        merged[key] = _Entry(given, source, note, path)
    return merged


def _values(name: str, entries: dict[str, _Entry]) -> dict[str, Any]:
    values = {}
    for key, entry in entries.items():
        if key not in read.READERS:
            raise CropError(
                f"[{name}] '{key}' is not a key of a crop.",
                where=entry.file.name,
                next_step="Known keys: " + ", ".join(read.READERS) + ".",
            )
        try:
            values[key] = read.READERS[key](entry.value)
        except ValueError as error:
            raise CropError(
                f"[{name}] '{key}' is {entry.value!r}.", where=entry.file.name, next_step=f"Give {error}."
            ) from error
    return values


def _build(name: str, entries: dict[str, _Entry], path: Path, *, shipped: bool) -> Crop:
    values = _values(name, entries)
    moved = values.get("transplant_tolerance") != "avoid"
    needed = [*read.ALWAYS, *(read.SHIPPED if shipped else ())]
    needed += [*read.TO_POT_UP, *(read.SHIPPED_TO_POT_UP if shipped else ())] if moved else []
    if values.get("burial") == "to_seed_leaves":
        needed.append("burial_limit_mm")
    missing = [key for key in needed if key not in values]
    if missing:
        raise CropError(f"[{name}] lacks {', '.join(missing)}.", where=path.name, next_step="Add it.")
    if wrong := read.contradiction(values):
        changed = next((e.file for e in entries.values() if e.file != path), path)  # the grower's own file, if any
        raise CropError(f"[{name}] {wrong}.", where=changed.name, next_step="Change one of the two.")
    sources = {key: entry.source for key, entry in entries.items()}
    if "usual_height_mm" not in values:
        values["usual_height_mm"] = sum(values["heights_mm"]["pot_up"]) / 2
        sources["usual_height_mm"] = f"middle of heights_mm at pot_up: {sources['heights_mm']}"
    values["root_bound"] = values.pop("root_bound_days", {})
    values["legginess"] = Bands(**values["legginess"]) if "legginess" in values else None
    values["cautions"] += values.get("hazards", ())
    notes = {key: entry.note for key, entry in entries.items() if entry.note}
    return Crop(name=name, sources=sources, notes=notes, **values)


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").replace("'", "").split())


@cache
def _files() -> dict[str, Path]:
    return {_plain(path.stem): path for path in sorted(FOLDER.glob("*/*.toml"))}


def _names_and_aliases() -> dict[str, str]:
    """Every plain name and alias -> the crop's name."""
    known = {name: name for name in _files()}
    for name, path in _files().items():
        aliases = _shipped_entries(path).get("aliases")
        known |= {_plain(alias): name for alias in (aliases.value if aliases else [])}
    return known


def crop_names(own: Path | None = None) -> tuple[str, ...]:
    """The names of the crops that come along and of those in the grower's own file, sorted."""
    return tuple(sorted({*_files(), *(_own_sections(own, _names_and_aliases()) if own else ())}))


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


def names_of(name: str) -> set[str]:
    """What flats of a crop may be called in records: as named here, in small letters, and by the crop's own name if
    that is an alias. A crop of the grower's own has its name alone."""
    try:
        return {name.casefold(), load_crop(name).name}
    except CropError:
        return {name.casefold()}


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
        meant = f"Did you mean {' or '.join(close)}?" if close else "`seedlingcv crop` lists all."
        raise CropError(f"no crop is called '{name}'.", where="crop files", next_step=meant)
    return _build(crop, entries, path or own or FOLDER, shipped=path is not None)

"""`seedlingcv crop`: what is known of a crop, and where each value comes from."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.cli import options

if TYPE_CHECKING:
    from rich.console import Console

    from seedlingcv.crops.crop import Crop

GROUPS = {"vegetable": "Vegetables", "herb": "Herbs", "flower": "Flowers", None: "Your own"}
TOLERANCE = {
    "easy": "easy",
    "care": "with care",
    "once": "once, while young, with the plug whole",
    "avoid": "not transplanted: sow it where it is to grow",
}
BURIAL = {
    "deep": "deep, along the stem",
    "to_seed_leaves": "to the seed leaves at most",
    "same_depth": "at the old depth",
    "crown_above": "crown above the surface",
}
STAGES = {"seed_leaves": "seed leaves", "pot_up": "pot-up", "sale": "sale or planting"}


def crop(
    name: Annotated[str | None, typer.Argument(help="A crop; all crops are listed without one.",
                                               show_default=False)] = None,
    crops: options.Crops = None,
    inches: options.Inches = False,
) -> None:
    """Print what is known of a crop and where from, or list all crops."""
    from rich.console import Console

    from seedlingcv.crops.crop import crop_names, load_crop

    console = Console()
    if name is None:
        print_names(console, [load_crop(known, crops) for known in crop_names(crops)])
    else:
        print_crop(console, load_crop(name, crops), inch=inches)


def print_names(console: Console, crops: list[Crop]) -> None:
    """All crops in groups."""
    for kind, title in GROUPS.items():
        names = [c.name for c in crops if c.kind == kind]
        if names:
            console.print(f"[bold]{title} ({len(names)})[/bold]")
            console.print(", ".join(names) + "\n", highlight=False, markup=False)
    console.print("seedlingcv crop NAME tells what is known of one.", highlight=False)


def print_crop(console: Console, crop: Crop, *, inch: bool = False) -> None:
    """One line a value: what, the value, the number of its source; notes and sources below."""
    from rich.markup import escape
    from rich.table import Table

    listed: list[str] = []
    name = escape(crop.name[0].upper() + crop.name[1:])
    table = Table(title=name, title_justify="left", title_style="bold", box=None, pad_edge=False)
    table.add_column("What", no_wrap=True)
    table.add_column("Value", overflow="fold")
    table.add_column("Source", no_wrap=True)
    for what, value, key in rows(crop, inch=inch):
        numbers = _numbers(crop.sources.get(key, ""), listed)
        note = _numbered(crop.notes.get(key, ""), listed)
        table.add_row(what, escape(value) + (f"\n[dim]{escape(note)}[/dim]" if note else ""), numbers)
    console.print(table, highlight=False)
    console.print()
    for number, source in enumerate(listed, 1):
        console.print(f"{number:>3}  {source}", highlight=False, markup=False)


def rows(crop: Crop, *, inch: bool = False) -> list[tuple[str, str, str]]:
    """(what, value, key of the crop file) for everything that is known of the crop."""
    moved = crop.transplant_tolerance != "avoid"
    lines = [
        ("Botanical name", crop.botanical_name or "", "botanical_name"),
        ("Family", crop.family, "family"),
        ("Kind", crop.kind or "", "kind"),
        ("Other names", ", ".join(crop.aliases), "aliases"),
        ("Leaves", f"in {crop.leaf_arrangement}" if crop.leaves_in_pairs else crop.leaf_arrangement,
         "leaf_arrangement"),
        ("Seed leaves", str(crop.cotyledons) if crop.cotyledons else "none above the soil", "cotyledons"),
        ("Transplanting", TOLERANCE[crop.transplant_tolerance], "transplant_tolerance"),
    ]
    if moved:
        lines += _potting(crop, inch)
    lines += _sizes(crop, inch)
    lines += [
        ("Day", _range(crop.day_c, "°C", inch), "day_c"),
        ("Night", _range(crop.night_c, "°C", inch), "night_c"),
        ("Lowest night", _range((crop.min_night_c, crop.min_night_c), "°C", inch), "min_night_c"),
    ]
    if moved:
        lines.append(("Hardening off", _range(crop.hardening_days, "days"), "hardening_days"))
        lines.append(("How", crop.hardening or "", "hardening"))
    handling = crop.cautions[: len(crop.cautions) - len(crop.hazards)]
    lines.append(("Cautions", "\n".join(handling), "cautions"))
    lines.append(("Health", "\n".join(crop.hazards), "hazards"))
    lines.append(("Seed", "\n".join(crop.seed_hazards), "seed_hazards"))
    return [line for line in lines if line[1]]


def _potting(crop: Crop, inch: bool) -> list[tuple[str, str, str]]:
    from seedlingcv.units import length

    single = "{}-{} single leaves".format(*crop.pot_up_true_leaves)
    window = f"{crop.pot_up_said} ({single})" if "pair" in crop.pot_up_said else crop.pot_up_said
    limit = "" if crop.burial_limit_mm is None else f"{length(crop.burial_limit_mm, inch=inch)} at most"
    roots = [f"{cells} cells: {_range(days, 'days')}" for cells, days in sorted(crop.root_bound.items())]
    return [
        ("Pot up at", window, "pot_up_true_leaves"),
        ("Usually after", _range(crop.weeks_to_pot_up, "weeks"), "weeks_to_pot_up"),
        ("In the pot", _range(crop.weeks_in_pot, "weeks"), "weeks_in_pot"),
        ("Depth", BURIAL[crop.burial], "burial"),
        ("Deeper by", limit, "burial_limit_mm"),
        ("Crown", crop.crown_rule or "", "crown_rule"),
        ("Roots circle", "\n".join(roots), "root_bound_days"),
    ]


def _sizes(crop: Crop, inch: bool) -> list[tuple[str, str, str]]:
    stages = STAGES | ({"pot_up": "young plant"} if crop.transplant_tolerance == "avoid" else {})

    def by_stage(sizes: dict) -> str:
        return "\n".join(f"{stages[s]}: {_range(mm, 'mm', inch)}" for s, mm in sizes.items())

    lines = [("Grows", crop.growth_form or "", "growth_form"),
             ("Height", by_stage(crop.heights_mm), "heights_mm"),
             ("Used as height", _range((crop.usual_height_mm,) * 2, "mm", inch), "usual_height_mm"),
             ("Spread", by_stage(crop.spread_mm), "spread_mm")]
    if bands := crop.legginess:
        leaves = "1 true leaf" if bands.from_true_leaves == 1 else f"{bands.from_true_leaves} true leaves"
        stretch = (f"seed leaves: leggy above {bands.young_leggy_above:.2g}\n"
                   f"from {leaves} on: compact below {bands.compact_below:.2g}, normal below "
                   f"{bands.normal_below:.2g}, leggy above {bands.leggy_above:.2g}\nfrom {bands.origin}")
        lines.append(("Stretch", stretch, "legginess"))
    return lines


def _range(values: tuple[float, float] | None, unit: str, inch: bool = False) -> str:
    """`2-3 weeks`, `60-100 mm` (`2 3/8 - 4 in`), `18-24 °C` (`64-75 °F`)."""
    from seedlingcv.units import length

    if values is None:
        return ""
    low, high = values
    if unit == "mm" and inch:
        low, high = (length(v, inch=True).removesuffix(" in") for v in (low, high))
        return f"{low} in" if low == high else f"{low} - {high} in"
    if unit == "°C" and inch:
        low, high, unit = round(low * 9 / 5 + 32), round(high * 9 / 5 + 32), "°F"
    return f"{low:g} {unit}" if low == high else f"{low:g}-{high:g} {unit}"


def _numbers(sources: str, listed: list[str]) -> str:
    """The numbers of a value's sources; new ones are added to the list."""
    numbers = []
    for source in filter(None, sources.split("; ")):
        if source not in listed:
            listed.append(source)
        numbers.append(str(listed.index(source) + 1))
    return ", ".join(numbers)


def _numbered(note: str, listed: list[str]) -> str:
    """A note with the entries of sources.toml that it names, such as (delaware), as numbers."""
    from seedlingcv.crops.crop import source_texts

    texts = source_texts()

    def number(match: re.Match) -> str:
        keys = match[1].split(", ")
        return f"[{', '.join(_numbers(texts[k], listed) for k in keys)}]" if set(keys) <= set(texts) else match[0]

    return re.sub(r"\(([a-z0-9_]+(?:, [a-z0-9_]+)*)\)", number, note)

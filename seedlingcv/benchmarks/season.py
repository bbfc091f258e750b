"""An invented season of tomatoes under three lights, as the tables a grower would keep.

    python -m seedlingcv.benchmarks.season FOLDER        writes flats.csv, lights.csv, figures.csv ... into FOLDER

Nothing here was measured. What is built in, so that it can be looked for:

1. Bulbs stretch plants much (they drive at twice a panel plant's legginess), old tubes a little (a tenth). Flats differ
   among themselves about as much as the cells of one flat do, so the little cannot be told with four flats a light.
2. Four flats leave the bulbs for the panel on `CHANGED`: two get another lamp, two another shelf.
3. On each rack's upper shelf, and on all of racks 3 and 4, which stand before the window, the end at the window gets
   less of the lamp, and stretches.
4. A tube over flat `DEAD_TUBE` fails on `FAILED`.

Every plant keeps its own vigour and habit from day to day. Growth a day: the spread's logarithm grows by the light's
rate, slower with age; the stem's by the same times (target / legginess)^1.5, so that legginess nears the target.
"""

from __future__ import annotations

import csv
import io
import sys
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import exp, log
from pathlib import Path
from random import Random

from seedlingcv.files import write_whole
from seedlingcv.flat.layout import cell_name

INVENTED = "# invented: see README.md"
SEASON = 36  # any number makes another season; chosen so that no light got four tall or four short flats by chance
SOWN = date(2025, 2, 17)
DAYS = (date(2025, 3, 3), date(2025, 3, 7), date(2025, 3, 10), date(2025, 3, 14), date(2025, 3, 19))
CHANGED, FAILED = date(2025, 3, 11), date(2025, 3, 9)
DEAD_TUBE = 302
FIRST_AGE = 14  # days from sowing to the first look
ROWS, COLUMNS = 6, 12
LOOKED_AT = tuple(cell_name(row, column) for row in (0, 2, 5) for column in (1, 3, 5, 8, 10, 12))
FLAT_SD, PLANT_SD = 0.09, 0.10  # of the logarithm of legginess
FLAT_VIGOUR_SD, PLANT_VIGOUR_SD = 0.05, 0.10  # of the logarithm of spread
MISREAD_MM, DAYS_HAND_SD = 0.7, 0.03  # of one reading; of the logarithm of all stems of a flat on one day
SLIP = (306, "C5", DAYS[3])  # a stem whose digits are written the wrong way round, put right in corrections.csv
WINDOW_STRETCH = 0.10  # of the logarithm of stem length, at the window end; as much less at the other
CATCHING_UP = 1.5
SLOWING = 0.02  # of the rate of growth, a day


@dataclass(frozen=True)
class Light:
    """spread_mm and legginess on the first day; rate of the spread's logarithm a day; legginess it drives at."""

    name: str
    spread_mm: float
    legginess: float
    rate: float
    target: float
    leaf_days: float  # days a true leaf takes


TUBES = Light("old tubes", 26.0, 0.75, 0.0645, 0.68, 5.5)
PANEL = Light("white panel", 26.5, 0.72, 0.0660, 0.62, 5.3)
BULBS = Light("dim bulbs", 24.5, 1.02, 0.0490, 1.26, 7.0)
BROKEN = Light("a tube that failed", 26.0, 0.75, 0.056, 1.55, 6.0)


@dataclass(frozen=True)
class Flat:
    """Shelves and lights, each from a day on."""

    number: int
    batch: str
    stands: tuple[tuple[date, str, Light], ...]

    @property
    def shelf(self) -> str:
        return self.stands[0][1]

    def light(self, day: date) -> Light:
        if self.number == DEAD_TUBE and day >= FAILED:
            return BROKEN
        return [light for since, _, light in self.stands if since <= day][-1]

    def at_window(self, day: date) -> bool:
        return has_window([shelf for since, shelf, _ in self.stands if since <= day][-1])


def has_window(shelf: str) -> bool:
    return shelf.endswith("upper") or shelf.startswith(("rack 3", "rack 4"))


def flats() -> list[Flat]:
    """301-304 under tubes, 305-308 under the panel, 309-312 under bulbs, 313-316 under bulbs and then the panel."""
    found = []
    for rack, light in ((1, TUBES), (2, PANEL), (3, BULBS), (4, BULBS)):
        for level in ("upper", "lower"):
            for batch in ("one", "two"):
                stands = [(SOWN, f"rack {rack} {level}", light)]
                if rack == 4:
                    stands.append((CHANGED, "rack 4 upper" if level == "upper" else "rack 2 lower", PANEL))
                found.append(Flat(301 + len(found), batch, tuple(stands)))
    return found


@dataclass
class Plant:
    """One cell's plant, its logarithms of spread and legginess, and how it differs from the light's usual plant."""

    flat: Flat
    cell: str
    vigour: float
    habit: float
    leaf_lead: float
    end: float  # -1 at column 1 to 1 at the last column
    spread: float = field(init=False)
    legginess: float = field(init=False)
    leaves: float = field(init=False)

    def __post_init__(self) -> None:
        light = self.flat.light(SOWN)
        self.spread, self.legginess = log(light.spread_mm) + self.vigour, log(light.legginess) + self.habit
        self.leaves = 0.5 + self.leaf_lead - (light.leaf_days - PANEL.leaf_days) * 0.2

    def grow(self, day: date) -> None:
        """From `day` to the next."""
        light = self.flat.light(day)
        rate = light.rate * (1 - SLOWING * ((day - SOWN).days - FIRST_AGE))
        target = log(light.target) + self.habit
        self.legginess += rate * (exp(CATCHING_UP * (target - self.legginess)) - 1)
        self.spread += rate
        self.leaves += 1 / light.leaf_days

    def spread_mm(self) -> float:
        return exp(self.spread)

    def stem_mm(self, day: date) -> float:
        towards = WINDOW_STRETCH * self.end if self.flat.at_window(day) else 0.0
        return exp(self.spread + self.legginess + towards)

    def cover(self) -> float:
        """Share of the cell: a fifth at 59 mm, growing with the square of the spread until leaves overlap."""
        return 1 - exp(-0.23 * (self.spread_mm() / 59) ** 2)


def plants(flat: Flat) -> dict[str, Plant | int]:
    """By cell: its plant, or how many where it isn't one."""
    of_flat = Random(f"season {SEASON} flat {flat.number}")
    vigour = of_flat.gauss(0, FLAT_VIGOUR_SD) - (0.03 if flat.batch == "two" else 0)
    habit = of_flat.gauss(0, FLAT_SD)
    found: dict[str, Plant | int] = {}
    for row in range(ROWS):
        for column in range(1, COLUMNS + 1):
            cell = cell_name(row, column)
            own = Random(f"season {SEASON} flat {flat.number} cell {cell}")
            chance = own.random()
            if chance < 0.05:
                found[cell] = 0 if chance < 0.03 else 2
                continue
            found[cell] = Plant(flat, cell, vigour + own.gauss(0, PLANT_VIGOUR_SD), habit + own.gauss(0, PLANT_SD),
                                own.gauss(0, 0.3), (2 * column - COLUMNS - 1) / (COLUMNS - 1))
    return found


def grown(flat: Flat, until: date) -> dict[str, Plant | int]:
    """The flat's plants as on a day."""
    found = plants(flat)
    for plant in found.values():
        if isinstance(plant, Plant):
            for age in range(FIRST_AGE, (until - SOWN).days):
                plant.grow(SOWN + timedelta(age))
    return found


def figures() -> list[tuple]:
    """A line a cell looked at: plants, true leaves, stem and spread to the millimetre, canopy cover."""
    return [line for day in DAYS for flat in flats() for line in _lines(flat, day)]


def _lines(flat: Flat, day: date) -> list[tuple]:
    lines = []
    now = grown(flat, day)
    for cell in LOOKED_AT:
        plant = now[cell]
        if isinstance(plant, Plant):
            stem, spread = read_by_ruler(plant, day)
            if (flat.number, cell, day) == SLIP:
                stem = int(str(stem)[::-1])
            lines.append((flat.number, cell, day, 1, max(0, int(plant.leaves)), stem, spread, f"{plant.cover():.2f}"))
        else:
            lines.append((flat.number, cell, day, plant, "", "", "", ""))
    return lines


def read_by_ruler(plant: Plant, day: date) -> tuple[int, int]:
    """Stem and spread in mm, as someone reads them off."""
    reader = Random(f"{plant.flat.number} {plant.cell} {day}")
    hand = Random(f"season {SEASON} {plant.flat.number} {day}")
    true = plant.stem_mm(day) * exp(hand.gauss(0, DAYS_HAND_SD)), plant.spread_mm()
    stem, spread = (round(length + reader.gauss(0, MISREAD_MM)) for length in true)
    return stem, spread


HEADS = {
    "flats.csv": "flat,crop,variety,layout,sown,seed_lot,batch,shelf",
    "lights.csv": "shelf,light,type,spectrum,ppfd,hours,distance_mm,red_far_red,window_side,from,to",
    "moves.csv": "flat,date,shelf",
    "figures.csv": "flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover",
    "corrections.csv": "flat,date,cell,figure,value,who,when,why",
    "root_checks.csv": "flat,date,roots,who",
    "potted.csv": "flat,date,plants,pot,who,note",
}
KINDS = {
    TUBES: ("fluorescent tubes", "white 6500 K", 16, 250, 5.0),
    PANEL: ("LED panel", "white 4000 K", 16, 350, 4.5),
    BULBS: ("halogen bulbs", "warm white 2700 K", 14, 600, 0.7),
}
READINGS = {  # µmol m-2 s-1 at the canopy; row A first, column 1 first
    "rack 1 upper": "104 108 92 70 / 100 106 90 68", "rack 1 lower": "98",
    "rack 2 upper": "228 240 205 158 / 222 236 200 150", "rack 2 lower": "212",
    "rack 3 upper": "47 52 43 30 / 45 50 41 29", "rack 3 lower": "46 51 41 29 / 43 48 40 28",
    "rack 4 upper": "46 50 42 30 / 44 49 41 28", "rack 4 lower": "45 50 40 28 / 43 47 40 27",
}
NEW_READINGS = "224 236 198 152 / 220 230 196 148"  # rack 4 upper, with the panel


def tables() -> dict[str, list[tuple]]:
    """The lines of each file."""
    lamps = []
    for rack, light in ((1, TUBES), (2, PANEL), (3, BULBS), (4, BULBS)):
        for level in ("upper", "lower"):
            shelf = f"rack {rack} {level}"
            side = "last column" if has_window(shelf) else ""
            until = CHANGED - timedelta(1) if shelf == "rack 4 upper" else ""
            lamps.append(_lamp(shelf, light, READINGS[shelf], side, SOWN, until))
            if until:
                lamps.append(_lamp(shelf, PANEL, NEW_READINGS, side, CHANGED, ""))
    lots = {"one": "HL-2404", "two": "HL-2411"}
    moved = [(f.number, CHANGED, f.stands[1][1]) for f in flats() if f.shelf == "rack 4 lower"]
    last, (number, cell, day) = DAYS[-1], SLIP
    right = read_by_ruler(grown(next(f for f in flats() if f.number == number), day)[cell], day)[0]
    return {
        "flats.csv": [(f.number, "tomato", "Harbor Lantern", f"{ROWS}x{COLUMNS}", SOWN, lots[f.batch],
                       f"sowing {f.batch}", f.shelf) for f in flats()],
        "lights.csv": lamps,
        "moves.csv": moved,
        "figures.csv": figures(),
        "corrections.csv": [
            (number, day, cell, "stem_length_mm", right, "Ana", day + timedelta(1), "written as its digits reversed"),
            (311, last, "F12", "leaf_spread_mm", "", "Tom", last, "a leaf was torn off by the sheet"),
        ],
        "root_checks.csv": [(305, last, "firm", "Ana"), (301, last, "firm", "Ana"), (309, last, "not_ready", "Tom")],
        "potted.csv": [(305, last + timedelta(1), 66, "9 cm", "Tom", "the first of rack 2")],
    }


def _lamp(shelf: str, light: Light, ppfd: str, side: str, since: date, until: date | str) -> tuple:
    kind, spectrum, hours, distance, red_far_red = KINDS[light]
    return shelf, light.name, kind, spectrum, ppfd, hours, distance, red_far_red, side, since, until


def write(folder: Path) -> list[Path]:
    """Raises OutputError where a file can't be written."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, lines in tables().items():
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerows(lines)
        write_whole(folder / name, f"{INVENTED}\n{HEADS[name]}\n{out.getvalue()}")
    return [folder / name for name in HEADS]


if __name__ == "__main__":
    for path in write(Path(sys.argv[1])):
        print(path)

"""Photos with exact truth: rendered flats (`flats/<name>/truth.json`) and field photos (`real/<set>/*_mask.png`).

Cameras and label images refer to the photos' pixels as stored. Lengths in mm, angles in degrees.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.errors import SeedlingError

FIELD_SETS = ("peanut_field", "carrot_weed")
ELSEWHERE = 65535  # in a flat's label image: a plant of another flat in view


@dataclass(frozen=True)
class FlatTruth:
    """One rendered flat. `cells` and `photos` are as truth.json has them, weeds included."""

    folder: Path
    tag: int
    crop: str
    light: str
    rows: int
    columns: int
    cells: tuple[dict, ...]
    photos: dict[str, dict]

    @property
    def name(self) -> str:
        return self.folder.name

    @property
    def layout(self) -> str:
        return f"{self.rows}x{self.columns}"

    @property
    def stage(self) -> str:
        """True leaves of the middle four fifths of the plants, as a grower would say it."""
        leaves = sorted(p["true_leaf_count"] for c in self.cells for p in crop_plants(c))
        low, high = (leaves[round(share * (len(leaves) - 1))] for share in (0.1, 0.9))
        if high == 0:
            return "seed leaves"
        count = f"{low}" if low == high else f"{low}–{high}"
        return f"{count} true {'leaf' if high == 1 else 'leaves'}"

    def photo(self, view: str) -> Path:
        return self.folder / self.photos[view]["file"]

    def labels(self, view: str) -> np.ndarray:
        """uint16 (height, width): plant_id, 0 = none, 65535 = a plant of another flat."""
        return read_labels(self.folder / self.photos[view]["mask"])


@dataclass(frozen=True)
class FieldPhoto:
    path: Path

    @property
    def name(self) -> str:
        return self.path.stem.removesuffix("_rgb")

    def vegetation(self) -> np.ndarray:
        """bool (height, width): any plant."""
        return read_labels(self.path.with_name(f"{self.name}_mask.png")) > 0


@dataclass(frozen=True)
class Evaluation:
    folder: Path
    flats: tuple[FlatTruth, ...]
    field: dict[str, tuple[FieldPhoto, ...]]  # by set; a set that is not there has no key
    bad: tuple[dict, ...] = ()  # photos that must be refused: file, codes, may_be_used


def read_evaluation(folder: Path) -> Evaluation:
    """Raises SeedlingError if the folder holds no flats with truth."""
    paths = sorted((folder / "flats").glob("*/truth.json"))
    if not paths:
        raise SeedlingError("There are no flats with truth here (flats/<name>/truth.json).", where=str(folder),
                            next_step="Name the folder of evaluation photos, such as ../shared/eval; "
                                      "without one nothing can be measured.")
    field = {name: tuple(FieldPhoto(p) for p in sorted((folder / "real" / name).glob("*_rgb.*")))
             for name in FIELD_SETS}
    answers = folder / "flats" / "bad" / "answers.json"
    bad = tuple(json.loads(answers.read_text(encoding="utf-8"))) if answers.is_file() else ()
    return Evaluation(folder, tuple(_read_flat(p) for p in paths), {k: v for k, v in field.items() if v}, bad)


def _read_flat(path: Path) -> FlatTruth:
    try:
        tree = json.loads(path.read_text(encoding="utf-8"))
        layout = tree["layout"]
        return FlatTruth(path.parent, int(tree["flat_tag_id"]), tree["crop"], tree["light"]["description"],
                         layout["rows"], layout["columns"], tuple(tree["cells"]), tree["photos"])
    except (ValueError, KeyError, TypeError) as error:
        raise SeedlingError(f"This is no truth of a flat ({type(error).__name__}: {error}).", where=str(path),
                            next_step="Copy the evaluation photos again.") from error


def crop_plants(cell: dict) -> list[dict]:
    """The cell's plants that are no weeds."""
    return [p for p in cell["plants"] if not p.get("is_weed")]


def read_labels(path: Path) -> np.ndarray:
    """A label image or mask, pixels as stored. Raises SeedlingError if it can't be read."""
    labels = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if labels is None:
        raise SeedlingError("This label image can't be read.", where=str(path),
                            next_step="Copy the evaluation photos again.")
    return labels if labels.ndim == 2 else labels[..., 0]

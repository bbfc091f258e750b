"""Flats with exact truth as lessons: the same arrays as invented scenes give, with some of them unknown.

    python -m seedlingcv.training.flats FOLDER OUT   prepares both overhead photos of each flat in FOLDER

FOLDER holds <flat>/overhead_a.jpg, overhead_b.jpg, *_plants.png and truth.json. OUT gets, for each photo, the picture
as the program rectifies and balances it, the share of vegetation and the plant of each pixel, and what is true of
plants and cells.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.flat.layout import standard_layout
from seedlingcv.segment.model import reading_view
from seedlingcv.training.ground import seen_at
from seedlingcv.training.samples import MOST_BLADES, MOST_CELLS, MOST_PLANTS, base_peaks, place_of
from seedlingcv.training.scenes import PICTURE

# Which of the eight development flats are left out together, by how their names begin: no crop stands in both parts.
FOLDS = (("d01", "d05", "d06", "d07"), ("d02", "d03", "d04", "d08"))
UNKNOWN_MM = -9999.0  # the base of a plant of another flat


def prepare(photo: Path, out: Path) -> None:
    from seedlingcv.assess.look import look_at
    from seedlingcv.flat.rectify import rectify
    from seedlingcv.flat.white import balance, white_reference
    from seedlingcv.measure.reading import settle_layout
    from seedlingcv.photo.read import read_photo
    from seedlingcv.tags.family import CORNER_IDS

    truth = json.loads((photo.parent / "truth.json").read_text())
    look, image = look_at(photo, photo.name), read_photo(photo).image
    fit = settle_layout(image, look.pose, (truth["layout"]["rows"], truth["layout"]["columns"]))
    view = reading_view(fit.layout)
    view = view.at_scale(PICTURE * view.px_per_mm)
    white = white_reference(image, [tag for tag in look.tags if tag.id in CORNER_IDS])
    picture = balance(rectify(image, fit.pose, view), white)
    plants = cv2.imread(str(photo.with_name(photo.stem + "_plants.png")), cv2.IMREAD_UNCHANGED)
    name = f"{photo.parent.name}_{photo.stem[-1]}"
    ids, owner = np.unique(_nearest(plants, fit.pose, view), return_inverse=True)
    vegetation = rectify((plants > 0).astype(np.uint8) * 255, fit.pose, view)
    cv2.imwrite(str(out / f"{name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 97])
    cv2.imwrite(str(out / f"{name}_share.png"), vegetation)
    known = {p["plant_id"]: (p, c) for c in truth["cells"] for p in c["plants"]}
    eye = fit.pose.eye_mm
    numbers = [int(i) for i in ids if i]  # owner 0 is the ground where there is ground
    cv2.imwrite(str(out / f"{name}_owner.png"), owner.reshape(picture.shape[:2]).astype(np.uint16) + (0 not in ids))
    (out / f"{name}.json").write_text(json.dumps({
        "rows": fit.layout.rows, "columns": fit.layout.columns, "eye_mm": list(map(float, eye)),
        "bases": [_base(known.get(i), eye) for i in numbers],
        "cells": [_cell(c) for c in truth["cells"]],
    }))


def _nearest(labels: np.ndarray, pose, view) -> np.ndarray:
    from seedlingcv.flat.rectify import _maps

    return cv2.remap(labels, *_maps(pose, view), cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT)


def _base(found, eye) -> list[float]:
    if found is None:
        return [UNKNOWN_MM, UNKNOWN_MM, -9, -9, 0]
    plant, cell = found
    x, y = seen_at(np.array(plant["base_mm"]), eye)
    return [float(x), float(y), cell["col"] - 1, cell["row"], float(plant["is_weed"])]


def _cell(cell: dict) -> list[float]:
    crop = [p for p in cell["plants"] if not p["is_weed"]]
    one = crop[0] if len(crop) == 1 else None
    figures = [one[k] for k in ("true_leaf_count", "leaf_spread_mm", "plant_height_mm")] if one else [-1, -1, -1]
    return [*cell["centre_mm"][:2], len(crop), *figures]


def load(json_file: Path) -> dict[str, np.ndarray]:
    """The arrays of `samples.sample`; blades and stems are unknown, so their arrays are empty."""
    told = json.loads(json_file.read_text())
    name = json_file.with_suffix("")
    image = cv2.imread(f"{name}.jpg")
    owner = cv2.imread(f"{name}_owner.png", cv2.IMREAD_UNCHANGED)[::PICTURE, ::PICTURE].astype(np.int16)
    layout = standard_layout(told["rows"], told["columns"])
    view = reading_view(layout)
    bases, cells = np.zeros((MOST_PLANTS, 5), np.float32), np.full((MOST_CELLS, 6), -1, np.float32)
    bases[: len(told["bases"])], cells[: len(told["cells"])] = told["bases"], told["cells"]
    at = np.array(told["bases"], float).reshape(-1, 5)
    at = at[at[:, 0] > UNKNOWN_MM]
    heat = np.zeros((4, view.height // 2, view.width // 2), np.uint8)
    heat[0], heat[1] = (base_peaks(at[at[:, 4] == weed, :2], view) for weed in (0, 1))
    return {
        "image": image, "vegetation": cv2.imread(f"{name}_share.png", cv2.IMREAD_GRAYSCALE),
        "owner": owner, "blade": np.zeros_like(owner), "stem": np.zeros(owner.shape, np.uint8), "heat": heat,
        "bases": bases, "middles": np.zeros((MOST_BLADES, 2), np.float32), "cells": cells,
        "eye": np.array(told["eye_mm"], np.float32), "place": place_of(view, layout), "parts": np.array(0, np.uint8),
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    for path in sorted(a.folder.glob("*/overhead_[ab].jpg")):
        if (path.parent / "truth.json").exists():
            prepare(path, a.out)

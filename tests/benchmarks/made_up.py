"""A tiny made-up evaluation: one flat of 1 x 4 cells and what a program might say of it. Invented figures."""

import json

import cv2
import numpy as np

TRUE = {"true_leaf_count": 2, "hypocotyl_length_mm": 20.0, "stem_diameter_mm": 2.0, "leaf_spread_side_mm": 40.0,
        "lean_deg": 5.0, "plant_height_mm": 50.0, "stem_length_mm": 30.0, "leaf_spread_mm": 60.0,
        "projected_leaf_area_mm2": 800.0, "is_weed": False}
MEASURED = {"plants": 1, "canopy_cover": 0.30, "leaf_spread_mm": 63.0, "leaf_spread_mm_se": 2.0, "leaf_area_mm2": 700.0,
            "true_leaves": 3, "height_mm": 46.0, "height_mm_se": 2.0, "stem_length_mm": 33.0, "stem_length_mm_se": 2.0,
            "stem_from": "side", "hypocotyl_length_mm": 21.0, "stem_diameter_mm": 1.8, "legginess": 0.52,
            "lean_deg": 4.0, "row_spread_mm": 44.0}


def plant(number, **changes):
    return {"plant_id": number, **TRUE, **changes}


def cell(column, plants, row=0, cover=0.25):
    return {"name": f"{'AB'[row]}{column}", "row": row, "col": column, "centre_mm": [20.0 + 40 * column, 20.0, -4.0],
            "rect_mm": [40.0 * column, 0.0, 40.0 * column + 40, 40.0], "canopy_cover": cover, "plants": plants}


def level_camera(scale=2.0, height=1000.0):
    """Straight down, x to the right, `scale` px a mm on the rim."""
    return {"fx": scale * height, "fy": scale * height, "cx": 0.0, "cy": 0.0, "k1": 0.0, "k2": 0.0,
            "R_flat_to_camera": [[1, 0, 0], [0, 1, 0], [0, 0, -1]], "t_mm": [0.0, 0.0, height]}


def write_flat(folder, name="x01_tomato", tag=31, cells=None):
    """A flat's folder with three noisy photos, label images and truth.json."""
    cells = cells or [cell(1, [plant(1)]), cell(2, []), cell(3, [plant(3), plant(4)]), cell(4, [plant(5)])]
    place = folder / "flats" / name
    place.mkdir(parents=True)
    labels = np.zeros((120, 400), np.uint16)
    labels[20:60, 90:150] = 1
    labels[20:60, 330:390] = 5
    noise = np.random.default_rng(0).integers(0, 255, (120, 400, 3), dtype=np.uint8)
    photos = {}
    for view in ("overhead_a", "overhead_b", "side"):
        cv2.imwrite(str(place / f"{view}.jpg"), noise)
        cv2.imwrite(str(place / f"{view}_plants.png"), labels)
        photos[view] = {"file": f"{view}.jpg", "mask": f"{view}_plants.png", "camera": level_camera()}
    truth = {"flat_tag_id": tag, "crop": "tomato", "light": {"description": "lamp"}, "cells": cells, "photos": photos,
             "layout": {"rows": 1, "columns": 4}}
    (place / "truth.json").write_text(json.dumps(truth))


def result(*cells, tag=31):
    return {"photos": [], "flats": [{"flat": tag, "cells": list(cells)}]}


def measured(name, **changes):
    return {"cell": name, **MEASURED, **changes}

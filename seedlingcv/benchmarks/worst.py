"""Pictures of the cells where the program is furthest off: its outline beside the true one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.benchmarks.evaluation import ELSEWHERE, Evaluation, FlatTruth, crop_plants
from seedlingcv.benchmarks.program import program_labels, read_picture
from seedlingcv.benchmarks.scores import Answer, cells_of, of
from seedlingcv.benchmarks.tables import caption

SHOWN = {  # measure -> the photo that shows it
    "leaf_spread_mm": "overhead_a", "canopy_cover": "overhead_a", "true_leaves": "overhead_a",
    "height_mm": "overhead_a", "stem_side": "side", "hypocotyl_length_mm": "side", "stem_diameter_mm": "side",
}
MOST_BYTES, LONGEST_PX, MARGIN = 58_000, 560, 0.12
OURS, TRUE, CELL = (0, 140, 255), (255, 255, 0), (200, 200, 200)  # BGR: orange, cyan, grey


@dataclass(frozen=True)
class Bad:
    """A cell that went wrong. `what` says how, in a sentence's part."""

    measure: str
    flat: str
    cell: str
    view: str
    what: str


def worst_cells(found: Sequence[Answer], result: dict, evaluation: Evaluation) -> list[Bad]:
    """For each figure the cell furthest off, each time on a flat not yet shown in that view while there is one; last,
    a cell whose plants were miscounted.
    """
    out: list[Bad] = []
    for measure, view in SHOWN.items():
        rows = [a for a in of(found, measure) if a.got is not None]
        fresh = [a for a in rows if (a.flat, view) not in {(b.flat, b.view) for b in out}] or rows
        if fresh:
            a = max(fresh, key=lambda a: abs(a.error))
            out.append(Bad(measure, a.flat, a.cell, view, caption(measure, a.got, a.true)))
    return out + _miscounted(result, evaluation)


def _miscounted(result: dict, evaluation: Evaluation) -> list[Bad]:
    """The planted cell with the highest cover that was called empty; failing that, any miscounted cell."""
    got = cells_of(result)
    wrong = []
    for flat in evaluation.flats:
        for cell in flat.cells:
            true, said = min(len(crop_plants(cell)), 2), got.get((flat.tag, cell["name"]), {}).get("plants")
            if said is not None and min(said, 2) != true:
                wrong.append((true > 0 and said == 0, cell["canopy_cover"], flat.name, cell["name"], said, true))
    if not wrong:
        return []
    *_, flat, name, said, true = max(wrong)
    what = f"plants in the cell: measured {_plants(said)}, in truth {_plants(true)}"
    return [Bad("plants", flat, name, "overhead_a", what)]


def _plants(count: int) -> str:
    return "two or more" if count >= 2 else str(count)


def write_pictures(cells: Iterable[Bad], evaluation: Evaluation, masks: Path, folder: Path) -> dict[Bad, Path]:
    """JPEGs under 60 kB; older pictures in the folder are removed."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.jpg"):
        old.unlink()
    flats = {f.name: f for f in evaluation.flats}
    paths = {}
    for bad in cells:
        paths[bad] = folder / f"{bad.measure.replace('_', '-')}.jpg"
        paths[bad].write_bytes(_small_jpeg(_drawn(flats[bad.flat], bad, masks)))
    return paths


def _drawn(flat: FlatTruth, bad: Bad, masks: Path) -> np.ndarray:
    image, truth = read_picture(flat.photo(bad.view)), flat.labels(bad.view)
    cell = next(c for c in flat.cells if c["name"] == bad.cell)
    labels = program_labels(masks, flat, bad.view, truth.shape)
    camera = flat.photos[bad.view]["camera"]
    corners = _project(camera, _corners(cell["rect_mm"]))
    if bad.measure == "canopy_cover":  # of any plant, within the cell
        own, true = labels > 0, (truth > 0) & (truth != ELSEWHERE)
        box = _box(list(corners), image.shape)
    else:
        own = labels == cell["row"] * flat.columns + cell["col"]
        true = np.isin(truth, [p["plant_id"] for p in crop_plants(cell)])
        box = _box([*_ends(own), *_ends(true), *(corners if bad.view != "side" else [])], image.shape)
    scale = LONGEST_PX / max(box[0].stop - box[0].start, box[1].stop - box[1].start)
    picture = cv2.resize(image[box], None, fx=scale, fy=scale,
                         interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    if bad.view != "side":
        at = (corners - [box[1].start, box[0].start]) * scale
        cv2.polylines(picture, [np.round(at).astype(np.int32)], True, CELL, 1, cv2.LINE_AA)
    else:
        ends = [p[key] for p in crop_plants(cell) for key in ("base_mm", "apex_mm") if p.get(key)]
        for end in (_project(camera, np.array(ends)) - [box[1].start, box[0].start]) * scale if ends else ():
            cv2.circle(picture, np.round(end).astype(int).tolist(), 5, TRUE, 2, cv2.LINE_AA)
    for mask, colour in ((true, TRUE), (own, OURS)):
        grown = cv2.resize(mask[box].astype(np.uint8), (picture.shape[1], picture.shape[0]),
                           interpolation=cv2.INTER_NEAREST)
        contours, _ = cv2.findContours(grown, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(picture, contours, -1, colour, 2, cv2.LINE_AA)
    return np.ascontiguousarray(np.rot90(picture, _quarter_turns(camera, cell, bad.view)))


def _corners(rect: Sequence[float]) -> np.ndarray:
    x0, y0, x1, y1 = rect
    return np.array([[x0, y0, 0], [x1, y0, 0], [x1, y1, 0], [x0, y1, 0]])


def _ends(mask: np.ndarray) -> list[np.ndarray]:
    """Opposite corners of the mask's bounding box as (column, row), none for an empty mask."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return [np.array([columns[k], rows[k]]) for k in (0, -1)] if len(rows) else []


def _box(points: list[np.ndarray], shape: tuple[int, ...]) -> tuple[slice, slice]:
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    pad = MARGIN * max(high - low)
    low = np.maximum(np.floor(low - pad), 0).astype(int)
    high = np.minimum(np.ceil(high + pad) + 1, [shape[1], shape[0]]).astype(int)
    return slice(low[1], high[1]), slice(low[0], high[0])


def _project(camera: dict, points_mm: np.ndarray) -> np.ndarray:
    """(n, 2) stored pixels of (n, 3) places in the flat's frame, by the truth's own camera."""
    seen = points_mm @ np.array(camera["R_flat_to_camera"]).T + camera["t_mm"]
    flat = seen[:, :2] / seen[:, 2:]
    r2 = (flat**2).sum(axis=1, keepdims=True)
    flat = flat * (1 + camera["k1"] * r2 + camera["k2"] * r2**2)
    return flat * [camera["fx"], camera["fy"]] + [camera["cx"], camera["cy"]]


def _quarter_turns(camera: dict, cell: dict, view: str) -> int:
    """Counter-clockwise quarter turns that bring row A along the top, or, from the side, the plants upright."""
    centre = np.array([*cell["centre_mm"][:2], 0.0])
    step = np.array([0.0, 0.0, 10.0]) if view == "side" else np.array([10.0, 0.0, 0.0])
    (u0, v0), (u1, v1) = _project(camera, np.array([centre, centre + step]))
    angle = np.degrees(np.arctan2(-(v1 - v0), u1 - u0))  # counter-clockwise from right
    wanted = 90 if view == "side" else 0
    return round((wanted - angle) / 90) % 4


def _small_jpeg(picture: np.ndarray) -> bytes:
    for quality in range(88, 20, -6):
        data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
        if len(data) <= MOST_BYTES:
            break
    return data

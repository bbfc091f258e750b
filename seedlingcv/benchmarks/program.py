"""The shipped program as the benchmarks call it: the only place that does."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import cv2
import numpy as np

from seedlingcv.assess.folder import assess_folder
from seedlingcv.assess.look import look_at
from seedlingcv.assess.masks import mask_path
from seedlingcv.benchmarks.evaluation import Evaluation, FlatTruth, read_labels
from seedlingcv.errors import SeedlingError
from seedlingcv.flat.grid import GridFit
from seedlingcv.flat.rectify import PlaneView, plane_view, rectify, unrectify
from seedlingcv.flat.white import balance, white_reference
from seedlingcv.measure.reading import PX_PER_MM, settle_layout
from seedlingcv.photo.read import read_photo
from seedlingcv.records.register import find_register, read_register
from seedlingcv.report.export import write_json
from seedlingcv.segment import edges
from seedlingcv.segment.vegetation import find_vegetation
from seedlingcv.tags.family import CORNER_IDS
from seedlingcv.training.flats import FOLDS

TODAY = date(2025, 4, 1)  # the day of the pot-up list, which nothing here looks at


def run_program(evaluation: Evaluation, masks: Path, say: Callable[[str], None] = lambda text: None,
                left_out: Path | None = None) -> dict:
    """Assess the flats as a grower would; what `assess --json` writes. Label images and result.json go into `masks`.

    left_out : folder with vegetation_0.onnx and vegetation_1.onnx, trained without the flats of `FOLDS`; each flat is
        then measured by the weights that never saw it nor any flat of its crop, instead of those that are shipped
    """
    folder, written = evaluation.folder / "flats", masks / "result.json"
    if left_out is None:
        result = _assess(folder, masks, written, say)
    else:
        parts = [_by_fold(folder, masks, written, say, names, left_out / f"vegetation_{k}.onnx", bad=k == 0)
                 for k, names in enumerate(FOLDS)]
        result = parts[0] | {key: [x for part in parts for x in part[key]] for key in ("photos", "flats")}
    written.write_text(json.dumps(result), encoding="utf-8")
    return result


def _assess(folder: Path, masks: Path, written: Path, say: Callable[[str], None]) -> dict:
    register = find_register(folder)
    done = assess_folder(folder, read_register(register) if register else None, today=TODAY, masks=masks,
                         progress=lambda step, steps, name: say(f"  {step} of {steps} {name}"))
    write_json(written, done.entries, done.photos, today=TODAY)
    return json.loads(written.read_text(encoding="utf-8"))


def _by_fold(folder: Path, masks: Path, written: Path, say: Callable[[str], None], names: tuple[str, ...],
             weights: Path, *, bad: bool) -> dict:
    shipped = edges.WEIGHTS
    edges.WEIGHTS = weights
    try:
        with tempfile.TemporaryDirectory() as place:
            for path in folder.iterdir():
                if path.is_dir() and (path.name.startswith(names) or (bad and path.name == "bad")):
                    shutil.copytree(path, Path(place) / path.name)
                elif path.is_file():
                    shutil.copy(path, place)
            return _assess(Path(place), masks, written, say)
    finally:
        edges.WEIGHTS = shipped


def program_labels(masks: Path, flat: FlatTruth, view: str, shape: tuple[int, int]) -> np.ndarray:
    """The label image that `run_program` wrote for a photo, 1 + the cell's number; zeros where it wrote none."""
    path = mask_path(masks, f"{flat.name}/{flat.photos[view]['file']}")
    return read_labels(path) if path.is_file() else np.zeros(shape, np.uint16)


def program_vegetation(image: np.ndarray) -> np.ndarray:
    """bool (M, N): what the program calls vegetation in a picture without cards, uint8 BGR."""
    return find_vegetation(image).mask


@dataclass(frozen=True)
class FlatPicture:
    """An overhead photo on the rim plane, with the program's own camera and grid.

    plain, balanced : uint8 (M, N, 3) BGR, as photographed and corrected by the cards' white
    """

    plain: np.ndarray
    balanced: np.ndarray
    view: PlaneView
    fit: GridFit
    size: tuple[int, int]  # of the photo: width, height

    @property
    def centres_px(self) -> np.ndarray:
        """(cells, 2) column and row of the cells' centres in the picture."""
        return self.view.to_px(np.array([cell.centre_mm for cell in self.fit.layout.cells]))

    @property
    def boxes(self) -> list[tuple[slice, slice]]:
        return [self.view.box(cell.rect_mm) for cell in self.fit.layout.cells]

    def to_photo(self, labels: np.ndarray) -> np.ndarray:
        """Labels on this picture carried back to the photo's stored pixels."""
        return unrectify(labels, self.fit.pose, self.view, self.size)

    def from_photo(self, mask: np.ndarray) -> np.ndarray:
        """A bool mask at the photo's pixels carried to this picture."""
        return rectify(mask.astype(np.uint8) * 255, self.fit.pose, self.view) > 127


def flat_picture(flat: FlatTruth, view: str = "overhead_a") -> FlatPicture:
    """Raises SeedlingError where the program itself can't place the photo."""
    path = flat.photo(view)
    look = look_at(path, path.name)
    fit = settle_layout(read_photo(path).image, look.pose, (flat.rows, flat.columns)) if look.pose else None
    if not isinstance(fit, GridFit):
        raise SeedlingError("The program finds no grid in this photo.", where=str(path),
                            next_step="See what `seedlingcv assess` says of it.")
    image = read_photo(path).image
    plane = plane_view(fit.layout.outer_mm, PX_PER_MM)
    plain = rectify(image, fit.pose, plane)
    white = white_reference(image, [tag for tag in look.tags if tag.id in CORNER_IDS])
    return FlatPicture(plain, balance(plain, white), plane, fit, look.size)


def read_picture(path: Path) -> np.ndarray:
    """uint8 (M, N, 3) BGR, pixels as stored. Raises SeedlingError if it can't be read."""
    image = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    if image is None:
        raise SeedlingError("This picture can't be read.", where=str(path), next_step="Copy the photos again.")
    return image

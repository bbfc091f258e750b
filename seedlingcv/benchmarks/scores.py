"""Measured against true: what was asked, what was answered, how far off.

A cell's figures are compared where truth has exactly one crop plant. The program answers where it, too, saw one
plant and gives a figure. Canopy cover is compared in every cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from seedlingcv.benchmarks.evaluation import ELSEWHERE, Evaluation, FlatTruth, crop_plants

Z_90 = 1.645  # two-sided 90 % of the normal distribution

TRUE_KEYS = {  # the program's figure -> the truth's, for figures of one plant in any row
    "leaf_spread_mm": "leaf_spread_mm",
    "leaf_area_mm2": "projected_leaf_area_mm2",
    "true_leaves": "true_leaf_count",
    "height_mm": "plant_height_mm",
}
FRONT_KEYS = {  # only the side photo tells these, so only row A is asked
    "hypocotyl_length_mm": "hypocotyl_length_mm",
    "stem_diameter_mm": "stem_diameter_mm",
    "row_spread_mm": "leaf_spread_side_mm",
    "lean_deg": "lean_deg",
}
SOURCES = ("side", "parallax")
MEASURES = ("canopy_cover", *TRUE_KEYS, *FRONT_KEYS, "stem_side", "stem_parallax", "legginess_side",
            "legginess_parallax")


@dataclass(frozen=True)
class Answer:
    """One figure of one cell. `got` is None where the program gave none; `se` its standard error, if stated."""

    flat: str
    cell: str
    measure: str
    true: float
    got: float | None = None
    se: float | None = None

    @property
    def error(self) -> float:
        assert self.got is not None
        return self.got - self.true


@dataclass(frozen=True)
class Score:
    """mae, bias in the measure's unit; median_rel a fraction; exact: share less than half a unit off;
    inside_90: share of stated 90 % intervals that hold the truth, None where none is stated."""

    asked: int
    answered: int
    mae: float | None = None
    median_rel: float | None = None
    bias: float | None = None
    exact: float | None = None
    inside_90: float | None = None

    @property
    def share(self) -> float:
        return self.answered / self.asked if self.asked else 0.0


def answers(result: dict, evaluation: Evaluation) -> list[Answer]:
    """Every figure asked for.

    result : what `seedlingcv assess --json` writes
    """
    got = cells_of(result)
    return [a for flat in evaluation.flats for cell in flat.cells
            for a in _cell_answers(flat, cell, got.get((flat.tag, cell["name"]), {}))]


def cells_of(result: dict) -> dict[tuple[int, str], dict]:
    return {(f["flat"], c["cell"]): c for f in result["flats"] for c in f["cells"]}


def _cell_answers(flat: FlatTruth, cell: dict, got: dict) -> list[Answer]:
    def answer(measure: str, key: str, true: float, given: dict) -> Answer:
        value = given.get(key)
        return Answer(flat.name, cell["name"], measure, true, value, given.get(f"{key}_se") if value is not None
                      else None)

    out = [answer("canopy_cover", "canopy_cover", cell["canopy_cover"], got)]
    plants = crop_plants(cell)
    if len(plants) != 1:
        return out
    plant, one = plants[0], got if got.get("plants") == 1 else {}
    front = cell["row"] == 0
    keys = TRUE_KEYS | {k: v for k, v in FRONT_KEYS.items() if front or one.get(k) is not None}
    out += [answer(key, key, plant[true], one) for key, true in keys.items() if plant.get(true) is not None]
    for source in SOURCES:
        given = one if one.get("stem_from") == source else {}
        if given or front == (source == "side"):
            true = plant["stem_length_mm"]
            out.append(answer(f"stem_{source}", "stem_length_mm", true, given))
            out.append(answer(f"legginess_{source}", "legginess", true / plant["leaf_spread_mm"], given))
    return out


def score(found: Iterable[Answer]) -> Score:
    asked = list(found)
    had = [a for a in asked if a.got is not None]
    if not had:
        return Score(len(asked), 0)
    error = np.array([a.error for a in had])
    true = np.array([a.true for a in had], float)
    return Score(len(asked), len(had), float(np.abs(error).mean()),
                 float(np.median(np.abs(error) / np.maximum(np.abs(true), 1e-9))), float(error.mean()),
                 float((np.abs(error) < 0.5).mean()), inside(had))


def inside(found: Iterable[Answer], factor: float = 1.0) -> float | None:
    """Share of 90 % intervals that hold the truth, standard errors multiplied by `factor`."""
    hits = [abs(a.error) <= Z_90 * factor * a.se for a in found if a.se]
    return float(np.mean(hits)) if hits else None


def of(found: Sequence[Answer], measure: str | None = None, flat: str | None = None) -> list[Answer]:
    return [a for a in found if measure in (None, a.measure) and flat in (None, a.flat)]


def flat_legginess_errors(found: Sequence[Answer]) -> dict[str, float]:
    """By flat: relative error of the median legginess, over the plants that have one. Flats without are left out."""
    out = {}
    for flat in dict.fromkeys(a.flat for a in found):
        had = [a for s in SOURCES for a in of(found, f"legginess_{s}", flat) if a.got is not None]
        if had:
            true = float(np.median([a.true for a in had]))
            out[flat] = abs(float(np.median([a.got for a in had])) - true) / true
    return out


@dataclass(frozen=True)
class CellCounts:
    """F1 of cells without a plant and of cells with two or more; None where there are none and none was claimed."""

    empty_f1: float | None
    double_f1: float | None


def count_scores(result: dict, flats: Sequence[FlatTruth]) -> CellCounts:
    got = cells_of(result)
    pairs = [(got.get((f.tag, c["name"]), {}).get("plants"), len(crop_plants(c))) for f in flats for c in f.cells]
    return CellCounts(f1([g == 0 for g, _ in pairs], [t == 0 for _, t in pairs]),
                      f1([(g or 0) >= 2 for g, _ in pairs], [t >= 2 for _, t in pairs]))


def f1(said: Sequence[bool], true: Sequence[bool]) -> float | None:
    hits = sum(s and t for s, t in zip(said, true, strict=True))
    wrong = sum(s != t for s, t in zip(said, true, strict=True))
    return 2 * hits / (2 * hits + wrong) if hits + wrong else None


@dataclass(frozen=True)
class PhotoCounts:
    """Good photos used for the right flat, bad ones refused (or, where allowed, flagged) for the right reason."""

    good_used: int
    good: int
    bad_named: int
    bad: int


def photo_scores(result: dict, evaluation: Evaluation) -> PhotoCounts:
    seen = {p["file"]: p for p in result["photos"]}
    good = [(f, f.photo(view).relative_to(evaluation.folder / "flats").as_posix())
            for f in evaluation.flats for view in f.photos]
    used = sum(seen.get(file, {}).get("usable", False) and seen[file]["flat"] == f.tag for f, file in good)
    named = 0
    for item in evaluation.bad:
        photo = seen.get(f"bad/{item['file']}", {})
        right = set(item["codes"]) & set(photo.get("problems", ()))
        named += bool(right) and (not photo["usable"] or item["may_be_used"])
    return PhotoCounts(used, len(good), named, len(evaluation.bad))


def intersection_over_union(said: np.ndarray, true: np.ndarray) -> float:
    """Jaccard index of two bool masks; 1 where both are empty."""
    either = np.count_nonzero(said | true)
    return np.count_nonzero(said & true) / either if either else 1.0


def without_other_flats(labels: np.ndarray, truth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Both label images with pixels of other flats' plants set to 0: they are not scored."""
    elsewhere = truth == ELSEWHERE
    return np.where(elsewhere, 0, labels), np.where(elsewhere, 0, truth)


def symmetric_best_dice(a: np.ndarray, b: np.ndarray) -> float:
    """Each label's best Dice among the other image's labels, averaged; the lower of both directions.

    a, b : int label images of one shape, 0 = none. As in Scharr et al. 2016, Machine Vision and Applications
    27:585-606 (from memory), there for leaves. 0 where either has no label.
    """
    size = int(b.max()) + 1
    table = np.bincount((a.astype(np.int64) * size + b).ravel(), minlength=(int(a.max()) + 1) * size)
    table = table.reshape(-1, size)
    area_a, area_b = table.sum(axis=1), table.sum(axis=0)
    dice = 2 * table / np.maximum(area_a[:, None] + area_b, 1)
    dice = dice[1:, 1:][area_a[1:] > 0][:, area_b[1:] > 0]
    return float(min(dice.max(axis=1).mean(), dice.max(axis=0).mean())) if dice.size else 0.0

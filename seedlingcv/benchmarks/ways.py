"""The same photos, several ways: the textbook recipe, a pixel classifier, the program.

The first two get the program's own camera and cell grid, so that only what comes after is compared. The program
also has the flat's second overhead photo and its side photo, as in use.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from seedlingcv.benchmarks import classifier, textbook
from seedlingcv.benchmarks.classifier import Reliability, Sample
from seedlingcv.benchmarks.evaluation import ELSEWHERE, Evaluation, FieldPhoto, FlatTruth
from seedlingcv.benchmarks.program import FlatPicture, flat_picture, program_labels, program_vegetation, read_picture
from seedlingcv.benchmarks.scores import (
    Answer,
    answers,
    intersection_over_union,
    symmetric_best_dice,
    without_other_flats,
)

Say = Callable[[str], None]
VIEW = "overhead_a"
EXCESS_GREEN, A_STAR, CLASSIFIER, PROGRAM = "excess green + Otsu", "CIELAB a* + Otsu", "pixel classifier", "seedlingcv"
WAYS = (EXCESS_GREEN, A_STAR, CLASSIFIER, PROGRAM)
LEARNED_SET, FIELD_FOLDS = "peanut_field", 5  # carrot_weed is for measuring only


@dataclass(frozen=True)
class OnFlat:
    """iou : of vegetation in the photo's own pixels; dice : symmetric best Dice of plants; answers : of its cells."""

    way: str
    flat: str
    iou: float
    dice: float
    answers: tuple[Answer, ...]


@dataclass(frozen=True)
class OnFieldPhoto:
    """cover_error : found minus true share of vegetation."""

    way: str
    set: str
    photo: str
    iou: float
    cover_error: float


@dataclass(frozen=True)
class Comparison:
    """reliability : of the classifier's chances on flats left out, before and after calibrating."""

    flats: tuple[OnFlat, ...]
    field: tuple[OnFieldPhoto, ...]
    reliability: tuple[Reliability, Reliability] | None


def compare(evaluation: Evaluation, result: dict, masks: Path, say: Say = lambda text: None) -> Comparison:
    """result, masks : from `run_program`. Where scikit-learn is missing, raises SeedlingError."""
    samples = {}
    for flat in evaluation.flats:
        say(f"  pixels of {flat.name}")
        picture = flat_picture(flat)
        labels = flat.labels(VIEW)
        known = ~picture.from_photo(labels == ELSEWHERE)
        truth = picture.from_photo((labels > 0) & (labels != ELSEWHERE))
        samples[flat.name] = classifier.sample(flat.name, picture.balanced, truth, classifier.PIXELS_A_FLAT, known)
    on_flats, raw, calibrated, truths = [], [], [], []
    for flat in evaluation.flats:
        say(f"  ways on {flat.name}")
        model = classifier.train([s for name, s in samples.items() if name != flat.name])
        left_out = samples[flat.name]
        raw.append(model.raw_chance(left_out.x))
        calibrated.append(model.chance(left_out.x))
        truths.append(left_out.y)
        on_flats += _on_flat(evaluation, flat, model, result, masks)
    truth = np.concatenate(truths)
    before, after = (classifier.reliability(np.concatenate(chances), truth) for chances in (raw, calibrated))
    return Comparison(tuple(on_flats), tuple(_on_field(evaluation, list(samples.values()), say)), (before, after))


def _on_flat(evaluation: Evaluation, flat: FlatTruth, model: classifier.PixelClassifier, result: dict,
             masks: Path) -> Iterable[OnFlat]:
    picture, truth = flat_picture(flat), flat.labels(VIEW)
    one = Evaluation(evaluation.folder, (flat,), {})
    for way, mask in ((EXCESS_GREEN, textbook.vegetation(picture.plain, "excess_green")),
                      (A_STAR, textbook.vegetation(picture.plain, "a_star")),
                      (CLASSIFIER, model.vegetation(picture.balanced))):
        labels = textbook.split_by_cell(mask, picture.centres_px)
        iou = vegetation_iou(picture.to_photo(mask.astype(np.uint16)), truth)
        dice = plants_dice(picture.to_photo(labels.astype(np.uint16)), truth)
        yield OnFlat(way, flat.name, iou, dice, tuple(answers(as_result(flat, picture, mask, labels), one)))
    own = program_labels(masks, flat, VIEW, truth.shape)
    yield OnFlat(PROGRAM, flat.name, vegetation_iou(own, truth), plants_dice(own, truth), tuple(answers(result, one)))


def as_result(flat: FlatTruth, picture: FlatPicture, mask: np.ndarray, labels: np.ndarray) -> dict:
    """A recipe's figures in the form that `assess --json` writes: a label is taken for one plant."""
    found = textbook.figures(mask, labels, picture.boxes, picture.view.px_per_mm)
    cells = [{"cell": cell.name, "plants": int(got.leaf_area_mm2 is not None), "canopy_cover": got.canopy_cover,
              "leaf_spread_mm": got.leaf_spread_mm, "leaf_area_mm2": got.leaf_area_mm2}
             for cell, got in zip(picture.fit.layout.cells, found, strict=True)]
    return {"photos": [], "flats": [{"flat": flat.tag, "cells": cells}]}


def vegetation_iou(labels: np.ndarray, truth: np.ndarray) -> float:
    said, true = without_other_flats(labels, truth)
    return intersection_over_union(said > 0, true > 0)


def plants_dice(labels: np.ndarray, truth: np.ndarray) -> float:
    return symmetric_best_dice(*without_other_flats(labels, truth))


def _on_field(evaluation: Evaluation, flats: list[Sample], say: Say) -> Iterable[OnFieldPhoto]:
    """Peanut photos by folds, trained on the other folds; carrot photos by a model of all flats and all peanuts."""
    learned = evaluation.field.get(LEARNED_SET, ())
    known = [classifier.sample(p.name, read_picture(p.path), p.vegetation(), classifier.PIXELS_A_FIELD_PHOTO)
             for p in learned]
    for fold in range(FIELD_FOLDS if len(known) >= FIELD_FOLDS else 0):
        say(f"  {LEARNED_SET}, fold {fold + 1} of {FIELD_FOLDS}")
        model = classifier.train([s for n, s in enumerate(known) if n % FIELD_FOLDS != fold])
        for photo in learned[fold::FIELD_FOLDS]:
            yield from _on_field_photo(LEARNED_SET, photo, model)
    for name, photos in evaluation.field.items():
        if name != LEARNED_SET:
            say(f"  {name}")
            model = classifier.train(flats + known)
            for photo in photos:
                yield from _on_field_photo(name, photo, model)


def _on_field_photo(set_name: str, photo: FieldPhoto, model: classifier.PixelClassifier) -> Iterable[OnFieldPhoto]:
    image, true = read_picture(photo.path), photo.vegetation()
    for way, mask in ((EXCESS_GREEN, textbook.vegetation(image, "excess_green")),
                      (A_STAR, textbook.vegetation(image, "a_star")),
                      (CLASSIFIER, model.vegetation(image)), (PROGRAM, program_vegetation(image))):
        yield OnFieldPhoto(way, set_name, photo.name, intersection_over_union(mask, true),
                           float(mask.mean() - true.mean()))

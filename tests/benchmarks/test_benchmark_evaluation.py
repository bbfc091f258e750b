"""On the evaluation photos themselves, where they are at hand; quick."""

import numpy as np

from seedlingcv.benchmarks import scores, textbook
from seedlingcv.benchmarks.evaluation import crop_plants, read_evaluation
from seedlingcv.benchmarks.program import flat_picture
from seedlingcv.benchmarks.ways import plants_dice, vegetation_iou


def test_truth_measured_against_itself_has_no_error(evaluation):
    found = read_evaluation(evaluation)
    flats = []
    for flat in found.flats:
        cells = []
        for cell in flat.cells:
            plants = crop_plants(cell)
            one = plants[0] if len(plants) == 1 else {}
            figures = {key: one.get(true) for key, true in (scores.TRUE_KEYS | scores.FRONT_KEYS).items()}
            cells.append({"cell": cell["name"], "plants": len(plants), "canopy_cover": cell["canopy_cover"],
                          "stem_from": "parallax", "stem_length_mm": one.get("stem_length_mm"),
                          "legginess": one and one["stem_length_mm"] / one["leaf_spread_mm"], **figures})
        flats.append({"flat": flat.tag, "cells": cells})
    result = {"photos": [], "flats": flats}
    got = scores.answers(result, found)
    for measure in scores.MEASURES:
        score = scores.score(scores.of(got, measure))
        assert score.asked > 0
        assert (score.answered, score.mae) in {(score.asked, 0.0), (0, None)}
    counts = scores.count_scores(result, found.flats)
    assert (counts.empty_f1, counts.double_f1) == (1, 1)


def test_truth_overlaps_itself_and_the_recipe_sees_large_leaves(evaluation):
    flat = next(f for f in read_evaluation(evaluation).flats if f.crop == "cucumber")
    truth = flat.labels("overhead_a")
    assert vegetation_iou(truth, truth) == plants_dice(truth, truth) == 1
    picture = flat_picture(flat)
    mask = textbook.vegetation(picture.plain, "a_star")
    assert vegetation_iou(picture.to_photo(mask.astype(np.uint16)), truth) > 0.9

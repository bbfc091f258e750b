"""Measure everything and write the accuracy page.

    python -m seedlingcv.benchmarks.accuracy EVAL_FOLDER [--left-out FOLDER]

EVAL_FOLDER holds flats with exact truth and, if at hand, field photos (`evaluation.py` says in which form), such as
../shared/eval. Writes ACCURACY.md beside this file and the pictures of the worst cells into .readme/accuracy.
FOLDER holds weights trained without some of the flats (training/MODEL_CARD.md); without it the shipped ones measure
flats that they have learnt from, and the page says so. Takes some minutes; needs scikit-learn.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from datetime import date
from importlib.util import find_spec
from pathlib import Path

from seedlingcv import __version__
from seedlingcv.benchmarks.calibrate import calibrate
from seedlingcv.benchmarks.closeups import closeups
from seedlingcv.benchmarks.evaluation import Evaluation, read_evaluation
from seedlingcv.benchmarks.page import Measured, write_page
from seedlingcv.benchmarks.program import program_labels, run_program
from seedlingcv.benchmarks.scores import answers, count_scores, photo_scores
from seedlingcv.benchmarks.ways import compare, plants_dice, vegetation_iou
from seedlingcv.benchmarks.worst import worst_cells, write_pictures
from seedlingcv.errors import SeedlingError

PAGE = Path(__file__).with_name("ACCURACY.md")
PICTURES = Path(__file__).resolve().parents[2] / ".readme" / "accuracy"


def write_accuracy(folder: Path, page: Path, pictures: Path, say: Callable[[str], None] = lambda text: None,
                   left_out: Path | None = None) -> None:
    """Raises SeedlingError where the photos or scikit-learn are missing, before anything is measured."""
    evaluation = read_evaluation(folder)
    if find_spec("sklearn") is None:
        raise SeedlingError("The pixel classifier of the comparison needs scikit-learn.",
                            next_step="pip install scikit-learn")
    with tempfile.TemporaryDirectory() as place:
        masks = Path(place)
        say("The program on the flats")
        result = run_program(evaluation, masks, say, left_out)
        found = answers(result, evaluation)
        say("The program beside simpler ways")
        comparison = compare(evaluation, result, masks, say)
        say("Pictures of the worst cells")
        cells = worst_cells(found, result, evaluation)
        paths = write_pictures(cells, evaluation, masks, pictures)
        overlaps = {f.name: _overlaps(evaluation, f.name, masks) for f in evaluation.flats}
    shown = {bad: Path(os.path.relpath(path, page.parent)).as_posix() for bad, path in paths.items()}
    measured = Measured(evaluation, found, count_scores(result, evaluation.flats), photo_scores(result, evaluation),
                        overlaps, comparison, calibrate(found), shown, date.today(), __version__,
                        left_out is not None, closeups(folder))
    page.write_text(write_page(measured), encoding="utf-8")


def _overlaps(evaluation: Evaluation, name: str, masks: Path) -> tuple[float, float, float]:
    flat = next(f for f in evaluation.flats if f.name == name)
    above, side = flat.labels("overhead_a"), flat.labels("side")
    own = program_labels(masks, flat, "overhead_a", above.shape)
    return (vegetation_iou(own, above), vegetation_iou(program_labels(masks, flat, "side", side.shape), side),
            plants_dice(own, above))


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="EVAL_FOLDER")
    parser.add_argument("--left-out", type=Path, metavar="FOLDER")
    given = parser.parse_args(argv)
    try:
        write_accuracy(given.folder, PAGE, PICTURES, lambda text: print(text, file=sys.stderr), given.left_out)
    except SeedlingError as error:
        print(error, file=sys.stderr)
        return 1
    print(f"Written: {PAGE}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

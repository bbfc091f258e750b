"""By which factor the stated standard errors are too small or too large, told by flats left out.

    python -m seedlingcv.benchmarks.calibrate EVAL_FOLDER [RESULT.json]

For each figure with a standard error: the factor by which it must be multiplied for 90 % of the truths to lie
within 1.645 standard errors, from all flats but one, and what share then lies within on the flat left out.
RESULT.json is what `seedlingcv assess EVAL_FOLDER/flats --json RESULT.json` wrote; without it the program runs.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from seedlingcv.benchmarks.evaluation import read_evaluation
from seedlingcv.benchmarks.scores import MEASURES, Z_90, Answer, answers, inside, of
from seedlingcv.errors import SeedlingError

LEVEL = 0.90


@dataclass(frozen=True)
class Calibration:
    """factor : from all flats. By flat: `factors` from the others, `stated` and `left_out` the share of the flat's
    truths inside, with the errors as stated and multiplied by that factor."""

    measure: str
    n: int
    factor: float
    stated_inside: float
    left_out_inside: float
    factors: dict[str, float]
    stated: dict[str, float]
    left_out: dict[str, float]


def calibrate(found: Iterable[Answer]) -> list[Calibration]:
    """One for each measure with standard errors on at least two flats; flats count by their plants."""
    had = [a for a in found if a.se]
    out = []
    for measure in MEASURES:
        own = of(had, measure)
        flats = list(dict.fromkeys(a.flat for a in own))
        if len(flats) < 2:
            continue
        by_flat = {flat: of(own, flat=flat) for flat in flats}
        factors = {flat: needed_factor([a for a in own if a.flat != flat]) for flat in flats}
        left_out = {flat: inside(by_flat[flat], factors[flat]) for flat in flats}
        weighted = sum(share * len(by_flat[flat]) for flat, share in left_out.items()) / len(own)
        out.append(Calibration(measure, len(own), needed_factor(own), inside(own), weighted, factors,
                               {flat: inside(rows) for flat, rows in by_flat.items()}, left_out))
    return out


def needed_factor(rows: Sequence[Answer]) -> float:
    """Smallest factor with which at least 90 % of the truths lie inside."""
    pulls = [abs(a.error) / (Z_90 * a.se) for a in rows]
    return float(np.quantile(pulls, LEVEL, method="higher"))


def show(calibrations: Sequence[Calibration]) -> str:
    lines = [f"{'figure':<22}{'n':>5}{'stated':>8}{'factor':>8}{'of the others':>16}{'left out':>10}   by flat"]
    for c in calibrations:
        span = f"{min(c.factors.values()):.2f}–{max(c.factors.values()):.2f}"
        flats = "  ".join(f"{flat.split('_')[0]} {share:.0%}" for flat, share in c.left_out.items())
        lines.append(f"{c.measure:<22}{c.n:>5}{c.stated_inside:>8.0%}{c.factor:>8.2f}{span:>16}"
                     f"{c.left_out_inside:>10.0%}   {flats}")
    return "\n".join(lines)


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="EVAL_FOLDER")
    parser.add_argument("result", type=Path, nargs="?", metavar="RESULT.json")
    args = parser.parse_args(argv)
    try:
        evaluation = read_evaluation(args.folder)
        if args.result:
            result = json.loads(args.result.read_text(encoding="utf-8"))
        else:
            from seedlingcv.benchmarks.program import run_program

            with tempfile.TemporaryDirectory() as masks:
                result = run_program(evaluation, Path(masks))
    except (SeedlingError, OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 1
    print(show(calibrate(answers(result, evaluation))))
    return 0


if __name__ == "__main__":
    sys.exit(main())

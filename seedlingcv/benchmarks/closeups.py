"""Leaves counted on close-ups of single seedlings, against counts made by eye."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import cv2

from seedlingcv.segment.leaves import count_all_leaves


@dataclass(frozen=True)
class Closeups:
    """Photos, how many were answered, how many within the range, and within it if every answer were `usual`."""

    photos: int
    answered: int
    within: int
    usual: int
    usual_within: int


def closeups(folder: Path) -> Closeups | None:
    """The photos of real/seedling_closeup with truth.csv beside them, None where there are none."""
    table = folder / "real" / "seedling_closeup" / "truth.csv"
    if not table.is_file():
        return None
    with table.open(newline="", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    ranges = [(int(row["leaf_count_low"]), int(row["leaf_count_high"])) for row in rows]
    counts = [count_all_leaves(cv2.imread(str(table.parent / f"{row['name']}_rgb.png"))).count for row in rows]
    usual = max(range(1, 12), key=lambda n: sum(low <= n <= high for low, high in ranges))
    return Closeups(len(rows), sum(c is not None for c in counts),
                    sum(c is not None and low <= c <= high for c, (low, high) in zip(counts, ranges, strict=True)),
                    usual, sum(low <= usual <= high for low, high in ranges))


"""A table of situations and what a grower would do, each with its source or the words that there is none.

The plants are invented; the answers were written down from handbooks and habits of the trade before the rules were run
on them. `stem_mm` and `spread_mm` are what a ruler would show: sturdy or plainly stretched, never near a limit.
"""

import csv
from datetime import date, timedelta
from pathlib import Path

import pytest

from seedlingcv.advice.pots import read_pot
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.flat.layout import known_layouts
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement

TODAY = date(2025, 4, 10)
LAYOUTS = {rows * columns: (rows, columns) for rows, columns in known_layouts()}
with (Path(__file__).parent / "situations.csv").open(encoding="utf-8", newline="") as _file:
    SITUATIONS = list(csv.DictReader(_file))


def number(text):
    return float(text) if text else None


def flat(case):
    """Eight plants that differ a little, as plants do: 0.96 to 1.04 of the stem length."""
    leaves, stem, spread = (number(case[k]) for k in ("true_leaves", "stem_mm", "spread_mm"))
    cells = tuple(
        CellMeasurement(
            f"A{place}", plants=1, canopy_cover=number(case["cover"]), leaf_spread_mm=spread,
            true_leaves=None if leaves is None else int(leaves),
            stem_length_mm=None if stem is None else stem * (1 + 0.02 * (place % 5 - 2)), stem_from="ruler",
            hypocotyl_length_mm=number(case["hypocotyl_mm"]),
        )
        for place in range(1, 9)
    )
    sown = TODAY - timedelta(int(case["age_days"])) if case["age_days"] else None
    return FlatMeasurement(31, TODAY, *LAYOUTS[int(case["cells"])], cells, crop=case["crop"], sown=sown)


@pytest.mark.parametrize("case", SITUATIONS, ids=lambda c: f"{c['crop']}-{c['true_leaves']}-{c['action']}")
def test_situation(case):
    pot = read_pot(case["pot"]) if case["pot"] else None
    verdict = advise(flat(case), load_crop(case["crop"]), TODAY, roots=case["roots"] or None, pot=pot)
    assert verdict.action == case["action"], verdict.reasons
    if case["burial"]:
        assert verdict.burial == case["burial"]
    if case["mark"]:
        assert verdict.depth.mark == case["mark"], verdict.depth
    if case["way"]:
        assert verdict.depth.way == case["way"], verdict.depth


def test_the_table_is_broad_and_every_row_has_a_source():
    assert len(SITUATIONS) >= 150
    assert len({case["crop"] for case in SITUATIONS}) >= 25
    assert all(case["source"] for case in SITUATIONS)
    sourced = [case for case in SITUATIONS if case["source"] != "common practice, no source"]
    assert all("(seen" in case["source"] or "(abstract seen" in case["source"] or "(from memory" in case["source"]
               for case in sourced)
    assert {case["action"] for case in SITUATIONS} == {
        "pot_up", "pot_up_early", "wait", "sow_again", "do_not_transplant", "unsure"}

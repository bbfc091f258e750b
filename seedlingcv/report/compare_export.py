"""A comparison as JSON for other programs: nothing rounded, the figure's own unit, null for what can't be told."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from seedlingcv import __version__
from seedlingcv.files import write_whole
from seedlingcv.trials.answer import answer, next_trial, pair_lines
from seedlingcv.trials.compare import Comparison
from seedlingcv.trials.matters import verdict
from seedlingcv.trials.units import Unit


def compare_tree(comparison: Comparison) -> dict[str, Any]:
    """Plain dicts, lists, numbers and strings; intervals are 95 % and hold together over all pairs."""
    c = comparison
    return {
        "program": {"name": "seedlingcv", "version": __version__},
        "answer": [answer(c), *pair_lines(c)],
        "claimed": c.why_nothing is None, "why_nothing": c.why_nothing,
        "question": asdict(c.question), "crop": c.crop, "stage": asdict(c.stage),
        "unit": c.kind, "method": c.method, "blocks": list(c.blocks), "random": list(c.random),
        "groups": [_group(group) for group in c.groups],
        "differences": [asdict(d) | {"verdict": verdict(d, c.matter)} for d in c.differences],
        "overall": asdict(c.overall) if c.overall else None,
        "matters_from": asdict(c.matter) if c.matter else None,
        "units": [_unit(unit) for unit in c.units],
        "left_out": [asdict(out) for out in c.left_out],
        "not_tested": [{"group": group, "why": why} for group, why in c.shown_only],
        "checks": [asdict(check) for check in c.checks], "notes": list(c.notes),
        "planning": asdict(c.planning) if c.planning else None, "next_trial": list(next_trial(c)),
    }


def write_compare_json(path: Path, comparison: Comparison) -> None:
    """Raises OutputError where the file can't be written."""
    text = json.dumps(compare_tree(comparison), indent=1, ensure_ascii=False, allow_nan=False, default=str)
    write_whole(path, text + "\n")


def _group(group: Any) -> dict[str, Any]:
    lights = [asdict(light) | {"mean_ppfd_umol": light.mean_ppfd_umol, "dli_mol": light.dli_mol}
              for light in group.lightings]
    return {key: value for key, value in asdict(group).items() if key != "lightings"} | {"lightings": lights}


def _unit(unit: Unit) -> dict[str, Any]:
    flats = [{"flat": flat.flat, "day": flat.day.isoformat(), "age_days": flat.age_days, "mean": flat.mean,
              "sd": flat.sd, "plants": flat.plants or None, "source": flat.source, "true_leaves": flat.true_leaves,
              "shelf": flat.shelf or None, "light": flat.light or None, "variety": flat.variety or None}
             for flat in unit.flats]
    return {"name": unit.name, "group": unit.group, "value": unit.value, "batch": unit.batch or None, "flats": flats}

"""Stretch over time as JSON, every figure with what it rests on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from seedlingcv.files import write_whole
from seedlingcv.records.history import FlatHistory
from seedlingcv.stretch.change import ChangeEffect, TwoSlopes
from seedlingcv.stretch.growth import FlatGrowth, Growth
from seedlingcv.stretch.over_flats import Mean
from seedlingcv.stretch.place import Across, Place
from seedlingcv.stretch.series import FIELDS, Group, looks_of, mean_curve
from seedlingcv.stretch.study import Study


def stretch_tree(study: Study) -> dict[str, Any]:
    """Lengths in mm, canopy cover as a fraction, growth a day; intervals are 95 %, those of places
    for all sides together; None for what can't be told."""
    return {
        "by": study.by, "days": [day.isoformat() for day in study.days],
        "left_band": [_named(flat) | {"left": band.left, "day": band.day.isoformat(), "legginess": band.figure,
                                      "limit": band.limit, "growth": _growth(band.growth), "sentence": band.sentence}
                      for flat, band in study.left],
        "not_judged": [_named(flat) | {"why": why} for flat, why in study.unjudged],
        "changes": [_change(effect) for effect in study.changes],
        "places": [_place(place) for place in study.places],
        "groups": [_group(group) for group in study.groups],
        "flats": [_named(flat) | {"looks": _looks(flat), "growth": [
            _flat_growth(own) for field in FIELDS for own in study.growth[field] if own.history is flat]}
            for flat in study.history.flats],
        "growth_by_place": [{"place": g.place, "crop": g.crop, "figure": g.field, "per_day": _mean(g.per_day),
                             "ages_days": g.ages, "flats_left_out": g.left_out}
                            for field in FIELDS for g in study.by_place[field]],
    }


def write_stretch_json(path: Path, study: Study) -> None:
    """Raises OutputError where the file can't be written."""
    write_whole(path, json.dumps(_rounded(stretch_tree(study)), indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def _named(flat: FlatHistory) -> dict[str, Any]:
    return {"flat": flat.flat, "part": flat.part, "crop": flat.crop,
            "sown": flat.sown.isoformat() if flat.sown else None}


def _looks(flat: FlatHistory) -> list[dict[str, Any]]:
    return [{"figure": field, "day": k.day.isoformat(), "age_days": k.age_days, "true_leaves": k.leaves,
             "light": k.at.light, "shelf": k.at.shelf, "median": k.median, "mean": k.mean, "se": k.se,
             "plants": k.plants} for field in FIELDS for k in looks_of(flat, field)]


def _group(group: Group) -> dict[str, Any]:
    return {"name": group.name, "crop": group.crop, "flats": [_named(flat) for flat in group.flats],
            "means": [{"figure": field, "against": axis, "at": m.at, **_mean(m.mean)}
                      for axis, leaves in (("age_days", False), ("true_leaves", True)) for field in FIELDS
                      for m in mean_curve(group.flats, field, against_leaves=leaves)]}


def _mean(mean: Mean | None) -> dict[str, Any] | None:
    return mean and {"mean": mean.mean, "low": mean.low, "high": mean.high, "flats": mean.flats}


def _growth(growth: Growth | None) -> dict[str, Any] | None:
    return growth and {"first": growth.first.isoformat(), "last": growth.last.isoformat(), "before": growth.before,
                       "after": growth.after, "per_day": growth.per_day, "low": growth.low, "high": growth.high,
                       "plants": growth.plants}


def _flat_growth(own: FlatGrowth) -> dict[str, Any]:
    line = own.line and {"per_day": own.line.per_day, "low": own.line.low, "high": own.line.high,
                         "days": own.line.days}
    return {"figure": own.field, "whole": _growth(own.whole), "steps": [_growth(step) for step in own.steps],
            "line": line}


def _change(effect: ChangeEffect) -> dict[str, Any]:
    found = effect.effect
    return {"crop": effect.crop, "before": effect.before, "after": effect.after, "figure": effect.field,
            "changed": [_slopes(s) for s in effect.changed], "stayed": [_slopes(s) for s in effect.stayed],
            "stayed_under": list(effect.stayed_under), "step": _mean(effect.step),
            "effect": found and {"mean": found.mean, "low": found.low, "high": found.high, "method": found.method},
            "doubt": effect.doubt if found else None, "why_not": effect.why_not or None,
            "not_counted": [_named(flat) | {"why": why} for flat, why in effect.left_out],
            "not_put_beside": [_named(flat) | {"why": why} for flat, why in effect.not_beside]}


def _slopes(slopes: TwoSlopes) -> dict[str, Any]:
    return _named(slopes.history) | {"day": slopes.turn.isoformat(), "age_days": slopes.age_days,
                                     "before": slopes.before, "after": slopes.after}


def _place(place: Place) -> dict[str, Any]:
    return {"name": place.name, "crop": place.crop, "flats": [_named(flat) for flat in place.flats],
            "map": place.cells, "length": _across(place.length), "width": _across(place.width),
            "intervals_together": place.together}


def _across(across: Across | None) -> dict[str, Any] | None:
    return across and {"from": across.near, "to": across.far, **(_mean(across.slope) or {}),
                       "window_side": across.window_side, "ppfd_umol": across.ppfd_umol}


def _rounded(value: Any) -> Any:
    """Six decimals say more than any photo."""
    if isinstance(value, dict):
        return {key: _rounded(own) for key, own in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(own) for own in value]
    return round(value, 6) if isinstance(value, float) else value

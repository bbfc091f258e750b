"""Millimetres of the front row's stems, from the flattened side view.

What is seen and what is reckoned:
- The lower end is where the stem meets the soil. Where that can't be seen (behind the front rim, brown stem on
  brown soil) the soil's height from the backdrop's lower edge takes its place.
- The seed-leaf (cotyledon) node: see `seedlingcv.measure.nodes`.
- The shoot apex is put a share of the way from the node to the plant's top: see `seedlingcv.measure.apex`.

All lengths are read in the row-A plane. A stem that leans towards or away from the camera is longer than it
looks; this is not corrected but enters the standard error.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from seedlingcv.errors import PhotoError
from seedlingcv.flat.backdrop import FLAT_LENGTH_MM, SidePose
from seedlingcv.measure.apex import PLANT_SD, above_node, row_share
from seedlingcv.measure.diameter import stem_diameter
from seedlingcv.measure.nodes import Node, find_node, usual_node
from seedlingcv.measure.stem_path import StemPath
from seedlingcv.segment.side import PX_PER_MM, SideStrip, side_strip
from seedlingcv.segment.stem import Trace, find_traces, label_plants

NEAREST_MM = 150.0
SHIFT_SD_MM = 5.0  # of the backdrop's middle against the flat's
RIVAL_SCORE = 0.55  # a second stem must be this well supported against the first
RIVAL_HEIGHT, MERGE_HEIGHT = 0.6, 0.6
RIVAL_SLOPE = 0.37  # and not come up at a slant as drooping leaves do
OFF_MIDDLE = 0.4  # of the pitch: stems do not stand at a cell's edge, leaf tips from next door do
LEAN_SD = 0.12  # slope of stems towards or away from the camera


@dataclass(frozen=True)
class StemMeasurement:
    """One front-row cell. None means not had, `flags` (of `seedlingcv.flags.CELL`) say why.

    stems      stems seen in the cell
    stem_px    the stem from soil to apex, and node_px the seed-leaf node, in px of the `SideStrip`
    se         standard errors by field name
    """

    cell: str
    column: int
    stems: int
    stem_length_mm: float | None = None
    hypocotyl_length_mm: float | None = None
    stem_diameter_mm: float | None = None
    height_mm: float | None = None
    row_spread_mm: float | None = None
    lean_deg: float | None = None
    flags: tuple[str, ...] = ()
    se: dict[str, float] = field(default_factory=dict)
    stem_px: tuple[tuple[float, float], ...] = ()
    node_px: tuple[float, float] | None = None


@dataclass(frozen=True)
class SideRow:
    """The measured front row. labels: uint16 (height, width) of the strip, 0 none, else the column."""

    pose: SidePose
    strip: SideStrip
    stems: tuple[StemMeasurement, ...]
    labels: np.ndarray


def measure_side(image: np.ndarray, pose: SidePose) -> SideRow:
    """Measure every front-row cell of a side photo (BGR uint8 as stored).

    Raises PhotoError if the photo was not taken from in front of row A and somewhat above it.
    """
    right, down, away = pose.eye
    if away > -NEAREST_MM or down > 0 or abs(right) > FLAT_LENGTH_MM:
        raise PhotoError("The side photo was not taken from in front of row A.",
                         next_step="Stand before the long side with row A, hold the phone a hand above the rim, and "
                                   "take it again.")
    strip = side_strip(image, pose)
    traces = find_traces(strip)
    bases = strip.to_mm(np.array([t.points[0] for t in traces])) if traces else np.zeros((0, 2))
    pose = pose.with_shift(cell_shift_mm(bases[:, 0], pose))
    by_column: dict[int, list[Trace]] = {}
    for trace, (right, _) in zip(traces, bases, strict=True):
        column = pose.column_at(right)
        if column and abs(right - pose.column_right_mm(column)) < OFF_MIDDLE * pose.pitch_mm:
            by_column.setdefault(column, []).append(trace)
    chosen = {c: _rivals(ts) for c, ts in by_column.items()}
    labels, joined = label_plants(strip, chosen)
    paths = {c: StemPath(strip, pose, ts[0], joined == c) for c, ts in chosen.items()}
    usual = usual_node(p for c, p in paths.items() if len(chosen[c]) == 1)
    nodes = {c: find_node(p, usual) for c, p in paths.items()}
    share = row_share([above_node(p, nodes[c].arc_mm) for c, p in paths.items()
                       if nodes[c] is not None and len(chosen[c]) == 1])
    stems = []
    for column in range(1, pose.columns + 1):
        if column in paths:
            seen = _seen(column, chosen[column], paths[column], joined)
            stems.append(_with_stem(seen, paths[column], nodes[column], share, image, strip, pose))
        else:
            flags = ("stem_hidden",) if _leaf_in(column, strip, pose) else ()
            stems.append(StemMeasurement(f"A{column}", column, 0, flags=flags))
    return SideRow(pose, strip, tuple(stems), labels)


def cell_shift_mm(bases_mm: np.ndarray, pose: SidePose) -> float:
    """How far the cells lie along the row from where the backdrop puts them: stems stand near cell middles."""
    reach = pose.pitch_mm / 2
    shifts = np.arange(-reach, reach + 0.1, 0.25)
    if len(bases_mm) == 0:
        return 0.0
    spread = 0.08 * pose.pitch_mm + 0.5
    place = (bases_mm[None, :] - shifts[:, None]) / pose.pitch_mm - (0.5 if pose.columns % 2 == 0 else 0.0)
    off = (place - np.round(place)) * pose.pitch_mm
    support = np.log(0.05 + np.exp(-0.5 * (off / spread) ** 2)).sum(axis=1)
    return float(shifts[np.argmax(support - 0.5 * (shifts / SHIFT_SD_MM) ** 2)])


def _rivals(traces: list[Trace]) -> list[Trace]:
    """The cell's stems, best first. Leaves that droop to the soil look like stems for a while: they come up at a
    slant, stay low, or soon run into the stem they hang on."""
    ordered = sorted(traces, key=lambda t: (_steep(t), -t.score))
    best = ordered[0]
    return [best] + [t for t in ordered[1:]
                     if t.score > RIVAL_SCORE * best.score and len(t.points) > RIVAL_HEIGHT * len(best.points)
                     and not _steep(t) and not _merges(t, best)]


def _steep(trace: Trace) -> bool:
    """Comes up at a slant: the lowest 5 mm (often astray on the soil), or the 8 mm from 2 mm up."""
    for first, last, slope in ((0, 5, 0.5), (2, 10, RIVAL_SLOPE)):
        part = trace.points[first * PX_PER_MM : last * PX_PER_MM]
        if len(part) > 1 and abs(part[-1, 0] - part[0, 0]) > slope * len(part):
            return True
    return False


def _merges(trace: Trace, other: Trace) -> bool:
    """`trace` runs into `other` well below the top and stays there."""
    rows = trace.points[:, 1]
    on = np.interp(-rows, -other.points[:, 1], other.points[:, 0])
    apart = np.flatnonzero((np.abs(on - trace.points[:, 0]) > max(other.width, 4)) | (rows < other.points[-1, 1]))
    return len(apart) == 0 or apart[-1] < MERGE_HEIGHT * len(other.points)


def _seen(column: int, traces: list[Trace], path: StemPath, joined: np.ndarray) -> StemMeasurement:
    """What is had without the node."""
    columns = np.flatnonzero(np.count_nonzero(joined == column, axis=0) >= 2)
    spread = float((columns[-1] - columns[0] + 1) / PX_PER_MM) if len(columns) else None
    return StemMeasurement(f"A{column}", column, len(traces), height_mm=path.height_mm, row_spread_mm=spread,
                           flags=("several_plants",) if len(traces) > 1 else (),
                           se={"height_mm": float(np.hypot(path.base_sd_mm + 0.5, 0.05 * path.height_mm)),
                               "row_spread_mm": 1.5 + 0.25 * (spread or 0)})


def _with_stem(seen: StemMeasurement, path: StemPath, node: Node | None, share: tuple[float, float],
               image: np.ndarray, strip: SideStrip, pose: SidePose) -> StemMeasurement:
    if node is None:
        return replace(seen, flags=(*seen.flags, "no_node"))
    above = max(path.height_mm - node.arc_mm, 0)
    apex = node.arc_mm + share[0] * above
    apex_sd = np.hypot(np.hypot(share[1], PLANT_SD) * above, (1 - share[0]) * node.se_mm)
    lean_sd = 0.5 * LEAN_SD**2  # a stem that leans by this slope in depth looks shorter by half its square
    foot, tip = path.at(0), path.at(apex)
    width, width_se = stem_diameter(image, pose, path.points, path.arc, node.arc_mm / 2, path.width)
    se = {"stem_length_mm": float(np.sqrt(path.base_sd_mm**2 + apex_sd**2 + (lean_sd * apex) ** 2)),
          "hypocotyl_length_mm": float(np.sqrt(path.base_sd_mm**2 + node.se_mm**2 + (lean_sd * node.arc_mm) ** 2)),
          "lean_deg": 5.0}
    if width is not None:
        se["stem_diameter_mm"] = width_se
    arcs = np.append(np.arange(0, apex, 1.0), apex)
    line = strip.to_px(np.array([path.at(a) for a in arcs]))
    node_px = strip.to_px(path.at(node.arc_mm)[None])[0]
    return replace(seen, stem_length_mm=float(apex), hypocotyl_length_mm=node.arc_mm, stem_diameter_mm=width,
                   lean_deg=float(np.degrees(np.arctan2(abs(tip[0] - foot[0]), max(tip[1] - foot[1], 0.1)))),
                   flags=seen.flags if width is not None else (*seen.flags, "diameter_unsure"), se={**seen.se, **se},
                   stem_px=tuple((float(a), float(b)) for a, b in line),
                   node_px=(float(node_px[0]), float(node_px[1])))


def _leaf_in(column: int, strip: SideStrip, pose: SidePose) -> bool:
    """Some plant before the backdrop over the middle of a cell in which no stem was found."""
    middle = pose.column_right_mm(column)
    x = strip.to_px(np.array([[middle - pose.pitch_mm / 4, 0], [middle + pose.pitch_mm / 4, 0]]))[:, 0]
    part = strip.plant[: int(strip.line.min()), max(0, int(x[0])) : max(1, int(x[1]))]
    return np.count_nonzero(part) > 5 * PX_PER_MM**2

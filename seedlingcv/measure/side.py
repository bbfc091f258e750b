"""Millimetres of the front row's stems, from the flattened side view.

What is seen and what is reckoned:
- The lower end, where the stem meets the soil, lies between the network's soil point and the soil's height from the
  backdrop's lower edge.
- The seed-leaf (cotyledon) node and the shoot apex are where the network sees them; where it sees several, the row
  decides: see `seedlingcv.measure.row_points`.

All lengths are read in the row-A plane. A stem that leans towards or away from the camera is longer than it
looks; this is not corrected but enters the standard error.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from seedlingcv.errors import PhotoError
from seedlingcv.flat.backdrop import FLAT_LENGTH_MM, SidePose
from seedlingcv.flat.white import WhiteReference
from seedlingcv.measure.diameter import stem_diameter
from seedlingcv.measure.row_points import StemPoints, row_points
from seedlingcv.measure.stem_path import StemPath, soil_point
from seedlingcv.segment.network import Peaks
from seedlingcv.segment.plant_top import highest_plant_mm
from seedlingcv.segment.row_plane import HIGHEST_MM
from seedlingcv.segment.side import PX_PER_MM, SideStrip, side_strip
from seedlingcv.segment.side_model import SideReading, read_side
from seedlingcv.segment.stem import Trace, find_traces, label_plants

NEAREST_MM = 150.0
SHIFT_SD_MM = 5.0  # of the backdrop's middle against the flat's
RIVAL_SCORE = 0.55  # a second stem must be this well supported against the first
RIVAL_HEIGHT = 0.6
ROOTED = 0.5  # chance of the soil point of a second stem
OFF_MIDDLE = 0.4  # of the pitch: stems do not stand at a cell's edge, leaf tips from next door do
LEAN_SD = 0.12  # slope of stems towards or away from the camera
TOP_MARGIN_MM = 12.0  # above the highest plant, for the network to look


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


def measure_side(image: np.ndarray, pose: SidePose, white: WhiteReference | None = None) -> SideRow:
    """Measure every front-row cell of a side photo (BGR uint8 as stored; `white` of its cards).

    Raises PhotoError if the photo was not taken from in front of row A and somewhat above it.
    """
    right, down, away = pose.eye
    if away > -NEAREST_MM or down > 0 or abs(right) > FLAT_LENGTH_MM:
        raise PhotoError("The side photo was not taken from in front of row A.",
                         next_step="Stand before the long side with row A, hold the phone a hand above the rim, and "
                                   "take it again.")
    top = min(highest_plant_mm(image, pose) + TOP_MARGIN_MM, HIGHEST_MM)
    seen = read_side(image, pose, top, white)
    strip = side_strip(image, pose, seen)
    traces = find_traces(strip)
    bases = strip.to_mm(np.array([t.points[0] for t in traces])) if traces else np.zeros((0, 2))
    pose = pose.with_shift(cell_shift_mm(bases[:, 0], pose))
    by_column: dict[int, list[Trace]] = {}
    for trace, (right, _) in zip(traces, bases, strict=True):
        column = pose.column_at(right)
        if column and abs(right - pose.column_right_mm(column)) < OFF_MIDDLE * pose.pitch_mm:
            by_column.setdefault(column, []).append(trace)
    chosen = {c: _rivals(ts, strip, pose, seen.soil) for c, ts in by_column.items()}
    labels, joined = label_plants(strip, chosen)
    paths = {c: StemPath(strip, pose, ts[0], joined == c, seen.soil) for c, ts in chosen.items()}
    points = row_points(paths, [c for c, ts in chosen.items() if len(ts) == 1], seen)
    stems = []
    for column in range(1, pose.columns + 1):
        if column in paths:
            plain = _seen(column, chosen[column], paths[column], joined)
            stems.append(_with_stem(plain, paths[column], points[column], image, seen, strip, pose))
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


def _rivals(traces: list[Trace], strip: SideStrip, pose: SidePose, soil: Peaks) -> list[Trace]:
    """The cell's stems, best first. Leaves that droop to the soil look like stems for a while, but no soil point is
    seen at their ends."""
    def rooted(trace: Trace) -> bool:
        point = soil_point(strip.to_mm(trace.points), pose.soil_up_mm, soil)
        return point is not None and point[1] > ROOTED

    ordered = sorted(traces, key=lambda t: (not rooted(t), -t.score))
    best = ordered[0]
    return [best] + [t for t in ordered[1:]
                     if t.score > RIVAL_SCORE * best.score and len(t.points) > RIVAL_HEIGHT * len(best.points)
                     and rooted(t)]


def _seen(column: int, traces: list[Trace], path: StemPath, joined: np.ndarray) -> StemMeasurement:
    """What is had without the node."""
    columns = np.flatnonzero(np.count_nonzero(joined == column, axis=0) >= 2)
    spread = float((columns[-1] - columns[0] + 1) / PX_PER_MM) if len(columns) else None
    return StemMeasurement(f"A{column}", column, len(traces), height_mm=path.height_mm, row_spread_mm=spread,
                           flags=("several_plants",) if len(traces) > 1 else (),
                           se={"height_mm": float(np.hypot(path.base_sd_mm + 0.5, 0.05 * path.height_mm)),
                               "row_spread_mm": 1.5 + 0.25 * (spread or 0)})


def _with_stem(plain: StemMeasurement, path: StemPath, points: StemPoints | None, image: np.ndarray, seen: SideReading,
               strip: SideStrip, pose: SidePose) -> StemMeasurement:
    if points is None:
        return replace(plain, flags=(*plain.flags, "no_node"))
    node, apex = points.node_mm, points.apex_mm
    lean_sd = 0.5 * LEAN_SD**2  # a stem that leans by this slope in depth looks shorter by half its square
    foot, tip = path.at(0), path.at(apex)
    width, width_se = stem_diameter(image, pose, path.points, path.arc, node / 2, seen.diameter_at(path.at(node / 2)))
    se = {"stem_length_mm": float(np.sqrt(path.base_sd_mm**2 + points.apex_se_mm**2 + (lean_sd * apex) ** 2)),
          "hypocotyl_length_mm": float(np.sqrt(path.base_sd_mm**2 + points.node_se_mm**2 + (lean_sd * node) ** 2)),
          "lean_deg": 5.0}
    if width is not None:
        se["stem_diameter_mm"] = width_se
    arcs = np.append(np.arange(0, apex, 1.0), apex)
    line = strip.to_px(np.array([path.at(a) for a in arcs]))
    node_px = strip.to_px(path.at(node)[None])[0]
    return replace(plain, stem_length_mm=float(apex), hypocotyl_length_mm=float(node), stem_diameter_mm=width,
                   lean_deg=float(np.degrees(np.arctan2(abs(tip[0] - foot[0]), max(tip[1] - foot[1], 0.1)))),
                   flags=plain.flags if width is not None else (*plain.flags, "diameter_unsure"),
                   se={**plain.se, **se},
                   stem_px=tuple((float(a), float(b)) for a, b in line),
                   node_px=(float(node_px[0]), float(node_px[1])))


def _leaf_in(column: int, strip: SideStrip, pose: SidePose) -> bool:
    """Some plant before the backdrop over the middle of a cell in which no stem was found."""
    middle = pose.column_right_mm(column)
    x = strip.to_px(np.array([[middle - pose.pitch_mm / 4, 0], [middle + pose.pitch_mm / 4, 0]]))[:, 0]
    part = strip.plant[: int(strip.line.min()), max(0, int(x[0])) : max(1, int(x[1]))]
    return np.count_nonzero(part) > 5 * PX_PER_MM**2

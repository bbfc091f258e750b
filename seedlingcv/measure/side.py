"""Millimetres of the front row's stems, from the flattened side view.

What is seen and what is reckoned:
- The lower end is where the stem meets the soil. Where that can't be seen (behind the front rim, brown stem on
  brown soil) the soil's height from the backdrop's lower edge takes its place.
- The seed-leaf (cotyledon) node is the lowest place where arms leave the stem on both sides.
- The shoot apex is rarely seen: the stem runs on into a petiole. It is put a share of the way from the node to the
  plant's top. The share is judged from the whole row, one sowing of one age: none where the stem forks at the
  node, more where what goes on above the node is as thick as the stem.

All lengths are read in the row-A plane. A stem that leans towards or away from the camera is longer than it
looks; this is not corrected but enters the standard error.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from seedlingcv.errors import PhotoError
from seedlingcv.flat.backdrop import CELLS_WIDTH_MM, FLAT_LENGTH_MM, SidePose
from seedlingcv.measure.diameter import stem_diameter
from seedlingcv.segment.side import PX_PER_MM, SideStrip, side_strip
from seedlingcv.segment.stem import Trace, find_traces, label_plants

SHARE_ABOVE_NODE = 0.34  # of node to plant top taken by the stem above the node, where nothing tells
SHARE_SD = 0.14
PLANT_SD = 0.10  # of the same between plants of a row
FORK_DEG = (9.0, 17.0)  # a path that turns this much at the node follows a seed leaf's stalk, not a stem
FORKED_SHARE = 0.04
ROW_ENOUGH = 5  # plants, for the row to say something
NODE_SHARE, NODE_SHARE_SD = 0.58, 0.17  # usual height of the node against the plant's
ROW_NODE_SD = 0.15  # the same between plants of a row
WORST_NODE = -1.0  # the worst support with which a place is still called the node
BRIDGE_PX = 7
NEAREST_MM = 150.0
MOST_BACK_MM = 1.5  # an arm's beginning is followed back no further than this
SOIL_SD_MM = 1.2  # of a cell's soil and a stem's place in depth, as seen on the row-A plane
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
    paths = {c: _Path(strip, pose, ts[0], joined == c) for c, ts in chosen.items()}
    settle_nodes(list(paths.values()))
    share = row_share([p for p in paths.values() if p.node is not None])
    stems = tuple(_cell(column, chosen.get(column, []), paths.get(column), share, image, strip, pose, joined)
                  for column in range(1, pose.columns + 1))
    return SideRow(pose, strip, stems, labels)


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


class _Path:
    """A trace read as a stem: arc length from the soil, how far plant reaches on either side, node, height."""

    def __init__(self, strip: SideStrip, pose: SidePose, trace: Trace, own: np.ndarray) -> None:
        self.strip, self.pose, self.trace = strip, pose, trace
        rows = trace.points[:, 1]
        x = _smooth(trace.points[:, 0], 8)
        self.base_mm, self.base_sd_mm = base_height_mm(strip, pose, trace)
        start = strip.to_mm(trace.points[:1])[0]
        points = strip.to_mm(np.column_stack([x, rows]))
        slope = _low_slope(points)
        below = start[1] - self.base_mm
        if below > 0:
            foot = np.array([[points[0, 0] - slope * below, self.base_mm]])
            points = np.vstack([foot, points])
            self.first = 1
        else:
            self.first = 0
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        if below < 0:  # the tube runs on into the soil: count from the soil on
            steps = np.where(points[1:, 1] > self.base_mm, steps, 0)
        self.points, self.arc = points, np.concatenate([[0], np.cumsum(steps)])
        ahead = np.hypot(np.gradient(x), 1)
        plant = (strip.tube > 0.5).astype(np.uint8)
        narrow_gaps = np.ones((1, BRIDGE_PX), np.uint8)
        across = [[side / ahead / PX_PER_MM for side in _reach(p > 0, _smooth(trace.points[:, 0], 3), rows.astype(int))]
                  for p in (plant, cv2.morphologyEx(plant, cv2.MORPH_CLOSE, narrow_gaps))]
        (self.left, self.right), self.bridged = across  # mm of plant on either side of the stem's middle
        self.width = self._low_width()
        top = np.flatnonzero(np.count_nonzero(own, axis=1) >= 2)
        high = strip.to_mm(np.array([[0.0, top[0] - 0.5]]))[0, 1] if len(top) else points[-1, 1]
        self.height_mm = float(high - self.base_mm)
        self.node, self.node_kind = self.find_node(NODE_SHARE, NODE_SHARE_SD)

    @property
    def along(self) -> np.ndarray:
        """Arc length of each traced row."""
        return self.arc[self.first :]

    def _low_width(self) -> float:
        """Of the tube before the backdrop, low down; leaves before it are left out by the low percentile."""
        line = self.strip.line[np.clip(self.trace.points[:, 0].astype(int), 0, len(self.strip.line) - 1)]
        above = np.flatnonzero(self.trace.points[:, 1] < line - 3)[: 10 * PX_PER_MM]
        width = (self.left + self.right + 1 / PX_PER_MM)[above]
        width = width[width > 2 / PX_PER_MM]
        return float(np.percentile(width, 35)) if len(width) > 5 else self.trace.width / PX_PER_MM

    def find_node(self, share: float, share_sd: float) -> tuple[float | None, int]:
        """(arc length, sides it is seen on). Candidates are where an arm begins on one side, or on both at nearly
        the same height. Long arms and a stem still thick below speak for one; a height against the plant's far
        from `share` speaks against it."""
        for sides in ((self.left, self.right), self.bridged):  # stalks of a narrow fork show only bridged
            best = max(self._node_candidates(sides, share, share_sd), default=None)
            if best is not None and best[0] > WORST_NODE:
                return float(best[1]), best[2]
        return None, 0

    def _node_candidates(self, sides, share: float, share_sd: float):
        height = max(self.height_mm, 1.0)
        arms = [arm for k in (0, 1) for arm in self._arms(sides[k], k == 0)]
        apart = max(1.5, 0.07 * height)

        def support(score: float, place: float) -> float:
            off = (place / height - share) / share_sd
            return score + self._thick_below(place) - 0.5 * off**2 - 0.6 * place / height

        for start, length, left in arms:
            yield support(min(length, 6) / 6, start), start, 1
            for start2, length2, left2 in arms:
                gap = start2 - start
                if left2 != left and 0 <= gap < apart:
                    both = (min(length, 6) + min(length2, 6)) / 6 + 0.8 - 0.5 * gap / apart
                    yield support(both, (start + start2) / 2), (start + start2) / 2, 2

    def _thick_below(self, arc_mm: float) -> float:
        """0 for a tube as thick as low down, towards -1 for a petiole."""
        z = (self.along > arc_mm - 4) & (self.along < arc_mm - 0.8)
        if z.sum() < 4:
            return 0.0
        thick = np.median(2 * np.minimum(self.left[z], self.right[z]) + 1 / PX_PER_MM)
        return float(min(thick / self.width, 1) - 1)

    def _arms(self, reach: np.ndarray, left: bool) -> list[tuple[float, float, bool]]:
        """(arc length where it begins, how far it reaches in mm, side) of what sticks out of the stem. An arm that
        goes up at a slant clears the stem only some way above its beginning: its outline is followed back."""
        clear = max(0.9, 0.5 * self.width)
        out = reach > self.width / 2 + clear
        edges = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(int), [0]]))).reshape(-1, 2)
        arms = []
        for first, last in edges:
            ahead = min(last - 1, first + 2 * PX_PER_MM)
            rise = max(self.along[ahead] - self.along[first], 1 / PX_PER_MM)
            steepness = max((reach[ahead] - reach[first]) / rise, 0.1)
            start = float(self.along[first]) - min(clear / steepness, MOST_BACK_MM)
            if start > 2:
                arms.append((start, float(reach[first:last].max()), left))
        return arms

    def bend_deg(self) -> float | None:
        """How much the path turns at the node."""
        below = (self.along > self.node - 6) & (self.along < self.node - 0.5)
        above = (self.along > self.node + 1) & (self.along < self.node + 5)
        if below.sum() < 5 or above.sum() < 5:
            return None
        points = self.points[self.first :]
        turn = [np.degrees(np.arctan(np.polyfit(points[z, 1], points[z, 0], 1)[0])) for z in (below, above)]
        return float(abs(turn[1] - turn[0]))

    def upper_width(self) -> float | None:
        """Width where the usual apex is, over the width below the node."""
        width = self.left + self.right + 1 / PX_PER_MM
        below = (self.along > self.node - 6) & (self.along < self.node - 1)
        share = (self.along - self.node) / max(self.height_mm - self.node, 1)
        above = (share > 0.3) & (share < 0.5)
        if below.sum() < 4 or above.sum() < 2:
            return None
        return float(np.percentile(width[above], 25) / max(np.median(width[below]), 0.3))

    def at(self, arc_mm: float) -> np.ndarray:
        return np.array([np.interp(arc_mm, self.arc, self.points[:, k]) for k in (0, 1)])


def base_height_mm(strip: SideStrip, pose: SidePose, trace: Trace) -> tuple[float, float]:
    """Height on the row-A plane where the stem leaves the soil, and its standard error.

    The soil's height comes from the backdrop. Where the tube is followed down past it, the plant stands nearer to
    the camera, and its seen lower end holds. A tube that ends a little higher is a weak sign, one that ends much
    higher only lost the stem before the soil.
    """
    sd = SOIL_SD_MM * CELLS_WIDTH_MM / pose.rows / 42.6 if pose.rows < 6 else SOIL_SD_MM
    soil = pose.soil_up_mm
    x, row = trace.points[0]
    seen = strip.to_mm(np.array([[x, row]]))[0, 1] - 0.4
    front = strip.front[int(np.clip(x, 0, len(strip.front) - 1))]
    rim = strip.top_mm - (front + 0.5) / PX_PER_MM
    if seen < rim + 0.8:  # hidden behind the rim: lower than that, as far as the soil's spread allows
        a = (rim - soil) / sd
        density, share = np.exp(-a * a / 2) / np.sqrt(2 * np.pi), _normal_share(a)
        return float(soil - sd * density / max(share, 0.02)), sd
    if seen < soil + 1.5 * sd:
        return float((2 * seen + soil) / 3), 0.7 * sd
    return float(soil), sd


def settle_nodes(paths: list[_Path]) -> None:
    """Look for the nodes again, with the height they have in most of the row for a guide: one sowing, one age."""
    shares = [p.node / p.height_mm for p in paths if p.node_kind == 2 and p.height_mm > 1]
    if len(shares) < 4:
        return
    usual = float(np.median(shares))
    for path in paths:
        path.node, path.node_kind = path.find_node(usual, ROW_NODE_SD)


def row_share(paths: list[_Path]) -> tuple[float, float]:
    """Share of the way from node to plant top that the stem takes in this row, and its standard deviation."""
    share, sd = SHARE_ABOVE_NODE, SHARE_SD
    widths = [w for w in (p.upper_width() for p in paths) if w is not None]
    if len(widths) >= ROW_ENOUGH:
        share = float(np.clip(share + 0.35 * (np.median(widths) - 0.7), 0.2, 0.5))
        sd *= 0.8
    bends = [b for b in (p.bend_deg() for p in paths) if b is not None]
    if len(bends) >= ROW_ENOUGH:
        forked = float(np.clip((np.median(bends) - FORK_DEG[0]) / (FORK_DEG[1] - FORK_DEG[0]), 0, 1))
        share = (1 - forked) * share + forked * FORKED_SHARE
        sd = max((1 - forked) * sd, 0.08)
    return share, sd


def _cell(column, traces, path, share, image, strip, pose, joined) -> StemMeasurement:
    name = f"A{column}"
    if path is None:
        return StemMeasurement(name, column, 0, flags=("stem_hidden",) if _leaf_in(column, strip, pose) else ())
    flags = ["several_plants"] if len(traces) > 1 else []
    own = joined == column
    columns = np.flatnonzero(np.count_nonzero(own, axis=0) >= 2)
    spread = float((columns[-1] - columns[0] + 1) / PX_PER_MM) if len(columns) else None
    height = path.height_mm
    result = StemMeasurement(name, column, len(traces), height_mm=height, row_spread_mm=spread,
                             se={"height_mm": float(np.hypot(path.base_sd_mm + 0.5, 0.05 * height)),
                                 "row_spread_mm": 1.0 + 0.15 * (spread or 0)})
    if path.node is None:
        return replace(result, flags=(*flags, "no_node"))
    node_sd = (1.2 if path.node_kind == 2 else 2.5) + 0.03 * path.node
    lean_sd = 0.5 * LEAN_SD**2  # a stem that leans by this slope in depth looks shorter by half its square
    apex = path.node + share[0] * max(height - path.node, 0)
    apex_sd = np.hypot(np.hypot(share[1], PLANT_SD) * max(height - path.node, 0), 0.6 * node_sd)
    foot, tip = path.at(0), path.at(apex)
    width, width_sd = stem_diameter(image, pose, path.points, path.arc, path.node / 2, path.width)
    se = {"stem_length_mm": float(np.sqrt(path.base_sd_mm**2 + apex_sd**2 + (lean_sd * apex) ** 2)),
          "hypocotyl_length_mm": float(np.sqrt(path.base_sd_mm**2 + node_sd**2 + (lean_sd * path.node) ** 2)),
          "lean_deg": 3.0}
    if width is not None:
        se["stem_diameter_mm"] = width_sd
    else:
        flags.append("diameter_unsure")
    arcs = np.append(np.arange(0, apex, 1.0), apex)
    line = strip.to_px(np.array([path.at(a) for a in arcs]))
    node_px = strip.to_px(path.at(path.node)[None])[0]
    return replace(result, stem_length_mm=float(apex), hypocotyl_length_mm=float(path.node), stem_diameter_mm=width,
                   lean_deg=float(np.degrees(np.arctan2(abs(tip[0] - foot[0]), max(tip[1] - foot[1], 0.1)))),
                   flags=tuple(flags), se={**result.se, **se},
                   stem_px=tuple((float(a), float(b)) for a, b in line),
                   node_px=(float(node_px[0]), float(node_px[1])))


def _leaf_in(column: int, strip: SideStrip, pose: SidePose) -> bool:
    """Some plant before the backdrop over the middle of a cell in which no stem was found."""
    middle = pose.column_right_mm(column)
    x = strip.to_px(np.array([[middle - pose.pitch_mm / 4, 0], [middle + pose.pitch_mm / 4, 0]]))[:, 0]
    part = strip.plant[: int(strip.line.min()), max(0, int(x[0])) : max(1, int(x[1]))]
    return np.count_nonzero(part) > 5 * PX_PER_MM**2


def _smooth(values: np.ndarray, sigma: float) -> np.ndarray:
    from scipy.ndimage import gaussian_filter1d

    return gaussian_filter1d(values, sigma, mode="nearest")


def _low_slope(points: np.ndarray) -> float:
    """Sideways mm for each mm up over the lowest 6 mm."""
    low = points[: 6 * PX_PER_MM]
    return float(np.clip((low[-1, 0] - low[0, 0]) / max(low[-1, 1] - low[0, 1], 1.0), -0.7, 0.7))


def _normal_share(a: float) -> float:
    from math import erf, sqrt

    return 0.5 * (1 + erf(a / sqrt(2)))


def _reach(plant: np.ndarray, x: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """px of unbroken plant to the left and right of each place; 0 where the place itself is none."""
    height, width = plant.shape
    left, right = np.zeros(len(x)), np.zeros(len(x))
    for i, (at, row) in enumerate(zip(np.clip(np.round(x).astype(int), 0, width - 1), rows, strict=True)):
        line = plant[row]
        if not line[at]:
            continue
        before, after = np.flatnonzero(~line[:at]), np.flatnonzero(~line[at + 1 :])
        left[i] = at - before[-1] - 1 if len(before) else at
        right[i] = after[0] if len(after) else width - at - 1
    return left, right

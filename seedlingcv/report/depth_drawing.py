"""The depth drawing of the crew sheet: old plug and new pot side by side, to scale, black and white only.

The canvas counts mm, y up (`tags/draw.py`). Hatching stands for mix, since greys die in a poor printer.
"""

from __future__ import annotations

import math

from seedlingcv.report.depth_plan import PLUG_TAPER, DepthPlan
from seedlingcv.tags.draw import BLACK, WHITE, arrow, line, stroke, text
from seedlingcv.units import length

THICK, THIN = 0.7, 0.35  # mm; thinner lines break up on cheap paper
BAR_MM, BAR_INCH_MM = 50.0, 50.8  # of the scale bar, in life
LABEL_PT = 10.5
HEAD_MM, FOOT_MM = 2.0, 12.0  # paper above and below the drawing for words and scale bar
MIDDLE_LABEL_MM, RIGHT_LABEL_MM = 36.0, 32.0


def draw_depth(c, x: float, y: float, width: float, height: float, plan: DepthPlan, *, inch: bool = False,
               labels: bool = True) -> float:
    """Draw into the box whose lower left corner is (x, y); returns the scale, one to how many.

    labels : False for a small drawing, where words would not fit
    """
    between, beside = (MIDDLE_LABEL_MM, RIGHT_LABEL_MM) if labels else (4.0, 0.0)
    one_to = plan.scale(width - between - beside, height - HEAD_MM - FOOT_MM)
    mm = 1 / one_to
    bench = y + FOOT_MM
    old_wide, new_wide = (w * mm for w in plan.wide_mm)
    spare = max(0.0, width - between - beside - old_wide - new_wide) / 2
    old_x = x + spare / 2 + old_wide / 2
    new_x = old_x + old_wide / 2 + spare / 2 + between + new_wide / 2
    line(c, x, bench, x + width, bench, BLACK, THICK)
    _old(c, old_x, bench, plan, mm)
    _new(c, new_x, bench, plan, mm)
    if labels:
        _middle_labels(c, old_x, old_x + old_wide / 2 + 3, bench, plan, mm)
        _right_labels(c, new_x, new_wide, bench, plan, mm, inch)
    text(c, old_x, y + 6.8, "now", LABEL_PT + 1, bold=True, align="centre", colour=BLACK)
    text(c, new_x, y + 6.8, "in the pot", LABEL_PT + 1, bold=True, align="centre", colour=BLACK)
    _scale_bar(c, x, y + 1, mm, one_to, inch)
    return one_to


def _old(c, x, bench, plan: DepthPlan, mm) -> None:
    top = bench + plan.plug_mm * mm
    _plug(c, x, bench, plan, mm)
    _plant(c, x, top, plan, mm, crosses=True)
    reach = plan.plug_wide_mm * mm / 2
    line(c, x - reach - 2, top, x + reach + 2, top, BLACK, THIN, (1.5, 1))


def _new(c, x, bench, plan: DepthPlan, mm) -> None:
    surface = bench + plan.surface_mm * mm
    _mix(c, x, bench, plan, mm)
    if plan.way == "laid":
        _laid(c, x, bench, plan, mm)
    else:
        foot = bench + max(0.0, plan.plug_foot_mm) * mm
        _plug(c, x, foot, plan, mm)
        _plant(c, x, foot + plan.plug_mm * mm, plan, mm, kept_only=True)
    half, foot_half, reach = (plan.pot_half_mm(h) * mm for h in (plan.pot_mm, 0, plan.surface_mm))
    rim = bench + plan.pot_mm * mm
    for side in (-1, 1):
        line(c, x + side * half, rim, x + side * foot_half, bench, BLACK, THICK)
        line(c, x + side * (half + 1), rim, x + side * (half - 0.8), rim, BLACK, 1.1)
    line(c, x - reach, surface, x + reach, surface, BLACK, THICK, (2.2, 1.2))


def _mix(c, x, bench, plan: DepthPlan, mm) -> None:
    """Slanting lines from wall to wall, up to the surface."""
    c.saveState()
    path = c.beginPath()
    low, high, top = (v * mm for v in (plan.pot_half_mm(0), plan.pot_half_mm(plan.surface_mm), plan.surface_mm))
    path.moveTo(x - low, bench)
    for px, py in ((x + low, bench), (x + high, bench + top), (x - high, bench + top)):
        path.lineTo(px, py)
    path.close()
    c.clipPath(path, stroke=0, fill=0)
    step, at = 3.2, x - high - top
    while at < x + high:
        line(c, at, bench, at + top, bench + top, BLACK, 0.25)
        at += step
    c.restoreState()


def _plug(c, x, foot, plan: DepthPlan, mm) -> None:
    """An upright plug with its foot's middle at (x, foot): dots on white."""
    high, low, tall = plan.plug_wide_mm * mm / 2, PLUG_TAPER * plan.plug_wide_mm * mm / 2, plan.plug_mm * mm
    path = c.beginPath()
    path.moveTo(x - low, foot)
    for corner in ((x + low, foot), (x + high, foot + tall), (x - high, foot + tall)):
        path.lineTo(*corner)
    path.close()
    stroke(c, BLACK, THICK)
    c.setFillGray(WHITE)
    c.drawPath(path, stroke=1, fill=1)
    c.setFillGray(BLACK)
    row, place = 0, 1.4
    while place < tall - 0.8:
        half = low + (high - low) * place / tall - 1.0
        aside = -half + (row % 2) * 1.1
        while aside < half:
            c.circle(x + aside, foot + place, 0.26, stroke=0, fill=1)
            aside += 2.2
        row, place = row + 1, place + 1.9


def _plant(c, x, top, plan: DepthPlan, mm, *, crosses=False, kept_only=False) -> None:
    if plan.rosette:
        _rosette(c, x, top, plan.leaf_mm * mm)
        return
    tip = top + plan.stem_mm * mm
    line(c, x, top, x, tip, BLACK, max(0.9, 2.2 * mm))
    _leaves(c, lambda along: (x, top + along * mm, 90.0), plan, mm, crosses, kept_only)


def _leaves(c, at, plan: DepthPlan, mm, crosses, kept_only) -> None:
    """Seed leaves, true leaves and the young pair at the tip; `at` gives (x, y, heading) along the stem."""
    seed = min(0.5 * plan.leaf_mm, 0.45 * plan.stem_mm + 4)
    nodes = [(plan.seed_leaves_mm, seed, (-78, 78), plan.taken_seed_leaves)]
    for i, node in enumerate(plan.leaf_nodes_mm):
        side = 1 if i % 2 == 0 else -1
        turns = (-52, 52) if plan.paired and i % 2 == 0 else () if plan.paired else (side * 52,)
        nodes.append((node, plan.leaf_mm * (1 - 0.1 * i), turns, i < plan.taken_leaves))
    nodes.append((plan.stem_mm, 0.5 * plan.leaf_mm, (-24, 24), False))
    for along, size, turns, taken in nodes:
        if taken and kept_only:
            continue
        x, y, heading = at(along)
        for turn in turns:
            _leaf(c, x, y, heading - turn, size * mm, dashed=taken and crosses)
            if taken and crosses:
                angle = math.radians(heading - turn)
                reach = 0.55 * size * mm
                _cross(c, x + reach * math.cos(angle), y + reach * math.sin(angle), max(0.8, min(1.7, 0.3 * reach)))


def _leaf(c, x, y, direction_deg, size, *, dashed=False) -> None:
    c.saveState()
    c.translate(x, y)
    c.rotate(direction_deg)
    path = c.beginPath()
    path.moveTo(0, 0)
    path.curveTo(size * 0.3, size * 0.3, size * 0.75, size * 0.2, size, 0)
    path.curveTo(size * 0.75, -size * 0.2, size * 0.3, -size * 0.3, 0, 0)
    c.setFillGray(WHITE)
    stroke(c, BLACK, THIN + 0.1, (0.9, 0.7) if dashed else ())
    c.drawPath(path, stroke=1, fill=1)
    c.restoreState()


def _cross(c, x, y, reach) -> None:
    for dy in (reach, -reach):
        line(c, x - reach, y - dy, x + reach, y + dy, BLACK, 0.9)


def _rosette(c, x, top, size) -> None:
    for turn in (-70, 70, -40, 40, -12, 12):
        _leaf(c, x, top, 90 - turn, size * (0.95 if abs(turn) > 20 else 0.8))
    c.setFillGray(BLACK)
    c.circle(x, top, 1.2, stroke=0, fill=1)


def _laid(c, x, bench, plan: DepthPlan, mm) -> None:
    """The plug on its side against one wall, its stem bent up at the other."""
    middle = bench + plan.lying_mm * mm
    left = x - plan.pot_half_mm(plan.lying_mm) * mm + 0.6
    c.saveState()
    c.translate(left, middle)
    c.rotate(-90)
    _plug(c, 0, 0, plan, mm)
    c.restoreState()
    start = left + plan.plug_mm * mm
    along, bend, up = (part * mm for part in plan.laid_path_mm)
    points = [(start + along * t / 6, middle) for t in range(7)]
    points += [(start + along + bend * math.sin(a), middle + bend * (1 - math.cos(a)))
               for a in (math.pi / 2 * t / 10 for t in range(1, 11))]
    foot = points[-1]
    tip = foot[1] + up + (plan.stem_mm - plan.covered_mm) * mm
    points.append((foot[0], tip))
    stroke(c, BLACK, max(0.9, 2.2 * mm))
    path = c.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    c.drawPath(path, stroke=1, fill=0)
    surface = bench + plan.surface_mm * mm

    def at(along_mm):
        if along_mm < plan.covered_mm:  # would be buried: drawn only where it comes off first
            return foot[0], surface, 90.0
        return foot[0], surface + (along_mm - plan.covered_mm) * mm, 90.0

    _leaves(c, at, plan, mm, False, True)


def _middle_labels(c, old_x, label_x, bench, plan: DepthPlan, mm) -> None:
    top = bench + plan.plug_mm * mm
    if plan.rosette:
        places = [(top, "crown")]
    else:
        places = [(top + plan.seed_leaves_mm * mm, "seed leaves"), (top, "old soil line")]
        if plan.leaf_nodes_mm:
            kept = plan.leaf_nodes_mm[min(plan.taken_leaves, len(plan.leaf_nodes_mm) - 1)]
            places.insert(0, (top + kept * mm, "lowest kept leaf" if plan.taken_leaves else "first true leaf"))
    for (at, words), place in zip(places, _apart([at for at, _ in places], 4.8), strict=True):
        line(c, old_x + 1.2, at, label_x - 0.8, place, BLACK, 0.25, (0.8, 0.6))
        text(c, label_x, place - 1.3, words, LABEL_PT, bold=True, colour=BLACK)


def _apart(places: list[float], gap: float) -> list[float]:
    """Heights from the top down, pushed apart to at least `gap`."""
    out: list[float] = []
    for place in places:
        out.append(min(place, out[-1] - gap) if out else place)
    return out


def _right_labels(c, new_x, new_wide, bench, plan: DepthPlan, mm, inch) -> None:
    rim, surface = bench + plan.pot_mm * mm, bench + plan.surface_mm * mm
    arrow_x = new_x + plan.pot_wide_mm * mm / 2 + 2
    words_x = max(new_x + new_wide / 2, arrow_x) + 1.5
    said = [((rim + surface) / 2 - 1.3, f"{length(plan.headspace_mm, inch=inch)} free")]
    deep = length(plan.covered_mm, inch=inch) if plan.measured else ""
    if plan.rosette:
        said += [(surface - 4.5, "crown stays"), (surface - 9, "in sight")]
    elif plan.way == "laid":
        low = bench + plan.lying_mm * mm
        said += [(low + 3, f"{deep} of stem".strip()), (low - 1.5, "under the mix")]
    elif plan.covered_mm >= 1:
        low = surface - plan.covered_mm * mm
        arrow(c, arrow_x, surface, arrow_x, low, both=True, colour=BLACK)
        said.append(((surface + low) / 2 - 1.3, f"bury {deep}".strip()))
    else:
        said.append((surface - 5, "no deeper"))
    for (_, words), place in zip(said, _apart([at for at, _ in said], 4.5), strict=True):
        text(c, words_x, place, words, LABEL_PT, bold=True, colour=BLACK)


def _scale_bar(c, x, y, mm, one_to, inch) -> None:
    long = (BAR_INCH_MM if inch else BAR_MM) * mm
    c.setFillGray(BLACK)
    c.rect(x, y, long, 1.2, stroke=0, fill=1)
    for end in (x, x + long - 0.5):
        c.rect(end, y, 0.5, 2.6, stroke=0, fill=1)
    words = "2 in" if inch else f"{BAR_MM:.0f} mm"
    text(c, x + long + 2, y, f"{words}   drawn 1 : {one_to:g}", 9, bold=True, colour=BLACK)

"""Every flat of a comparison on a row of its own, its plants faint behind it, groups' means as bands: SVG.

Reads in grey: shapes tell what is what, rows and words tell which.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from math import sqrt

from markupsafe import Markup

from seedlingcv.report.line_chart import INK, SOFT, decimals, ticks
from seedlingcv.report.words import count
from seedlingcv.trials.compare import Comparison, Group
from seedlingcv.trials.units import Unit

WIDTH, GUTTER, RIGHT, ROW, HEAD, FOOT = 420, 96, 14, 19, 26, 46
LABEL_CHARACTERS = 16  # what the gutter holds
GROUP_CHARACTERS = 34  # what a line holds beside the mean
MOST_DOTS = 120  # plants drawn of a unit: more only blacken the row
BAND, FAINT = "#dcd9cd", "#8b948d"


def compare_chart(comparison: Comparison, *, inch: bool = False) -> Markup:
    """A row a unit under its group's name, and one for each flat of a unit with several; the band behind a group's rows
    is the interval of its mean."""
    figure = comparison.question.measure
    per = figure.per(inch)
    low, high = _span(comparison)
    scale = (WIDTH - GUTTER - RIGHT) / (high - low)

    def across(value: float) -> float:
        return GUTTER + (value - low) * scale

    rows = sum(1 + _rows(comparison, group) for group in comparison.groups)
    bottom = HEAD + rows * ROW + len(comparison.groups) * 8
    name = f"{figure.name} of every {comparison.kind} compared, by {comparison.question.by.replace('_', ' ')}"
    parts = [f'<svg class="dots" viewBox="0 0 {WIDTH} {bottom + FOOT}" role="img" aria-label="{escape(name)}" '
             f'font-size="12.5" fill="{INK}">']
    numbers = ticks(low / per, high / per, most=8)
    digits = decimals(numbers)
    for number in numbers:
        x = across(number * per)
        parts.append(f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{HEAD - 6}" y2="{bottom}" stroke="#c9c8bb" '
                     f'stroke-width="0.7"/><text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">'
                     f'{number:.{digits}f}</text>')
    parts.append(f'<text x="{(GUTTER + WIDTH - RIGHT) / 2}" y="{bottom + 35}" text-anchor="middle">'
                 f'{escape(figure.heading(inch))}</text>')
    parts += _matter_bar(comparison, scale)
    top = float(HEAD)
    for group in comparison.groups:
        top = _group(parts, comparison, group, top, across, inch) + 8
    return Markup("".join(parts) + "</svg>")


def _span(comparison: Comparison) -> tuple[float, float]:
    """Room for all plants drawn, means and intervals."""
    seen = [v for unit in comparison.units for flat in unit.flats for v in flat.cells]
    seen += [v for group in comparison.groups for v in (group.low, group.high, group.mean) if v is not None]
    low, high = min(seen), max(seen)
    room = 0.03 * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room


def _rows(comparison: Comparison, group: Group) -> int:
    return sum(_rows_of(unit) for unit in comparison.units if unit.group == group.name)


def _rows_of(unit: Unit) -> int:
    return 1 + (len(unit.flats) if len(unit.flats) > 1 else 0)


def _matter_bar(comparison: Comparison, scale: float) -> list[str]:
    """A bar as long as the difference that would matter, where there is room for it."""
    matter = comparison.matter
    if matter is None or comparison.why_nothing is not None or not 4 <= matter.size * scale <= WIDTH / 2:
        return []
    end = WIDTH - RIGHT
    start = end - matter.size * scale
    return [f'<path d="M{start:.1f} 6v8M{end} 6v8M{start:.1f} 10H{end}" stroke="{INK}" stroke-width="1.2" fill="none"/>'
            f'<text x="{start - 6:.1f}" y="14" text-anchor="end" fill="{SOFT}">would matter</text>']


def _group(parts: list[str], comparison: Comparison, group: Group, top: float, across: Callable[[float], float],
           inch: bool) -> float:
    """Draws a group from `top` on; gives the y where it ends."""
    figure, units = comparison.question.measure, [u for u in comparison.units if u.group == group.name]
    end = top + ROW * (1 + _rows(comparison, group))
    if group.low is not None and group.high is not None:
        left, right = across(group.low), across(group.high)
        parts.append(f'<rect x="{left:.1f}" y="{top + ROW - 3}" width="{right - left:.1f}" '
                     f'height="{end - top - ROW + 3}" fill="{BAND}"/>')
    mean = across(group.mean)
    parts.append(f'<line x1="{mean:.1f}" x2="{mean:.1f}" y1="{top + ROW - 3}" y2="{end}" stroke="{INK}" '
                 'stroke-width="1.3" stroke-dasharray="5 3"/>')
    parts.append(f'<text x="0" y="{top + 13}" font-weight="700">{escape(_short(group.name, GROUP_CHARACTERS))}'
                 f'<tspan font-weight="400" fill="{SOFT}"> mean {escape(figure.text(group.mean, inch))}</tspan></text>')
    y = top + ROW * 1.5
    for unit in sorted(units, key=lambda u: u.value):
        alone = len(unit.flats) == 1
        parts.append(_row(unit.name, unit.value, unit.flats[0].cells if alone else (), y, across,
                          f"{unit.name}: {figure.text(unit.value, inch)}, {_plants(unit.plants)}"))
        for number, flat in enumerate(() if alone else unit.flats, 1):
            parts.append(_row(flat.tray, flat.mean, flat.cells, y + ROW * number, across,
                              f"{flat.tray}: {figure.text(flat.mean, inch)}, {_plants(flat.plants)}", of_unit=True))
        y += ROW * _rows_of(unit)
    return end


def _row(name: str, mean: float, cells: Sequence[float], y: float, across: Callable[[float], float], told: str, *,
         of_unit: bool = False) -> str:
    """Plants, the interval of their mean, and the mean: a dot that counts, or a ring for one flat of several."""
    parts = [f'<g><title>{escape(told)}</title><text x="{10 if of_unit else 0}" y="{y + 4:.1f}" '
             f'fill="{SOFT if of_unit else INK}">{escape(_short(name, LABEL_CHARACTERS))}</text>']
    if len(cells) > 1:
        drawn = sorted(cells)[:: len(cells) // MOST_DOTS + 1]
        parts.append(f'<g fill="{FAINT}" fill-opacity="0.55">'
                     + "".join(f'<circle cx="{across(v):.1f}" cy="{y:.1f}" r="1.7"/>' for v in drawn) + "</g>")
        if half := half_interval(cells):
            left, right = across(mean - half), across(mean + half)
            parts.append(f'<path d="M{left:.1f} {y:.1f}H{right:.1f}M{left:.1f} {y - 4:.1f}v8M{right:.1f} '
                         f'{y - 4:.1f}v8" stroke="{INK}" stroke-width="1.3" fill="none"/>')
    shape = f'r="3.8" fill="#fff" stroke="{INK}" stroke-width="1.4"' if of_unit else 'r="4.6" stroke="#fff"'
    parts.append(f'<circle cx="{across(mean):.1f}" cy="{y:.1f}" {shape}/></g>')
    return "".join(parts)


def _short(name: str, most: int) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"


def _plants(number: int) -> str:
    return count(number, "plant") if number else "a line for the whole flat"


def half_interval(cells: Sequence[float]) -> float:
    """Half the 95 % interval of the mean of a flat's plants: how well that flat is known, nothing more."""
    from scipy.stats import t

    mean = sum(cells) / len(cells)
    variance = sum((v - mean) ** 2 for v in cells) / (len(cells) - 1)
    return float(t.ppf(0.975, len(cells) - 1)) * sqrt(variance / len(cells))

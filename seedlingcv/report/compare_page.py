"""A comparison of lights as one HTML file: the answer, every flat, then what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from seedlingcv import __version__
from seedlingcv.files import write_whole
from seedlingcv.records.history import Lighting
from seedlingcv.report.compare_chart import compare_chart
from seedlingcv.report.page import TEMPLATES, sentence
from seedlingcv.report.words import NONE, count, listed, unbroken
from seedlingcv.trials.answer import answer, interval, next_trial, pair_lines, plants, verdict_words
from seedlingcv.trials.checks import Check
from seedlingcv.trials.compare import Comparison
from seedlingcv.trials.design import BY
from seedlingcv.trials.units import PLURALS

CHECKED = {"look": "Look into", "unknown": "Can't be seen", "fine": "Fine"}


@dataclass(frozen=True)
class GroupRow:
    """As printed. `lights` has one (kind, PPFD, hours, DLI, distance) for each lamp known over the group."""

    name: str
    count: str
    mean: str
    interval: str
    note: str
    lights: tuple[str, ...]


def render_compare(comparison: Comparison, *, inch: bool = False) -> str:
    """The whole page; all text is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    jinja = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)
    jinja.filters["unbroken"] = unbroken
    figure, by = comparison.question.measure, BY[comparison.question.by]
    return jinja.get_template("compare.html").render(
        title=f"{PLURALS[by].capitalize()} compared", figure=figure.told,
        unit=figure.shown_unit(inch), by=by, stage=str(comparison.stage), plants=plants(comparison),
        kind=comparison.kind, kinds=comparison.kinds, answer=answer(comparison, inch=inch),
        pairs=pair_lines(comparison, inch=inch), chart=compare_chart(comparison, inch=inch),
        differences=[(f"{d.one} − {d.other}", figure.number(d.estimate, inch),
                      interval(comparison, d, inch) if d.low is not None else NONE, said_p(d.p),
                      verdict_words(comparison, d)) for d in comparison.differences],
        groups=group_rows(comparison, inch=inch), checks=[(CHECKED[c.state], c) for c in _by_weight(comparison)],
        next_trial=next_trial(comparison, inch=inch), matter=matter_line(comparison, inch=inch),
        left_out=left_out_lines(comparison), notes=comparison.notes, method=method_line(comparison),
        tested=comparison.why_nothing is None, in_groups=any(len(unit.flats) > 1 for unit in comparison.units),
        sentence=lambda text: unbroken(sentence(text)), version=__version__,
    )


def write_compare(path: Path, comparison: Comparison, *, inch: bool = False) -> None:
    """Raises OutputError where the file can't be written."""
    write_whole(path, render_compare(comparison, inch=inch))


def group_rows(comparison: Comparison, *, inch: bool = False) -> list[GroupRow]:
    figure, untested = comparison.question.measure, dict(comparison.shown_only)
    rows = []
    for group in comparison.groups:
        rests = [count(group.flats, "flat")]
        if comparison.kind != "flat":
            rests.insert(0, f"{group.units} {comparison.kind if group.units == 1 else comparison.kinds}")
        if group.plants:
            rests.append(count(group.plants, "plant"))
        if group.whole_flats:
            rests.append(f"{group.whole_flats if group.plants else 'each'} as one line for the whole flat")
        held = NONE if group.low is None else f"{figure.number(group.low, inch)} to {figure.number(group.high, inch)}"
        note = "" if comparison.why_nothing or group.name not in untested else f"not tested: it {untested[group.name]}"
        rows.append(GroupRow(group.name, ", ".join(rests), figure.number(group.mean, inch),
                             held, note, tuple(dict.fromkeys(_lighting(light, inch) for light in group.lightings))))
    return rows


def _lighting(light: Lighting, inch: bool) -> str:
    """`LED panel, white 4000 K, 180 µmol for 16 h: 10.4 mol a day, 300 mm away`, as far as known."""
    ppfd, hours, dose = light.mean_ppfd_umol, light.hours, light.dli_mol
    amount = " for ".join(t for t in (f"{ppfd:.0f} µmol" if ppfd is not None else "",
                                      f"{hours:g} h" if hours is not None else "") if t)
    amount += f": {dose:.1f} mol a day" if dose is not None else ""
    away = "" if light.distance_mm is None else (f"{light.distance_mm / 25.4:.0f} in away" if inch else
                                                 f"{light.distance_mm:.0f} mm away")
    return ", ".join(t for t in (light.kind, light.spectrum, amount, away) if t)


def left_out_lines(comparison: Comparison) -> list[str]:
    """`flats 313 and 314: not measured at 21 days …`, a line a reason."""
    places: dict[str, list[str]] = {}
    for out in comparison.left_out:
        places.setdefault(out.why, []).append(out.place.removeprefix("flat "))
    return [f"flat{'s' if len(names) > 1 else ''} {listed(names)}: {why}" for why, names in places.items()]


def said_p(p: float | None) -> str:
    return NONE if p is None else "< 0.001" if p < 0.001 else f"{p:.3f}"


def matter_line(comparison: Comparison, *, inch: bool = False) -> str:
    if comparison.matter is None:
        return f"How large a difference in {comparison.question.measure.name} matters isn't known: name it with " \
               "--difference."
    size = comparison.question.measure.text(comparison.matter.size, inch)
    return f"A difference matters from {size} on: {comparison.matter.why}."


def method_line(comparison: Comparison) -> str:
    """How it was worked out, with the test over all groups where there are several."""
    if comparison.why_nothing is not None:
        return "Nothing was tested."
    text = f"{comparison.method[0].upper()}{comparison.method[1:]}."
    if comparison.overall is not None:
        o = comparison.overall
        p = said_p(o.p) if o.p < 0.001 else f"= {said_p(o.p)}"
        text += f" Over all: F = {o.f:.2f} on {o.df:g} and {o.error_df:.1f} degrees of freedom, p {p}."
    return text


def _by_weight(comparison: Comparison) -> list[Check]:
    return sorted(comparison.checks, key=lambda check: ("look", "unknown", "fine").index(check.state))

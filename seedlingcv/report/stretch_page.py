"""Stretch over time as one HTML file: the answers first, then the charts they rest on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from seedlingcv import __version__
from seedlingcv.crops.crop import Crop
from seedlingcv.files import write_whole
from seedlingcv.records.history import FlatHistory
from seedlingcv.report import charts
from seedlingcv.report import stretch_words as words
from seedlingcv.report.page import TEMPLATES, sentence
from seedlingcv.report.stretch_charts import Chart, flat_charts, group_charts, shared_frames
from seedlingcv.report.stretch_map import place_map, place_scale
from seedlingcv.report.words import unbroken
from seedlingcv.stretch.series import Group, looks_of
from seedlingcv.stretch.study import Study

CropOf = Callable[[FlatHistory], Crop | None]
GROWN = ("stem_length_mm", "legginess", "canopy_cover")


@dataclass(frozen=True)
class GroupPart:
    """What stands of a group on the page. folded : charts behind a line to open; growth : (flat, growth) lines"""

    title: str
    facts: str
    charts: list[Chart]
    folded: list[Chart]
    growth: list[tuple[str, str]]
    unaged: str


@dataclass(frozen=True)
class ChangePart:
    title: str
    lines: list[str]


@dataclass(frozen=True)
class MapPart:
    title: str
    note: str
    drawing: Markup
    width: int


def render_stretch(study: Study, crop_of: CropOf, *, against_leaves: bool = False, inch: bool = False) -> str:
    """The whole page; all text is escaped.

    against_leaves : charts by leaf stage first, those by age folded away, instead of the other way round
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    jinja = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)
    jinja.filters["unbroken"] = unbroken
    jinja.globals.update(sentence=lambda text: unbroken(sentence(text)))
    maps, scale = _maps(study)
    return jinja.get_template("stretch.html").render(
        days=study.days, say_day=words.say_day, counts=words.counts(study),
        left=words.left_lines(study), how_many_left=words.how_many_left(study),
        no_one_left=words.no_one_left(study), unjudged=words.unjudged_lines(study),
        changes=_changes(study, inch), sides=words.side_lines(study.places),
        groups=_groups(study, crop_of, against_leaves, inch), against_leaves=against_leaves, maps=maps,
        legend=charts.legend(scale) if maps else "",
        places=_place_growth(study, inch), by=study.by, band_note=words.BAND_NOTE, light_note=words.LIGHT_NOTE,
        side_note=f"{words.SIDE_NOTE} {words.together_line(study.places)}".rstrip(), hatch=charts.HATCH,
        version=__version__,
    )


def write_stretch(path: Path, study: Study, crop_of: CropOf, *, against_leaves: bool = False,
                  inch: bool = False) -> None:
    """Raises OutputError where the file can't be written."""
    write_whole(path, render_stretch(study, crop_of, against_leaves=against_leaves, inch=inch))


def flat_chart(history: FlatHistory, crop: Crop | None, *, inch: bool = False) -> Markup:
    """A flat through the season, for any page: its charts side by side, with a line on how to read them."""
    drawn = flat_charts(history, crop, inch=inch)
    boxes = Markup("").join(Markup('<div><p style="margin:0;font-weight:600">{}</p>{}</div>').format(c.title, c.drawing)
                            for c in drawn)
    turned = " ◇: the light changed." if history.changes_seen else ""
    return Markup(
        '<div style="display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,16rem),1fr));gap:.8rem 1.5rem">'
        '{}</div><p class="note">The line joins the middle plants; bars span the middle half of the plants. Shaded: '
        'what is expected of the crop, for stems up to its target height, leaves included.{}</p>'
    ).format(boxes, turned)


def _changes(study: Study, inch: bool) -> list[ChangePart]:
    parts: dict[str, ChangePart] = {}
    for effect in study.changes:
        title = words.change_title(effect)
        part = parts.setdefault(title, ChangePart(unbroken(title), []))
        part.lines.append(words.change_line(effect, inch=inch))
        part.lines.extend(line for line in words.left_out_lines(effect) if line not in part.lines)
    return list(parts.values())


def _groups(study: Study, crop_of: CropOf, against_leaves: bool, inch: bool) -> list[GroupPart]:
    parts = []
    for name in dict.fromkeys(group.crop for group in study.groups):
        groups = [group for group in study.groups if group.crop == name]
        crop = crop_of(groups[0].flats[0])
        frames = [shared_frames(groups, crop, against_leaves=leaves) for leaves in (False, True)]
        parts += [_group(study, group, crop, frames, against_leaves, inch) for group in groups]
    return parts


def _group(study: Study, group: Group, crop: Crop | None, frames: Sequence[dict], against_leaves: bool,
           inch: bool) -> GroupPart:
    unaged = [flat for flat in group.flats
              if any(look.age_days is None for look in looks_of(flat, "canopy_cover") or looks_of(flat, "legginess"))]
    facts = [group.crop.capitalize() if group.crop else "Crop not known"]
    if study.by != "flat":
        facts.append(words.flat_numbers(group.flats))
    if gone := [flat for flat in group.flats if flat.potted]:
        facts.append(f"potted up: {words.flat_numbers(gone)}" if study.by != "flat" else "potted up")
    growth = [(f"{flat.place[0].upper()}{flat.place[1:]}", words.growth_line(own, inch=inch))
              for flat in group.flats for field in GROWN for own in study.growth[field] if own.history is flat]
    return GroupPart(
        f"{group.name[0].upper()}{group.name[1:]}", ", ".join(facts),
        *(group_charts(group, crop, frames[leaves], against_leaves=leaves, inch=inch)
          for leaves in (against_leaves, not against_leaves)),
        growth, f"{words.flat_numbers(unaged)}: no sowing date" if unaged else "",
    )


def _place_growth(study: Study, inch: bool) -> list[tuple[str, str, list[str]]]:
    """(light or shelf, ages, growth of each figure) for the table."""
    rows: dict[tuple[str, str | None], tuple[str, list[str]]] = {}
    for field in GROWN:
        for growth in study.by_place[field]:
            ages = f"{growth.ages[0]}–{growth.ages[1]} days" if growth.ages else "–"
            row = rows.setdefault((growth.place, growth.crop), (ages, ["–"] * len(GROWN)))
            row[1][GROWN.index(field)] = words.place_growth(growth, inch=inch)
    return [(f"{place}, {crop}" if crop else place, ages, cells) for (place, crop), (ages, cells) in rows.items()]


def _maps(study: Study) -> tuple[list[MapPart], charts.Scale]:
    scale = place_scale(study.places)
    parts = [MapPart(place.name[0].upper() + place.name[1:],
                     f"{(place.crop or 'crop not known').capitalize()}, {words.flat_numbers(place.flats)}. "
                     + unbroken(sentence(words.map_note(place))),
                     place_map(place, scale), charts.CELL_W * place.columns * 2 // 3 + 60) for place in study.places]
    return parts, scale

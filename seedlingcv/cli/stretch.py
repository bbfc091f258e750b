"""`seedlingcv stretch`: stretch over time, by flat, shelf or light, from the records."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.errors import CropError

if TYPE_CHECKING:
    from collections.abc import Callable

    from seedlingcv.crops.crop import Crop
    from seedlingcv.records.history import FlatHistory, History


class By(StrEnum):
    flat = "flat"
    shelf = "shelf"
    light = "light"


def stretch(
    records: options.Records = None,
    by: Annotated[By, typer.Option(help="What is drawn together.")] = By.light,
    flats: Annotated[str | None, typer.Option(help="Only these flats, such as 31-42.", show_default=False)] = None,
    crop: Annotated[str | None, typer.Option(help="Only this crop.", show_default=False)] = None,
    since: options.Since = None,
    until: options.Until = None,
    against_leaves: Annotated[bool, typer.Option("--against-leaves", help="Chart by leaf stage, not by age.")] = False,
    report: Annotated[Path | None, typer.Option(help="Write the HTML page.", show_default=False)] = None,
    json: options.Json = None,
    crops: options.Crops = None,
    marks: options.Marks = None,
    inches: options.Inches = False,
) -> None:
    """Show stretch over time: flats out of band, what new light did.

    Also which side of a light is weak.
    Ends with 1 if there are no records or no such flat in them.
    """
    from rich.console import Console

    from seedlingcv.cli.checks import check_crops
    from seedlingcv.cli.history import history_asked
    from seedlingcv.cli.options import records_named
    from seedlingcv.report.files import check_targets
    from seedlingcv.report.stretch_export import write_stretch_json
    from seedlingcv.report.stretch_page import write_stretch
    from seedlingcv.report.stretch_terminal import print_stretch
    from seedlingcv.stretch.study import study_of

    target = records_named(records)
    check_targets([path for path in (report, json) if path],
                  keep=[path for path in (crops, marks, Path(target)) if path])
    if crops:
        check_crops(crops)
    history = history_asked(target, flats, since, until, crop)
    complaints: list[str] = []
    crop_of = _crops_of(history, crops, marks, complaints)
    study = study_of(history, crop_of, by.value)
    if json:
        write_stretch_json(json, study)
    if report:
        write_stretch(report, study, crop_of, against_leaves=against_leaves, inch=inches)
    print_stretch(Console(), study, crop_of, against_leaves=against_leaves, inch=inches)
    for complaint in dict.fromkeys(complaints):
        typer.echo(complaint, err=True)
    if report:
        typer.echo(f"Report: {report.resolve()}")


def _crops_of(history: History, own: Path | None, marks: Path | None,
              complaints: list[str]) -> Callable[[FlatHistory], Crop | None]:
    """A flat's crop with the grower's limits; one that isn't known is complained of once."""
    from seedlingcv.advice.own_marks import shift_by
    from seedlingcv.crops.crop import load_crop
    from seedlingcv.records.marks import read_marks

    own_marks = read_marks(marks) if marks else None
    shift, unused = shift_by(own_marks, [day.measurement for flat in history.flats for day in flat.days], own)
    complaints += [*(own_marks.complaints if own_marks else ()), *unused]
    known: dict[str, Crop | None] = {}

    def crop_of(flat: FlatHistory) -> Crop | None:
        if flat.crop is None:
            return None
        if flat.crop not in known:
            try:
                known[flat.crop] = shift(load_crop(flat.crop, own))
            except CropError as error:
                known[flat.crop] = None
                complaints.append(str(error))
        return known[flat.crop]

    return crop_of

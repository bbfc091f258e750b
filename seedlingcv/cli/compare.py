"""`seedlingcv compare`: lights (or varieties, batches …) compared, from the records."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.cli import options

if TYPE_CHECKING:
    from seedlingcv.trials.design import Question


class By(StrEnum):
    light = "light"
    spectrum = "spectrum"
    shelf = "shelf"
    variety = "variety"
    seed_lot = "seed_lot"
    batch = "batch"


class Measure(StrEnum):  # the fields of trials/figures.py, to which a test holds it
    legginess = "legginess"
    stem_length_mm = "stem_length_mm"
    hypocotyl_length_mm = "hypocotyl_length_mm"
    leaf_spread_mm = "leaf_spread_mm"
    canopy_cover = "canopy_cover"
    true_leaves = "true_leaves"
    stem_diameter_mm = "stem_diameter_mm"
    height_mm = "height_mm"
    leaf_area_mm2 = "leaf_area_mm2"


def compare(
    records: options.Records = None,
    by: Annotated[By, typer.Option(help="What is compared.", metavar="WHAT")] = By.light,
    figure: Annotated[Measure, typer.Option(help="Compared in this.", metavar="FIGURE")] = Measure.legginess,
    crop: Annotated[str | None, typer.Option(help="Only this crop.", show_default=False)] = None,
    age: Annotated[int | None, typer.Option(min=0, help="Days after sowing; if not given, the age at which most flats "
                                                        "were measured.", show_default=False)] = None,
    leaves: Annotated[float | None, typer.Option(min=0, help="At so many true leaves instead of at one age.",
                                                 show_default=False)] = None,
    against: Annotated[str | None, typer.Option(help="Each against this one, such as the old light.",
                                                show_default=False)] = None,
    pair: Annotated[list[str] | None, typer.Option(help="Only this pair, such as 'old panel / new panel'; may be given "
                                                        "again.", show_default=False)] = None,
    difference: Annotated[float | None, typer.Option(min=0, help="That would matter to you, in the unit shown "
                                                                 "(cover: in %).", show_default=False)] = None,
    flats: Annotated[str | None, typer.Option(help="Only these flats, such as 31-42.", show_default=False)] = None,
    since: options.Since = None,
    until: options.Until = None,
    report: Annotated[Path | None, typer.Option(help="Write the HTML page.", show_default=False)] = None,
    json: options.Json = None,
    crops: options.Crops = None,
    inches: options.Inches = False,
) -> None:
    """Compare lights: is it real, does it matter, how many flats next?

    At equal age or equal leaf stage; a flat counts once, not its plants. WHAT: light, spectrum, shelf, variety,
    seed_lot or batch. FIGURE: legginess, stem_length_mm, hypocotyl_length_mm, leaf_spread_mm, canopy_cover,
    true_leaves, stem_diameter_mm, height_mm or leaf_area_mm2. Ends with 1 if there are no records or nothing can be
    compared.
    """
    from rich.console import Console

    from seedlingcv.cli.checks import check_crops
    from seedlingcv.cli.history import history_asked
    from seedlingcv.report.compare_export import write_compare_json
    from seedlingcv.report.compare_page import write_compare
    from seedlingcv.report.compare_terminal import print_compare
    from seedlingcv.report.files import check_targets
    from seedlingcv.trials.compare import compare as compared

    target = options.records_named(records)
    question = _question(by, figure, crop, age, leaves, against, pair or [], difference, inches)
    check_targets([path for path in (report, json) if path], keep=[path for path in (crops, Path(target)) if path])
    if crops:
        check_crops(crops)
    comparison = compared(history_asked(target, flats, since, until), question, crops)
    if json:
        write_compare_json(json, comparison)
    if report:
        write_compare(report, comparison, inch=inches)
    print_compare(Console(), comparison, inch=inches)
    if report:
        typer.echo(f"Report: {report.resolve()}")


def _question(by: By, figure: Measure, crop: str | None, age: int | None, leaves: float | None, against: str | None,
              pairs: list[str], difference: float | None, inch: bool) -> Question:
    """Raises typer.BadParameter for what can't be asked together."""
    from seedlingcv.trials.design import Question

    if age is not None and leaves is not None:
        raise typer.BadParameter("Compare at one age or at one leaf stage, not both.", param_hint="--leaves")
    if against is not None and pairs:
        raise typer.BadParameter("Name pairs, or one to hold all others against, not both.", param_hint="--pair")
    named = []
    for text in pairs:
        names = tuple(name.strip() for name in text.split("/"))
        if len(names) != 2 or not all(names) or names[0] == names[1]:
            raise typer.BadParameter(f"{text!r} is no pair: write two names with / between them.", param_hint="--pair")
        named.append(names)
    question = Question(by.value, figure.value, crop, age, leaves, against, tuple(named))
    if difference is None:
        return question
    if difference <= 0:
        raise typer.BadParameter("It must be more than 0.", param_hint="--difference")
    if figure is Measure.canopy_cover and difference < 1:
        raise typer.BadParameter(f"Canopy cover is compared in % of the cell: write {100 * difference:g} for "
                                 f"{100 * difference:g} %.", param_hint="--difference")
    per = question.measure.per(inch)
    return Question(by.value, figure.value, crop, age, leaves, against, tuple(named), difference * per)

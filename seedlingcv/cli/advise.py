"""`seedlingcv advise`: the same rules on figures measured by hand."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.cli.options import own_pot
from seedlingcv.cli.results import NEEDS_ATTENTION, Results, Targets, write
from seedlingcv.errors import OutputError, RegisterError

if TYPE_CHECKING:
    from seedlingcv.advice.pots import Pot


class Units(StrEnum):
    mm = "mm"
    inch = "inch"


def advise(
    file: Annotated[Path | None, typer.Argument(help="CSV with the figures; with --template, the file to write.",
                                                show_default=False)] = None,
    flats: Annotated[Path | None, typer.Option(help="Register of flats, if not flats.csv beside the file.")] = None,
    crops: options.Crops = None,
    marks: options.Marks = None,
    records: options.Records = None,
    pot: options.PotSize = None,
    today: options.Today = None,
    report: Annotated[Path | None, typer.Option(help="Write the HTML report.")] = None,
    crew: options.Crew = None,
    compact: options.Compact = False,
    paper: options.PaperSize = options.Paper.a4,
    labels: options.Labels = None,
    json: options.Json = None,
    csv: options.Csv = None,
    inches: options.Inches = False,
    units: Annotated[Units, typer.Option(help="Units of the list; inch is the same as --inches.")] = Units.mm,
    template: Annotated[bool, typer.Option("--template", help="Write an empty sheet, to the file or to the "
                                           "screen.")] = False,
    quiet: options.Quiet = False,
) -> None:
    """Say what to do with flats measured by hand: no photos are needed.

    Ends with 0 if all went well, 3 if a list was made but some rows could not be used, 1 if the file could not be
    read, held no flat, or a result could not be written.
    """
    inch = inches or units is Units.inch
    if template:
        _write_template(file, inch)
        return
    if file is None:
        raise typer.BadParameter("Name the CSV file, or write --template for an empty one.", param_hint="FILE")
    the_pot, to = own_pot(pot), Targets(report, json, csv, crew, labels, compact, paper.value)
    flats = _checked(file, flats, crops, marks, records, to.paths)
    done = run(file, flats=flats, crops=crops, marks=marks, records=records, pot=the_pot, inch=inch,
               today=today.date() if today else None)
    write(done, to, own_crops=crops, inch=inch, quiet=quiet)
    if not done.entries:
        raise typer.Exit(1)
    if done.complaints:
        raise typer.Exit(NEEDS_ATTENTION)


def run(file: Path, *, flats: Path | None = None, crops: Path | None = None, marks: Path | None = None,
        records: str | None = None, pot: Pot | None = None, inch: bool = False, today: date | None = None) -> Results:
    """The list in order, what could not be used, and the day it is for. flats : the register, if there is one.

    Raises RegisterError if the sheet, the register or the marks can't be read; RecordsError.
    """
    from seedlingcv.assess.by_hand import assess_sheet
    from seedlingcv.cli.keeping import open_keeping
    from seedlingcv.records.marks import read_marks
    from seedlingcv.records.register import read_register
    from seedlingcv.records.ruler import read_ruler

    sheet = read_ruler(file)
    register = read_register(flats) if flats else None
    own_marks = read_marks(marks) if marks else None
    with ExitStack() as stack:
        keeping = open_keeping(stack, records, [*([flats] if flats else []), file]) if records else None
        done = assess_sheet(sheet, register, own_crops=crops, today=today, inch=inch, pot=pot, marks=own_marks,
                            keeping=keeping)
    return Results(done.entries, done.today, done.complaints, notes=done.notes, past=done.past)


def _checked(file: Path, flats: Path | None, crops: Path | None, marks: Path | None,
             records: str | None, targets: list[Path]) -> Path | None:
    """The register: the one named, or that beside the file. What is wrong with the files is told before all else."""
    from seedlingcv.cli.checks import check_crops
    from seedlingcv.records.register import find_register
    from seedlingcv.report.files import check_targets

    if file.is_dir():
        raise RegisterError("This is a folder, not a file.", where=str(file),
                            next_step="Name the CSV file; for a folder of photos run `seedlingcv assess`.")
    if crops:
        check_crops(crops)
    if flats is None and file.exists():
        flats = find_register(file.absolute().parent)
    if flats and flats.resolve() == file.resolve():
        flats = None
    kept = Path(records) if records else None
    check_targets(targets, keep=[path for path in (file, flats, crops, marks, kept) if path])
    return flats


def _write_template(file: Path | None, inch: bool) -> None:
    from seedlingcv.files import write_whole
    from seedlingcv.records.ruler import template

    if file is None:
        typer.echo(template(inch=inch), nl=False)
        return
    if file.exists():
        raise OutputError("The file is there already; it won't be written over.", where=str(file),
                          next_step="Name another file.")
    write_whole(file, template(inch=inch))
    typer.echo(f"Wrote {file}: fill it in and run `seedlingcv advise {file}`.")

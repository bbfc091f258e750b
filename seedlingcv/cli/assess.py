"""`seedlingcv assess`: the main job."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.cli.options import own_pot
from seedlingcv.cli.results import NEEDS_ATTENTION, Results, Targets, write
from seedlingcv.errors import PhotoError

if TYPE_CHECKING:
    from seedlingcv.advice.pots import Pot
    from seedlingcv.assess.folder import Assessment

REPORT = Path("pot-up-list.html")


def assess(
    folder: Annotated[Path, typer.Argument(help="Folder with the photos.", show_default=False)],
    flats: Annotated[Path | None, typer.Option(help="Register of flats, if not flats.csv in the folder.")] = None,
    crops: options.Crops = None,
    marks: options.Marks = None,
    records: options.Records = None,
    pot: options.PotSize = None,
    today: options.Today = None,
    report: Annotated[Path, typer.Option(help="The HTML report to write.")] = REPORT,
    crew: options.Crew = None,
    compact: options.Compact = False,
    paper: options.PaperSize = options.Paper.a4,
    labels: options.Labels = None,
    json: options.Json = None,
    csv: options.Csv = None,
    masks: Annotated[Path | None, typer.Option(help="Write a label image of each used photo into this folder.")] = None,
    inches: options.Inches = False,
    quiet: options.Quiet = False,
) -> None:
    """Measure a folder of photos and print the pot-up list.

    Ends with 0 if all went well, 3 if a list was made but some photos or register rows could not be used,
    1 if no flat could be measured or a file could not be read or written.
    """
    to = Targets(report, json, csv, crew, labels, compact, paper.value)
    done = run(folder, flats=flats, crops=crops, today=today.date() if today else None, inches=inches, masks=masks,
               quiet=quiet, marks=marks, records=records, pot=own_pot(pot), targets=to.paths)
    write(results(done), to, own_crops=crops, inch=inches, quiet=quiet)
    if not done.entries:
        raise typer.Exit(1)
    if done.needs_attention:
        raise typer.Exit(NEEDS_ATTENTION)


def results(done: Assessment) -> Results:
    return Results(done.entries, done.today, done.complaints, done.photos, done.pictures, done.notes, done.past)


def run(folder: Path, *, flats: Path | None = None, crops: Path | None = None, today: date | None = None,
        inches: bool = False, masks: Path | None = None, quiet: bool = False, marks: Path | None = None,
        records: str | None = None, pot: Pot | None = None, targets: Sequence[Path] = ()) -> Assessment:
    """Assess with a progress bar on the terminal's error stream.

    records : a file or address of records to add to
    What is wrong with the folder, the register, the crop file, the records or the files to write (`targets`) is told
    first: measuring takes minutes. Raises PhotoError, RegisterError, CropError, RecordsError, OutputError.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from seedlingcv.assess.folder import assess_folder, photo_files
    from seedlingcv.cli.checks import check_crops, check_masks
    from seedlingcv.cli.keeping import open_keeping
    from seedlingcv.records.marks import read_marks
    from seedlingcv.records.register import find_register, read_register
    from seedlingcv.report.files import check_targets

    if folder.is_file():
        raise PhotoError("This is a file, not a folder.", where=str(folder),
                         next_step="Name the folder that the photos are in.")
    photos = photo_files(folder)
    path = flats or find_register(folder)
    register = read_register(path) if path else None
    own_marks = read_marks(marks) if marks else None
    if crops:
        check_crops(crops)
    kept = Path(records) if records else None
    check_targets(targets, keep=[*photos, *(p for p in (path, crops, marks, kept) if p)])
    if masks:
        check_masks(masks, [photo.relative_to(folder).as_posix() for photo in photos])
    console = Console(stderr=True)
    share = TextColumn("{task.percentage:.0f} %")
    with ExitStack() as stack:
        keeping = open_keeping(stack, records, *_tables(folder, path)) if records else None
        bar = stack.enter_context(Progress(
            TextColumn("{task.description}"), BarColumn(), share, TimeRemainingColumn(), console=console,
            transient=True, disable=quiet or not console.is_terminal))
        task = bar.add_task("Looking")

        def progress(step: int, steps: int, name: str) -> None:
            bar.update(task, completed=step, total=steps, description=name[-30:])

        return assess_folder(folder, register, own_crops=crops, today=today, inch=inches, masks=masks, pot=pot,
                             marks=own_marks, keeping=keeping, progress=progress)


def _tables(folder: Path, register: Path | None) -> tuple[list[Path], Path | None]:
    """The tables beside the photos with the register in use, and the corrections."""
    from seedlingcv.records.files import find_tables
    from seedlingcv.records.register import find_register
    from seedlingcv.records.sheet import find_file

    corrections = find_file(folder, "corrections")
    aside = (find_register(folder), corrections)
    return [*([register] if register else []), *(p for p in find_tables(folder) if p not in aside)], corrections

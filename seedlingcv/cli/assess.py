"""`seedlingcv assess`: the main job."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.errors import OutputError, PhotoError

if TYPE_CHECKING:
    from seedlingcv.assess.folder import Assessment

NEEDS_ATTENTION = 3  # exit code: a list was made, but some photos or register rows could not be used
TODAY = "The day the list is for; the newest photo's day if not given."
QUIET = "One line a flat; what could not be used goes to the error stream, one line each."
REPORT = Path("pot-up-list.html")


def assess(
    folder: Annotated[Path, typer.Argument(help="Folder with the photos.", show_default=False)],
    flats: Annotated[Path | None, typer.Option(help="Register of flats, if not flats.csv in the folder.")] = None,
    crops: Annotated[Path | None, typer.Option(help="Your own crop values (TOML), over those that come along.")] = None,
    report: Annotated[Path, typer.Option(help="The HTML report to write.")] = REPORT,
    json: Annotated[Path | None, typer.Option(help="Write all figures as JSON.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write all figures as CSV, one line a cell.")] = None,
    masks: Annotated[Path | None, typer.Option(help="Write a label image of each used photo into this folder.")] = None,
    today: Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], show_default=False, help=TODAY)] = None,
    inches: Annotated[bool, typer.Option("--inches", help="Lengths in inches, temperatures in °F.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help=QUIET)] = False,
) -> None:
    """Measure the flats in a folder of photos and print which to pot up first.

    Ends with 0 if all went well, 3 if a list was made but some photos or register rows could not be used,
    1 if no flat could be measured or a file could not be read or written.
    """
    done = run(folder, flats=flats, crops=crops, today=today.date() if today else None, inches=inches, masks=masks,
               quiet=quiet, targets=[path for path in (report, json, csv) if path])
    write(done, report=report, json=json, csv=csv, inches=inches, quiet=quiet)
    if not done.entries:
        raise typer.Exit(1)
    if done.needs_attention:
        raise typer.Exit(NEEDS_ATTENTION)


def run(folder: Path, *, flats: Path | None = None, crops: Path | None = None, today: date | None = None,
        inches: bool = False, masks: Path | None = None, quiet: bool = False,
        targets: Sequence[Path] = ()) -> Assessment:
    """Assess with a progress bar on the terminal's error stream.

    What is wrong with the folder, the register, the crop file or the files to write (`targets`) is told first:
    measuring takes minutes. Raises PhotoError, RegisterError, CropError, OutputError.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from seedlingcv.assess.folder import assess_folder, photo_files
    from seedlingcv.cli.checks import check_crops, check_masks
    from seedlingcv.records.register import find_register, read_register
    from seedlingcv.report.files import check_targets

    if folder.is_file():
        raise PhotoError("This is a file, not a folder.", where=str(folder),
                         next_step="Name the folder that the photos are in.")
    photos = photo_files(folder)
    path = flats or find_register(folder)
    register = read_register(path) if path else None
    if crops:
        check_crops(crops)
    check_targets(targets, keep=[*photos, *(p for p in (path, crops) if p)])
    if masks:
        check_masks(masks, [photo.relative_to(folder).as_posix() for photo in photos])
    console = Console(stderr=True)
    share = TextColumn("{task.percentage:.0f} %")
    with Progress(TextColumn("{task.description}"), BarColumn(), share, TimeRemainingColumn(), console=console,
                  transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("Looking")

        def progress(step: int, steps: int, name: str) -> None:
            bar.update(task, completed=step, total=steps, description=name[-30:])

        return assess_folder(folder, register, own_crops=crops, today=today, inch=inches, masks=masks,
                             progress=progress)


def write(done: Assessment, *, report: Path, json: Path | None = None, csv: Path | None = None,
          inches: bool = False, quiet: bool = False) -> None:
    """Write the files asked for and print the list. Raises the first OutputError, after doing all the rest.

    The list comes last: a closed pipe (`| head`) must not cost anyone the files.
    """
    from rich.console import Console

    from seedlingcv.report.export import write_csv, write_json
    from seedlingcv.report.page import write_page
    from seedlingcv.report.terminal import print_list, trouble_lines

    failed: list[OutputError] = []

    def attempt(write_one: Callable[..., None], path: Path | None, *what: object, **options: object) -> bool:
        try:
            if path:
                write_one(path, *what, **options)
        except OutputError as error:
            failed.append(error)
            return False
        return True

    attempt(write_json, json, done.entries, done.photos, today=done.today, complaints=done.complaints)
    attempt(write_csv, csv, done.entries)
    reported = attempt(write_page, report, done.entries, done.photos, done.pictures, done.complaints,
                       today=done.today, inch=inches)
    print_list(Console(), done.entries, done.photos, done.complaints, today=done.today, inch=inches, quiet=quiet)
    if quiet:
        for line in trouble_lines(done.entries, done.photos, done.complaints):
            typer.echo(line, err=True)
    elif reported:
        typer.echo(f"Report: {report.resolve()}")
    if failed:
        raise failed[0]

"""`seedlingcv demo`: the main job on the sample photos that come along, or a whole sample season into records."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.cli.advise import run as advise
from seedlingcv.cli.assess import REPORT, results, run
from seedlingcv.cli.results import Targets, write
from seedlingcv.errors import PhotoError, RecordsError

CREW = "crew-sheet.pdf"
SEASON = "season.db"


def demo(
    report: Annotated[Path, typer.Option(help="The HTML report to write; the crew sheet goes beside it.")] = REPORT,
    season: Annotated[bool, typer.Option("--season", help=f"A whole season, with records in {SEASON}.")] = False,
    inches: options.Inches = False,
) -> None:
    """Show the main job on sample photos, and write the crew sheet.

    The photos are of an invented nursery, rendered, not photographed.
    """
    to = Targets(report=report, crew=report.with_name(CREW))
    if season:
        typer.echo("A sample season: an invented nursery, its figures made up and its photos drawn by computer.\n")
        _season(sample_folder() / "season", to, inches)
        return
    typer.echo("Sample photos: an invented nursery, rendered by computer, not photographed.\n")
    write(results(run(sample_folder(), inches=inches, targets=to.paths)), to, inch=inches)


def _season(folder: Path, to: Targets, inches: bool) -> None:
    """Figures by hand of five days, then the photos of the sixth; both go into the records."""
    _check_free(Path(SEASON), folder / "flats.csv")
    advise(folder / "figures.csv", flats=folder / "flats.csv", records=SEASON, inch=inches)
    write(results(run(folder, inches=inches, targets=to.paths, records=SEASON)), to, inch=inches)
    typer.echo(f"Records: {Path(SEASON).resolve()}")
    typer.echo("Now look at the season:")
    for command in ("list --today 2025-03-20", "records show", "stretch", "compare"):
        typer.echo(f"  seedlingcv {command} --records {SEASON}")


def _check_free(place: Path, register: Path) -> None:
    """Raises RecordsError if records are there that hold other flats: invented ones have no place among a grower's."""
    from seedlingcv.records.database import open_records
    from seedlingcv.records.register import read_register
    from seedlingcv.records.summary import flats_by_number

    if not place.exists():
        return
    with open_records(place) as there:
        if not set(flats_by_number(there)) <= set(read_register(register).flats):
            raise RecordsError("There are records of your own here already.", where=str(place),
                               next_step="Run the demo in another folder, so that invented flats don't mix with yours.")


def sample_folder() -> Path:
    """The sample photos, inside an installed package or beside it in a checkout."""
    package = Path(str(files("seedlingcv")))
    for folder in (package / "sample_images", package.parent / "sample_images"):
        if folder.is_dir():
            return folder
    raise PhotoError("The sample photos are missing.", where="sample_images",
                     next_step="Install seedlingcv again, or run assess on your own photos.")

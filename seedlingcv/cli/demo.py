"""`seedlingcv demo`: the main job on the sample photos that come along."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.cli.assess import REPORT, results, run
from seedlingcv.cli.results import Targets, write
from seedlingcv.errors import PhotoError

CREW = "crew-sheet.pdf"


def demo(
    report: Annotated[Path, typer.Option(help="The HTML report to write; the crew sheet goes beside it.")] = REPORT,
    inches: options.Inches = False,
) -> None:
    """Show the main job on sample photos, and write the crew sheet.

    The photos are of an invented nursery, rendered, not photographed.
    """
    typer.echo("Sample photos: an invented nursery, rendered by computer, not photographed.\n")
    to = Targets(report=report, crew=report.with_name(CREW))
    write(results(run(sample_folder(), inches=inches, targets=to.paths)), to, inch=inches)


def sample_folder() -> Path:
    """The sample photos, inside an installed package or beside it in a checkout."""
    package = Path(str(files("seedlingcv")))
    for folder in (package / "sample_images", package.parent / "sample_images"):
        if folder.is_dir():
            return folder
    raise PhotoError("The sample photos are missing.", where="sample_images",
                     next_step="Install seedlingcv again, or run assess on your own photos.")

"""`seedlingcv demo`: the main job on the sample photos that come along."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from seedlingcv.cli.assess import REPORT, run, write
from seedlingcv.errors import PhotoError


def demo(
    report: Annotated[Path, typer.Option(help="The HTML report to write.")] = REPORT,
    inches: Annotated[bool, typer.Option("--inches", help="Lengths in inches, temperatures in °F.")] = False,
) -> None:
    """Assess the sample photos: an invented nursery, rendered, not photographed."""
    typer.echo("Sample photos: an invented nursery, rendered by computer, not photographed.\n")
    write(run(sample_folder(), inches=inches, targets=[report]), report=report, inches=inches)


def sample_folder() -> Path:
    """The sample photos, inside an installed package or beside it in a checkout."""
    package = Path(str(files("seedlingcv")))
    for folder in (package / "sample_images", package.parent / "sample_images"):
        if folder.is_dir():
            return folder
    raise PhotoError("The sample photos are missing.", where="sample_images",
                     next_step="Install seedlingcv again, or run assess on your own photos.")

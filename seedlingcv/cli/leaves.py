"""`seedlingcv leaves`: count the leaves of single seedlings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seedlingcv.errors import PhotoError

WHY = {
    "nothing_green": "nothing green was found; go closer, or put the plant on a darker ground",
    "plant_cut": "the plant runs out of the picture; step back",
    "leaves_unsure": "leaves can't be told apart; photograph it from straight above",
}


def leaves(
    photos: Annotated[list[Path], typer.Argument(help="Close-ups of one seedling each, from straight above.",
                                                 show_default=False)],
) -> None:
    """Count the leaves of a single seedling, seed leaves included.

    One seedling a photo; no cards are needed.

    Ends with 0 if every photo gave a count, 3 if some didn't, 1 if none did.
    """
    from seedlingcv.photo.read import read_photo
    from seedlingcv.segment.leaves import count_all_leaves

    counted = 0
    for path in photos:
        try:
            found = count_all_leaves(read_photo(path).image)
        except PhotoError as error:
            typer.echo(f"{path}: {error.what} {error.next_step}".strip())
            continue
        if found.count is None:
            typer.echo(f"{path}: not counted: {WHY[found.why]}")
            continue
        counted += 1
        doubt = "" if found.sure else f" (perhaps {found.least} to {found.most}: look at it)"
        typer.echo(f"{path}: {found.count} leaves, seed leaves included{doubt}")
    if counted < len(photos):
        raise typer.Exit(3 if counted else 1)

"""`seedlingcv cards`: print the cards that give a photo its scale."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seedlingcv.cli import options
from seedlingcv.tags.family import FLAT_IDS, is_flat


def cards(
    out: Annotated[Path, typer.Option(help="The PDF to write.")] = Path("cards.pdf"),
    paper: options.PaperSize = options.Paper.a4,
    flats: Annotated[str, typer.Option(help="Flats that need a tag, such as 31-40,55.")] = "10-17",
    board: Annotated[bool, typer.Option(help="The root board too, a page of blue ink.")] = True,
) -> None:
    """Make the PDF to print: cards, flat tags and root board.

    Corner cards and backdrop tags serve every flat, and each flat has a tag of its own. Print at 100 %.
    """
    from seedlingcv.tags.sheet import write_cards

    numbers = flat_numbers(flats)
    pages = write_cards(out, paper=paper.value, flats=numbers, board=board)
    typer.echo(f"Wrote {out}: {pages} pages, flat tags for {len(numbers)} flats.")
    typer.echo("Print at 100 % on matte paper and measure the 100 mm line before cutting.")


def flat_numbers(listed: str) -> tuple[int, ...]:
    """`31-40,55` as numbers, in the order given, each once. Raises typer.BadParameter."""
    numbers: dict[int, None] = {}
    for part in listed.split(","):
        first, dash, last = (piece.strip() for piece in part.partition("-"))
        ends = (first, last) if dash else (first, first)
        if not all(end.isascii() and end.isdigit() and len(end) <= 4 for end in ends):
            raise typer.BadParameter(f"{part.strip()!r} is no number or range. Write it like 31-40,55.",
                                     param_hint="--flats")
        low, high = map(int, ends)
        if low > high:
            raise typer.BadParameter(f"{part.strip()} runs backwards. Write {high}-{low}.",
                                     param_hint="--flats")
        if not (is_flat(low) and is_flat(high)):
            raise typer.BadParameter(f"{part.strip()}: flat tags run from {FLAT_IDS[0]} to {FLAT_IDS[-1]}.",
                                     param_hint="--flats")
        numbers.update(dict.fromkeys(range(low, high + 1)))
    return tuple(numbers)

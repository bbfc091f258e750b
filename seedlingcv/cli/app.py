"""The command line: thin, one file a command."""

from __future__ import annotations

import sys

import typer

from seedlingcv.cli.assess import assess
from seedlingcv.cli.cards import cards
from seedlingcv.cli.demo import demo
from seedlingcv.errors import SeedlingError

app = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None,
                  help="From phone photos of seedling flats to a pot-up list.")
app.command()(assess)
app.command()(demo)
app.command()(cards)


def main() -> None:
    """Run a command; a grower's mistake is told in one line, without a traceback."""
    try:
        app()
    except SeedlingError as error:
        typer.echo(f"seedlingcv: {error}", err=True)
        sys.exit(1)

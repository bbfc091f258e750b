"""The command line: thin, one file a command."""

from __future__ import annotations

import codecs
import io
import os
import sys

import typer

from seedlingcv.cli.advise import advise
from seedlingcv.cli.assess import assess
from seedlingcv.cli.cards import cards
from seedlingcv.cli.compare import compare
from seedlingcv.cli.crop import crop
from seedlingcv.cli.demo import demo
from seedlingcv.cli.leaves import leaves
from seedlingcv.cli.list import list_
from seedlingcv.cli.records import records
from seedlingcv.cli.roots import roots
from seedlingcv.cli.stretch import stretch
from seedlingcv.errors import SeedlingError

app = typer.Typer(no_args_is_help=True, add_completion=False, rich_markup_mode=None,
                  help="From phone photos of seedling flats to a pot-up list.")
for command in (assess, advise, list_, stretch, compare, roots, leaves, cards, crop, demo):  # as help lists them
    app.command(command.__name__.rstrip("_"))(command)
app.add_typer(records, name="records")


# What a terminal or a file in an old code page can't hold, as a typewriter would write it.
PLAIN = {"→": "->", "−": "-", "–": "-", "…": "...", "×": "x", "²": "2", "µ": "u", "°": " deg ", "◇": "*"}


def main() -> None:
    """Run a command; a grower's mistake is told in one line, without a traceback."""
    codecs.register_error("plain", _plain)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="plain")
    try:
        app()
    except SeedlingError as error:
        typer.echo(f"seedlingcv: {error}", err=True)
        sys.exit(1)
    except OSError as error:  # the terminal or the pipe behind it is closed or full
        _drop_output()
        if not isinstance(error, BrokenPipeError):
            place = f"{error.filename}: " if error.filename else ""
            typer.echo(f"seedlingcv: {place}{error.strerror or error}. Check where the output goes.", err=True)
        sys.exit(1)


def _plain(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    unknown = error.object[error.start:error.end]
    return "".join(PLAIN.get(character, "?") for character in unknown), error.end


def _drop_output() -> None:
    """Let what is still held back go nowhere; Python would try to print it once more at the end."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

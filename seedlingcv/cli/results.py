"""What a list ends in: the files asked for, then the list on the terminal."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from seedlingcv.errors import OutputError

if TYPE_CHECKING:
    from seedlingcv.measure.pictures import FlatPictures
    from seedlingcv.photo.result import PhotoResult
    from seedlingcv.plan.potup import Entry
    from seedlingcv.report.page import Past

NEEDS_ATTENTION = 3  # exit code: a list was made, but something that was given could not be used


@dataclass(frozen=True)
class Targets:
    """The files to write; None for those that nobody asked for. `compact` and `paper` are the crew sheet's."""

    report: Path | None = None
    json: Path | None = None
    csv: Path | None = None
    crew: Path | None = None
    labels: Path | None = None
    compact: bool = False
    paper: str = "a4"

    def __post_init__(self) -> None:
        if self.compact and self.crew is None:
            raise typer.BadParameter("It is for the crew sheet: write --crew FILE.pdf too.", param_hint="--compact")

    @property
    def paths(self) -> list[Path]:
        return [path for path in (self.report, self.json, self.csv, self.crew, self.labels) if path]


@dataclass(frozen=True)
class Results:
    """A list with all that was found on the way to it."""

    entries: Sequence[Entry]
    today: date
    complaints: Sequence[str] = ()
    photos: Sequence[PhotoResult] = ()
    pictures: Mapping[int, FlatPictures] | None = None
    notes: Sequence[str] = ()
    past: Past | None = None


def write(done: Results, to: Targets, *, own_crops: Path | None = None, inch: bool = False,
          quiet: bool = False) -> None:
    """Write the files and print the list. Raises the first OutputError, after doing all the rest.

    The list comes last: a closed pipe (`| head`) must not cost anyone the files.
    """
    from rich.console import Console

    from seedlingcv.report.export import write_csv, write_json
    from seedlingcv.report.page import write_page
    from seedlingcv.report.terminal import print_list, trouble_lines

    def crew(path: Path) -> None:
        from seedlingcv.report.crew_sheet import write_crew_sheet

        write_crew_sheet(path, done.entries, today=done.today, inch=inch, compact=to.compact, paper=to.paper,
                         own_crops=own_crops)

    def labels(path: Path) -> None:
        from seedlingcv.report.crew_sheet import write_label_list

        write_label_list(path, done.entries, inch=inch)

    jobs: tuple[tuple[str, Path | None, Callable[[Path], None]], ...] = (
        ("", to.json, lambda p: write_json(p, done.entries, done.photos, today=done.today,
                                           complaints=done.complaints)),
        ("", to.csv, lambda p: write_csv(p, done.entries)),
        ("Crew sheet", to.crew, crew),
        ("Labels", to.labels, labels),
        ("Report", to.report, lambda p: write_page(p, done.entries, done.photos, done.pictures, done.complaints,
                                                   today=done.today, inch=inch, past=done.past)),
    )
    failed: list[OutputError] = []
    written = []
    for name, path, job in jobs:
        try:
            if path:
                job(path)
                written.append((name, path))
        except OutputError as error:
            failed.append(error)
    print_list(Console(), done.entries, done.photos, done.complaints, today=done.today, inch=inch, quiet=quiet)
    if quiet:
        for line in trouble_lines(done.entries, done.photos, done.complaints):
            typer.echo(line, err=True)
    else:
        for note in done.notes:
            typer.echo(note)
        for name, path in written:
            if name:  # figures for other programs need no reminder
                typer.echo(f"{name}: {path.resolve()}")
    if failed:
        raise failed[0]

"""What is checked of the files to write before any work is done."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from seedlingcv.errors import OutputError
from seedlingcv.photo.read import SUFFIXES


def check_targets(targets: Sequence[Path], keep: Sequence[Path] = ()) -> None:
    """Raises OutputError if a file to write can't be written, is a photo, or is one of `keep`, the files read."""
    for place, path in enumerate(targets):
        if path.is_dir():
            raise _refused(path, "This is a folder, not a file.", "Name a file in it.")
        if path.exists() and path.suffix.lower() in SUFFIXES:
            raise _refused(path, "This is a photo; it won't be written over.", "Name another file.")
        if path.exists() and not path.is_file():  # a device would be put aside for a file
            raise _refused(path, "This is not an ordinary file.", "Name another file.")
        if any(_same(path, other) for other in keep):
            raise _refused(path, "This file is read; it won't be written over.", "Name another file.")
        if any(_same(path, other) for other in targets[:place]):
            raise _refused(path, "Two results would go into this one file.", "Name a file for each.")
        if not path.parent.is_dir():
            raise _refused(path, "The folder for it is not there.", "Make the folder, or name another place.")
        if not may_write_in(path.parent):
            raise _refused(path, "The folder for it may not be written to.", "Name another place.")


def may_write_in(folder: Path) -> bool:
    return os.access(folder, os.W_OK | os.X_OK)


def _same(one: Path, other: Path) -> bool:
    if one.exists() and other.exists():
        return one.samefile(other)  # whatever the capitals
    return one.resolve() == other.resolve()


def _refused(path: Path, what: str, next_step: str) -> OutputError:
    return OutputError(what, where=str(path), next_step=next_step)

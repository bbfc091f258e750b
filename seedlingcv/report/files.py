"""Write a result whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from seedlingcv.errors import OutputError


def write_whole(path: Path, text: str) -> None:
    """Write beside `path` and rename over it, so that nobody ever reads half a file.

    Raises OutputError where the folder is missing or can't be written.
    """
    path = Path(path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(beside, "w", encoding="utf-8", newline="") as out:
            out.write(text)
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise OutputError(
            f"can't be written ({error.strerror or error}).", where=str(path),
            next_step="Check that the folder exists, has space and may be written, or name another place.",
        ) from error

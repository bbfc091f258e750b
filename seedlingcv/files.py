"""Write a file whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from seedlingcv.errors import OutputError

USUAL_STEP = "Check that the folder exists, has space and may be written, or name another place."


def write_whole(path: Path, content: str | bytes, *, what: str = "", next_step: str = USUAL_STEP) -> None:
    """Write beside `path` and rename over it, so that nobody ever reads half a file; text as UTF-8.

    what : what the file is, for the complaint, such as `the crew sheet `
    Raises OutputError where the folder is missing or can't be written.
    """
    path = Path(path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(content.encode() if isinstance(content, str) else content)
        os.replace(beside, path)
    except OSError as error:
        with suppress(OSError):
            beside.unlink()
        raise OutputError(f"{what}can't be written ({error.strerror or error}).", where=str(path),
                          next_step=next_step) from error

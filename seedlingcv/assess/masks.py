"""Label images of whose each pixel is, at the photo's own pixel grid.

`<photo's name without suffix>_plants.png`, 16 bit, 0 = no plant, else 1 + the cell's number counted row by row
(A1 is 1). Pixels are those stored in the file, before any EXIF turn.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from seedlingcv.errors import OutputError

SUFFIX = "_plants.png"
PNG = b"\x89PNG\r\n\x1a\n"
GREY_16_BIT = b"\x10\x00"  # bit depth and colour type, bytes 24 and 25 of the file (W3C PNG, section 11.2.1 IHDR)


def mask_path(folder: Path, name: str) -> Path:
    """`name` is the photo's, relative to the assessed folder, with "/" kept."""
    return folder / (name.rsplit(".", 1)[0] + SUFFIX)


def check_free(path: Path) -> None:
    """Raises OutputError if something stands there that is no label image, such as a photo named like one."""
    if not path.exists():
        return
    start = b""
    if path.is_file():
        with path.open("rb") as file:
            start = file.read(26)
    if start[:8] != PNG or start[24:] != GREY_16_BIT:
        raise OutputError("This is no mask; it won't be written over.", where=str(path),
                          next_step="Name another folder for the masks, or rename that file.")


def write_mask(folder: Path, name: str, labels: np.ndarray) -> None:
    """labels : uint16 (height, width). `name` as for `mask_path`. Raises OutputError."""
    path = mask_path(folder, name)
    done, data = cv2.imencode(".png", labels.astype(np.uint16))
    try:
        check_free(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data.tobytes())
    except OSError as error:
        raise OutputError(f"The mask can't be written ({error.strerror}).", where=str(path),
                          next_step="Name a folder that may be written to.") from error

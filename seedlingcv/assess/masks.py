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


def write_mask(folder: Path, name: str, labels: np.ndarray) -> None:
    """labels : uint16 (height, width). `name` is the photo's, relative to the assessed folder, with "/" kept."""
    path = folder / (name.rsplit(".", 1)[0] + SUFFIX)
    done, data = cv2.imencode(".png", labels.astype(np.uint16))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data.tobytes())
    except OSError as error:
        raise OutputError(f"The mask can't be written ({error.strerror}).", where=str(path),
                          next_step="Name a folder that may be written to.") from error

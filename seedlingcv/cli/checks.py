"""What is looked at before measuring starts, so that a slip is told at once and not after minutes."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path

from seedlingcv.errors import OutputError


def check_crops(path: Path) -> None:
    """Raises CropError if the grower's crop file can't be read or one of its sections is wrong."""
    from seedlingcv.crops.crop import crop_names, load_crop

    load_crop(crop_names()[0], path)  # tells of a file that is missing, or is no TOML
    for heading in tomllib.loads(path.read_text(encoding="utf-8")):
        load_crop(heading, path)


def check_masks(folder: Path, names: Sequence[str]) -> None:
    """Raises OutputError if label images of the photos `names` can't be put into the folder."""
    from seedlingcv.assess.masks import check_free, mask_path
    from seedlingcv.report.files import may_write_in

    above = next(p for p in (folder.absolute(), *folder.absolute().parents) if p.exists())
    if not above.is_dir() or not may_write_in(above):
        raise OutputError("The masks can't be put there.", where=str(folder),
                          next_step="Name a folder that may be written to.")
    for name in names:
        check_free(mask_path(folder, name))

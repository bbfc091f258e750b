"""What the phone wrote beside the pixels: time and lens. Missing is None."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from PIL import ExifTags, Image

FILM_DIAGONAL_MM = 43.2666  # of the 36 x 24 mm frame, by which the 35 mm equivalent is reckoned (CIPA DCG-001)
FIRST_YEAR = 1995  # a clock that was never set starts in 1970 or 1980; a date before this is no date
FOCAL_LENGTHS_35MM = (5.0, 1000.0)


@dataclass(frozen=True)
class Exif:
    """`focal_35mm` in mm as if on 35 mm film; `orientation` 1 to 8 as in the Exif standard (CIPA DC-008)."""

    taken: datetime | None = None
    focal_35mm: float | None = None
    orientation: int = 1


def read_exif(image: Image.Image) -> Exif:
    """Never raises: whatever can't be understood counts as not there."""
    try:
        tags = dict(image.getexif())
        details = dict(image.getexif().get_ifd(ExifTags.IFD.Exif))
    except Exception:  # the reader fails in many ways on a damaged block, and the pixels don't need it
        return Exif()
    times = (details.get(ExifTags.Base.DateTimeOriginal), details.get(ExifTags.Base.DateTimeDigitized),
             tags.get(ExifTags.Base.DateTime))
    orientation = tags.get(ExifTags.Base.Orientation)
    return Exif(
        taken=next((t for t in map(_time, times) if t), None),
        focal_35mm=_focal_length(details.get(ExifTags.Base.FocalLengthIn35mmFilm)),
        orientation=orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
    )


def focal_length_px(exif: Exif, width: int, height: int) -> float | None:
    """Focal length in pixels from the 35 mm equivalent, by the frame's diagonal."""
    if exif.focal_35mm is None:
        return None
    return exif.focal_35mm * (width**2 + height**2) ** 0.5 / FILM_DIAGONAL_MM


def _time(value: object) -> datetime | None:
    """The standard writes 2025:03:01 10:20:30; some phones put dashes, a T, or fractions and a zone after it."""
    text = value.decode("ascii", "replace") if isinstance(value, bytes) else str(value)
    text = text.strip("\0 ")[:19].replace("-", ":").replace("/", ":").replace("T", " ")
    try:
        time = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    return time if time.year >= FIRST_YEAR else None


def _focal_length(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    low, high = FOCAL_LENGTHS_35MM
    return number if math.isfinite(number) and low <= number <= high else None

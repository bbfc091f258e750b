"""Read a photo into memory. Nothing here ever writes to it.

Pixels stay as stored in the file (before EXIF orientation): the printed tags tell which way is up, and
masks must match the stored grid. HEIC is decoded upright, since its container has already turned it.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from seedlingcv.errors import PhotoError
from seedlingcv.photo.exif import Exif, read_exif

SUFFIXES = {".jpg", ".jpeg", ".png", ".heic", ".heif"}
FORMATS = ("JPEG", "PNG")  # a JPEG with a second picture behind it, as some phones write, is opened as JPEG
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}  # ISO/IEC 23008-12
MAX_BYTES = 80_000_000
MAX_PIXELS = 120_000_000
MIN_SIDE_PX = 64


@dataclass(frozen=True)
class Photo:
    """image : uint8 array of shape (height, width, 3), BGR, as stored in the file."""

    path: Path
    image: np.ndarray
    exif: Exif
    sha256: str


def is_photo_name(path: Path) -> bool:
    """True if the name ends like a photo's and isn't one of the `._name` files that macOS leaves on cards."""
    return path.suffix.lower() in SUFFIXES and not path.name.startswith(".")


def read_photo(path: Path) -> Photo:
    """Raises PhotoError if the file is no photo, is cut short, or is too large or too small."""
    data = _read_bytes(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the decoder's remarks on odd files are no news for a grower
        header = _open(path, data)
        _check_size(path, *header.size)
        exif = read_exif(header)
        image = _decode(path, header)
    return Photo(path, image, exif, hashlib.sha256(data).hexdigest())


def content_hash(path: Path) -> str:
    """SHA-256 of the file, which is the photo's identity whatever it is called; empty where it can't be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise _error(path, "This is a folder, not a photo.", "Move the photos out of it, or rename it.")
        if not path.is_file():  # a pipe or a device would never end
            raise _error(path, "This is not an ordinary file.", "Copy the photo itself into the folder.")
        if size > MAX_BYTES:
            raise _error(path, f"The file has {size / 1e6:.0f} MB; {MAX_BYTES / 1e6:.0f} MB is the limit.",
                         "Send the photo itself, not a raw or video file.")
        data = path.read_bytes()
    except OSError as error:
        raise _error(path, f"The file can't be opened ({error.strerror}).",
                     "Check that it is still there and may be read.") from error
    if not data:
        raise _error(path, "The file is empty.", "Copy it again from the phone.")
    return data


def _open(path: Path, data: bytes) -> Image.Image:
    """Goes by the content, not the name: phones and mail programs rename HEIC to .jpg and the other way."""
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        formats: tuple[str, ...] = ("HEIF",)
        _register_heic(path)
    else:
        formats = FORMATS
    if data[:2] == b"\xff\xd8" and not _jpeg_is_whole(data):
        raise _cut_short(path)
    try:
        return Image.open(io.BytesIO(data), formats=formats)
    except Image.DecompressionBombError as error:
        raise _too_large(path) from error
    except Exception as error:  # a decoder fails in many ways on what is no photo
        raise _error(path, "This is not a photo that can be read.",
                     "Copy it again from the phone as JPEG, PNG or HEIC.") from error


def _register_heic(path: Path) -> None:
    try:
        import pillow_heif
    except ImportError as error:
        raise _error(path, "HEIC photos need one more package.",
                     'Run: pip install "seedlingcv[heic]", or set the phone to save JPEG.') from error
    pillow_heif.register_heif_opener()


def _check_size(path: Path, width: int, height: int) -> None:
    if width * height > MAX_PIXELS:
        raise _too_large(path)
    if min(width, height) < MIN_SIDE_PX:
        raise _error(path, f"The picture is only {width} x {height} pixels.",
                     "Copy the original photo from the phone, not a thumbnail.")


def _decode(path: Path, header: Image.Image) -> np.ndarray:
    # Pillow, not OpenCV: it never writes to the terminal, and it tells a cut file from a whole one
    try:
        header.load()
        if header.mode.startswith("I;16"):
            header = Image.fromarray((np.asarray(header) >> 8).astype(np.uint8))
        if header.mode != "RGB":
            return cv2.cvtColor(np.asarray(header.convert("RGB")), cv2.COLOR_RGB2BGR)
        pixels = np.frombuffer(header.tobytes("raw", "BGR"), np.uint8)
        return pixels.reshape(header.height, header.width, 3).copy()  # a copy, so that it may be written to
    except Exception as error:  # a decoder fails in many ways on a damaged file
        raise _cut_short(path) from error


def _jpeg_is_whole(data: bytes) -> bool:
    """True if the end-of-image marker follows the first scan (ISO/IEC 10918-1, annex B).

    What follows it (a motion photo's video, a depth map) doesn't matter. A copy that broke off may be
    filled up with zeros, which a decoder takes for grey pixels without complaint: hence this check.
    """
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return False
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        at += 2 + length
        if marker == 0xDA:  # start of scan: inside it, FF D9 can only be the end
            return data.find(b"\xff\xd9", at) >= 0
    return False


def _cut_short(path: Path) -> PhotoError:
    return _error(path, "The photo is cut short or damaged.", "Copy it again from the phone.")


def _too_large(path: Path) -> PhotoError:
    return _error(path, f"The picture has more than {MAX_PIXELS / 1e6:.0f} megapixels.", "Export a smaller copy.")


def _error(path: Path, what: str, next_step: str) -> PhotoError:
    name = path.name.encode("utf-8", "replace").decode("utf-8")  # a name may hold bytes no terminal can print
    return PhotoError(what, where=name, next_step=next_step)

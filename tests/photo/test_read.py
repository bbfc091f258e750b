"""Reading photos: what comes in whole, what is refused and in which words, and that the photo is never touched.

Outside checks: OpenCV's own decoder for pixels, Pillow and pillow-heif as writers, the marker layout of
ISO/IEC 10918-1 and the PNG header of ISO/IEC 15948 for files built by hand.
"""

import hashlib
import io
import os
import struct
import sys
import zlib
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image

from seedlingcv.errors import PhotoError
from seedlingcv.photo.exif import Exif, focal_length_px
from seedlingcv.photo.read import is_photo_name, read_photo


def picture(width=160, height=120) -> Image.Image:
    """A smooth coloured picture that survives JPEG well; the left upper corner is darkest."""
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    return Image.fromarray((np.dstack([60 + 120 * x, 40 + 150 * y, 50 + 60 * x * y])).astype(np.uint8))


def encoded(image: Image.Image, form: str, **options) -> bytes:
    stream = io.BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def refused(path: Path) -> str:
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.where == path.name
    assert caught.value.next_step
    return str(caught.value)


JPEG = encoded(picture(), "JPEG", quality=90)
PNG = encoded(picture(), "PNG")


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 0}, {"quality": 40}])
def test_jpeg_pixels_are_those_of_opencvs_decoder(tmp_path, options):
    data = encoded(picture(), "JPEG", **{"quality": 90, **options})
    photo = read_photo(put(tmp_path, "a.JPG", data))
    assert photo.image.dtype == np.uint8
    assert photo.image.shape == (120, 160, 3)
    assert photo.image.flags.writeable
    other = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert np.abs(photo.image.astype(int) - other).max() <= 1  # two builds of the decoder may round apart
    assert photo.sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_pixels_stay_as_stored_whatever_the_orientation(tmp_path, orientation):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    photo = read_photo(put(tmp_path, "a.jpg", encoded(picture(), "JPEG", quality=95, exif=exif)))
    assert photo.exif.orientation == orientation
    assert photo.image.shape == (120, 160, 3)
    assert photo.image[:9, :9].mean() < photo.image[-9:, -9:].mean() - 50


def modes():
    colour = picture()
    grey16 = (np.asarray(colour.convert("L"), np.uint16) * 257)
    transparent = colour.quantize(16)
    transparent.info["transparency"] = 3
    return {
        "grey.jpg": encoded(colour.convert("L"), "JPEG", quality=95),
        "cmyk.jpg": encoded(colour.convert("CMYK"), "JPEG", quality=95),
        "grey.png": encoded(colour.convert("L"), "PNG"),
        "bits.png": encoded(colour.convert("1"), "PNG"),
        "palette.png": encoded(colour.quantize(64), "PNG"),
        "see_through.png": encoded(transparent, "PNG"),
        "palette_bytes.png": encoded(colour.quantize(8), "PNG", transparency=bytes(range(8))),
        "alpha.png": encoded(colour.convert("RGBA"), "PNG"),
        "grey_alpha.png": encoded(colour.convert("LA"), "PNG"),
        "grey16.png": encoded(Image.fromarray(grey16), "PNG"),
    }


@pytest.mark.parametrize("name", modes())
def test_every_kind_of_pixel_comes_in_as_eight_bit_colour(tmp_path, name, capfd):
    photo = read_photo(put(tmp_path, name, modes()[name]))
    assert photo.image.shape == (120, 160, 3)
    assert photo.image.dtype == np.uint8
    wanted = np.asarray(picture().convert("L"), float)
    got = cv2.cvtColor(photo.image, cv2.COLOR_BGR2GRAY)
    # averaged over blocks of 8, as black-and-white dots and palettes only do on average
    error = cv2.blur(got.astype(float) - wanted, (9, 9))[8:-8, 8:-8]
    assert np.abs(error).mean() < 6
    assert capfd.readouterr() == ("", "")


def test_sixteen_bit_colour_png_keeps_the_upper_byte(tmp_path):
    values = np.zeros((80, 90, 3), np.uint16)
    values[...] = (0x1234, 0x80FF, 0xFE00)  # BGR, written by OpenCV
    path = tmp_path / "deep.png"
    cv2.imwrite(str(path), values)
    assert np.abs(read_photo(path).image[40, 40].astype(int) - [0x12, 0x80, 0xFE]).max() <= 1


def test_pure_colours_of_a_cmyk_jpeg(tmp_path):
    # no ink is white, magenta and yellow together are red: subtractive mixing
    for ink, bgr in (((0, 0, 0, 0), (255, 255, 255)), ((0, 255, 255, 0), (0, 0, 255)), ((0, 0, 0, 255), (0, 0, 0))):
        data = encoded(Image.new("CMYK", (80, 80), ink), "JPEG", quality=95)
        assert np.abs(read_photo(put(tmp_path, "ink.jpg", data)).image[40, 40].astype(int) - bgr).max() < 6


def test_motion_photo_and_second_picture_behind_the_first(tmp_path):
    for behind in (b"\0\0\0\x18ftypmp42" + os.urandom(5000), JPEG, b"\0" * 4000, b"SEFT" * 10):
        assert read_photo(put(tmp_path, "a.jpg", JPEG + behind)).image.shape == (120, 160, 3)
    several = encoded(picture(), "MPO", save_all=True, append_images=[picture(80, 80)])
    assert read_photo(put(tmp_path, "b.jpg", several)).image.shape == (120, 160, 3)


def test_a_thumbnails_end_is_not_the_photos_end(tmp_path):
    thumbnail = encoded(picture(64, 64), "JPEG")
    block = b"Exif\0\0" + thumbnail
    data = JPEG[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + JPEG[2:]
    assert read_photo(put(tmp_path, "whole.jpg", data)).image.shape == (120, 160, 3)
    assert "cut short" in refused(put(tmp_path, "cut.jpg", data[:-200]))


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.97])
@pytest.mark.parametrize("data", [JPEG, PNG, encoded(picture(), "JPEG", progressive=True)])
def test_a_cut_photo_is_refused(tmp_path, share, data, capfd):
    text = refused(put(tmp_path, "a.jpg", data[: int(len(data) * share)]))
    assert "cut short" in text or "not a photo" in text
    assert "Copy it again" in text
    assert capfd.readouterr() == ("", "")


def test_a_copy_filled_up_with_zeros_is_refused(tmp_path):
    keep = len(JPEG) * 2 // 3
    assert "cut short" in refused(put(tmp_path, "a.jpg", JPEG[:keep] + bytes(len(JPEG) - keep)))


@pytest.mark.parametrize("data, words", [
    (b"", "empty"),
    (b"flat,crop\n31,tomato\n", "not a photo"),
    (b"\xff\xd8", "cut short"),
    (b"\xff\xd8\xff\xd9", "cut short"),
    (b"\x89PNG\r\n\x1a\n", "not a photo"),
    (b"GIF89a" + bytes(100), "not a photo"),
    (encoded(picture(), "BMP"), "not a photo"),
    (encoded(Image.new("RGB", (1, 1)), "PNG"), "only 1 x 1 pixels"),
    (encoded(Image.new("RGB", (1, 1)), "JPEG"), "only 1 x 1 pixels"),
    (encoded(Image.new("RGB", (4000, 20)), "PNG"), "only 4000 x 20 pixels"),
])
def test_what_is_no_photo_is_refused_in_plain_words(tmp_path, data, words, capfd):
    assert words in refused(put(tmp_path, "a.jpg", data))
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("side", [11_000, 60_000])
def test_a_picture_of_far_too_many_pixels_is_refused_unread(tmp_path, side):
    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    chunk = b"IHDR" + header
    data = PNG[:8] + struct.pack(">I", 13) + chunk + struct.pack(">I", zlib.crc32(chunk)) + PNG[33:]
    assert "more than 120 megapixels" in refused(put(tmp_path, "a.png", data))


def test_a_large_picture_below_the_limit_raises_no_warning(tmp_path, monkeypatch):
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 15_000)  # 19200 pixels now count as doubtful to Pillow
    assert read_photo(put(tmp_path, "a.jpg", JPEG)).image.shape == (120, 160, 3)


def test_too_large_a_file_is_refused_unread(tmp_path):
    path = tmp_path / "a.jpg"
    with path.open("wb") as file:
        file.truncate(90_000_000)
    assert "90 MB; 80 MB is the limit" in refused(path)


def test_folders_and_absent_files(tmp_path):
    folder = tmp_path / "spring.jpg"
    folder.mkdir()
    assert "folder" in refused(folder)
    assert "can't be opened" in refused(tmp_path / "gone.jpg")
    loop = tmp_path / "loop.jpg"
    loop.symlink_to(loop)
    assert "can't be opened" in refused(loop)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "not an ordinary file" in refused(tmp_path / "pipe.jpg")


def test_a_file_without_permission(tmp_path):
    path = put(tmp_path, "a.jpg", JPEG)
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    assert "can't be opened (Permission denied)" in refused(path)


def test_a_name_that_no_terminal_can_print(tmp_path):
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/b\xff.jpg"))
    try:
        path.write_bytes(b"no photo")
    except OSError:
        pytest.skip("this file system takes only proper names")
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    str(caught.value).encode("utf-8")


def test_the_photo_is_left_as_it_was(tmp_path):
    for name, data in (("a.jpg", JPEG), ("b.png", PNG), ("c.jpg", JPEG[:500])):
        path = put(tmp_path, name, data)
        os.utime(path, ns=(10**18, 10**18))
        try:
            photo = read_photo(path)
            photo.image[...] = 0
        except PhotoError:
            pass
        assert path.read_bytes() == data
        assert path.stat().st_mtime_ns == 10**18
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.jpg", "b.png", "c.jpg"]


def heic(image: Image.Image, **options) -> bytes:
    heif = pytest.importorskip("pillow_heif", reason="pillow-heif is not installed")
    heif.register_heif_opener()
    return encoded(image, "HEIF", quality=90, **options)


@pytest.mark.parametrize("name", ["a.heic", "a.HEIF", "renamed.jpg"])
def test_heic_by_its_content_not_its_name(tmp_path, name):
    photo = read_photo(put(tmp_path, name, heic(picture())))
    wanted = cv2.cvtColor(np.asarray(picture()), cv2.COLOR_RGB2BGR)
    assert np.abs(photo.image.astype(int) - wanted).mean() < 4


def test_heic_comes_in_upright(tmp_path):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6  # to be turned clockwise for viewing
    photo = read_photo(put(tmp_path, "a.heic", heic(picture(), exif=exif.tobytes())))
    assert photo.image.shape == (160, 120, 3)
    assert photo.exif.orientation == 1


def test_a_jpeg_named_heic_needs_no_further_package(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    assert read_photo(put(tmp_path, "a.heic", JPEG)).image.shape == (120, 160, 3)


def test_without_the_heic_package_the_message_says_what_to_install(tmp_path, monkeypatch):
    path = put(tmp_path, "a.heic", b"\0\0\0\x18ftypheic" + bytes(64))
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    assert 'pip install "seedlingcv[heic]"' in refused(path)


def test_a_damaged_heic(tmp_path, capfd):
    data = heic(picture())
    assert refused(put(tmp_path, "a.heic", data[: len(data) // 2]))
    assert capfd.readouterr() == ("", "")


@given(damage=st.lists(st.tuples(st.integers(2, len(JPEG) - 1), st.integers(0, 255)), min_size=1, max_size=12),
       png=st.booleans())
@settings(max_examples=120, deadline=None)
def test_no_damage_ends_in_anything_but_a_photo_or_a_photo_error(tmp_path_factory, damage, png):
    data = bytearray(PNG if png else JPEG)
    for at, value in damage:
        data[at % len(data)] = value
    path = put(tmp_path_factory.getbasetemp(), "damaged.jpg", bytes(data))
    try:
        assert read_photo(path).image.ndim == 3
    except PhotoError as error:
        assert error.next_step


@given(st.binary(max_size=300))
@settings(max_examples=100, deadline=None)
def test_any_bytes_for_exif(tmp_path_factory, block):
    block = b"Exif\0\0" + block
    data = JPEG[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + JPEG[2:]
    photo = read_photo(put(tmp_path_factory.getbasetemp(), "exif.jpg", data))
    assert photo.exif.orientation in range(1, 9)


def with_exif(folder, *, detail=None, base=None) -> Exif:
    exif = Image.Exif()
    for key, value in (base or {}).items():
        exif[key] = value
    if detail:
        exif.get_ifd(ExifTags.IFD.Exif).update(detail)
    return read_photo(put(folder, "20010101_120000.jpg", encoded(picture(), "JPEG", exif=exif))).exif


def test_time_and_lens(tmp_path):
    exif = with_exif(tmp_path, base={ExifTags.Base.DateTime: "2025:03:09 08:00:00"},
                     detail={ExifTags.Base.DateTimeOriginal: "2025:03:01 10:20:30",
                             ExifTags.Base.FocalLengthIn35mmFilm: 26})
    assert exif == Exif(datetime(2025, 3, 1, 10, 20, 30), 26.0, 1)
    # CIPA DCG-001 reckons by the diagonal: of 36 x 24 mm it is 43.27 mm, here 5040 px
    assert focal_length_px(exif, 4032, 3024) == pytest.approx(26 * 5040 / 43.2666)


@pytest.mark.parametrize("text, time", [
    ("2025-03-01 10:20:30", datetime(2025, 3, 1, 10, 20, 30)),
    ("2025:03:01 10:20:30.25+02:00", datetime(2025, 3, 1, 10, 20, 30)),
    ("2025/03/01T10:20:30", datetime(2025, 3, 1, 10, 20, 30)),
    ("0000:00:00 00:00:00", None), ("    :  :     :  :  ", None), ("1970:01:01 00:00:00", None),
    ("2025:13:41 10:20:30", None), ("yesterday", None), ("", None),
])
def test_odd_times(tmp_path, text, time):
    # never from the file's name, which here says 2001
    assert with_exif(tmp_path, base={ExifTags.Base.DateTime: text}).taken == time


@pytest.mark.parametrize("focal", [0, 65535])
def test_a_focal_length_no_phone_has_is_none(tmp_path, focal):
    assert with_exif(tmp_path, detail={ExifTags.Base.FocalLengthIn35mmFilm: focal}).focal_35mm is None


def test_an_orientation_outside_the_standard_is_one(tmp_path):
    assert with_exif(tmp_path, base={ExifTags.Base.Orientation: 9}).orientation == 1


def test_no_exif_is_none(tmp_path):
    assert read_photo(put(tmp_path, "a.png", PNG)).exif == Exif(None, None, 1)


@pytest.mark.parametrize("name, is_photo", [("a.jpg", True), ("A.HEIC", True), ("._a.jpg", False), ("flats.csv", False),
                                            ("a.jpg.txt", False)])
def test_names_of_photos(name, is_photo):
    assert is_photo_name(Path(name)) == is_photo


def test_the_evaluation_photos_read_as_opencv_reads_them(evaluation):
    path = next((evaluation / "flats").glob("d0*/side.jpg"))
    other = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert np.abs(read_photo(path).image.astype(int) - other).max() <= 1

"""Photos of two days through the whole chain: growth is measured. Flats are drawn (tests/scenes.py), a disc a cell."""

from datetime import date
from functools import cache

import numpy as np
import pytest
from PIL import ExifTags, Image
from scenes import Camera, Disc, Scene

from seedlingcv.assess.folder import assess_folder
from seedlingcv.records.register import read_register

TODAY = date(2025, 3, 20)


@cache
def drawn(diameter_mm):
    """In every cell a leaf of that size."""
    middles = [np.array(cell.rect_mm).reshape(2, 2).mean(axis=0) for cell in Scene().layout.cells]
    return Scene(discs=tuple(Disc(*middle, diameter_mm) for middle in middles)).photo(Camera())


def photograph(path, diameter_mm, day):
    """With the day as a phone writes it."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = f"2025:03:{day:02d} 09:00:00"
    Image.fromarray(drawn(diameter_mm)[..., ::-1]).save(path, quality=95, exif=exif)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("days")
    photograph(folder / "now.jpg", 25.0, 20)
    photograph(folder / "before.jpg", 18.0, 10)
    photograph(folder / "yesterday.jpg", 25.0, 19)
    (folder / "flats.csv").write_text("flat,crop,layout,sown\n31,tomato,6x12,2025-03-01\n")
    return folder


def test_cover_doubles_as_fast_as_two_days_show(folder):
    """(25 / 18)² in 10 days: doubling in 10 / log2(1.929) = 10.55 days. Photos of the day before tell no growth."""
    done = assess_folder(folder, read_register(folder / "flats.csv"))
    (entry,) = done.entries
    assert entry.measurement.day == TODAY and done.today == TODAY
    text = next(end.text for end in entry.verdict.limits if end.kind == "touch")
    assert "measured since Mon 10 Mar" in text
    doubling = float(text.partition("doubling every ")[2].split()[0])
    assert doubling == pytest.approx(10.55, rel=0.1)  # cover is off by 0.01 to 0.02
    notes = {p.file: p.note for p in done.photos}
    assert notes == {"now.jpg": "", "before.jpg": "of 2025-03-10; looked at for growth since then",
                     "yesterday.jpg": "of 2025-03-19; the newest day, 2025-03-20, is assessed"}
    assert [p.file for p in done.photos if p.usable] == ["now.jpg"] and not done.needs_attention

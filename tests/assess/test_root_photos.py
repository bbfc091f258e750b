"""Root checks among a folder's photos. Plugs and flats are drawn or invented (tests/root_scene.py, tests/scenes.py)."""

import shutil
from datetime import date, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from root_scene import Plug, RootScene

from seedlingcv.assess.folder import assess_folder
from seedlingcv.assess.look import Look, shows_board
from seedlingcv.assess.roots import settle_roots
from seedlingcv.measure.roots import PlugRoots, RootCheck, together
from seedlingcv.photo.result import PhotoResult
from seedlingcv.records.parts import read_part
from seedlingcv.records.register import FlatRow, read_register
from seedlingcv.report.words import photo_advice, photo_why
from seedlingcv.tags.detect import Tag, detect_tags

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
TODAY = date(2025, 3, 20)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A lettuce flat, two of its plugs on the board, and the same plugs with a cloth over the flat's tag."""
    folder = tmp_path_factory.mktemp("roots")
    shutil.copy(SAMPLES / "lettuce_overhead_a.jpg", folder)
    plugs = RootScene({1: Plug(0.0), 5: Plug(0.0)}, flat_tag=163, seed=91, px_per_mm=7).photo()[0]
    cv2.imwrite(str(folder / "plugs.jpg"), plugs)
    corners = next(t.corners for t in detect_tags(cv2.cvtColor(plugs, cv2.COLOR_BGR2GRAY)) if t.id == 163)
    cv2.fillConvexPoly(plugs, corners.astype(np.int32), (90, 90, 90))
    cv2.imwrite(str(folder / "whose.jpg"), plugs)
    (folder / "flats.csv").write_text("flat,crop,layout,sown\n163,lettuce,6x12,2025-02-26\n")
    return folder


@pytest.fixture(scope="module")
def done(folder):
    return assess_folder(folder, read_register(folder / "flats.csv"))


def test_the_flats_verdict_goes_by_the_roots_in_the_photo(done):
    (entry,) = done.entries
    assert entry.verdict.reasons[0] == "Roots checked in a photo on Thu 20 Mar: the plug doesn't hold together yet"
    assert entry.verdict.action == "wait"
    photo = next(p for p in done.photos if p.file == "plugs.jpg")
    assert (photo.view, photo.flat, photo.usable, photo.problems) == ("roots", 163, True, ())
    assert photo_why(photo) == "2 not ready, of 2 plugs"


def test_a_photo_without_the_flats_tag_is_told_with_what_to_do(done):
    (photo,) = (p for p in done.photos if not p.usable)
    assert (photo.file, photo.view) == ("whose.jpg", "roots") and done.needs_attention
    assert "nobody knows whose roots" in photo_why(photo)
    assert "Lay the flat's own tag" in photo_advice(photo)


# The rule by itself, without pixels.


def look(*found, flat=31, day=TODAY):
    plugs = tuple(PlugRoots(n, word, "invented") for n, word in enumerate(found, 1))
    taken = day and datetime(day.year, day.month, day.day, 9)
    result = PhotoResult("plugs.jpg", "roots", flat, True, taken=taken, note=together(plugs)[1])
    return Look(Path("plugs.jpg"), result, roots=RootCheck(*together(plugs), plugs, flat))


PLAIN = (FlatRow(31),)


def settled(*looks, rows=PLAIN, day=TODAY):
    looks = list(looks)
    return settle_roots(looks, {31: day}, {31: rows}), [photo.result for photo in looks]


@pytest.mark.parametrize(("photo_day", "flat_day"), [(TODAY, TODAY), (None, TODAY), (TODAY, None), (None, None)])
def test_a_photo_of_the_same_day_or_without_one_counts(photo_day, flat_day):
    words, (photo,) = settled(look("firm", "firm", day=photo_day), day=flat_day)
    assert words == {31: "firm"} and photo.usable and photo.problems == ()


def test_an_older_photo_is_put_aside_and_a_later_one_is_told():
    words, (old, new, late) = settled(look("root_bound", "root_bound", day=date(2025, 3, 10)), look("firm", "firm"),
                                      look("not_ready", "not_ready", day=date(2025, 3, 22)))
    assert words == {31: "firm"} and new.usable
    assert [p.code for p in old.problems] == ["spare"] and photo_advice(old) == ""
    assert photo_why(old) == "Of 2025-03-10; the newest day, 2025-03-20, is assessed"
    assert [p.code for p in late.problems] == ["roots_not_given"]
    assert "Roots (2 not ready, of 2 plugs)" in photo_why(late) and "are of 2025-03-20" in photo_why(late)


def test_photos_of_one_day_are_judged_together():
    words, photos = settled(look("firm", None), look("firm", "not_ready"), look("firm", "firm"))
    assert words == {31: "firm"} and all(photo.usable for photo in photos)
    words, photos = settled(look("firm", "firm"), look("not_ready", "not_ready"))
    assert words == {} and not any(photo.usable for photo in photos)
    assert "2 firm, 2 not ready, of 4" in photo_why(photos[0])


def test_the_register_counts_before_a_photo():
    words, (photo,) = settled(look("firm", "firm"), rows=(FlatRow(31, roots="root_bound"),))
    assert words == {} and not photo.usable
    assert photo_why(photo) == "The register says root-bound of the roots, and that counts"


def test_roots_alone_make_no_list():
    words, (photo,) = settled(look("firm", "firm", flat=77))
    assert words == {} and not photo.usable
    assert "no photo of the flat itself" in photo_why(photo) and photo_advice(photo) == "Photograph the flat as well."


@pytest.mark.parametrize("rows", [(FlatRow(31, part=read_part("A-C")), FlatRow(31, part=read_part("D-F"))),
                                  (FlatRow(31, part=read_part("A-C")),)])
def test_a_flat_with_several_crops_wants_the_word_in_the_register(rows):
    words, (photo,) = settled(look("firm", "firm"), rows=rows)
    assert words == {} and not photo.usable
    assert "several crops" in photo_why(photo) and "beside the crop" in photo_advice(photo)


def tag(number):
    return Tag(number, np.zeros((4, 2)), 1.0)


@pytest.mark.parametrize(("numbers", "board_seen"), [
    ((581, 582, 583, 584, 31), True), ((582, 31), True), ((581, 582, 0), True), ((0, 1, 2, 3, 31), False),
    ((0, 1, 2, 3, 31, 581, 582), False), ((4, 5, 31, 584), False), ((), False),
])
def test_a_board_lying_about_makes_no_root_check(numbers, board_seen):
    assert shows_board([tag(n) for n in numbers]) is board_seen

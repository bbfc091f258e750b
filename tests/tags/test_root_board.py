"""The printed root board, read back from the finished PDF by pdfium and OpenCV."""

from functools import cache

import cv2
import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner

from seedlingcv.measure.roots import check_roots
from seedlingcv.segment.roots import find_board, find_plugs
from seedlingcv.tags import family, root_board, sheet
from seedlingcv.tags.detect import detect_tags

DPI = 200
PX = DPI / 25.4
PAPERS = ("a4", "letter")


@cache
def page(paper):
    document = pypdfium2.PdfDocument(sheet.cards_pdf(paper=paper)[0])
    return document[len(document) - 1].render(scale=DPI / 72).to_numpy()[..., :3].copy()


@cache
def words(paper):
    document = pypdfium2.PdfDocument(sheet.cards_pdf(paper=paper)[0])
    return document[len(document) - 1].get_textpage().get_text_range()


def tags_of(paper):
    grey = cv2.cvtColor(page(paper), cv2.COLOR_BGR2GRAY)
    corners, ids, _ = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)).detectMarkers(grey)
    return {int(i): quad.reshape(4, 2).mean(axis=0) for i, quad in zip(np.ravel(ids), corners, strict=True)}


def test_its_tags_are_no_other_cards():
    others = {*family.CORNER_IDS, family.BACKDROP_LEFT, family.BACKDROP_RIGHT, *family.FLAT_IDS}
    assert not others & set(root_board.BOARD_IDS)
    assert max(root_board.BOARD_IDS) < 587  # AprilTag 36h11 has 587 codes


@pytest.mark.parametrize("paper", PAPERS)
def test_tags_are_printed_where_the_program_expects_them(paper):
    seen = tags_of(paper)
    assert set(seen) == set(root_board.BOARD_IDS)
    first = root_board.BOARD_IDS[0]
    for number, place in root_board.tag_places().items():
        away = (seen[number] - seen[first]) / PX
        assert away == pytest.approx(np.subtract(place, root_board.tag_places()[first]), abs=0.1)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_empty_print_is_blue_and_holds_no_plug(paper):
    """Its own lines, numbers and words must not look like plugs or crumbs."""
    grey = cv2.cvtColor(page(paper), cv2.COLOR_BGR2GRAY)
    board = find_board(page(paper), detect_tags(grey))
    assert board.ground_seen and find_plugs(board) == []
    assert check_roots(page(paper)).reason == "no plug was found on the board"


@pytest.mark.parametrize("paper", PAPERS)
def test_ink_is_light_enough_to_print_and_blue(paper):
    """A ground of less than half coverage of any ink: 1 - channel is the share a printer lays down."""
    x, y = tags_of(paper)[root_board.BOARD_IDS[0]] + np.array([-16, 60]) * PX
    blue, green, red = page(paper)[round(y), round(x)] / 255
    assert (red, green, blue) == pytest.approx(root_board.GROUND, abs=0.02)
    assert max(1 - red, 1 - green, 1 - blue) < 0.6
    assert blue > green > red


def test_places_fit_the_plugs_of_common_flats_without_touching():
    """38 mm plugs of a 72-cell flat and 48 mm ones of a 50 (a US supplier's specification table, seen second hand)."""
    centres = [root_board.place_centre(p) for p in range(1, root_board.PLACES + 1)]
    for i, one in enumerate(centres):
        for other in centres[:i]:
            assert abs(one[1] - other[1]) > 48 or abs(one[0] - other[0]) > 59
    for x, y in centres:
        assert family.CARD_MM + 24 <= y <= root_board.BOARD_HEIGHT_MM - family.CARD_MM - 24
        assert 59 / 2 < x < root_board.BOARD_WIDTH_MM - 59 / 2
    with pytest.raises(ValueError):
        root_board.place_centre(7)


@pytest.mark.parametrize("paper", PAPERS)
def test_words_say_how_to_lay_plugs_and_light_them(paper):
    for told in ("bottoms to the middle line", "No sun, no flash", "in colour at 100 %", "Lay the flat's own tag here"):
        assert told in " ".join(words(paper).split())


def test_the_board_can_be_left_out(tmp_path):
    from seedlingcv.cli.app import app

    out = tmp_path / "cards.pdf"
    done = CliRunner().invoke(app, ["cards", "--out", str(out), "--no-board", "--flats", "31"])
    assert done.exit_code == 0 and "4 pages" in done.output
    assert sheet.cards_pdf(flats=(31,), board=False)[1] == 4

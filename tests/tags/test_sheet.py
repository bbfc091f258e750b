"""The printed cards, read back from the finished PDF by pdfium (rendering) and OpenCV (tag reading).

The root board, the last page, has its own tests; what holds for every page is tested for it here too.
"""

import math
import subprocess
import sys
from functools import cache

import cv2
import numpy as np
import pypdfium2
import pytest
import typer
from typer.testing import CliRunner

from seedlingcv.cli.cards import cards, flat_numbers
from seedlingcv.errors import OutputError
from seedlingcv.tags import family, sheet
from seedlingcv.tags.draw import CHECK_WORDS, marker
from seedlingcv.tags.howto import corner_places

DPI = 300
PX = DPI / 25.4  # pixels per mm; 1 in = 25.4 mm
FLATS = (31, 580, 10, 55, 104)
PAPERS = ("a4", "letter")
DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)

app = typer.Typer()
app.command()(cards)


@app.callback()
def group() -> None:
    """Keeps `cards` a subcommand, as in the real program."""


@cache
def pdf(paper):
    return sheet.cards_pdf(paper=paper, flats=FLATS)[0]


@cache
def pages(paper, dpi=DPI):
    document = pypdfium2.PdfDocument(pdf(paper))
    return [document[i].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze().copy()
            for i in range(len(document))]


@cache
def page_words(paper):
    document = pypdfium2.PdfDocument(pdf(paper))
    return [document[i].get_textpage().get_text_range() for i in range(len(document))]


@cache
def tags_on(paper, page):
    """OpenCV's own reading: {id: corners (4, 2) px}; no id may come twice."""
    grey = pages(paper)[page]
    corners, ids, _ = cv2.aruco.ArucoDetector(DICTIONARY).detectMarkers(grey)
    numbers = [int(i) for i in np.ravel(ids)] if ids is not None else []
    assert len(numbers) == len(set(numbers))
    return {number: quad.reshape(4, 2) for number, quad in zip(numbers, corners, strict=True)}


def every_tag(paper):
    return [(page, number, quad) for page in range(len(pages(paper)))
            for number, quad in tags_on(paper, page).items()]


def ink(grey):
    return 1 - grey.astype(float) / 255


@pytest.mark.parametrize("paper", PAPERS)
def test_every_tag_is_read_back_on_its_page(paper):
    found = [set(tags_on(paper, page)) for page in range(len(pages(paper)))]
    # the drawings of page 1 must not look like tags to the program
    assert found == [set(), {0, 1, 2, 3}, {4, 5}, {31, 580, 10, 55}, {104}, {581, 582, 583, 584}]


@pytest.mark.parametrize("paper", PAPERS)
def test_tags_stand_as_they_will_lie(paper):
    middle = {number: quad.mean(0) for number, quad in tags_on(paper, 1).items()}
    assert middle[0][0] == pytest.approx(middle[3][0], abs=1)
    assert middle[1][0] == pytest.approx(middle[2][0], abs=1)
    assert middle[0][0] < middle[1][0] and middle[0][1] < middle[3][1]  # 0 at the upper left, then clockwise
    assert middle[1][1] < middle[2][1]
    backdrop = {number: quad.mean(0) for number, quad in tags_on(paper, 2).items()}
    assert backdrop[4][0] < backdrop[5][0]
    flats = {number: quad.mean(0) for number, quad in tags_on(paper, 3).items()}
    assert sorted(flats, key=lambda n: (round(flats[n][1] / 100), flats[n][0])) == [31, 580, 10, 55]
    for _, _, quad in every_tag(paper):  # upright: OpenCV's first corner is the marker's own upper left
        assert quad[0][0] < quad[1][0] and quad[0][1] < quad[3][1]


@pytest.mark.parametrize("paper", PAPERS)
def test_black_squares_are_30_mm(paper):
    """The outer ring of modules is all black, so the ink across it adds up to the square's side."""
    for page, number, quad in every_tag(paper):
        x, y = quad.mean(0) + 0.5
        reach, ring = round(18 * PX), round(13.1 * PX)  # into the white margin; middle of the black ring
        dark = ink(pages(paper)[page])
        for side in (-ring, ring):
            across = dark[round(y) + side, round(x) - reach : round(x) + reach].sum() / PX
            down = dark[round(y) - reach : round(y) + reach, round(x) + side].sum() / PX
            assert across == pytest.approx(30, abs=0.1), number
            assert down == pytest.approx(30, abs=0.1), number


@pytest.mark.parametrize("paper", PAPERS)
def test_one_module_round_each_square_stays_white(paper):
    for page, number, quad in every_tag(paper):
        x, y = np.round(quad.mean(0) + 0.5).astype(int)
        outer, inner = int((15 + 3.75) * PX) - 1, math.ceil(15 * PX) + 2
        patch = pages(paper)[page][y - outer : y + outer, x - outer : x + outer].copy()
        edge = outer - inner
        patch[edge:-edge, edge:-edge] = 255
        assert patch.min() >= 250, number


@pytest.mark.parametrize("tag_id", [*range(6), *FLATS])
def test_modules_agree_with_opencv(tag_id):
    """Drawn modules against OpenCV's picture of the same marker, each module's middle and each seam."""
    page = {**dict.fromkeys(range(4), 1), 4: 2, 5: 2, 104: 4}.get(tag_id, 3)
    grey, quad = pages("a4")[page], tags_on("a4", page)[tag_id]
    left, top = quad.mean(0) + 0.5 - 15 * PX
    theirs = DICTIONARY.generateImageMarker(tag_id, 8, borderBits=1)
    assert np.array_equal(marker(tag_id) * 255, theirs)
    for row in range(8):
        for column in range(8):
            y, x = round(top + (row + 0.5) * 3.75 * PX), round(left + (column + 0.5) * 3.75 * PX)
            assert abs(int(grey[y, x]) - int(theirs[row, column])) < 5


@pytest.mark.parametrize("dpi", [97, 137, 203])
def test_no_hairlines_between_white_modules(dpi):
    """At sizes where modules don't end on whole pixels, white next to white must stay white."""
    for page in (1, 2, 3, 4):
        grey, px = pages("a4", dpi)[page], dpi / 25.4
        for number, quad in tags_on("a4", page).items():
            left, top = (quad.mean(0) + 0.5) * dpi / DPI - 15 * px
            white = DICTIONARY.generateImageMarker(number, 8, borderBits=1) > 0
            for row, column in np.argwhere(white):
                for step_y, step_x in ((0, 1), (1, 0)):
                    if white[row + step_y, column + step_x]:
                        y = top + (row + 0.5 + step_y / 2) * 3.75 * px
                        x = left + (column + 0.5 + step_x / 2) * 3.75 * px
                        patch = grey[int(y) - 2 : int(y) + 3, int(x) - 2 : int(x) + 3]
                        assert patch.min() >= 250, (number, row, column)


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_with_tags_has_its_100_mm_line(paper):
    for page, (grey, words) in enumerate(zip(pages(paper), page_words(paper), strict=True)):
        if not tags_on(paper, page):
            continue
        assert CHECK_WORDS in words
        foot = ink(grey[-round(18 * PX) :])
        assert foot.sum(axis=1).max() / PX == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210, 297)), ("letter", (8.5 * 25.4, 11 * 25.4))])
def test_paper_size_and_print_margins(paper, size_mm):
    """A4 is 210 x 297 mm (ISO 216); US Letter is 8 1/2 x 11 in. Nothing stands in the outer 10 mm."""
    document = pypdfium2.PdfDocument(pdf(paper))
    for i, grey in enumerate(pages(paper)):
        assert np.array(document[i].get_size()) * 25.4 / 72 == pytest.approx(size_mm, abs=0.01)
        rows, columns = np.nonzero(grey < 250)
        room = [rows.min(), columns.min(), grey.shape[0] - rows.max(), grey.shape[1] - columns.max()]
        assert min(room) / PX >= 9.8


def test_marks_lie_where_the_rim_passes_under_the_card():
    """From the card's middle: 8 mm to the short end's edge, 14 mm to the long side's, by the protocol."""
    dark = ink(pages("a4")[1]) > 0.5
    for number, quad in tags_on("a4", 1).items():
        x, y = quad.mean(0) + 0.5
        to_flat_x, to_flat_y = (1 if number in (0, 3) else -1), (1 if number in (0, 1) else -1)
        row = dark[round(y + to_flat_y * 20 * PX), round(x - 20 * PX) : round(x + 20 * PX)]
        column = dark[round(y - 20 * PX) : round(y + 20 * PX), round(x + to_flat_x * 20 * PX)]
        assert np.nonzero(row)[0].mean() / PX - 20 == pytest.approx(8 * to_flat_x, abs=0.15)
        assert np.nonzero(column)[0].mean() / PX - 20 == pytest.approx(14 * to_flat_y, abs=0.15)


def test_corner_cards_run_clockwise_and_overhang():
    places = np.array([corner_places()[i] for i in range(4)])
    x, y = places.T
    # with y downwards, as on the page and from above, a positive shoelace sum means clockwise
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0
    assert (places < 0).any(axis=1)[0] and (np.abs(places[0]) < family.CARD_MM / 2).all()  # covers the corner


def test_flat_tag_leans_as_the_protocol_asks():
    """Law of cosines on the folded bar; the protocol asks for 28-44 degrees from level."""
    a, b, c = sheet.FACE_MM, sheet.BASE_MM, sheet.BACK_MM
    lean = math.degrees(math.acos((a * a + b * b - c * c) / (2 * a * b)))
    wall = math.degrees(math.acos((b * b + c * c - a * a) / (2 * b * c)))
    assert 28 < lean < 39  # leaves 5 degrees for a sloping wall
    assert wall == pytest.approx(90, abs=1)


def test_flat_numbers_are_large_and_cards_are_named():
    words = page_words("a4")
    for name in ("0 · A1 corner", "1 · other end of row A", "2 · diagonal from A1", "3 · column 1, last row"):
        assert name in words[1]
    assert "4 · backdrop, upper left" in words[2] and "5 · backdrop, upper right" in words[2]
    page = pypdfium2.PdfDocument(pdf("a4"))[4].get_textpage()
    left, bottom, _, top = page.get_charbox(page.get_text_range().index("104"), loose=False)
    assert (top - bottom) * 25.4 / 72 > 12
    assert "Variety" in words[4] and "Sown" in words[4]


def test_same_cards_give_the_same_file():
    assert sheet.cards_pdf(paper="a4", flats=FLATS)[0] == pdf("a4")


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    out = tmp_path / "cards.pdf"
    out.write_bytes(b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(OutputError, match="No space left"):
        sheet.write_cards(out)
    assert out.read_bytes() == b"old" and list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize("bad", [{"paper": "a5"}, {"flats": (9,)}, {"flats": (581,)}])
def test_unknown_paper_or_number_is_an_output_error(bad):
    with pytest.raises(OutputError):
        sheet.cards_pdf(**bad)


def test_command_writes_the_pdf(tmp_path):
    out = tmp_path / "my cards.pdf"
    done = CliRunner().invoke(app, ["cards", "--out", str(out), "--paper", "letter", "--flats", "31-34, 55"])
    assert done.exit_code == 0 and "6 pages" in done.output and "5 flats" in done.output
    assert len(pypdfium2.PdfDocument(out)) == 6
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize("listed", ["", "x", "31-", "-31", "31,,32", "31-40-50", "9", "581", "0", "570-600",
                                    "40-31", "3.5", "99999999999999999999", "³¹"])
def test_malformed_flat_lists_are_refused(tmp_path, listed):
    out = tmp_path / "cards.pdf"
    done = CliRunner().invoke(app, ["cards", "--out", str(out), f"--flats={listed}"])
    assert done.exit_code == 2 and isinstance(done.exception, SystemExit)
    assert "--flats" in done.output and not out.exists()


def test_unknown_paper_is_refused(tmp_path):
    done = CliRunner().invoke(app, ["cards", "--out", str(tmp_path / "c.pdf"), "--paper", "a5"])
    assert done.exit_code == 2 and "a5" in done.output


@pytest.mark.parametrize("place", ["missing/cards.pdf", "a file/cards.pdf", "a folder", "a folder/..",
                                   f"{'x' * 300}.pdf"])
def test_a_place_that_cannot_be_written_is_an_output_error(tmp_path, place):
    (tmp_path / "a folder").mkdir()
    (tmp_path / "a file").write_text("not a folder")
    done = CliRunner().invoke(app, ["cards", "--out", str(tmp_path / place)])
    assert isinstance(done.exception, OutputError) and done.exception.next_step
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["a file", "a folder"]


def test_flat_numbers_keep_order_and_come_once():
    assert flat_numbers("55, 31-33,32") == (55, 31, 32, 33)
    assert flat_numbers("10-580") == tuple(range(10, 581))


def test_help_does_not_wait_for_heavy_libraries():
    code = ("import sys, seedlingcv.cli.cards, seedlingcv.tags.sheet; "
            "sys.exit(any(m in sys.modules for m in ('reportlab', 'cv2')))")
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

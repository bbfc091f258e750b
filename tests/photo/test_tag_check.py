"""Views, flats and set-up faults, on tags that OpenCV's camera model projects from a known set-up."""

import cv2
import numpy as np
import pytest
from scenes import Camera, tag_corners_mm

from seedlingcv.flags import PHOTO, Problem
from seedlingcv.photo.read import read_photo
from seedlingcv.tags.check import check_pose, check_tags, flat_of, view_of
from seedlingcv.tags.detect import Tag, detect_tags

CARDS = {0: (-8, -14), 1: (554, -13), 2: (553, 292), 3: (-7, 291)}
TURNS = {0: 6.0, 1: -4.0, 2: 3.0, 3: -7.0}
LEVEL = Camera()
TILTED = Camera(eye_mm=(410.0, 260.0, 600.0), roll_deg=170.0)


def overhead(camera, cards=(0, 1, 2, 3), flats=((31, (300, -20)),), shift_mm=(0, 0)):
    """Tags of a flat, hand-laid; `flats` are (number, place in mm)."""
    tags = []
    for number, place, turn in [(i, CARDS[i], TURNS[i]) for i in cards] + [(n, at, 2.0) for n, at in flats]:
        corners = tag_corners_mm(np.array(place, float) + shift_mm, turn)
        tags.append(Tag(number, camera.project(np.column_stack([corners, np.ones(4)])), 1.8))
    return tags


def side(*, backdrop=(4, 5), flats=((31, 0.4),), cards=(), roll=0):
    """Tags as a camera 0.7 m before row A sees them, upright squares of 180 px; `flats` are (number, share)."""
    def square(x, y, height=180.0):
        return np.array([[x - 90, y - height / 2], [x + 90, y - height / 2], [x + 90, y + height / 2],
                         [x - 90, y + height / 2]])

    tags = [Tag(i, square({4: 400.0, 5: 3700.0}[i], 700.0), 1.8) for i in backdrop]
    tags += [Tag(n, square(400 + 3300 * share, 2250.0), 1.8) for n, share in flats]
    tags += [Tag(i, square({0: 3700.0, 1: 350.0}[i], 2100.0, 40.0), 3.0) for i in cards]  # almost edge-on
    if roll:
        turned = {1: lambda c: np.column_stack([3024 - c[:, 1], c[:, 0]]),
                  2: lambda c: np.column_stack([4032 - c[:, 0], 3024 - c[:, 1]])}[roll]
        tags = [Tag(t.id, turned(t.corners), t.sharpness) for t in tags]
    return tags


def said(tags, size=(4032, 3024)):
    return [(p.code, p.fatal) for p in check_tags(tags, size)]


@pytest.mark.parametrize("camera", [LEVEL, TILTED])
def test_a_full_overhead_photo(camera):
    tags = overhead(camera)
    assert all(((t.corners > 0) & (t.corners < camera.size)).all() for t in tags)
    assert (view_of(tags), flat_of(tags), said(tags, camera.size)) == ("overhead", 31, [])


@pytest.mark.parametrize("roll", [0, 1, 2])
@pytest.mark.parametrize("cards", [(), (1,), (0, 1)])
def test_a_full_side_photo_with_corner_cards_seen_edge_on(roll, cards):
    tags = side(cards=cards, roll=roll)
    assert (view_of(tags), flat_of(tags), said(tags)) == ("side", 31, [])


def test_a_backdrop_lying_beside_the_flat_makes_no_side_photo():
    assert view_of(overhead(LEVEL) + side(backdrop=(4,), flats=())) == "overhead"


@pytest.mark.parametrize("camera", [LEVEL, TILTED])
@pytest.mark.parametrize("hidden", [0, 1, 2, 3])
def test_one_hidden_card_is_a_warning_that_names_it(camera, hidden):
    tags = overhead(camera, [i for i in range(4) if i != hidden])
    problems = check_tags(tags, camera.size)
    assert problems == [Problem("card_missing", fatal=False, facts={"cards": str(hidden)})]
    assert f"corner card {hidden} can't be read" in problems[0].text
    assert (view_of(tags), flat_of(tags)) == ("overhead", 31)


def test_two_hidden_cards_refuse_the_photo():
    (problem,) = check_tags(overhead(LEVEL, [0, 3]), LEVEL.size)
    assert (problem.code, problem.fatal, problem.facts) == ("card_missing", True, {"cards": "1 and 2"})


def test_three_hidden_cards_refuse_the_photo():
    problem = check_tags(overhead(LEVEL, [2]), LEVEL.size)[0]
    assert (problem.code, problem.fatal, problem.facts) == ("card_missing", True, {"cards": "0, 1 and 3"})


def test_no_cards_at_all():
    for tags in ([], overhead(LEVEL, []), side(backdrop=(), cards=(0, 1))):
        assert (view_of(tags), said(tags)) == (None, [("no_cards", True)])


@pytest.mark.parametrize("camera", [LEVEL, TILTED])
@pytest.mark.parametrize("dx, dy", [(x, y) for x in (-190, -60, 0, 60, 190) for y in (-150, 0, 150)])
def test_a_flat_that_runs_out_of_the_picture(camera, dx, dy):
    """Said if a corner of the flat lies 25 mm outside; not said if all lie 15 mm inside, cards read or not."""
    size = np.array(camera.size)
    corners = camera.project([(x + dx, y + dy, 0) for x, y in ((0, 0), (546, 0), (546, 278), (0, 278))])
    beyond_mm = np.max(np.maximum(-corners, corners - size)) / 2.6  # px per mm, roughly, in both cameras
    tags = overhead(camera, shift_mm=(dx, dy))
    read = [t for t in tags if ((t.corners > 0) & (t.corners < size - 1)).all()]
    cards = len({t.id for t in read} & {0, 1, 2, 3})
    problems = check_tags(read, camera.size)
    if cards < 3:  # where the others are is then a guess, but the photo is refused whatever the word
        assert problems[0].fatal
    elif beyond_mm > 25:
        assert Problem("cropped") in problems
    elif beyond_mm < -15:
        assert Problem("cropped") not in problems


def test_two_cards_of_a_level_photo_tell_that_the_others_are_outside():
    read = [t for t in overhead(LEVEL, shift_mm=(190, 0)) if t.id not in (1, 2)]
    assert [p.code for p in check_tags(read, LEVEL.size)] == ["cropped", "card_missing"]


def test_a_side_photo_without_one_end():
    tags = [t for t in side() if t.id != 5]
    assert said(tags) == [("card_missing", False)]  # it should be in the picture: hidden
    assert "card 5 of the backdrop" in check_tags(tags, (4032, 3024))[0].text
    assert said(tags, (3000, 3024)) == [("cropped", True)]  # the picture ends before it


def test_a_neighbours_tag_is_not_the_flats_own():
    # the neighbour stands behind the last row, or beside, each with its own tag on its own row A
    for at in ((300, 330), (850, -20), (-250, -20)):
        tags = overhead(LEVEL, flats=((31, (300, -20)), (58, at)))
        assert (flat_of(tags), said(tags, LEVEL.size)) == (31, [])
        alone = overhead(LEVEL, flats=((58, at),))
        assert (flat_of(alone), said(alone, LEVEL.size)) == (None, [("no_flat_tag", True)])


def test_a_neighbours_tag_in_the_side_photo():
    tags = side(flats=((31, 0.4), (58, 1.35)))
    assert (flat_of(tags), said(tags)) == (31, [])


@pytest.mark.parametrize("tags", [overhead(LEVEL, flats=((31, (300, -20)), (58, (150, -25)))),
                                  side(flats=((31, 0.4), (58, 0.7)))])
def test_two_flat_tags_on_one_flat(tags):
    assert flat_of(tags) is None
    (problem,) = check_tags(tags, (4032, 3024))
    assert (problem.code, problem.fatal) == ("two_flats", True)
    assert "31 and 58" in problem.text


def test_two_sets_of_cards():
    tags = overhead(LEVEL) + overhead(LEVEL, cards=(0, 1), flats=(), shift_mm=(0, 330))
    (problem,) = check_tags(tags, LEVEL.size)
    assert (problem.code, problem.fatal) == ("two_flats", True)
    assert "card 0 and 1 twice" in problem.text


def test_no_flat_tag():
    for tags in (overhead(LEVEL, flats=()), side(flats=())):
        assert said(tags) == [("no_flat_tag", True)]


@pytest.mark.parametrize("view, tilt_deg, px_per_mm, wanted", [
    ("overhead", 30.0, 2.9, []), ("overhead", 36.0, 2.9, [("tilted", False)]),
    ("overhead", 50.0, 5.0, [("tilted", True)]),
    ("side", 12.0, 6.0, []), ("side", 22.0, 6.0, [("tilted", False)]), ("side", 40.0, 6.0, [("tilted", True)]),
    ("overhead", 5.0, 2.2, [("low_resolution", False)]), ("side", 5.0, 1.4, [("low_resolution", True)]),
    ("overhead", None, None, []),
])
def test_tilt_and_resolution(view, tilt_deg, px_per_mm, wanted):
    problems = check_pose(view, tilt_deg, px_per_mm)
    assert [(p.code, p.fatal) for p in problems] == wanted
    for problem in problems:
        assert "{" not in problem.text + problem.advice


def test_every_fact_a_text_asks_for_is_given():
    everything = [
        *check_tags(overhead(LEVEL, [0, 1, 2]), LEVEL.size), *check_tags([], LEVEL.size),
        *check_tags(overhead(LEVEL, flats=((31, (300, -20)), (58, (150, -25)))), LEVEL.size),
        *check_tags(overhead(LEVEL, flats=()), LEVEL.size), *check_tags(side(backdrop=(4,)), (3000, 3024)),
        *check_pose("side", 50.0, 1.0),
    ]
    codes = {p.code for p in everything}
    assert codes == {"card_missing", "no_cards", "two_flats", "no_flat_tag", "cropped", "tilted", "low_resolution"}
    for problem in everything:
        assert problem.code in PHOTO
        assert problem.text
        assert problem.advice


def test_the_evaluation_photos(evaluation):
    """Every good photo has its view and its flat; one of the refused shows card 2 hidden, one no card at all."""
    register = {"d01": 31, "d02": 58, "d03": 77, "d04": 104, "d05": 163, "d06": 201, "d07": 240, "d08": 289}
    paths = sorted((evaluation / "flats").glob("d0[1-8]_*/*.jpg"))
    assert len(paths) == 24
    for path in paths:
        tags, size = tags_in(path)
        assert view_of(tags) == path.stem.split("_")[0], path
        assert flat_of(tags) == register[path.parent.name[:3]], path
        assert check_tags(tags, size) == [], path
    tags, size = tags_in(evaluation / "flats/bad/card_hidden.jpg")
    assert check_tags(tags, size) == [Problem("card_missing", fatal=False, facts={"cards": "2"})]
    tags, size = tags_in(evaluation / "flats/bad/no_cards.jpg")
    assert check_tags(tags, size) == [Problem("no_cards")]


def tags_in(path):
    image = read_photo(path).image
    return detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)), (image.shape[1], image.shape[0])

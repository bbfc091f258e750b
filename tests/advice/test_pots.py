"""Pots as growers write them, and how much finds room in one."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seedlingcv.advice.pots import LARGE_POT, SMALL_POT, USUAL_POTS, Pot, laid_room_mm, read_pot, usual_pot


@pytest.mark.parametrize(("text", "width", "depth", "shape"), [
    ("90x80", 90, 80, "square"),
    ("90 x 80 mm", 90, 80, "square"),
    ("9x8cm", 90, 80, "square"),
    ("9 cm x 8 cm", 90, 80, "square"),
    ("110×100 round", 110, 100, "round"),
    ("3.5x3in", 88.9, 76.2, "square"),
    ("3,5 x 3 in", 88.9, 76.2, "square"),
    ("3 1/2 x 3 1/4 inches", 88.9, 82.55, "square"),
    ('4" x 3.5" round', 101.6, 88.9, "round"),
    ("4 in round", 102, 95, "round"),
    ("9 cm round", 90, 80, "round"),
    ("1 Gallon", 165, 165, "round"),
    ("6 in round", 150, 130, "round"),
])
def test_pots_as_written(text, width, depth, shape):  # 1 in = 25.4 mm
    pot = read_pot(text)
    assert (pot.width_mm, pot.depth_mm, pot.shape) == (pytest.approx(width), pytest.approx(depth), shape)


@pytest.mark.parametrize("text", ["", "4x4", "3.5x3", "90", "90x", "large", "90x80x70", "0x80 mm", "900x80", "-90x80",
                                  "9 1/0 x 8 cm in"])
def test_what_is_no_pot(text):
    with pytest.raises(ValueError, match="write|unit"):
        read_pot(text)


mm = st.floats(31, 480)


@given(mm, mm, st.sampled_from([("mm", 1), ("cm", 10), ("in", 25.4)]))
def test_units_there_and_back(width, depth, unit):
    name, factor = unit
    pot = read_pot(f"{width / factor:.5f}x{depth / factor:.5f}{name}")
    assert pot.width_mm == pytest.approx(width, abs=0.001) and pot.depth_mm == pytest.approx(depth, abs=0.001)


def test_volumes_are_those_of_such_pots():
    # A straight-walled pot holds more, one that tapers to 0.6 of its width (a frustum) hardly less: the volume of a
    # frustum of a cone or pyramid, h/3 (A1 + A2 + sqrt(A1 A2)), with side ratios 1 and 0.6.
    for pot in USUAL_POTS:
        area = pot.width_mm**2 * (1 if pot.shape == "square" else pi / 4)
        straight = area * pot.depth_mm / 1000
        assert 0.62 * straight <= pot.volume_ml <= straight, pot.name


def test_every_usual_pot_says_where_its_figures_are_from():
    assert all(pot.source for pot in USUAL_POTS)
    assert (SMALL_POT.width_mm, SMALL_POT.depth_mm) == (90, 80)
    assert (LARGE_POT.width_mm, LARGE_POT.depth_mm) == (150, 130)


def test_the_smallest_pot_that_is_deep_enough():
    assert usual_pot(lambda p: p.depth_mm >= 84).name == "8 cm square"
    assert usual_pot(lambda p: p.depth_mm >= 155).name == "1 gallon nursery"
    assert usual_pot(lambda p: p.depth_mm >= 180) is None  # the next one holds more mix than a seedling should have


def test_room_for_a_stem_laid_slantwise_by_hand():
    # Worked in test_burial.py: square 90 x 80, plug 57 deep and 39 wide: 30.6 + 28.0 mm.
    assert laid_room_mm(SMALL_POT, 57, 39) == pytest.approx(58.6, abs=0.1)
    # Round: the chord sqrt(76.5^2 - 39^2) = 65.8 mm leaves 8.8 mm beyond the plug: a stem doesn't bend so tightly.
    assert laid_room_mm(Pot(90, 80, "round"), 57, 39) is None
    assert laid_room_mm(Pot(90, 40), 57, 39) is None  # the plug on its side stands above the surface
    # Wide square pot: along the diagonal, sqrt(2) x 0.85 x 200 - 39 = 201.4 mm; 144.4 beyond the plug, 67.5 mm up:
    # a quarter circle of radius 67.5 (106.0 mm) after 76.9 mm straight.
    assert laid_room_mm(Pot(200, 100), 57, 39) == pytest.approx(76.9 + 106.0, abs=0.3)


@given(st.floats(60, 300), st.floats(60, 300), st.sampled_from(["square", "round"]))
def test_more_pot_is_never_less_room(width, depth, shape):
    less, more = Pot(width, depth, shape), Pot(width * 1.1, depth * 1.1, shape)
    assert (laid_room_mm(more, 57, 39) or 0) >= (laid_room_mm(less, 57, 39) or 0)

"""Shades that read in grey, numbers that can be read on them, and labels that do not collide."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import rgb2lab

from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.report import charts, drawings, ramp


def wcag_contrast(one, other) -> float:
    """W3C WCAG 2.1, definitions of relative luminance and contrast ratio."""
    lights = []
    for colour in (one, other):
        c = np.array(colour, float) / 255
        linear = np.where(c <= 0.03928, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
        lights.append(float(linear @ [0.2126, 0.7152, 0.0722]))
    return (max(lights) + 0.05) / (min(lights) + 0.05)


def rgb(css: str) -> tuple[int, ...]:
    css = css.lstrip("#")
    css = "".join(c * 2 for c in css) if len(css) == 3 else css
    return tuple(int(css[i:i + 2], 16) for i in (0, 2, 4))


def test_contrast_of_known_pairs():
    assert ramp.contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)  # WCAG 2.1: ratios run from 1 to 21
    # #777 on white just misses 4.5:1: 4.48, an example often quoted (from memory)
    assert ramp.contrast((0x77,) * 3, (255, 255, 255)) == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("stops", [ramp.STRETCH, ramp.COVER])
def test_ramps_fall_in_lightness_by_clear_steps(stops):
    """CIE L* as scikit-image computes it. A step of 8 is easily told apart on paper (own choice)."""
    lightness = rgb2lab(np.array(stops, np.uint8)[None])[0, :, 0]
    assert np.all(-np.diff(lightness) > 8)


@pytest.mark.parametrize("stops", [ramp.STRETCH, ramp.COVER])
def test_numbers_can_be_read_on_every_shade(stops):
    """WCAG 2.1 success criterion 1.4.3 asks 4.5:1 of small text."""
    for colour in stops:
        assert wcag_contrast(ramp.ink_on(colour), colour) >= 4.5


@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_the_better_ink_is_always_readable(colour):
    assert wcag_contrast(ramp.ink_on(colour), colour) >= 4.5


@given(st.lists(st.one_of(st.none(), st.floats(0.01, 6)), max_size=60))
def test_a_scale_covers_its_values_and_darkens_with_them(values):
    scale = ramp.stretch_scale(values)
    assert scale.high > scale.low and len(scale.edges) == len(scale.stops) + 1
    had = sorted(v for v in values if v is not None)
    steps = [scale.step(v) for v in had]
    assert steps == sorted(steps)
    assert not had or scale.low <= had[0] + 1e-9
    assert sum(v > scale.high + 1e-9 for v in had) <= 0.05 * len(had)


@pytest.fixture
def small_map():
    cells = (CellMeasurement("A1", plants=1, canopy_cover=0.1234),
             CellMeasurement("A2", plants=0, canopy_cover=0.0),
             CellMeasurement("A3", plants=2, canopy_cover=0.5),
             CellMeasurement("B1", plants=1, flags=("stem_hidden",)),
             CellMeasurement("B2", plants=1, canopy_cover=0.87, flags=("overlap_unsure",)),
             CellMeasurement("B3", plants=1, canopy_cover=1.0))
    return str(charts.cell_map(FlatMeasurement(5, None, 2, 3, cells), "canopy_cover", ramp.cover_scale(),
                               percent=True))


def groups(svg: str) -> dict[str, str]:
    return {re.search(r"<title>(\w+)", g)[1]: g for g in re.findall(r"<g>.*?</g>", svg)}


def test_each_kind_of_cell_is_drawn_apart(small_map):
    cell = groups(small_map)
    assert ">12</text>" in cell["A1"] and "hatch" not in cell["A1"]
    assert ">empty</text>" in cell["A2"] and "hatch" not in cell["A2"]
    assert ">–</text>" in cell["B1"] and 'class="cell none"' in cell["B1"] and "url(#hatch)" in cell["B1"]
    assert "the stem can&#x27;t be followed" in cell["B1"]
    assert ">87</text>" in cell["B2"] and cell["B2"].count("url(#hatch)") == 1 and 'fill="#' in cell["B2"]


def test_a_map_reads_row_a_first_and_column_1_at_the_left(small_map):
    place = {n: tuple(map(int, re.search(r'<rect [^>]*x="(\d+)" y="(\d+)"', g).groups()))
             for n, g in groups(small_map).items()}
    assert place["A1"][0] < place["A2"][0] < place["A3"][0]
    assert place["A1"][1] == place["A3"][1] < place["B1"][1] == place["B3"][1]
    assert place["A1"][0] == place["B1"][0]


def test_numbers_in_the_maps_meet_the_contrast(nursery):
    checked = 0
    scales = {"canopy_cover": ramp.cover_scale(), "legginess": ramp.stretch_scale([0.2, 2])}
    for entry in nursery.entries:
        for field, scale in scales.items():
            for group in groups(str(charts.cell_map(entry.measurement, field, scale))).values():
                fill = re.search(r'<rect [^>]*fill="([^"]+)"', group)[1]
                ink = re.search(r'<text [^>]*fill="([^"]+)"', group)[1]
                ground = (255, 255, 255) if "hatch" in fill else rgb(fill)  # a dash stands on a white disc
                assert wcag_contrast(rgb(ink), ground) >= 4.5
                checked += 1
    assert checked == 2 * sum(len(e.measurement.cells) for e in nursery.entries)


@given(st.lists(st.floats(0, 1000), max_size=16).map(sorted), st.floats(10, 60))
def test_labels_keep_their_distance_and_stay_in_the_picture(places, gap):
    got = drawings.spread(places, gap, 1000.0)
    assert all(b - a >= gap - 1e-6 for a, b in pairwise(got))
    assert all(gap / 2 - 1e-6 <= x <= 1000 - gap / 2 + 1e-6 for x in got)


def test_stems_nodes_and_lengths_are_drawn(nursery):
    tomato = next(e.measurement for e in nursery.entries if e.measurement.flat == 7)
    pictures = nursery.pictures[7]
    svg = str(drawings.front_row(pictures, tomato))
    assert svg.count('class="node"') == len(pictures.nodes) > 5
    assert svg.count('class="line"') == len(pictures.stems)
    lengths = {c.cell: c.stem_length_mm for c in tomato.cells}
    for name in pictures.stems:
        assert f">{name}</text>" in svg and f">{lengths[name]:.0f}</text>" in svg
    assert str(drawings.overhead(pictures, 7)).count("Z") >= 2 * len(pictures.outlines)


def test_the_signs_put_the_plug_deeper_the_deeper_it_goes():
    tops = [int(re.search(r'M33 (\d+)h18', str(drawings.burial_sign(b)))[1])
            for b in ("crown_above", "same_depth", "to_seed_leaves", "deep")]
    assert tops == sorted(set(tops)) and drawings.burial_sign(None) == ""

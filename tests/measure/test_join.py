"""Both views of a flat put together."""

import pytest

from seedlingcv.measure.heights import PlantHeight
from seedlingcv.measure.join import join_views
from seedlingcv.measure.side import StemMeasurement
from seedlingcv.measure.table import CellMeasurement


def joined(side_mm, above_mm, side=True):
    stems = [StemMeasurement("A1", 1, 1, stem_length_mm=30.0, height_mm=side_mm,
                             se={"height_mm": 2.0, "stem_length_mm": 2.0})] if side else None
    overhead = [CellMeasurement("A1", plants=1, leaf_spread_mm=60.0, se={"leaf_spread_mm": 5.0})]
    crown = None if above_mm is None else 28.0
    heights = [PlantHeight("A1", above_mm, above_mm and 4.0, crown, crown and 2.0)]
    return join_views(1, 1, overhead, stems, heights)[0]


def test_the_height_is_the_mean_of_both_views():
    cell = joined(50.0, 54.0)
    assert cell.height_mm == pytest.approx(52)
    assert cell.se["height_mm"] < 4.0
    assert cell.stem_from == "side"


def test_far_apart_the_lower_holds_and_is_unsure():
    """A neighbour's leaf adds height, in whichever view it is taken for the plant's own."""
    for side, above in ((50.0, 80.0), (80.0, 50.0)):
        cell = joined(side, above)
        assert cell.height_mm == 50.0
        assert cell.se["height_mm"] > joined(50.0, 54.0).se["height_mm"] * 2


def test_one_view_alone():
    assert joined(50.0, None).height_mm == 50.0
    from_above = joined(None, 54.0, side=False)
    assert (from_above.height_mm, from_above.stem_from) == (54.0, "parallax")
    assert from_above.flags == ()


def test_a_stem_without_a_height_says_so():
    overhead = [CellMeasurement("A1", plants=1, leaf_spread_mm=60.0)]
    cell = join_views(1, 1, overhead, None, [PlantHeight("A1", crown_mm=28.0, crown_se=2.0)])[0]
    assert cell.height_mm is None
    assert cell.stem_length_mm is not None
    assert "height_unsure" in cell.flags

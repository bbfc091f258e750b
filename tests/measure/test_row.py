"""Nodes and apices of a row: one plant's arms may mislead, the row's votes decide."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from seedlingcv.measure.apex import USUAL, Above, row_share
from seedlingcv.measure.nodes import find_node, usual_node


@dataclass
class Stem:
    """What `nodes` reads of a StemPath: arms by (arc, length, on the left), forks by (arc, length)."""

    height_mm: float
    seen: list
    forks: list = field(default_factory=list)
    left: str = "plain"
    right: str = "plain"
    bridged: str = "bridged"

    def arms(self, sides):
        return self.seen if sides == ("plain", "plain") else []


def seed_leaves(arc):
    return [(arc - 0.3, 12.0, True), (arc + 0.3, 12.0, False)]


def row(share=0.5):
    return [Stem(h, seed_leaves(share * h)) for h in (40.0, 50.0, 55.0, 60.0, 70.0)]


@pytest.mark.parametrize("share", [0.4, 0.55, 0.75])
def test_the_rows_nodes_are_found(share):
    plants = row(share)
    usual = usual_node(plants)
    assert usual == pytest.approx(share, abs=0.03)
    for plant in plants:
        node = find_node(plant, usual)
        assert node.arc_mm == pytest.approx(share * plant.height_mm, abs=1)
        assert 0.5 < node.se_mm < 4


def test_petioles_higher_up_on_all_plants_are_not_the_nodes():
    """Leaf stalks, one at each height, stand out as far as the seed leaves: the lower pair is the node."""
    plants = [Stem(p.height_mm, p.seen + [(0.75 * p.height_mm, 15.0, True)]) for p in row(0.5)]
    usual = usual_node(plants)
    assert usual == pytest.approx(0.5, abs=0.03)
    for plant in plants:
        assert find_node(plant, usual).arc_mm == pytest.approx(0.5 * plant.height_mm, abs=2)


def test_a_leaf_before_one_stem_does_not_move_its_node():
    odd = Stem(50.0, [(10.0, 8.0, True), (10.5, 8.0, False), *seed_leaves(25.0)])
    plants = [*row(), odd]
    assert find_node(odd, usual_node(plants)).arc_mm == pytest.approx(25, abs=2)


def test_arms_that_disagree_make_the_node_unsure():
    plants = row()
    usual = usual_node(plants)
    two = Stem(50.0, [(21.0, 12.0, True), (29.0, 12.0, True)])
    assert find_node(two, usual).se_mm > 2 * find_node(Stem(50.0, seed_leaves(25.0)), usual).se_mm


def test_forks_tell_where_no_arms_are_seen():
    plants = [*row(), Stem(50.0, [], [(25.0, 12.0)])]
    assert find_node(plants[-1], usual_node(plants)).arc_mm == pytest.approx(25, abs=1.5)


def test_a_stem_without_arms_has_no_node():
    assert find_node(Stem(50.0, []), usual_node([*row(), Stem(50.0, [])])) is None


def above(*shares, width=None, bend=None):
    return Above(tuple((s, 10.0) for s in shares), width, bend)


@pytest.mark.parametrize("true", [0.15, 0.35, 0.55])
def test_the_uppermost_forks_are_the_apex(true):
    rng = np.random.default_rng(4)
    plants = [above(0.0, true / 2, true + rng.normal(0, 0.03)) for _ in range(9)]
    share, se = row_share(plants)
    assert share == pytest.approx(true, abs=0.07)
    assert 0.03 < se < 0.2


def test_hidden_forks_and_leaf_lobes_of_some_plants():
    """Three plants show their seed leaves only, one a leaf's lobes: the other five decide."""
    plants = [above(0.02, 0.4)] * 5 + [above(0.01)] * 3 + [above(0.0, 0.4, 0.72)]
    assert row_share(plants)[0] == pytest.approx(0.4, abs=0.1)


def test_a_row_that_forks_at_its_nodes_only():
    assert row_share([above(0.02, width=2.0, bend=20.0)] * 8)[0] < 0.1


def test_where_nothing_is_seen_the_usual_share_is_unsure():
    share, se = row_share([above()] * 8)
    assert share == pytest.approx(USUAL, abs=0.02)
    assert se > row_share([above(0.0, USUAL)] * 8)[1] + 0.03

"""The invented season that comes along: its tables are read without a complaint and hold what its README promises."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date
from pathlib import Path

import pytest
from scipy import stats

from seedlingcv.benchmarks import season, season_photos
from seedlingcv.records.files import KINDS, read_table_of_any_kind

SEASON = Path(__file__).resolve().parents[2] / "sample_images" / "season"
TUBES, PANEL, BULBS, CHANGED = range(301, 305), range(305, 309), range(309, 313), range(313, 317)
BEFORE, LAST = date(2025, 3, 10), date(2025, 3, 19)


@pytest.fixture(scope="module")
def tables():
    return {path.stem: read_table_of_any_kind(path) for path in sorted(SEASON.glob("*.csv"))}


@pytest.fixture(scope="module")
def legginess(tables):
    """Of single plants, by flat and day, corrected as corrections.csv says."""
    put_right = {(c.flat, c.day, c.cell, c.figure): c.value for c in tables["corrections"].content}
    found = defaultdict(list)
    for flat in tables["figures"].content.flats:
        for measured in flat.days:
            for cell in measured.singles:
                stem, spread = (put_right.get((measured.flat, measured.day, cell.cell, name), getattr(cell, name))
                                for name in ("stem_length_mm", "leaf_spread_mm"))
                if stem and spread:
                    found[measured.flat, measured.day].append(stem / spread)
    return found


def mean(values):
    return math.fsum(values) / len(values)


def test_the_script_writes_the_tables_byte_for_byte(tmp_path):
    for path in season.write(tmp_path):
        assert path.read_bytes() == (SEASON / path.name).read_bytes(), path.name


def test_every_kind_of_table_is_there_and_read_without_a_complaint(tables):
    assert {name: table.kind for name, table in tables.items()} == {kind: kind for kind in KINDS}
    assert [c for table in tables.values() for c in table.complaints] == []


def test_it_says_that_it_is_invented_and_is_small():
    for path in SEASON.glob("*.csv"):
        assert path.read_text().startswith("# invented")
    assert "invented" in (SEASON / "README.md").read_text()
    assert sum(p.stat().st_size for p in SEASON.glob("*.csv")) < 150_000
    assert sum(p.stat().st_size for p in SEASON.glob("*.jpg")) < 3_000_000


def test_three_lights_of_four_flats_on_five_days(tables):
    """And four more that change from one of the lights to another, two by the lamp, two by a move."""
    lamps = tables["lights"].content
    shelf = {row.flat: row.shelf for row in tables["flats"].content.flats.values()}

    def light(flat, day):
        stood = [m.shelf for m in tables["moves"].content if m.flat == flat and m.day <= day]
        (over,) = (lamp.light for lamp in lamps if lamp.shelf == (stood or [shelf[flat]])[-1] and lamp.covers(day))
        return over

    days = {flat.row.flat: [m.day for m in flat.days] for flat in tables["figures"].content.flats}
    assert set(days) == set(shelf) == {*TUBES, *PANEL, *BULBS, *CHANGED}
    assert {tuple(own) for own in days.values()} == {season.DAYS}
    assert len(season.DAYS) == 5
    for flats, name in ((TUBES, "old tubes"), (PANEL, "white panel"), (BULBS, "dim bulbs")):
        assert {light(flat, day) for flat in flats for day in season.DAYS} == {name}
    assert {light(flat, BEFORE) for flat in CHANGED} == {"dim bulbs"}
    assert {light(flat, season.CHANGED) for flat in CHANGED} == {"white panel"}
    assert len(tables["moves"].content) == 2
    for flat in tables["figures"].content.flats:
        assert all(tuple(c.cell for c in m.cells) == season.LOOKED_AT for m in flat.days)


def test_one_light_differs_clearly_and_one_only_if_plants_are_taken_for_flats(legginess):
    """Welch's t test of SciPy, flats as units, and, wrongly, plants as units."""
    flats = {name: [mean(legginess[f, LAST]) for f in numbers]
             for name, numbers in (("tubes", TUBES), ("panel", PANEL), ("bulbs", BULBS))}

    def chance(one, other):
        return stats.ttest_ind(one, other, equal_var=False).pvalue

    assert chance(flats["bulbs"], flats["panel"]) < 0.01
    assert chance(flats["tubes"], flats["panel"]) > 0.1
    plants = [[v for f in numbers for v in legginess[f, LAST]] for numbers in (TUBES, PANEL)]
    assert chance(*plants) < 0.001


def test_flats_that_leave_the_bulbs_lose_legginess_beside_those_that_stay(legginess):
    """Welch's t test of SciPy on each flat's change."""
    changed, stayed = ([mean(legginess[f, LAST]) - mean(legginess[f, BEFORE]) for f in flats]
                       for flats in (CHANGED, BULBS))
    assert max(changed) < -0.1
    assert -0.1 < mean(stayed) < 0.15
    assert stats.ttest_ind(changed, stayed, equal_var=False).pvalue < 0.01


def test_one_flat_under_the_tubes_outgrows_the_limit_and_no_other_does(legginess):
    """Leggy from 1.0 on (the tomato's file)."""
    leggy = {flat for flat in (*TUBES, *PANEL) if mean(legginess[flat, LAST]) > 1.0}
    assert leggy == {season.DEAD_TUBE}
    assert mean(legginess[season.DEAD_TUBE, BEFORE]) < 0.8


def test_the_end_at_the_window_is_the_leggier_one(tables, legginess):
    """Where a window side is named, over the three lights that don't change; README: a tenth each way."""
    window = {lamp.shelf for lamp in tables["lights"].content if lamp.window_side == "last column"}
    assert window == {f"rack {rack} upper" for rack in (1, 2, 3, 4)} | {"rack 3 lower", "rack 4 lower"}
    ratios = []
    for row in tables["flats"].content.flats.values():
        if row.shelf in window and row.flat not in CHANGED:
            flat = next(f for f in tables["figures"].content.flats if f.row.flat == row.flat)
            ends = [[c.legginess for c in flat.measurement.singles if c.cell[1:] in columns]
                    for columns in (("10", "12"), ("1", "3"))]
            ratios.append(mean(ends[0]) / mean(ends[1]))
    assert len(ratios) == 8
    assert 1.05 < mean(ratios) < 1.3


def test_the_photos_are_good_and_show_the_plants_of_the_tables():
    """Against the drawn plants: the season's own growth on that day."""
    from seedlingcv.assess.folder import assess_folder
    from seedlingcv.records.register import read_register

    done = assess_folder(SEASON, read_register(SEASON / "flats.csv"))
    assert len(done.photos) == 6
    assert [p for p in done.photos if p.problems or not p.usable] == []
    assert not done.needs_attention
    assert {e.measurement.flat: e.measurement.day for e in done.entries} == dict.fromkeys((307, 311), date(2025, 3, 20))
    for entry in done.entries:
        assert entry.measurement.flags == ()
        flat = next(f for f in season.flats() if f.number == entry.measurement.flat)
        drawn = season.grown(flat, season_photos.DAY)
        plants = [p for p in drawn.values() if isinstance(p, season.Plant)]
        true = sorted(p.stem_mm(season_photos.DAY) / p.spread_mm() for p in plants)[len(plants) // 2]
        assert entry.measurement.summary("legginess").median == pytest.approx(true, rel=0.15)
    assert {e.measurement.flat: e.verdict.legginess_band for e in done.entries} == {307: "normal", 311: "leggy"}

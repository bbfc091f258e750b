"""What is kept comes back as it was, and doing a thing twice adds nothing. Figures are invented."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import count

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from season_store import DAY, SOWN, VERSION, content, key, measured, register

from seedlingcv.errors import RecordsError
from seedlingcv.flags import CELL, PHOTO
from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.history import Lighting
from seedlingcv.records.keep import (
    KeptVerdict,
    Photo,
    keep_corrections,
    keep_day,
    keep_lightings,
    keep_moves,
    keep_photos,
    keep_pottings,
    keep_register,
    keep_root_checks,
    keep_verdicts,
    take_back_pottings,
)
from seedlingcv.records.lights import Move
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.parts import read_part
from seedlingcv.records.recall import (
    earlier_day,
    known_days,
    known_photos,
    newest_root_check,
    newest_verdicts,
    read_history,
    recall_day,
    register_rows,
)
from seedlingcv.records.register import FlatRow
from seedlingcv.records.ruler import BY_HAND, WHOLE_FLAT

WRONG_STEM = Correction(31, DAY, "A1", "stem_length_mm", 44.0, "R. Moss", date(2025, 3, 21), "a stick beside it")


def keep(records, measurement, *photos, source="photo", version=VERSION):
    return keep_day(records, measurement, source=source, keys=[key(p) for p in photos], version=version)


def cell_of(records, name="A1", flat=31, day=DAY):
    return next(c for c in recall_day(records, flat, day).cells if c.cell == name)


FIGURE = st.none() | st.floats(0, 2000, allow_nan=False)
CELLS = st.builds(
    CellMeasurement, cell=st.just(""), plants=st.none() | st.integers(0, 3000), canopy_cover=FIGURE,
    leaf_spread_mm=FIGURE, leaf_area_mm2=FIGURE, true_leaves=st.none() | st.integers(0, 50),
    greenness=st.none() | st.floats(-1, 1), yellow_fraction=FIGURE, stem_length_mm=FIGURE,
    stem_from=st.none() | st.sampled_from(["side", BY_HAND]), hypocotyl_length_mm=FIGURE, stem_diameter_mm=FIGURE,
    height_mm=FIGURE, row_spread_mm=FIGURE, lean_deg=FIGURE,
    flags=st.lists(st.sampled_from(sorted(CELL.keys() - {"corrected"})), unique=True).map(tuple),
    se=st.dictionaries(st.sampled_from(["stem_length_mm", "canopy_cover"]), st.floats(0, 10)))
DAYS = count(1)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(CELLS, max_size=12), st.lists(st.sampled_from(sorted(PHOTO)), unique=True))
def test_a_day_comes_back_as_it_was_kept(records, some, flags):
    day = DAY + timedelta(next(DAYS))
    named = tuple(replace(c, cell=cell_name(i // 6, i % 6 + 1)) for i, c in enumerate(some))
    kept = FlatMeasurement(31, day, 2, 6, named, flags=tuple(flags))
    assert keep(records, kept, "a", "b")
    assert recall_day(records, 31, day) == kept
    assert not keep(records, kept, "b", "a"), "the order of the photos is no matter"
    assert recall_day(records, 31, day) == kept


def test_a_whole_flats_figures_by_ruler(records):
    cell = CellMeasurement(WHOLE_FLAT, plants=1, true_leaves=2.5, stem_length_mm=35, stem_from=BY_HAND)
    assert keep(records, FlatMeasurement(31, DAY, 0, 0, (cell,)), "figures", source="ruler")
    back = recall_day(records, 31, DAY)
    assert (back.cells, back.rows, back.layout) == ((cell,), 0, "0x0")
    assert read_history(records).flats[0].days[0].source == "ruler"


def test_whole_numbers_stay_whole_and_numpy_is_no_hindrance(records):
    numpy = pytest.importorskip("numpy")
    cell = CellMeasurement("A1", plants=numpy.int64(1), true_leaves=numpy.int64(2), stem_length_mm=numpy.float32(35.5),
                           se={"stem_length_mm": numpy.float64(1.5)})
    keep(records, FlatMeasurement(31, DAY, 1, 1, (cell,)), "a")
    back = cell_of(records)
    assert (back.plants, back.true_leaves, back.stem_length_mm, back.se) == (1, 2, 35.5, {"stem_length_mm": 1.5})
    assert [type(back.plants), type(back.true_leaves)] == [int, int], "a report says 2 leaves, not 2.0"


@pytest.mark.parametrize("wrong", [float("nan"), float("inf")])
def test_a_figure_that_is_none_keeps_the_day_out(records, wrong):
    bad = replace(measured(), cells=(CellMeasurement("A1", plants=1, stem_length_mm=wrong),))
    with pytest.raises(RecordsError, match="flat 31 cell A1"):
        keep(records, bad, "a")
    assert recall_day(records, 31, DAY) is None


def test_a_day_without_a_date_is_not_kept(records):
    with pytest.raises(RecordsError, match="no date"):
        keep(records, measured(day=None), "a")


def test_another_version_and_more_photos_count_before_what_was_measured_first(records):
    assert keep(records, measured(stem_mm=10), "a")
    assert keep(records, measured(stem_mm=20), "a", "b")
    assert cell_of(records).stem_length_mm == 21
    assert keep(records, measured(stem_mm=30), "a", version="0.2.0")
    assert cell_of(records).stem_length_mm == 31
    assert not keep(records, measured(stem_mm=10), "a"), "it stands there already"
    one, both = frozenset({key("a")}), frozenset({key("a"), key("b")})
    assert known_days(records, VERSION) == {(31, DAY, one), (31, DAY, both)}
    assert known_days(records, "0.2.0") == {(31, DAY, one)}
    assert len(read_history(records).flats[0].days) == 1


def test_photos_are_known_by_their_content(records):
    taken = datetime(2025, 3, 20, 9, 30)
    one = Photo("a.jpg", key("a"), "overhead", taken, 31, True, ("tilted",))
    assert keep_photos(records, [one, replace(one, file="copy of a.jpg"), Photo("b.jpg", key("b"))]) == 2
    assert keep_photos(records, [replace(one, file="renamed.jpg"), Photo("c.jpg", key("c"), taken=taken)]) == 1
    assert known_photos(records) == {key("a"): (31, DAY)}
    with records.reading() as connection:
        rows = connection.exec_driver_sql("SELECT file, usable FROM photos ORDER BY sha256").all()
    assert [tuple(row) for row in rows] == [("renamed.jpg", True), ("b.jpg", False), ("c.jpg", False)]


def test_a_photo_may_be_measured_before_it_is_kept_in_full(records):
    keep(records, measured(), "a")
    assert known_photos(records) == {}
    assert keep_photos(records, [Photo("a.jpg", key("a"), "overhead", datetime(2025, 3, 20), 31, True)]) == 1
    assert known_photos(records) == {key("a"): (31, DAY)}
    with records.reading() as connection:
        linked = "SELECT count(*) FROM day_photos JOIN photos ON photo_id = photos.id"
        assert connection.exec_driver_sql(linked).scalar() == 1


def test_a_photo_whose_name_is_no_text(records):
    assert keep_photos(records, [Photo("bl\udcfcte.jpg", key("a"))]) == 1


def test_a_register_comes_back(records):
    rows = (FlatRow(31, "tomato", "Harbor Lantern", 6, 12, SOWN, "LED panel", {"note": "late"}, seed_lot="L7",
                    batch="3", shelf="S1", roots="firm"),
            FlatRow(32, "basil", None, 6, 12, date(2025, 2, 10), None, part=read_part("A-C"), shelf="S2"),
            FlatRow(32, "parsley", None, 6, 12, date(2025, 2, 3), None, part=read_part("D1-F6, D8")),
            FlatRow(33), FlatRow(34, "leek", part=read_part("1-3")), FlatRow(34, "onion"))
    assert keep_register(records, register(*rows)) == []
    assert [row for own in register_rows(records).values() for row in own] == list(rows)
    assert keep_register(records, register(*rows)) == []
    assert [row for own in register_rows(records).values() for row in own] == list(rows)


def test_a_register_put_right_counts_in_place_of_what_it_said(records):
    keep_register(records, register(FlatRow(31, "tomato", sown=SOWN), FlatRow(32, "leek")))
    halves = (FlatRow(31, "pepper", sown=SOWN, part=read_part("A")), FlatRow(31, "basil", part=read_part("B")))
    keep_register(records, register(*halves))
    assert register_rows(records) == {31: halves, 32: (FlatRow(32, "leek"),)}


def test_a_sheet_that_names_the_crop_itself(records):
    told = replace(measured(), crop="tomato", variety="Harbor Lantern", sown=SOWN, light="LED")
    keep(records, told, "figures", source="ruler")
    (flat,) = read_history(records).flats
    assert (flat.crop, flat.variety, flat.sown, flat.days[0].age_days) == ("tomato", "Harbor Lantern", SOWN, 25)
    assert recall_day(records, 31, DAY) == told
    keep_register(records, register(FlatRow(31, "pepper", sown=SOWN)))
    keep(records, replace(told, day=DAY + timedelta(3)), "more figures", source="ruler")
    assert read_history(records).flats[0].crop == "pepper", "the register's word counts before a sheet's"


def test_lights_and_moves_are_replaced_from_the_first_day_on_that_is_told(records):
    grid = ((180.0, 210.0, 190.0), (170.0, 200.0, 185.0))
    old = Lighting("S1", "old panel", "LED", "white", grid, 16, 300, 4.5, "row A", None, date(2025, 3, 1))
    new = Lighting("S1", "new panel", since=date(2025, 3, 2))
    before, late = replace(old, light="tube", since=date(2024, 1, 1), until=date(2024, 12, 31)), date(2025, 3, 5)
    old = replace(old, since=date(2025, 1, 1))
    keep_lightings(records, [before, old, new, replace(new, shelf="S2")])
    keep_lightings(records, [replace(old, hours=14), replace(new, shelf="s1", since=late)])
    assert read_history(records).lightings == (
        before, replace(old, hours=14), replace(new, since=late), replace(new, shelf="S2"))
    keep_lightings(records, [replace(old, shelf="", since=None), replace(new, shelf="")])
    keep_lightings(records, [replace(new, shelf="", hours=10)])
    assert read_history(records).lightings[:2] == (replace(old, shelf="", since=None), replace(new, shelf="", hours=10))
    keep_moves(records, [Move(31, DAY, "S1"), Move(31, DAY + timedelta(4), None, "tube")])
    keep_moves(records, [Move(31, DAY + timedelta(2), "S2"), Move(32, DAY, "S1")])
    keep(records, measured(), "a")
    (flat,) = read_history(records).flats
    assert [(s.since, s.shelf) for s in flat.stands] == [(DAY, "S1"), (DAY + timedelta(2), "S2")]


def test_corrections_apply_and_what_was_measured_stays(records):
    keep(records, measured(), "a")
    assert keep_corrections(records, [WRONG_STEM]) == []
    assert keep_corrections(records, [replace(WRONG_STEM, cell="A2", value=None), WRONG_STEM]) == []
    one, two, three, *_ = recall_day(records, 31, DAY).cells
    before = measured().cells
    assert one == replace(before[0], stem_length_mm=44.0, flags=("height_unsure", "corrected"), se={})
    assert two == replace(before[1], stem_length_mm=None, flags=("height_unsure", "corrected"), se={})
    assert three == before[2]
    assert read_history(records).flats[0].days[0].measurement.cells[:3] == (one, two, three)
    with records.reading() as connection:
        kept = connection.exec_driver_sql("SELECT cell, value, measured FROM corrections ORDER BY cell").all()
    assert [tuple(row) for row in kept] == [("A1", 44.0, 31.0), ("A2", None, 32.0)]


def test_other_figures_keep_their_standard_errors(records):
    bare = replace(measured(), cells=(CellMeasurement("A1", plants=1, canopy_cover=0.2, stem_length_mm=30,
                                                      se={"canopy_cover": 0.01, "stem_length_mm": 1.0}),))
    keep(records, bare, "a")
    keep_corrections(records, [replace(WRONG_STEM, figure="plants", value=2.0), WRONG_STEM])
    cell = cell_of(records)
    assert (cell.plants, cell.stem_length_mm, cell.se) == (2, 44.0, {"canopy_cover": 0.01})
    assert type(cell.plants) is int


def test_of_several_corrections_the_newest_counts(records):
    keep(records, measured(), "a")
    first, second = WRONG_STEM, replace(WRONG_STEM, value=45.0)
    keep_corrections(records, [first, second])
    assert cell_of(records).stem_length_mm == 45, "the one read last"
    keep_corrections(records, [first])
    assert cell_of(records).stem_length_mm == 44, "put back: it isn't new, but it was read last"
    keep_corrections(records, [replace(first, value=46.0, when=date(2025, 3, 25)), first])
    assert cell_of(records).stem_length_mm == 46, "the one written last"


def test_a_whole_flats_correction_needs_a_whole_flats_figure(records):
    keep(records, measured(), "a")
    whole = CellMeasurement(WHOLE_FLAT, plants=1, stem_length_mm=35)
    keep(records, FlatMeasurement(32, DAY, 0, 0, (whole,)), "figures", source="ruler")
    (remark,) = keep_corrections(records, [replace(WRONG_STEM, cell=""), replace(WRONG_STEM, flat=32, cell="")])
    assert "flat 31" in remark and "write which one" in remark
    assert recall_day(records, 31, DAY).cells == measured().cells
    assert cell_of(records, WHOLE_FLAT, flat=32).stem_length_mm == 44


def test_a_correction_may_come_before_the_photos(records):
    keep_corrections(records, [WRONG_STEM])
    keep(records, measured(), "a")
    assert cell_of(records).stem_length_mm == 44


def test_hands_entries_written_twice_are_one(records, tmp_path):
    checks = [RootCheck(31, DAY, "firm", "R. Moss"), RootCheck(31, DAY, "firm"),
              RootCheck(31, DAY, "firm", None, "photo")]
    pottings = [Potting(31, DAY, 70, "9 cm", "R. Moss", "some left"), Potting(31, DAY), Potting(31, DAY, part="A-C")]
    for _ in range(2):
        keep(records, measured(), "a")
        keep_corrections(records, [WRONG_STEM, replace(WRONG_STEM, when=None)])
        keep_root_checks(records, checks)
        keep_pottings(records, [*pottings, replace(pottings[2], part="rows A-C")])
        counts = {}
        with records.reading() as connection:
            for table in ("corrections", "root_checks", "pottings"):
                counts[table] = connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar()
        assert counts == {"corrections": 2, "root_checks": 3, "pottings": 3}
    before = content(records, tmp_path / "a")
    keep_pottings(records, pottings)
    assert content(records, tmp_path / "b") == before


def test_the_newest_root_check(records):
    assert newest_root_check(records, 31) is None
    keep_root_checks(records, [RootCheck(31, DAY, "firm", "R. Moss"), RootCheck(31, DAY, "not_ready", source="photo"),
                               RootCheck(31, DAY - timedelta(3), "not_ready")])
    assert newest_root_check(records, 31) == RootCheck(31, DAY, "firm", "R. Moss"), "a hand's word before a photo's"


def test_the_day_before(records):
    for days in (0, 3, 7):
        keep(records, measured(day=DAY + timedelta(days)), str(days))
    assert earlier_day(records, 31, DAY + timedelta(7)).day == DAY + timedelta(3)
    assert earlier_day(records, 31, DAY) is None
    assert earlier_day(records, 99, DAY) is None
    assert recall_day(records, 31, DAY + timedelta(1)) is None


def verdict(flat=31, part=None, day=DAY, today=DAY, action="pot_up", tree=None):
    tree = tree or {"reasons": ["2 leaves"], "n": [1.5]}
    return KeptVerdict(flat, part, day, today, action, today + timedelta(5), tree)


def test_a_verdict_comes_back_and_is_replaced(records):
    keep_verdicts(records, [verdict(), verdict(32, "rows A-C")])
    assert newest_verdicts(records, today=DAY) == [verdict(), verdict(32, "rows A-C")]
    keep_verdicts(records, [verdict(action="wait", tree={"reasons": []})])
    assert newest_verdicts(records, today=DAY)[0] == verdict(action="wait", tree={"reasons": []})


def test_the_list_holds_what_was_seen_last(records):
    later = DAY + timedelta(4)
    keep_verdicts(records, [verdict(action="wait"), verdict(today=later),
                            verdict(day=later, today=later, action="unsure")])
    assert [v.action for v in newest_verdicts(records, today=later)] == ["unsure"]
    assert [v.action for v in newest_verdicts(records, today=later - timedelta(1))] == ["wait"], "as it was that day"
    assert newest_verdicts(records, today=DAY - timedelta(1)) == []


def test_what_was_potted_up_since_is_off_the_list(records):
    keep_verdicts(records, [verdict(31), verdict(32), verdict(33, "rows A-C"), verdict(33, "rows D-F"), verdict(34)])
    keep_pottings(records, [Potting(31, DAY), Potting(32, DAY - timedelta(1)),
                            Potting(33, DAY + timedelta(2), part="A-C"), Potting(34, DAY + timedelta(9))])
    on_list = [(v.flat, v.part) for v in newest_verdicts(records, today=DAY + timedelta(3))]
    assert on_list == [(32, None), (33, "rows D-F"), (34, None)]


def test_parts_the_register_names_no_more_are_off_the_list(records):
    keep_verdicts(records, [verdict(31), verdict(32, "rows A-C")])
    keep_register(records, register(FlatRow(31, "leek", part=read_part("A-C")), FlatRow(31, "onion"),
                                    FlatRow(32, "leek")))
    assert newest_verdicts(records, today=DAY) == []
    keep_verdicts(records, [verdict(31, "rows A-C"), verdict(31, "other cells"), verdict(32)])
    assert [(v.flat, v.part) for v in newest_verdicts(records, today=DAY)] == [
        (31, "other cells"), (31, "rows A-C"), (32, None)]


def test_a_potting_is_taken_back(records):
    keep(records, measured(), "a")
    first, slip = Potting(31, DAY, 70, "9 cm", "R. Moss", "some left"), Potting(31, DAY + timedelta(9), part="A-C")
    keep_pottings(records, [first])
    keep_pottings(records, [slip])
    with pytest.raises(RecordsError, match="flat 32"):
        take_back_pottings(records, [31, 32])
    assert take_back_pottings(records, [31]) == [replace(slip, part="rows A-C")]
    with pytest.raises(RecordsError, match="No such potting"):
        take_back_pottings(records, [31], part="A-C")
    assert read_history(records).flats[0].potted == DAY
    assert take_back_pottings(records, [31], day=DAY) == [first]
    assert read_history(records).flats[0].potted is None
    keep_pottings(records, [first])
    assert read_history(records).flats[0].potted == DAY, "written down again it counts again"

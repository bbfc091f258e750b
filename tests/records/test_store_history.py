"""A season read back: parts of flats, where they stood, which light was over them. All invented."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st
from season_store import DAY, SOWN, VERSION, key, measured, register

from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.history import LightChange, Lighting, Stand
from seedlingcv.records.keep import (
    KeptVerdict,
    keep_corrections,
    keep_day,
    keep_lightings,
    keep_moves,
    keep_pottings,
    keep_register,
    keep_root_checks,
    keep_verdicts,
)
from seedlingcv.records.lights import Move
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.parts import read_part
from seedlingcv.records.recall import earlier_day, newest_root_check, newest_verdicts, news_of, read_history
from seedlingcv.records.register import FlatRow
from seedlingcv.records.standing import light_changes, light_over, stand_on

OLD = Lighting("S1", "old panel", hours=16, ppfd_umol=((150.0,),), since=date(2025, 1, 1), until=date(2025, 3, 14))
NEW = Lighting("S1", "new panel", since=date(2025, 3, 15))
TUBE = Lighting("S2", "tube")


def keep(records, *days, flat=31, measurement=None):
    for day in days:
        found = replace(measurement, day=day) if measurement else measured(flat, day)
        assert keep_day(records, found, source="photo", keys=[key(f"{flat}.{day}")], version=VERSION)


def test_a_flat_under_lights_that_come_and_go(records):
    """A shelf whose name is written in other letters is the same shelf, and called as in the lights' first row."""
    keep_register(records, register(FlatRow(31, "tomato", "Harbor Lantern", sown=SOWN, shelf="s1 ", light="LED",
                                            seed_lot="L7", batch="3")))
    keep_lightings(records, [OLD, replace(NEW, shelf="s1"), TUBE])
    keep_moves(records, [Move(31, date(2025, 3, 25), "s2")])
    days = [date(2025, 3, d) for d in (10, 14, 15, 24, 26)]
    keep(records, *reversed(days))
    history = read_history(records)
    (flat,) = history.flats
    assert (flat.flat, flat.part, flat.crop, flat.variety) == (31, None, "tomato", "Harbor Lantern")
    assert (flat.sown, flat.seed_lot, flat.batch, flat.potted) == (SOWN, "L7", "3", None)
    assert [d.day for d in flat.days] == days
    assert [d.light for d in flat.days] == ["old panel", "old panel", "new panel", "new panel", "tube"]
    assert [d.lighting for d in flat.days] == [OLD, OLD, NEW, NEW, TUBE]
    assert [d.shelf for d in flat.days] == ["S1"] * 4 + ["S2"]
    assert [d.measurement.light for d in flat.days] == [d.light for d in flat.days]
    assert flat.stands == (Stand(SOWN, "S1"), Stand(date(2025, 3, 25), "S2")), "the shelf says the light"
    assert flat.changes == (LightChange(date(2025, 3, 15), "old panel", "new panel"),
                            LightChange(date(2025, 3, 25), "new panel", "tube"))
    assert history.lightings == (OLD, NEW, TUBE)
    # 150 µmol over 16 h is 8.64 mol m-2 d-1: Torres & Lopez, Purdue Extension HO-238-W, the formula on its first page
    assert abs(flat.days[0].lighting.dli_mol - 8.64) < 1e-9


def test_a_light_that_changed_before_the_flat_was_first_looked_at(records):
    """Sown on 23 February, under the old panel until 14 March, first looked at on the 20th."""
    keep_register(records, register(FlatRow(31, "tomato", sown=SOWN, shelf="S1")))
    keep_lightings(records, [replace(OLD, since=SOWN - timedelta(9)), NEW])
    keep(records, DAY, DAY + timedelta(3))
    assert read_history(records).flats[0].changes == (LightChange(date(2025, 3, 15), "old panel", "new panel"),)


def test_a_light_without_an_end_as_databases_write_it(records):
    keep_register(records, register(FlatRow(31, "tomato", sown=SOWN, shelf="S1")))
    keep_lightings(records, [replace(OLD, until=date.max)])
    keep(records, DAY)
    assert read_history(records).flats[0].days[0].light == "old panel"


NEXT = date(2026, 2, 20)


def two_seasons(records):
    for crop, sown in (("tomato", SOWN), ("pepper", NEXT)):
        keep_register(records, register(FlatRow(31, crop, sown=sown)))
        keep(records, sown + timedelta(20))
        keep_root_checks(records, [RootCheck(31, sown + timedelta(22), "firm", crop)])
        keep_pottings(records, [Potting(31, sown + timedelta(30))])


def test_the_flat_that_had_the_number_that_day(records):
    two_seasons(records)
    for crop, sown in (("tomato", SOWN), ("pepper", NEXT)):
        seen = sown + timedelta(20)
        (flat,) = read_history(records, on={31: seen}).flats
        assert (flat.crop, flat.potted) == (crop, sown + timedelta(30))
        assert read_history(records, on={31: seen}, until=seen).flats[0].potted is None, "not yet"
        assert newest_root_check(records, 31, seen=seen).who == crop
        assert newest_root_check(records, 31, seen=seen, today=seen) is None
    assert read_history(records, on={31: SOWN - timedelta(1), 32: DAY}).flats == ()
    assert earlier_day(records, 31, NEXT - timedelta(1), seen=NEXT + timedelta(1)) is None, "another flat's"


def test_root_checks_of_one_day_the_one_written_down_last_counts(records):
    for roots in ("firm", "root_bound", "not_ready"):
        keep_root_checks(records, [RootCheck(31, DAY, roots)])
    assert newest_root_check(records, 31).roots == "not_ready"
    with records.writing() as connection:  # put back: its row stays where it was
        connection.exec_driver_sql("UPDATE root_checks SET recorded_at = '2099-01-01 00:00:00' WHERE roots = 'firm'")
    assert newest_root_check(records, 31).roots == "firm"
    keep_root_checks(records, [RootCheck(31, DAY, "root_bound", source="photo")])
    assert newest_root_check(records, 31).source == "hand"


def test_a_part_whose_cells_were_potted_up_is_gone_however_they_were_written(records):
    keep_register(records, register(FlatRow(31, "basil", rows=2, columns=3, sown=SOWN, part=read_part("A")),
                                    FlatRow(31, "parsley", rows=2, columns=3, sown=SOWN, part=read_part("B"))))
    keep(records, DAY)
    tree = {"rows": 2, "columns": 3}
    keep_verdicts(records, [KeptVerdict(31, part, DAY, DAY, "pot_up", None, tree) for part in ("row A", "row B")])

    def there():
        return ([v.part for v in newest_verdicts(records, today=DAY + timedelta(9))],
                [h.part for h in read_history(records).flats if h.potted is None])

    keep_pottings(records, [Potting(31, DAY, part="A1-A2")])
    assert there() == (["row A", "row B"],) * 2
    keep_pottings(records, [Potting(31, DAY + timedelta(1), part="A3, B1-B3")])
    assert there() == ([], []) and read_history(records).flats[0].potted == DAY + timedelta(1)


def test_some_cells_after_a_flat_was_seen_again_are_not_the_flat(records):
    keep(records, DAY, DAY + timedelta(5))
    keep_pottings(records, [Potting(31, DAY), Potting(31, DAY + timedelta(6), part="A")])
    assert read_history(records).flats[0].potted == DAY, "before it was seen last"


def test_a_verdict_of_figures_to_come_is_not_todays(records):
    keep_verdicts(records, [KeptVerdict(31, None, DAY, DAY, "wait", None, {}),
                            KeptVerdict(31, None, DAY + timedelta(1), DAY, "pot_up", None, {})])
    assert [v.action for v in newest_verdicts(records, today=DAY)] == ["wait"]


def test_what_came_after_a_verdict(records):
    keep(records, DAY, DAY + timedelta(7), DAY + timedelta(9))
    keep_corrections(records, [Correction(31, DAY, "A1", "plants", 0, "R. Moss", None, "a leaf hung over")])
    kept = [KeptVerdict(31, None, DAY + timedelta(d), DAY + timedelta(d), "wait", None, {}) for d in (0, 9)]
    right = {"A1": {"plants": 0}}
    assert news_of(records, kept, today=DAY + timedelta(8)) == [(DAY + timedelta(7), right), (None, {})]
    assert news_of(records, kept[:1], today=DAY) == [(None, right)]


def test_a_flat_with_parts(records):
    keep_register(records, register(
        FlatRow(32, "basil", sown=SOWN, shelf="S1", part=read_part("A")),
        FlatRow(32, "parsley", sown=SOWN - timedelta(7), part=read_part("B1-B2"))))
    keep_lightings(records, [TUBE, NEW])
    keep(records, DAY, flat=32)
    keep_pottings(records, [Potting(32, DAY + timedelta(3), part="A")])
    basil, parsley, others = read_history(records).flats
    assert [(h.part, h.crop) for h in (basil, parsley, others)] == [
        ("row A", "basil"), ("cells B1-B2", "parsley"), ("other cells", None)]
    assert [[c.cell for c in h.days[0].measurement.cells] for h in (basil, parsley, others)] == [
        ["A1", "A2", "A3"], ["B1", "B2"], ["B3"]]
    assert (basil.days[0].age_days, parsley.days[0].age_days, others.days[0].age_days) == (25, 32, None)
    assert {h.days[0].light for h in (basil, parsley, others)} == {"new panel"}, "they stand together"
    assert (basil.potted, parsley.potted) == (DAY + timedelta(3), None)
    keep_pottings(records, [Potting(32, DAY + timedelta(5)), Potting(32, DAY + timedelta(1))])
    assert [h.potted for h in read_history(records).flats] == [DAY + timedelta(5)] * 3, "potted up in several goes"
    assert (basil.days[0].measurement.crop, basil.days[0].measurement.sown) == ("basil", SOWN)
    assert [h.crop for h in read_history(records, crop="Parsley").flats] == ["parsley"]


def test_what_is_asked_for(records):
    for flat, crop in ((31, "tomato"), (32, "leek"), (33, "leek")):
        keep_register(records, register(FlatRow(flat, crop, sown=SOWN)))
        keep(records, *(DAY + timedelta(d) for d in range(3)), flat=flat)
    keep_register(records, register(FlatRow(34, "leek", sown=SOWN)))

    def found(**asked):
        return [(h.flat, len(h.days)) for h in read_history(records, **asked).flats]

    assert found() == [(31, 3), (32, 3), (33, 3)], "one that was never measured is left out"
    assert found(crop="leek") == [(32, 3), (33, 3)]
    assert found(flats=[31, 33, 34]) == [(31, 3), (33, 3)]
    assert found(flats={31}, crop="leek") == []
    assert found(since=DAY + timedelta(1)) == [(31, 2), (32, 2), (33, 2)]
    assert found(until=DAY, flats=[32]) == [(32, 1)]
    assert found(since=DAY + timedelta(9)) == []


def test_corrections_and_a_corrected_count_of_plants(records):
    keep(records, DAY)
    keep_corrections(records, [Correction(31, DAY, "A1", "plants", 0, "R. Moss", None, "a leaf hung over")])
    (day,) = read_history(records).flats[0].days
    assert [c.cell for c in day.measurement.singles] == ["A2", "A3", "B1", "B2", "B3"]


def test_a_day_without_cells_is_left_out(records):
    keep(records, DAY, measurement=FlatMeasurement(31, DAY, 0, 0, ()))
    assert read_history(records).flats == ()


def test_rest_cells_without_a_plant_are_nobodys(records):
    keep_register(records, register(FlatRow(31, "basil", part=read_part("A"))))
    empty = FlatMeasurement(31, DAY, 2, 1, (CellMeasurement("A1", plants=1), CellMeasurement("B1", plants=0)))
    keep(records, DAY, measurement=empty)
    assert [h.part for h in read_history(records).flats] == ["row A"]


def test_only_a_lights_name_is_known():
    stand = Stand(SOWN, None, "Old  Panel")
    assert light_over(stand, [], DAY) == ("Old  Panel", None)
    assert light_over(stand, [OLD, TUBE], date(2025, 3, 1)) == ("old panel", OLD)
    assert light_over(stand, [OLD, replace(OLD, shelf="S3")], date(2025, 3, 1)) == ("Old  Panel", None), "which of two?"
    bare = replace(OLD, shelf="", hours=12)
    assert light_over(stand, [OLD, bare], date(2025, 3, 1)) == ("old panel", bare), "told of flats without a shelf"
    assert light_over(None, [OLD], DAY) == (None, None)


def test_of_two_lights_over_a_shelf():
    forgotten = replace(OLD, until=None)
    assert light_over(Stand(None, "S1", "old panel"), [forgotten, NEW], DAY) == ("new panel", NEW)
    left, right = replace(TUBE, light="left tube"), replace(TUBE, light="right tube")
    assert light_over(Stand(None, "S2", "right tube"), [left, right], DAY) == ("right tube", right)
    assert light_over(Stand(None, "S9", "lamp"), [left, right], DAY) == ("lamp", None), "nothing is known of that shelf"


def test_a_gap_between_two_lights_is_a_change_when_the_new_one_comes():
    late = replace(NEW, since=date(2025, 3, 20))
    stands = (Stand(SOWN, "S1"),)
    assert light_changes(stands, [OLD, late], date(2025, 3, 1), date(2025, 3, 30)) == (
        LightChange(date(2025, 3, 20), "old panel", "new panel"),)
    assert light_changes(stands, [OLD, late], date(2025, 3, 1), date(2025, 3, 19)) == ()


DATES = st.dates(date(2025, 1, 1), date(2025, 2, 28))
LIGHTS = st.lists(st.builds(Lighting, st.sampled_from(["S1", "S2"]), st.sampled_from("abc"), since=st.none() | DATES,
                            until=st.none() | DATES), max_size=6)
STANDS = st.lists(st.builds(Stand, DATES, st.sampled_from([None, "S1", "S2"]), st.sampled_from([None, "a", "d"])),
                  max_size=4, unique_by=lambda s: s.since).map(lambda some: sorted(some, key=lambda s: s.since))


@given(STANDS, LIGHTS, DATES, st.integers(0, 50))
def test_changes_are_what_a_look_at_every_day_shows(stands, lightings, first, days):
    """The same by brute force: the light of every day, and where it differs from what was known last."""
    seen, last = [], None
    for day in (first + timedelta(n) for n in range(days + 1)):
        name = light_over(stand_on(stands, day), lightings, day)[0]
        if name is not None and last is not None and name != last and day > first:
            seen.append(LightChange(day, last, name))
        last = name or last
    assert light_changes(stands, lightings, first, first + timedelta(days)) == tuple(seen)

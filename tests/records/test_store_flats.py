"""Which flat a photo, a figure or a register's row is of, where numbers are used again. Dates are invented."""

from datetime import date, datetime, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from season_store import DAY, SOWN, VERSION, content, key, measured, register

from seedlingcv.records.belonging import Season, season_on, season_sown
from seedlingcv.records.database import open_records
from seedlingcv.records.keep import (
    KeptVerdict,
    Photo,
    keep_corrections,
    keep_day,
    keep_moves,
    keep_photos,
    keep_pottings,
    keep_register,
    keep_root_checks,
    keep_verdicts,
)
from seedlingcv.records.lights import Move
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.recall import earlier_day, newest_verdicts, read_history, recall_day, register_rows
from seedlingcv.records.register import FlatRow

NEXT_YEAR = date(2026, 2, 20)


def seen(records, day, flat=31):
    assert keep_day(records, measured(flat, day), source="photo", keys=[key(day.isoformat())], version=VERSION)


def sown(records, day, crop="tomato", flat=31):
    return keep_register(records, register(FlatRow(flat, crop, sown=day)))


def seasons(records):
    """Of each flat: its sowing, its crop, and the days it was measured on."""
    return [(h.sown, h.crop, [d.day for d in h.days]) for h in read_history(records).flats]


def test_a_number_used_again_is_another_flat(records):
    sown(records, SOWN)
    seen(records, DAY)
    assert sown(records, NEXT_YEAR, "leek") == ["Flat 31: sown again on 2026-02-20; kept as a new flat of that number."]
    seen(records, NEXT_YEAR + timedelta(20))
    assert seasons(records) == [(SOWN, "tomato", [DAY]), (NEXT_YEAR, "leek", [NEXT_YEAR + timedelta(20)])]
    assert register_rows(records) == {31: (FlatRow(31, "leek", sown=NEXT_YEAR, rows=None, columns=None),)}
    assert recall_day(records, 31, DAY).crop == "tomato"
    assert earlier_day(records, 31, NEXT_YEAR + timedelta(20)) is None, "the day before is another flat's"


def test_a_sowing_date_put_right(records):
    sown(records, SOWN)
    seen(records, DAY)
    assert sown(records, SOWN + timedelta(5)) == [
        "Flat 31: its sowing date was 2025-02-23 in the records and is 2025-02-28 now."]
    assert seasons(records) == [(SOWN + timedelta(5), "tomato", [DAY])]


def test_a_sowing_soon_after_potting_up_is_no_correction(records):
    sown(records, SOWN)
    seen(records, SOWN + timedelta(8))
    keep_pottings(records, [Potting(31, SOWN + timedelta(10))])
    sown(records, SOWN + timedelta(12), "cress")
    assert [s[:2] for s in seasons(records)] == [(SOWN, "tomato")]
    seen(records, SOWN + timedelta(20))
    assert [s[1] for s in seasons(records)] == ["tomato", "cress"]


def test_photos_before_the_register(records):
    seen(records, DAY)
    keep_photos(records, [Photo("a.jpg", key("x"), "overhead", datetime(2025, 3, 21, 8), 31, True)])
    keep_moves(records, [Move(31, DAY, "S2")])
    keep_corrections(records, [Correction(31, DAY, "A1", "plants", 2, "R. Moss", None, "two")])
    assert seasons(records) == [(None, None, [DAY])]
    sown(records, SOWN)
    (flat,) = read_history(records).flats
    assert (flat.sown, flat.days[0].measurement.cells[0].plants, flat.stands[-1].shelf) == (SOWN, 2, "S2")
    with records.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM flats").scalar() == 1


def test_a_register_without_a_date(records):
    keep_register(records, register(FlatRow(31, "tomato")))
    seen(records, DAY)
    sown(records, SOWN)
    assert seasons(records) == [(SOWN, "tomato", [DAY])]
    assert keep_register(records, register(FlatRow(31))) == ["Flat 31: crop was tomato, now empty."]
    assert seasons(records) == [(SOWN, None, [DAY])], "the register's word counts, but silence takes back no date"
    keep_pottings(records, [Potting(31, DAY + timedelta(5))])
    (remark,) = keep_register(records, register(FlatRow(31, "leek")))
    assert "potted up on 2025-03-25" in remark and "write the date" in remark


def test_all_that_is_kept_of_a_number_goes_with_its_flat(records):
    """Next year's sowing is told late: what was kept since goes over to the new flat, whatever it is."""
    day = NEXT_YEAR + timedelta(20)
    sown(records, SOWN)
    for at in (DAY, day):
        seen(records, at)
        keep_photos(records, [Photo("a.jpg", key(f"{at:%Y}"), "overhead", datetime(at.year, at.month, at.day), 31)])
        keep_moves(records, [Move(31, at, "S2")])
        keep_corrections(records, [Correction(31, at, "A1", "plants", 2, "R. Moss", None, "two")])
        keep_verdicts(records, [KeptVerdict(31, None, at, at, "pot_up", None, {})])
        keep_root_checks(records, [RootCheck(31, at, "firm")])
        keep_pottings(records, [Potting(31, at)])
    sown(records, NEXT_YEAR, "leek")
    columns = {"photos": "taken", "stands": "day", "measured_days": "day", "corrections": "day", "verdicts": "day",
               "root_checks": "day", "pottings": "day"}
    with records.reading() as connection:
        for table, column in columns.items():
            found = connection.exec_driver_sql(
                f"SELECT {column}, started FROM {table} JOIN flats ON flats.id = flat_id "
                f"WHERE {column} IS NOT NULL ORDER BY {column}").all()
            years = [(str(at)[:4], str(started)) for at, started in found]
            assert years == [("2025", str(SOWN)), ("2026", str(NEXT_YEAR))], table


def test_a_sowing_date_typed_a_month_late_and_put_right(records):
    late = SOWN + timedelta(28)
    sown(records, late)
    assert sown(records, SOWN) == [f"Flat 31: its sowing date was {late} in the records and is {SOWN} now."]
    days = [late - timedelta(3), late + timedelta(4)]
    for day in days:
        seen(records, day)
    assert seasons(records) == [(SOWN, "tomato", days)]
    assert sown(records, SOWN) == []


def test_a_sowing_a_month_off_is_another_flat_where_something_was_kept_or_another_crop_is_sown(records):
    late = SOWN + timedelta(28)
    sown(records, late)
    seen(records, late + timedelta(9))
    for _ in range(2):  # told each time
        said = sown(records, SOWN)
        assert any(f"sown on {late}" in line and "If that date was a slip" in line for line in said)
    assert [s[0] for s in seasons(records)] == [late]
    sown(records, SOWN, "leek", flat=32)
    sown(records, late, "tomato", flat=32)
    with records.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM flats WHERE number = 32").scalar() == 2


def test_days_before_the_sowing_are_another_flats(records):
    seen(records, SOWN - timedelta(40))
    seen(records, DAY)
    sown(records, SOWN)
    assert seasons(records) == [(None, None, [SOWN - timedelta(40)]), (SOWN, "tomato", [DAY])]


def test_parts_sown_on_two_days_are_one_flat(records):
    from seedlingcv.records.parts import read_part

    rows = (FlatRow(31, "basil", sown=SOWN + timedelta(14), part=read_part("A")),
            FlatRow(31, "parsley", sown=SOWN, part=read_part("B")))
    keep_register(records, register(*rows))
    seen(records, SOWN + timedelta(7))
    assert [s[:2] for s in seasons(records)] == [(SOWN + timedelta(14), "basil"), (SOWN, "parsley")]


def test_last_seasons_verdict_is_off_the_list(records):
    sown(records, SOWN)
    keep_verdicts(records, [KeptVerdict(31, None, DAY, DAY, "pot_up", None, {})])
    sown(records, NEXT_YEAR)
    assert len(newest_verdicts(records, today=DAY)) == 1, "as it was then"
    assert newest_verdicts(records, today=NEXT_YEAR) == []


SEASONS = [date(2023, 3, 1), date(2024, 3, 1), date(2025, 3, 1)]
STEPS = [("sown", s) for s in SEASONS] + [("seen", s + timedelta(d)) for s in SEASONS for d in (-30, 12, 30)]


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.permutations(STEPS))
def test_the_order_in_which_things_come_is_no_matter(tmp_path_factory, steps):
    """Each season's days belong to its sowing; the day before the first sowing is nobody's."""
    with open_records(tmp_path_factory.mktemp("season") / "season.db") as records:
        for what, day in steps:
            seen(records, day) if what == "seen" else sown(records, day)
        days = [[s + timedelta(d) for d in (12, 30)] for s in SEASONS]
        for before, later in zip(days, SEASONS[1:], strict=False):
            before.append(later - timedelta(30))
        assert seasons(records) == [(None, None, [SEASONS[0] - timedelta(30)]),
                                    *((s, "tomato", own) for s, own in zip(SEASONS, days, strict=True))]


DATES = st.dates(date(2025, 1, 1), date(2025, 12, 31))


@given(st.lists(DATES, unique=True), st.booleans(), DATES)
def test_a_day_belongs_to_the_latest_start_before_it(starts, undated, day):
    some = [Season(i, 31, start) for i, start in enumerate(starts)] + [Season(99, 31)] * undated
    found = season_on(some, day)
    begun = [s for s in starts if s <= day]
    if begun:
        assert found.started == max(begun)
    else:
        assert (found is not None) == undated and (found is None or found.started is None)


@given(DATES, st.integers(-60, 60), st.none() | st.integers(0, 90))
def test_within_21_days_it_is_a_correction(start, later, last_seen):
    known = Season(1, 31, start, seen=None if last_seen is None else start + timedelta(last_seen))
    found = season_sown([known], start + timedelta(later))
    gone = later != 0 and last_seen is not None and last_seen < later
    assert (found is known) == (abs(later) <= 21 and not gone)


def test_the_same_things_twice_change_nothing(records, tmp_path):
    for _ in range(2):
        sown(records, SOWN)
        sown(records, NEXT_YEAR)
        keep_day(records, measured(), source="photo", keys=[key("a")], version=VERSION)
        keep_moves(records, [Move(31, DAY, "S1")])
    before = content(records, tmp_path / "a")
    sown(records, SOWN)
    assert content(records, tmp_path / "b") == before


def test_a_register_without_a_date_takes_nothing_from_last_seasons_flat(records):
    """Last season's tomato; this season's register has the number again, but nobody wrote when it was sown."""
    keep_register(records, register(FlatRow(31, "tomato", rows=2, columns=3, sown=SOWN)))
    keep_day(records, measured(31, DAY), source="photo", keys=[key("a")], version=VERSION)
    later = DAY.replace(year=2026)
    (remark,) = keep_register(records, register(FlatRow(31, "pepper", rows=5, columns=10)))
    assert "pepper" in remark and "keep tomato sown on 2025-02-23" in remark and "Write the date" in remark
    keep_register(records, register(FlatRow(31, "tomato", "Harbor Lantern", rows=2, columns=3)))
    (flat,) = read_history(records).flats
    assert (flat.crop, flat.variety, flat.sown) == ("tomato", "Harbor Lantern", SOWN), "silence takes back no date"
    keep_day(records, measured(31, later), source="photo", keys=[key("b")], version=VERSION)
    sown = SOWN.replace(year=2026)
    keep_register(records, register(FlatRow(31, "pepper", rows=5, columns=10, sown=sown)))
    assert [(f.crop, f.sown, [d.day for d in f.days]) for f in read_history(records).flats] == [
        ("tomato", SOWN, [DAY]), ("pepper", sown, [later])]

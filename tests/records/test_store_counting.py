"""Which measuring of a day counts: by photo before by ruler, in the register's layout, then the last. All invented."""

from dataclasses import replace

from season_store import DAY, SOWN, VERSION, key, measured, register
from sqlalchemy import update

from seedlingcv.records import schema
from seedlingcv.records.keep import keep_corrections, keep_day, keep_register
from seedlingcv.records.log import Correction
from seedlingcv.records.recall import earlier_day, known_days, read_history, recall_day
from seedlingcv.records.register import FlatRow
from seedlingcv.records.rows import hash_of


def keep(records, measurement, name, source="photo", version=VERSION):
    return keep_day(records, measurement, source=source, keys=[key(name)], version=version)


def stem(records):
    """Of A1, however the day is asked for."""
    (flat,) = read_history(records).flats
    (day,) = flat.days
    assert recall_day(records, 31, DAY).cells == day.measurement.cells
    assert earlier_day(records, 31, DAY.replace(day=25)).cells == day.measurement.cells
    return day.measurement.cells[0].stem_length_mm


def layout(records, rows, columns):
    keep_register(records, register(FlatRow(31, "tomato", rows=rows, columns=columns, sown=SOWN)))


def test_a_ruler_hides_no_photo_whichever_came_first(records):
    keep(records, measured(stem_mm=10), "r1", "ruler", "ruler")
    assert stem(records) == 11
    keep(records, measured(stem_mm=20), "p")
    keep(records, measured(stem_mm=30), "r2", "ruler", "ruler")
    assert stem(records) == 21
    keep_corrections(records, [Correction(31, DAY, "A1", "stem_length_mm", 33.0, "R. Moss", DAY, "by ruler")])
    assert stem(records) == 33
    with records.reading() as connection:
        assert connection.exec_driver_sql("SELECT measured FROM corrections").scalar() == 21
        assert connection.exec_driver_sql("SELECT count(*) FROM measured_days").scalar() == 3, "nothing is lost"


def test_fewer_photos_measured_later_hide_none(records):
    """An overhead and a side photo; later a folder with the overhead photo alone, so without stems."""
    both, above = measured(stem_mm=10), replace(measured(), cells=tuple(
        replace(c, stem_length_mm=None, stem_from=None, se={}) for c in measured().cells))

    def keep_of(measurement, *names, version=VERSION):
        return keep_day(records, measurement, source="photo", keys=[key(n) for n in names], version=version)

    assert keep_of(both, "above", "side") and keep_of(above, "above")
    assert stem(records) == 11
    assert not keep_of(both, "above", "side"), "it stands there already, and counts"
    assert keep_of(measured(stem_mm=20), "above", "side", "second")
    assert stem(records) == 21, "more photos"
    assert keep_of(measured(stem_mm=30), "above", "another")
    assert stem(records) == 31, "other photos: the last counts"
    assert keep_of(measured(stem_mm=40), "above", version="0.2.0")
    assert stem(records) == 41, "another version: the last counts"
    assert keep_of(measured(stem_mm=50), "above", "side", version="0.2.0") and keep_of(above, "side", version="0.2.0")
    assert stem(records) == 51


def test_photos_of_another_layout_are_not_known_until_they_are_measured_again(records):
    layout(records, 2, 3)
    keep(records, measured(stem_mm=10), "p")
    photo = (31, DAY, frozenset({key("p")}))
    assert known_days(records, VERSION) == {photo}
    layout(records, 3, 4)
    assert known_days(records, VERSION) == set() and stem(records) == 11, "better than nothing until then"
    assert keep(records, measured(rows=3, columns=4, stem_mm=20), "p")
    assert known_days(records, VERSION) == {photo} and stem(records) == 21
    assert not keep(records, measured(rows=3, columns=4, stem_mm=20), "p"), "it stands there already"
    layout(records, 2, 3)
    assert known_days(records, VERSION) == {photo} and stem(records) == 11, "the register was right the first time"


def test_a_layout_found_in_the_photo_is_known_where_no_register_names_one(records):
    keep_register(records, register(FlatRow(31, "tomato", sown=SOWN)))
    keep(records, measured(), "p")
    assert len(known_days(records, VERSION)) == 1


def test_days_kept_before_layouts_were_in_their_hash_are_not_kept_again(records):
    keep(records, measured(), "p")
    with records.writing() as connection:
        connection.execute(update(schema.measured_days).values(keys_hash=hash_of([key("p")])))
    assert not keep(records, measured(), "p")
    assert keep(records, replace(measured(), rows=3), "p")

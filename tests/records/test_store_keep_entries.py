"""Which of several words counts that people wrote down by hand on one thing. All is invented."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from season_store import DAY, SOWN, VERSION, key, measured, register

from seedlingcv.errors import RecordsError
from seedlingcv.records import rows
from seedlingcv.records.entries import (
    SINGLY,
    keep_corrections,
    keep_pottings,
    keep_root_checks,
    take_back_pottings,
)
from seedlingcv.records.keep import keep_day, keep_register
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.recall import newest_root_check, recall_day
from seedlingcv.records.register import FlatRow

TODAY = date(2025, 3, 21)
A, B = "/season/corrections.csv", "/other/corrections.csv"


@pytest.fixture
def correct(records):
    """Says what A1's stem is, and gives what counts then."""
    keep_day(records, measured(), source="photo", keys=[key("a")], version=VERSION)

    def say(*values, by=None):
        keep_corrections(records, [Correction(31, DAY, "A1", "stem_length_mm", value, "R. Moss", TODAY, "by ruler")
                                   for value in values], told_by=by)
        return recall_day(records, 31, DAY).cells[0].stem_length_mm

    return say


@pytest.mark.parametrize("table", [A, None])
def test_a_table_read_again_does_not_beat_a_later_entry(correct, table):
    assert correct(38, by=table) == 38
    assert correct(39, by=SINGLY) == 39
    assert correct(38, by=table) == 39, "it says nothing new"
    assert correct(38, by=SINGLY) == 38, "but an entry of its own does"
    assert correct(39, by=SINGLY) == 39
    assert correct(40, by=table) == 40, "and so does a word that is new"


@pytest.mark.parametrize("table", [A, None])
def test_a_table_edited_and_put_back(correct, table):
    assert [correct(value, by=table) for value in (38, 39, 38, 39, 39)] == [38, 39, 38, 39, 39]
    assert correct(39, 38, by=table) == 38, "the last of its lines"


def test_an_entry_that_agrees_with_the_table_counts_before_it_from_then_on(correct):
    assert [correct(value, by=A) for value in (38, 39)] == [38, 39]
    assert correct(38, by=SINGLY) == 38
    assert correct(39, by=A) == 38


def test_another_table_read_again_does_not_beat_a_later_one(correct):
    assert correct(38, by=A) == 38
    assert correct(39, by=B) == 39
    assert correct(38, by=A) == 39
    assert correct(37, by=A) == 37


def test_a_clock_put_back_an_hour(records, correct, monkeypatch):
    assert correct(44) == 44
    monkeypatch.setattr(rows, "now", lambda: datetime(2025, 1, 1))
    assert correct(45) == 45
    assert correct(44) == 44
    checks = [RootCheck(31, DAY, word) for word in ("firm", "root_bound")]
    for check in (*checks, *checks):
        keep_root_checks(records, [check])
        assert newest_root_check(records, 31) == check


def test_a_root_check_put_back(records):
    def say(word, by=None, who=None):
        keep_root_checks(records, [RootCheck(31, DAY, word, who)], told_by=by)
        return newest_root_check(records, 31).roots

    assert [say(word) for word in ("firm", "root_bound", "firm")] == ["firm", "root_bound", "firm"]
    assert say("root_bound", by=SINGLY) == "root_bound"
    assert say("firm") == "root_bound", "a table read again"
    assert say("not_ready", who="R. Moss", by=A) == "not_ready"
    assert say("firm", by=SINGLY) == "firm"
    keep_root_checks(records, [RootCheck(31, DAY, "root_bound", source="photo")])
    assert newest_root_check(records, 31).roots == "firm", "a hand's word before a photo's"


def test_the_newest_flats_newest_potting_is_taken_back(records):
    """Whatever the order in which they were written down: last year's table may have come last."""
    sown = SOWN.replace(year=2026)
    for day, crop in ((SOWN, "tomato"), (sown, "pepper")):
        keep_register(records, register(FlatRow(31, crop, sown=day)))
    early, late = Potting(31, sown + timedelta(30), part="rows A-C"), Potting(31, sown + timedelta(40), 60)
    keep_pottings(records, [late, early])
    old = Potting(31, SOWN + timedelta(40), 70)
    keep_pottings(records, [old])
    assert [take_back_pottings(records, [31]) for _ in range(3)] == [[late], [early], [old]]
    with pytest.raises(RecordsError, match="No such potting"):
        take_back_pottings(records, [31])


def test_of_one_day_the_potting_written_down_last_is_taken_back(records):
    first = Potting(31, DAY, 70)
    second = replace(first, plants=71)
    keep_pottings(records, [first])
    keep_pottings(records, [second])
    assert take_back_pottings(records, [31]) == [second]

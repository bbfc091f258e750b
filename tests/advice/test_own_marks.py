"""A grower's marks meet the flats they were put on. How far they shift a limit is tested with crops/marks.py."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from invented import TODAY, flat

from seedlingcv.advice.own_marks import shift_by
from seedlingcv.advice.rules import advise
from seedlingcv.crops.crop import load_crop
from seedlingcv.records.marks import Mark, Marks

TOMATO = load_crop("tomato")


def marks(*some):
    return Marks(Path("marks.csv"), some)


def test_a_mark_takes_what_was_measured_on_its_day():
    shift, complaints = shift_by(marks(Mark(7, True, TODAY)), [flat(3, 0.8)])
    assert complaints == []
    shifted = shift(TOMATO).legginess
    assert shifted.marks == 1 and shifted.leggy_above < TOMATO.legginess.leggy_above
    assert shift(load_crop("pepper")) == load_crop("pepper"), "tomato's marks are tomato's"


def test_a_mark_of_another_day_or_flat_is_complained_of():
    for mark in (Mark(7, True, TODAY - timedelta(1)), Mark(8, True, TODAY), Mark(7, True, TODAY, crop="triffid")):
        shift, complaints = shift_by(marks(mark), [flat(3, 0.8)])
        assert shift(TOMATO) == TOMATO and len(complaints) == 1
        assert complaints[0].startswith("marks.csv: the mark on flat")


def test_what_the_mark_itself_says_counts():
    own = Mark(8, True, None, legginess=0.8, crop="Tomatoes", true_leaves=3)
    shift, complaints = shift_by(marks(own), [])
    assert complaints == [] and shift(TOMATO).legginess.marks == 1


def test_in_a_flat_with_several_crops_a_mark_names_its_crop():
    tomatoes, peppers = replace(flat(3, 0.8), cells=flat(3, 0.8).cells[:5]), flat(3, 1.4, crop="pepper")
    more = replace(flat(3, 0.9), cells=flat(3, 0.9).cells[5:])  # another variety of tomato
    shift, complaints = shift_by(marks(Mark(7, True, TODAY, crop="tomatoes")), [tomatoes, peppers, more])
    assert complaints == [] and shift(TOMATO).legginess.marks == 1
    assert shift(load_crop("pepper")) == load_crop("pepper")
    shift, (complaint,) = shift_by(marks(Mark(7, True, TODAY)), [tomatoes, peppers, more])
    assert shift(TOMATO) == TOMATO
    assert complaint.endswith("isn't used, since the flat holds several crops; write its crop beside the mark.")
    shift, complaints = shift_by(marks(Mark(7, True, TODAY)), [tomatoes, more])
    assert complaints == [] and shift(TOMATO).legginess.marks == 1, "two varieties of one crop are no riddle"


def test_without_marks_nothing_moves():
    shift, complaints = shift_by(None, [])
    assert shift(TOMATO) == TOMATO and complaints == []


def test_many_marks_turn_the_verdict_and_the_verdict_says_so():
    seen = [replace(flat(1, 1.45), flat=number) for number in range(20, 60)]
    shift, _ = shift_by(marks(*(Mark(m.flat, True, TODAY) for m in seen)), seen)
    measured = flat(1, 1.45)  # below the file's limit for young tomatoes, 1.6
    assert advise(measured, TOMATO, TODAY).action == "wait"
    verdict = advise(measured, shift(TOMATO), TODAY)
    assert verdict.action == "pot_up_early"
    assert verdict.bands_from == "limits for tomato, shifted by 40 marks of your own"

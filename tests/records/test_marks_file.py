"""A grower's marks file: what is read, what is complained of. Flats are invented."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.errors import RegisterError
from seedlingcv.records.marks import Mark, read_marks

HEADER = "flat,date,mark,legginess,crop,true_leaves\n"


def read(folder, text):
    path = folder / "marks.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_marks(path)


def test_a_plain_file(tmp_path):
    found = read(tmp_path, HEADER + "31,2025-03-20,fine,,,\n58,2025-03-20,Leggy,1.2,Pepper,3\n58,2025-03-24,leggy,,,\n")
    assert found.complaints == ()
    assert found.marks == (
        Mark(31, False, date(2025, 3, 20)),
        Mark(58, True, date(2025, 3, 20), 1.2, "pepper", 3.0),
        Mark(58, True, date(2025, 3, 24)),
    )


def test_needed_columns_alone_in_any_order(tmp_path):
    assert read(tmp_path, "Mark;Date;Flat\nok;2025-03-20;31\n").marks == (Mark(31, False, date(2025, 3, 20)),)


def test_a_decimal_comma(tmp_path):
    assert read(tmp_path, "flat;mark;legginess;true leaves\n31;stretched;1,25;2,5\n").marks == (
        Mark(31, True, None, 1.25, None, 2.5),)


@pytest.mark.parametrize(
    ("line", "kept", "says"),
    [
        ("31,2025-03-20,so so,,,", 0, 'the mark "so so" is left out; write fine or leggy'),
        ("31,2025-03-20,,,,", 0, 'the mark "" is left out'),
        (",2025-03-20,fine,,,", 0, "the flat's number is missing"),
        ("31,20/3/25,fine,,,", 0, "please write year-month-day.*belongs to no photos"),
        ("31,,fine,,,", 0, "without a date"),
        ("31,20/3/25,fine,0.7,,", 1, "please write year-month-day"),
        ("31,2025-03-20,fine,much,,", 1, 'the legginess "much" is left out'),
        ("31,2025-03-20,fine,0,,", 1, 'the legginess "0" is left out'),
        ("31,2025-03-20,fine,nan,,", 1, 'the legginess "nan" is left out'),
        ("31,2025-03-20,fine,250,,", 1, "up to 20"),
        ("31,2025-03-20,fine,,,-1", 1, 'the number of true leaves "-1" is left out'),
        ("31,2025-03-20,fine,,,0", 1, ""),
    ],
)
def test_what_cannot_be_understood_is_left_out_and_said(tmp_path, line, kept, says):
    import re

    found = read(tmp_path, HEADER + line + "\n58,2025-03-20,leggy,,,\n")
    assert len(found.marks) == kept + 1 and found.marks[-1].flat == 58
    assert len(found.complaints) == bool(says)
    assert re.search(says, "".join(found.complaints))
    assert all(c.startswith("marks.csv row 2: ") for c in found.complaints)


def test_the_first_mark_of_a_day_counts(tmp_path):
    found = read(tmp_path, HEADER + "31,2025-03-20,fine,,,\n31,2025-03-20,leggy,,,\n31,2025-03-20,leggy,,basil,\n")
    assert [m.leggy for m in found.marks] == [False, True], "another crop in the same flat is another mark"
    assert "in row 2 already" in found.complaints[0]


def test_a_file_that_is_none(tmp_path):
    with pytest.raises(RegisterError, match="no column named mark"):
        read(tmp_path, "flat,crop\n31,tomato\n")
    with pytest.raises(RegisterError, match="is empty"):
        read(tmp_path, "")
    with pytest.raises(RegisterError, match="can't be opened"):
        read_marks(tmp_path / "none.csv")


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda t: (HEADER + t).encode("utf-8", "replace")))
@settings(max_examples=200, deadline=None)
def test_any_bytes_end_in_marks_or_in_a_plain_error(tmp_path_factory, data):
    try:
        found = read(tmp_path_factory.mktemp("any"), data)
    except RegisterError:
        return
    assert all(m.legginess is None or 0 < m.legginess <= 20 for m in found.marks)

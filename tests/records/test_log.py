"""What growers write down by hand: corrections, root checks, pottings. Flats and people are invented.

Outside check: 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
"""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.errors import RegisterError
from seedlingcv.records.log import (
    Correction,
    Potting,
    RootCheck,
    read_corrections,
    read_pottings,
    read_root_checks,
)
from seedlingcv.records.sheet import words

DAY, LATER = date(2025, 3, 20), date(2025, 3, 21)
HEADER = "flat,date,cell,figure,value,who,when,why\n"


def table(folder, name, text, read):
    path = folder / f"{name}.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read(path)


def corrections(folder, text):
    return table(folder, "corrections", text, read_corrections)


def test_corrections(tmp_path):
    found, said = corrections(tmp_path, HEADER + "31,2025-03-20,A1,stem_length_mm,38,Ada,2025-03-21,a leaf hid it\n"
                                                 "31,2025-03-20,b02,true leaves,3,Ada,,counted\n"
                                                 "31,2025-03-20,A2,leaf spread in,,Ben,,a weed\n"
                                                 "58,2025-03-20,all,canopy_cover_pct,19,Ben,,\"moss, not leaves\"\n"
                                                 "58,2025-03-20,,plants,70,Ben,,counted\n")
    assert said == []
    assert found == [
        Correction(31, DAY, "A1", "stem_length_mm", 38, "Ada", LATER, "a leaf hid it"),
        Correction(31, DAY, "B2", "true_leaves", 3, "Ada", None, "counted"),
        Correction(31, DAY, "A2", "leaf_spread_mm", None, "Ben", None, "a weed"),
        Correction(58, DAY, "all", "canopy_cover", pytest.approx(0.19), "Ben", None, "moss, not leaves"),
        Correction(58, DAY, "all", "plants", 70, "Ben", None, "counted")]


def test_columns_as_growers_name_them(tmp_path):
    found, said = corrections(tmp_path, "Tray;Day;Cell;Measure;New value;By;Corrected on;Reason\n"
                                        "31;2025-03-20;A1;stem length (in);1 1/2;Ada;2025-03-21;measured\n"
                                        "31;2025-03-20;A2;stem_cm;3,8;Ada;;measured\n")
    assert said == []
    assert [(c.figure, c.value) for c in found] == [("stem_length_mm", pytest.approx(38.1)), ("stem_length_mm", 38)]


@pytest.mark.parametrize(("line", "words"), [
    ("31,2025-03-20,A1,stem_length_mm,38,,,why", "who put it right is missing; the row is left out"),
    ("31,2025-03-20,A1,stem_length_mm,38,Ada,,", "why is missing; the row is left out"),
    ("31,2025-03-20,A1,stem_length_mm,,Ada,,", "why is missing"),
    ("31,,A1,stem_length_mm,38,Ada,,why", "without a date the row is left out"),
    ("31,20/3/25,A1,stem_length_mm,38,Ada,,why", "please write year-month-day"),
    ("9,2025-03-20,A1,stem_length_mm,38,Ada,,why", "is no flat number"),
    ("31,2025-03-20,left,stem_length_mm,38,Ada,,why", '"left" is no cell'),
    ("31,2025-03-20,A1,stem_length,38,Ada,,why", "name it stem_length_mm or stem_length_cm or stem_length_in"),
    ("31,2025-03-20,A1,stem_lenght_mm,38,Ada,,why", "did you mean stem_length_mm?"),
    ("31,2025-03-20,A1,mood,38,Ada,,why", '"mood" is no figure that can be corrected'),
    ("31,2025-03-20,A1,crop,38,Ada,,why", '"crop" is no figure that can be corrected'),
    ("31,2025-03-20,A1,stem_length_mm_se,2,Ada,,why", "is no figure that can be corrected"),
    ("31,2025-03-20,A1,,38,Ada,,why", "is no figure that can be corrected"),
    ("31,2025-03-20,A1,legginess,1.2,Ada,,why", "it is reckoned from others: correct those"),
    ("31,2025-03-20,A1,stem_length_mm,tall,Ada,,why", '"tall" is no number for stem_length_mm'),
    ("31,2025-03-20,A1,stem_length_mm,3800,Ada,,why", "check the unit"),
    ("31,2025-03-20,A1,plants,1.5,Ada,,why", "is no number of plants"),
])
def test_corrections_that_cannot_be_used_are_left_out_and_said(tmp_path, line, words):
    found, said = corrections(tmp_path, f"{HEADER}{line}\n58,2025-03-20,A1,true_leaves,2,Ada,,counted\n")
    assert [c.flat for c in found] == [58]
    assert len(said) == 1 and said[0].startswith("corrections.csv row 2: ") and words in said[0]


def test_a_bad_day_of_correcting_is_not_worth_the_row(tmp_path):
    found, said = corrections(tmp_path, HEADER + "31,2025-03-20,A1,true_leaves,2,Ada,yesterday,counted\n")
    assert found == [Correction(31, DAY, "A1", "true_leaves", 2, "Ada", None, "counted")] and len(said) == 1


@pytest.mark.parametrize("missing", ["flat", "date", "cell", "figure", "value", "who", "why"])
def test_a_file_without_a_needed_column_is_none(tmp_path, missing):
    with pytest.raises(RegisterError, match=f"no column named {missing}") as caught:
        corrections(tmp_path, HEADER.replace(missing, "other", 1))
    assert HEADER.strip() in caught.value.next_step


def test_root_checks(tmp_path):
    found, said = table(tmp_path, "root_checks", "Flat,Checked on,Roots,By\n31,2025-03-20,Root-bound,Ada\n"
                                                 "32,2025-03-20,firm,\n33,2025-03-20,white,\n34,2025-03-20,,\n"
                                                 "35,,firm,\n", read_root_checks)
    assert found == [RootCheck(31, DAY, "root_bound", "Ada", "hand"), RootCheck(32, DAY, "firm", None)]
    assert [s.split(":")[0] for s in said] == [f"root_checks.csv row {n}" for n in (4, 5, 6)]
    assert "write not_ready, firm or root_bound" in said[0] and "how the roots are" in said[1]


def test_pottings(tmp_path):
    found, said = table(tmp_path, "potted", "flat,potted on,cells,number of plants,pot,who,note\n"
                                            "31,2025-03-20,,70,9 cm,Ada,two lost\n32,2025-03-20,A-C,,,,\n"
                                            "32,2025-03-21,other cells,12,,,\n33,2025-03-20,,a few,9 cm,,\n"
                                            "34,2025-03-20,left half,,,,\n35,soon,,,,,\n36,2025-03-20,,3.5,,,\n",
                        read_pottings)
    assert found == [
        Potting(31, DAY, 70, "9 cm", "Ada", "two lost"), Potting(32, DAY, part="rows A-C"),
        Potting(32, LATER, 12, part="other cells"), Potting(33, DAY, None, "9 cm"), Potting(36, DAY)]
    assert [s.split(":")[0] for s in said] == [f"potted.csv row {n}" for n in (5, 6, 7, 8)]
    assert "write a whole number" in said[0] and "can't be told" in said[1] and "year-month-day" in said[2]


@pytest.mark.parametrize(("read", "header"), [
    (read_corrections, HEADER.encode()), (read_root_checks, b"flat,date,roots,who\n"),
    (read_pottings, b"flat,date,cells,plants,pot,who,note\n")])
def test_any_bytes_end_in_entries_or_a_register_error(tmp_path_factory, read, header):
    @given(st.one_of(st.binary(max_size=200), st.text('31,2025-03-20A;\t"\n firmstem_length_mm%', max_size=200).map(
        lambda s: header + s.encode()), st.lists(st.sampled_from(
            ["31", "2025-03-20", "A1", "stem_cm", "3,8", "firm", "Ada", "", '"', "x", "-1", "%", "1/0", "all"]),
            max_size=16).map(lambda words: header + ",".join(words).encode())))
    @settings(max_examples=150, deadline=None)
    def check(data):
        try:
            found, said = table(tmp_path_factory.getbasetemp(), "any", data, read)
        except RegisterError as error:
            assert error.next_step
            return
        assert all("\n" not in s for s in said)
        assert all(10 <= entry.flat <= 580 and entry.day for entry in found)
        assert all(entry.who and entry.why for entry in found if isinstance(entry, Correction))

    check()


@pytest.mark.parametrize(("text", "words_"), [
    ("Ren\udce9 M", "René M"), ("  Ada \n  Moss\t", "Ada Moss"), ("a\0b", "a b"), ("x\ud800", "x\ufffd"),
    ("R\udc81", "R\ufffd"), ("Zoë", "Zoë"), ("", "")])
def test_words_from_a_terminal(text, words_):
    """A terminal that speaks Latin-1 sends é as the byte E9, which Python hands on as U+DCE9 (PEP 383)."""
    assert words(text) == words_

"""The list in a terminal: whole words within 80 columns, and nothing said by colour alone."""

from __future__ import annotations

import io
import re

import pytest
from rich.console import Console

from seedlingcv.report import words
from seedlingcv.report.terminal import print_list, trouble_lines


def printed(nursery, width: int, *, colour: bool = False, **options) -> str:
    out = io.StringIO()
    system = "truecolor" if colour else None
    console = Console(file=out, width=width, force_terminal=colour, color_system=system)
    print_list(console, nursery.entries, nursery.photos, nursery.complaints, today=nursery.today, **options)
    return out.getvalue()


def reason_words(nursery) -> set[str]:
    return {w for e in nursery.entries for w in " ".join(e.verdict.reasons[:1]).split()}


@pytest.mark.parametrize("width", [80, 100, 160])
def test_lines_fit_and_words_stay_whole(nursery, width):
    text = printed(nursery, width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "by Thu 27 Mar" in text and "early" in text  # a short date is not parted either
    whole = set(text.split())
    assert reason_words(nursery) <= whole
    assert {"Tomato", "Lettuce", "Invented", "Pond", "Legginess", "Pot", "early", "blurred."} <= whole


def test_at_80_columns_every_column_lines_up(nursery):
    lines = printed(nursery, 80).splitlines()
    rows = [line for line in lines if re.match(r" {0,3}\d+ [A-Z]", line)]
    assert len(rows) == 3
    names = next(line for line in lines if line.startswith("Flat"))
    for column in ("Crop", "Do what", "By when"):
        at = names.index(column)
        assert all(row[at - 1] == " " and row[at] != " " for row in rows), column


def test_what_when_how_much_and_why_are_said(nursery):
    text = " ".join(printed(nursery, 160).split())
    for said in ("Pot up early", "by Thu 27 Mar", "79% leggy", "19 of 24 plants are leggy", "Check by eye",
                 "Photos not used", "Corner card 2 can't be read", "Clear it, lay it flat", "1 spare photo",
                 "flat 45 is not in the register"):
        assert said in text, said
    assert text.index("Tomato") < text.index("Lettuce")


def test_not_measured_is_a_dash(nursery):
    row = next(line for line in printed(nursery, 80).splitlines() if line.lstrip().startswith("45 "))
    assert row.split()[-4:] == ["–"] * 4 and "0" not in row


def test_only_bold_is_used(nursery):
    codes = re.findall(r"\x1b\[([\d;]*)m", printed(nursery, 80, colour=True))
    assert codes and {c for code in codes for c in code.split(";")} <= {"", "0", "1", "22"}


def test_quiet_is_one_line_a_flat(nursery):
    lines = printed(nursery, 80, quiet=True).splitlines()
    assert len(lines) == len(nursery.entries)
    assert lines[0].startswith("7 Tomato, <script>") and "[bold]Lantern[/bold]" in lines[0]
    assert "Safety:" not in " ".join(lines)
    assert "pot up early, by Thu 27 Mar; bury the stem deep, 22 mm deeper than now; 19 of 24" in lines[0]


def test_safety_line_ends_the_list(nursery):
    assert " ".join(printed(nursery, 80).split()).endswith(words.SAFETY)


def test_trouble_beside_the_quiet_list_is_a_line_each(nursery):
    lines = trouble_lines(nursery.entries, nursery.photos, ["flat 45 is\nnot in the register"])
    assert [line.split(": ")[0] for line in lines[:2]] == ["bench 2/shaky.jpg", "bench 2/card.jpg"]
    assert lines[2:] == ["flat 45 is not in the register"]  # the spare photo is no trouble
    assert trouble_lines([], [], []) == ["No flat could be measured."]


def test_no_flats(nursery):
    out = io.StringIO()
    print_list(Console(file=out, width=80), [], today=nursery.today)
    assert "No flat could be measured." in out.getvalue()

"""A sheet by ruler and its records: what the records know goes into the list. Flats are invented."""

from datetime import date

import pytest

from seedlingcv.assess.by_hand import assess_sheet
from seedlingcv.assess.keeping import Keeping
from seedlingcv.records import keep
from seedlingcv.records.adding import add_tables
from seedlingcv.records.database import open_records
from seedlingcv.records.log import Potting, RootCheck
from seedlingcv.records.register import read_register
from seedlingcv.records.ruler import read_ruler

REGISTER = "flat,crop,layout,sown,cells,shelf\n31,tomato,6x12,2025-02-23,,rack 1\n"


def sheet(day, cover=0.2):
    cells = [f"{row}{n}" for row in "ABCDEF" for n in range(1, 6)]
    return ("flat,cell,date,plants,true_leaves,stem_length_mm,leaf_spread_mm,canopy_cover\n"
            + "".join(f"31,{cell},{day},1,2,30,50,{cover}\n" for cell in cells))


@pytest.fixture
def season(tmp_path):
    """Open records, and what makes the list of a sheet."""
    (tmp_path / "flats.csv").write_text(REGISTER)
    with open_records(tmp_path / "season.db") as records:
        def add(name, text):
            (tmp_path / name).write_text(text)
            add_tables(records, [tmp_path / name])

        def assess(text, **more):
            add("sheet.csv", text)
            add("flats.csv", (tmp_path / "flats.csv").read_text())
            return assess_sheet(read_ruler(tmp_path / "sheet.csv"), read_register(tmp_path / "flats.csv"),
                                keeping=Keeping(records), **more)

        yield records, add, assess


def limits(done, kind):
    return [end.text for entry in done.entries for end in entry.verdict.limits if end.kind == kind]


def test_growth_is_told_from_the_records_and_not_from_yesterday(season):
    """0.1 to 0.2 in ten days."""
    _, add, assess = season
    add("old.csv", sheet("2025-03-10", 0.1))
    add("yesterday.csv", sheet("2025-03-19", 0.19))
    (text,) = limits(assess(sheet("2025-03-20")), "touch")
    assert "measured since Mon 10 Mar" in text and "doubling every 10 days" in text


def test_the_light_over_the_shelf_is_the_flats(season):
    _, add, assess = season
    add("lights.csv", "shelf,light,ppfd,hours\nrack 1,old panel,200,16\n")
    assert [e.measurement.light for e in assess(sheet("2025-03-20")).entries] == ["old panel"]


def test_a_part_that_was_potted_up_is_off_the_list_alone(season, tmp_path):
    records, _, assess = season
    (tmp_path / "flats.csv").write_text("flat,crop,layout,sown,cells\n31,tomato,6x12,2025-02-23,A-C\n"
                                        "31,pepper,,2025-02-23,D-F\n")
    assess(sheet("2025-03-20"))
    keep.keep_pottings(records, [Potting(31, date(2025, 3, 21), part="A, B, C")])
    done = assess(sheet("2025-03-20"), today=date(2025, 3, 21))
    assert [e.part for e in done.entries] == ["rows D-F"]
    assert done.notes[-1] == "Potted up already: flat 31 rows A-C on 2025-03-21."


def test_next_seasons_words_are_not_last_seasons(season, tmp_path):
    """Last season's sheet alone, after the number was used again: roots, pottings and history are another flat's."""
    records, add, assess = season
    alone = assess(sheet("2025-03-20"))
    add("next.csv", "flat,crop,layout,sown\n31,pepper,6x12,2026-02-20\n")
    add("newer.csv", sheet("2026-03-20", 0.4))
    keep.keep_root_checks(records, [RootCheck(31, date(2026, 3, 25), "root_bound")])
    keep.keep_pottings(records, [Potting(31, date(2026, 3, 28))])
    (tmp_path / "flats.csv").write_text(REGISTER)
    done = assess(sheet("2025-03-20"), today=date(2025, 3, 20))
    assert done.entries == alone.entries
    (history, _), = done.past.values()
    assert (history.crop, history.potted, [d.day for d in history.days]) == ("tomato", None, [date(2025, 3, 20)])
    late = assess(sheet("2025-03-20"), today=date(2026, 4, 1))
    assert len(late.entries) == 1 and not any("oot-bound" in text for text in limits(late, "roots"))


def test_nothing_later_than_the_day_of_the_list_counts(season):
    records, add, assess = season
    alone = assess(sheet("2025-03-20"))
    add("newer.csv", sheet("2025-03-27", 0.4))
    keep.keep_root_checks(records, [RootCheck(31, date(2025, 3, 21), "root_bound")])
    keep.keep_pottings(records, [Potting(31, date(2025, 3, 22))])
    done = assess(sheet("2025-03-20"))
    assert done.entries == alone.entries
    assert [d.day for history, _ in done.past.values() for d in history.days] == [date(2025, 3, 20)]
    assert assess(sheet("2025-03-20"), today=date(2025, 3, 21)).entries != alone.entries
    assert assess(sheet("2025-03-20"), today=date(2025, 3, 22)).entries == []

"""A folder of photos and its records: nothing is kept twice, nothing is measured twice, and the list uses both."""

import hashlib
import shutil
from datetime import date

import pytest
from PIL import Image
from test_growth import drawn, photograph

from seedlingcv import __version__
from seedlingcv.assess import flat as measuring
from seedlingcv.assess import folder as folder_module
from seedlingcv.assess.folder import assess_folder
from seedlingcv.assess.keeping import Keeping, version_for
from seedlingcv.errors import RecordsError
from seedlingcv.records import keep, recall
from seedlingcv.records.database import Records, open_records
from seedlingcv.records.log import Correction, Potting, RootCheck
from seedlingcv.records.register import read_register

BY = version_for("tomato", None)


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("season")
    for day, size_mm in ((8, 16.0), (14, 20.0), (20, 25.0)):
        photograph(folder / f"d{day}.jpg", size_mm, day)
    (folder / "flats.csv").write_text("flat,crop,layout,sown,light\n31,tomato,6x12,2025-03-01,panel\n")
    return folder


def assess(folder, database, corrections=(), **more):
    register = read_register(folder / "flats.csv")
    with open_records(database) as records:
        keep.keep_register(records, register)
        return assess_folder(folder, register, keeping=Keeping(records, corrections=corrections), **more)


@pytest.fixture(scope="module")
def filled(photos, tmp_path_factory):
    """The records after one run; tests work on copies."""
    database = tmp_path_factory.mktemp("filled") / "season.db"
    return assess(photos, database), database


@pytest.fixture
def database(filled, tmp_path):
    return shutil.copy(filled[1], tmp_path / "season.db")


@pytest.fixture
def measured_flats(monkeypatch):
    """Which flats were measured anew, and how often."""
    seen = []
    real = measuring.measure_flat
    monkeypatch.setattr(folder_module, "measure_flat", lambda *a, **k: seen.append(1) or real(*a, **k))
    return seen


def test_every_day_is_kept_with_its_light_and_age(filled):
    done, database = filled
    with open_records(database, make=False) as records:
        (flat,) = recall.read_history(records).flats
    assert [d.day for d in flat.days] == [date(2025, 3, day) for day in (8, 14, 20)]
    assert [d.age_days for d in flat.days] == [7, 13, 19] and {d.light for d in flat.days} == {"panel"}
    assert [d.measurement for d in flat.days][-1].cells == done.entries[0].measurement.cells
    covers = [d.measurement.cells[0].canopy_cover for d in flat.days]
    assert covers == sorted(covers) and covers[0] > 0


def test_growth_is_told_from_the_records(filled):
    text = next(end.text for end in filled[0].entries[0].verdict.limits if end.kind == "touch")
    assert "measured since Fri 14 Mar" in text


def test_a_second_run_adds_nothing_and_measures_only_the_newest_day(photos, filled, database, measured_flats):
    def content():
        with open_records(database, make=False) as records:
            return recall.read_history(records), recall.known_days(records, BY), recall.known_photos(records)

    before = content()
    again = assess(photos, database)
    assert content() == before and len(measured_flats) == 1
    assert again.entries == filled[0].entries
    assert not again.needs_attention
    assert {p.file: p.note for p in again.photos if not p.usable} == {
        "d8.jpg": "of 2025-03-08; in the records already", "d14.jpg": "of 2025-03-14; in the records already"}


def test_the_same_photo_under_another_name_adds_nothing(photos, database, tmp_path, measured_flats):
    renamed = tmp_path / "renamed"
    renamed.mkdir()
    for photo in photos.glob("*.jpg"):
        shutil.copy(photo, renamed / f"IMG_{photo.name}")
    shutil.copy(photos / "flats.csv", renamed)
    assess(renamed, database)
    with open_records(database, make=False) as records:
        assert len(recall.known_days(records, BY)) == 3
    assert len(measured_flats) == 1


def test_only_the_newest_photos_and_the_records_do_as_well(photos, filled, database, tmp_path):
    newest = tmp_path / "newest"
    newest.mkdir()
    shutil.copy(photos / "d20.jpg", newest)
    with open_records(database) as records:  # without a register: the records know the flat
        done = assess_folder(newest, None, keeping=Keeping(records))
    assert done.entries == filled[0].entries


def test_records_are_rebuilt_from_the_folder(photos, filled, tmp_path):
    def season(database):
        with open_records(database, make=False) as records:
            return recall.read_history(records)

    assess(photos, tmp_path / "again.db")
    assert season(tmp_path / "again.db") == season(filled[1])


def test_no_photo_is_changed(photos, filled, database):
    def hashes():
        return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in photos.iterdir()}

    before = hashes()
    assess(photos, database)
    assert hashes() == before


def test_corrections_count_and_a_potted_flat_is_off_the_list(photos, database):
    day = date(2025, 3, 20)
    with open_records(database) as records:
        keep.keep_corrections(records, [Correction(31, day, "A1", "canopy_cover", 0.5, "Ana", day, "by eye")])
    first = assess(photos, database).entries[0].measurement.cells[0]
    assert first.canopy_cover == 0.5 and "corrected" in first.flags
    with open_records(database) as records:
        keep.keep_pottings(records, [Potting(31, day)])
    done = assess(photos, database)
    assert done.entries == [] and done.notes == ["Potted up already: flat 31 on 2025-03-20."]


def test_corrections_that_came_with_the_photos_count_once_their_day_is_measured(photos, tmp_path):
    day = date(2025, 3, 20)
    right = [Correction(31, day, "A1", "canopy_cover", 0.5, "Ana", day, "by eye"),
             Correction(31, day.replace(day=9), "A1", "canopy_cover", 0.5, "Ana", day, "by eye")]
    done = assess(photos, tmp_path / "season.db", corrections=right)
    assert done.entries[0].measurement.cells[0].canopy_cover == 0.5
    assert done.notes == ["flat 31 has no figures of 2025-03-09, so a correction waits for them; check the date."]
    with open_records(tmp_path / "season.db", make=False) as records, records.reading() as connection:
        measured = connection.exec_driver_sql("SELECT measured FROM corrections WHERE day = '2025-03-20'").scalar()
    assert 0 < measured < 0.5, "the measured value is kept beside it"


def test_a_crop_named_later_has_every_day_measured_again(photos, tmp_path, measured_flats):
    """Without photos from the side, leaves are measured at the crop's usual height."""
    folder, database = tmp_path / "photos", tmp_path / "season.db"
    shutil.copytree(photos, folder)
    for turn, (crop, measured) in enumerate((("", 3), ("cucumber", 3), ("cucumber", 1))):
        (folder / "flats.csv").write_text(f"flat,crop,layout,sown\n31,{crop},6x12,2025-03-01\n")
        before = len(measured_flats)
        done = assess(folder, database)
        assert len(measured_flats) - before == measured, turn
        with open_records(database, make=False) as records:
            (flat,) = recall.read_history(records).flats
        assert flat.days[-1].measurement.cells == done.entries[0].measurement.cells
        assert len(flat.days) == 3


def test_a_register_of_some_columns_is_filled_from_the_records(photos, database, tmp_path):
    folder = tmp_path / "later"
    folder.mkdir()
    shutil.copy(photos / "d20.jpg", folder)
    (folder / "flats.csv").write_text("flat,variety\n31,Harbor Lantern\n")
    (entry,) = assess(folder, database).entries
    measured = entry.measurement
    assert (measured.crop, measured.variety, measured.sown) == ("tomato", "Harbor Lantern", date(2025, 3, 1))
    (folder / "flats.csv").write_text("flat,crop,sown\n31,,2025-03-01\n")
    assert assess(folder, database).entries[0].measurement.crop is None  # emptied, not left out


def test_a_crop_of_other_figures_is_another_version():
    assert version_for(None, None) == version_for("no crop at all", None) == __version__
    assert version_for("tomato", None) == version_for("Tomato", None) != version_for("cucumber", None)
    assert version_for("basil", None).endswith(", leaves in pairs"), "opposite, as in all mints (from memory)"


def test_a_root_check_by_hand_counts_for_a_week(photos, database):
    with open_records(database) as records:
        keep.keep_root_checks(records, [RootCheck(31, date(2025, 3, 12), "root_bound")])
    assert not any("Root-bound" in end.text for end in assess(photos, database).entries[0].verdict.limits)
    with open_records(database) as records:
        keep.keep_root_checks(records, [RootCheck(31, date(2025, 3, 13), "root_bound")])
    assert any("Root-bound" in end.text for end in assess(photos, database).entries[0].verdict.limits)


def test_records_that_fail_on_the_way_don_t_cost_the_list(photos, tmp_path, monkeypatch):
    def full(*_, **__):
        raise RecordsError("The disk is full.", where="season.db")

    monkeypatch.setattr(keep, "keep_day", full)
    done = assess(photos, tmp_path / "season.db")
    assert len(done.entries) == 1 and len(done.complaints) == 1 and "The disk is full" in done.complaints[0]
    assert "The list is complete" in done.complaints[0] and done.needs_attention


def test_a_server_that_is_gone_on_the_way_doesn_t_cost_the_list(photos, filled, database, monkeypatch):
    real = measuring.measure_flat

    def gone(*_):
        raise RecordsError("The server can't be reached.", where="postgresql://…")

    def measure_then_lose_the_server(*arguments, **more):
        monkeypatch.setattr(Records, "reading", gone)
        monkeypatch.setattr(Records, "writing", gone)
        return real(*arguments, **more)

    monkeypatch.setattr(folder_module, "measure_flat", measure_then_lose_the_server)
    done = assess(photos, database)
    assert [e.measurement.cells for e in done.entries] == [e.measurement.cells for e in filled[0].entries]
    assert len(done.complaints) == 2 and all("can't be reached" in text for text in done.complaints)
    assert "without what the records know" in " ".join(done.complaints)


def test_a_photo_without_a_date_costs_no_other_flat_its_place(photos, tmp_path):
    folder, database = tmp_path / "photos", tmp_path / "season.db"
    folder.mkdir()
    Image.fromarray(drawn(25.0)[..., ::-1]).save(folder / "undated.jpg", quality=95)
    shutil.copy(photos / "flats.csv", folder)
    done = assess(folder, database)
    assert len(done.entries) == 1 and done.needs_attention
    (said,) = done.complaints
    assert "flat 31" in said and "no date" in said
    with open_records(database, make=False) as records, records.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM photos").scalar() == 1, "keeping went on"


def test_a_layout_put_right_has_every_day_measured_again(photos, database, measured_flats):
    """As if the register had named 4x8 when the photos were measured."""
    with open_records(database) as records:
        with records.writing() as connection:
            connection.exec_driver_sql('UPDATE measured_days SET "rows" = 4, "columns" = 8, keys_hash = \'\' || id')
        assert recall.known_days(records, BY) == set()
    done = assess(photos, database)
    assert len(measured_flats) == 3 and not done.needs_attention
    with open_records(database, make=False) as records:
        (flat,) = recall.read_history(records).flats
        assert {d.measurement.layout for d in flat.days} == {"6x12"} and len(flat.days) == 3
    assess(photos, database)
    assert len(measured_flats) == 4, "the newest day alone"


def test_a_number_used_again_leaves_older_photos_to_the_flat_they_are_of(photos, database, tmp_path, monkeypatch):
    """Next season's register names another crop and layout; last season's photos lie in the folder still."""
    layouts = []
    real = measuring.measure_flat
    monkeypatch.setattr(folder_module, "measure_flat",
                        lambda views, layout, *a, **k: layouts.append(layout) or real(views, layout, *a, **k))
    folder = tmp_path / "photos"
    shutil.copytree(photos, folder)
    (folder / "flats.csv").write_text("flat,crop,layout,sown\n31,lettuce,8x16,2026-03-01\n")
    photograph(folder / "d10.jpg", 17.0, 10)
    done = assess(folder, database)
    assert layouts == [(6, 12)] * 2, "of 10 March, which is new, and of the newest day"
    assert [e.measurement.crop for e in done.entries] == ["tomato"]
    with open_records(database, make=False) as records:
        (flat,) = recall.read_history(records).flats
    assert flat.crop == "tomato" and {d.day.day for d in flat.days} == {8, 10, 14, 20}


def test_a_run_that_broke_off_leaves_no_photo_half_kept(photos, tmp_path, monkeypatch, measured_flats):
    def broken_off(*_):
        raise KeyboardInterrupt

    database = tmp_path / "season.db"
    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(keep, "keep_photos", broken_off)
        assess(photos, database)
    with open_records(database, make=False) as records:
        assert len(recall.known_days(records, BY)) == 3 and recall.known_photos(records) == {}
    assess(photos, database)
    assert len(measured_flats) == 4, "three days, then the newest alone"
    with open_records(database, make=False) as records:
        assert len(recall.known_photos(records)) == 3

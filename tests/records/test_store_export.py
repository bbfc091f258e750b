"""The records as tables, read back with Python's own csv module and pyarrow."""

import csv
import sys
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from season_store import DAY, SOWN, VERSION, key, measured, register

from seedlingcv.errors import OutputError, RecordsError
from seedlingcv.records import export
from seedlingcv.records.adding import add_tables
from seedlingcv.records.database import open_records
from seedlingcv.records.export import export_tables
from seedlingcv.records.history import Lighting
from seedlingcv.records.keep import (
    KeptVerdict,
    Photo,
    keep_corrections,
    keep_day,
    keep_lightings,
    keep_moves,
    keep_photos,
    keep_pottings,
    keep_register,
    keep_root_checks,
    keep_verdicts,
)
from seedlingcv.records.lights import Move, read_lights
from seedlingcv.records.log import Correction, Potting, RootCheck, read_pottings
from seedlingcv.records.parts import read_part
from seedlingcv.records.recall import read_history
from seedlingcv.records.register import FlatRow

EARLIER = FlatRow(31, "tomato", "Harbor Lantern", 2, 3, SOWN - timedelta(365))


@pytest.fixture
def season(records):
    """A bit of everything."""
    rows = (FlatRow(31, "tomato", "=Harbor, \"Lantern\"\nred", 2, 3, SOWN, None, {"note": "+1 late"}, seed_lot="L7",
                    shelf="S1"),
            FlatRow(32, "basil", None, 2, 3, SOWN, "LED", part=read_part("A")),
            FlatRow(32, "parsley", None, 2, 3, SOWN, "LED"))
    keep_register(records, register(EARLIER))
    keep_register(records, register(*rows))
    keep_lightings(records, [Lighting("S1", "panel", "LED", None, ((180.5, 210.0), (170.0, 200.0)), 16, 300, 4.5,
                                      "row A", SOWN, None)])
    keep_moves(records, [Move(31, DAY, None, "tube")])
    keep_photos(records, [Photo("b/a.jpg", key("a"), "overhead", datetime(2025, 3, 20, 9, 30), 31, True, ("tilted",)),
                          Photo("b/b.jpg", key("b"))])
    keep_day(records, measured(31), source="photo", keys=[key("a")], version=VERSION)
    keep_day(records, measured(32), source="ruler", keys=[key("f")], version=VERSION)
    keep_corrections(records, [Correction(31, DAY, "A1", "stem_length_mm", 44.5, "R. Moss", date(2025, 3, 21), "ruler"),
                               Correction(31, DAY, "A2", "true_leaves", None, "R. Moss", None, "a weed")])
    keep_root_checks(records, [RootCheck(31, DAY, "firm", "R. Moss"), RootCheck(32, DAY, "firm", source="photo")])
    keep_pottings(records, [Potting(32, DAY, 12, "9 cm", "R. Moss", "good", "row A")])
    keep_verdicts(records, [KeptVerdict(31, None, DAY, DAY, "pot_up", DAY, {"reasons": ["ä"]})])
    return records


def table(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_table_is_written(season, tmp_path):
    names = [path.name for path in export_tables(season, tmp_path / "new" / "folder")]
    assert names == [f"{name}.csv" for name in (
        "flats", "flats_before", "moves", "lights", "photos", "measurements", "verdicts", "corrections", "root_checks",
        "root_photos", "potted")]


def test_the_registers(season, tmp_path):
    export_tables(season, tmp_path)
    own, basil, parsley = table(tmp_path, "flats")
    assert own == {"flat": "31", "layout": "2x3", "cells": "", "crop": "tomato", "roots": "", "seed_lot": "L7",
                   "variety": "'=Harbor, \"Lantern\"\nred", "sown": "2025-02-23", "light": "", "batch": "",
                   "shelf": "S1", "note": "'+1 late"}, "a spreadsheet must not reckon with a name"
    assert (basil["cells"], basil["crop"], parsley["cells"], parsley["crop"]) == ("row A", "basil", "", "parsley")
    (before,) = table(tmp_path, "flats_before")
    assert (before["flat"], before["sown"]) == ("31", "2024-02-24")


def test_light_and_hands_tables_have_their_readers_columns(season, tmp_path):
    export_tables(season, tmp_path)
    assert table(tmp_path, "moves") == [{"flat": "31", "date": "2025-03-20", "shelf": "", "light": "tube"}]
    (light,) = table(tmp_path, "lights")
    assert light.pop("dli_mol") == str(190.125 * 3600 * 16 / 1e6)
    assert light == {"shelf": "S1", "light": "panel", "type": "LED", "spectrum": "", "ppfd": "180.5 210 / 170 200",
                     "hours": "16.0", "distance_mm": "300.0", "red_far_red": "4.5", "window_side": "row A",
                     "from": "2025-02-23", "to": ""}
    assert table(tmp_path, "corrections") == [
        {"flat": "31", "date": "2025-03-20", "cell": "A1", "figure": "stem_length_mm", "value": "44.5",
         "who": "R. Moss", "when": "2025-03-21", "why": "ruler", "measured_value": "31.0"},
        {"flat": "31", "date": "2025-03-20", "cell": "A2", "figure": "true_leaves", "value": "", "who": "R. Moss",
         "when": "", "why": "a weed", "measured_value": "2.0"}]
    assert table(tmp_path, "root_checks") == [{"flat": "31", "date": "2025-03-20", "roots": "firm", "who": "R. Moss"}]
    assert table(tmp_path, "root_photos") == [{"flat": "32", "date": "2025-03-20", "roots": "firm", "who": ""}]
    assert table(tmp_path, "potted") == [{"flat": "32", "date": "2025-03-20", "cells": "row A", "plants": "12",
                                          "pot": "9 cm", "who": "R. Moss", "note": "good"}]


def test_measurements_say_what_was_measured_before_it_was_corrected(season, tmp_path):
    export_tables(season, tmp_path)
    one, two, *_, basil, parsley = (table(tmp_path, "measurements")[i] for i in (0, 1, 6, 9))
    assert (one["flat"], one["date"], one["cell"], one["crop"], one["age_days"]) == (
        "31", "2025-03-20", "A1", "tomato", "25")
    assert (one["shelf"], one["light"], one["source"], one["program_version"]) == ("", "tube", "photo", VERSION)
    assert (one["stem_length_mm"], one["stem_length_mm_measured"], one["stem_length_mm_se"]) == ("44.5", "31.0", "")
    assert one["flags"] == "height_unsure corrected"
    assert float(one["legginess"]) == pytest.approx(44.5 / 50)
    assert (two["true_leaves"], two["true_leaves_measured"], two["stem_length_mm_measured"]) == ("", "2", "")
    assert two["stem_length_mm_se"] == "1.5"
    assert (basil["cell"], basil["part"], basil["crop"], basil["source"]) == ("A1", "row A", "basil", "ruler")
    assert (parsley["cell"], parsley["part"], parsley["crop"], parsley["light"]) == (
        "B1", "other cells", "parsley", "LED")


def test_photos_and_verdicts(season, tmp_path):
    export_tables(season, tmp_path)
    photos = table(tmp_path, "photos")
    assert {p["file"]: (p["taken"], p["flat"], p["usable"], p["problems"]) for p in photos} == {
        "b/a.jpg": ("2025-03-20T09:30:00", "31", "yes", "tilted"), "b/b.jpg": ("", "", "no", "")}
    assert table(tmp_path, "verdicts") == [
        {"flat": "31", "part": "", "date": "2025-03-20", "list_of": "2025-03-20", "action": "pot_up",
         "due": "2025-03-20", "details_json": '{"reasons": ["ä"]}'}]


def test_lines_end_as_rfc_4180_has_it(season, tmp_path):
    """RFC 4180, section 2: lines end with CRLF, fields with commas, quotation marks or line breaks are quoted and
    quotation marks doubled (from memory)."""
    export_tables(season, tmp_path)
    told = (tmp_path / "flats.csv").read_bytes()
    assert b'"\'=Harbor, ""Lantern""\nred"' in told
    assert all(line.endswith(b"\r") for line in told.split(b"\n")[:-1] if b"Harbor" not in line)
    assert not told.startswith(b"\xef\xbb\xbf")


def test_parquet_holds_the_same(season, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    plain = {p.stem: table(p.parent, p.stem) for p in export_tables(season, tmp_path / "csv")}
    for path in export_tables(season, tmp_path / "parquet", "parquet"):
        rows = parquet.read_table(path).to_pylist()
        assert len(rows) == len(plain[path.stem])
        for row, told in zip(rows, plain[path.stem], strict=True):
            assert list(row) == list(told)
            for name, value in row.items():
                if isinstance(value, float):
                    assert float(told[name]) == value
                elif isinstance(value, bool):
                    assert told[name] == ("yes" if value else "no")
                elif isinstance(value, date):
                    assert told[name] == value.isoformat()
                else:
                    assert told[name].removeprefix("'") == ("" if value is None else str(value))
    cells = parquet.read_table(tmp_path / "parquet" / "measurements.parquet")
    assert str(cells.schema.field("date").type) == "date32[day]"


def test_empty_records_are_empty_tables(records, tmp_path):
    for form in ("csv", "parquet"):
        paths = export_tables(records, tmp_path / form, form)
        assert "flats_before" not in [p.stem for p in paths] and len(paths) == 10
    assert table(tmp_path / "csv", "measurements") == []
    assert (tmp_path / "csv" / "moves.csv").read_bytes() == b"flat,date,shelf,light\r\n"


def test_without_the_library_for_parquet(records, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(RecordsError, match=r'pip install "seedlingcv\[parquet\]"'):
        export_tables(records, tmp_path, "parquet")


def test_a_folder_that_can_not_be_made(records, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError):
        export_tables(records, tmp_path / "file" / "tables")


def test_what_hands_wrote_comes_back_through_the_readers(season, tmp_path):
    from seedlingcv.records import lights, log
    from seedlingcv.records.register import read_register

    export_tables(season, tmp_path)
    register_ = read_register(tmp_path / "flats.csv")
    assert register_.complaints == ()
    rows = [row for flat in register_.flats for row in register_.rows(flat)]
    assert rows[0] == replace(rows[0], crop="tomato", sown=SOWN, seed_lot="L7", shelf="S1", extra={"note": "+1 late"})
    assert [(r.flat, r.part and r.part.label, r.crop) for r in rows] == [
        (31, None, "tomato"), (32, "row A", "basil"), (32, None, "parsley")]
    assert lights.read_moves(tmp_path / "moves.csv") == ([Move(31, DAY, None, "tube")], [])
    assert lights.read_lights(tmp_path / "lights.csv") == (
        [Lighting("S1", "panel", "LED", None, ((180.5, 210.0), (170.0, 200.0)), 16, 300, 4.5, "row A", SOWN, None)], [])
    assert log.read_corrections(tmp_path / "corrections.csv") == ([
        Correction(31, DAY, "A1", "stem_length_mm", 44.5, "R. Moss", date(2025, 3, 21), "ruler"),
        Correction(31, DAY, "A2", "true_leaves", None, "R. Moss", None, "a weed")], [])
    assert log.read_root_checks(tmp_path / "root_checks.csv") == ([RootCheck(31, DAY, "firm", "R. Moss")], [])
    assert log.read_pottings(tmp_path / "potted.csv") == (
        [Potting(32, DAY, 12, "9 cm", "R. Moss", "good", "row A")], [])


def test_the_tables_and_the_photos_make_the_records_anew(season, tmp_path):
    from seedlingcv.records import lights, log
    from seedlingcv.records.register import read_register

    old = {path.stem: path for path in export_tables(season, tmp_path / "old")}
    with open_records(tmp_path / "anew.db") as anew:
        for flat, source in ((32, "ruler"), (31, "photo")):  # what the photos and the ruler's sheet give
            keep_day(anew, measured(flat), source=source, keys=[key("a" if flat == 31 else "f")], version=VERSION)
        for name in ("flats", "flats_before"):
            keep_register(anew, read_register(old[name]))
        keep_lightings(anew, lights.read_lights(old["lights"])[0])
        keep_moves(anew, lights.read_moves(old["moves"])[0])
        keep_corrections(anew, log.read_corrections(old["corrections"])[0])
        keep_root_checks(anew, log.read_root_checks(old["root_checks"])[0])
        keep_pottings(anew, log.read_pottings(old["potted"])[0])
        again = {path.stem: path.read_bytes() for path in export_tables(anew, tmp_path / "new")}
    made_by_photos = {"photos", "verdicts", "root_photos"}
    assert again.keys() == old.keys()
    for name in again.keys() - made_by_photos:
        told = old[name].read_bytes().replace(b"\nred", b" red")  # the reader takes line breaks out
        assert again[name] == told, name


def test_an_export_that_broke_off_can_be_repeated(season, tmp_path, monkeypatch):
    real, done = export.write_whole, []

    def until_the_third(path, content):
        if len(done) == 3:
            raise KeyboardInterrupt
        done.append(path.name)
        real(path, content)

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(export, "write_whole", until_the_third)
        export_tables(season, tmp_path)
    assert "flats.csv" in done
    assert all(path.exists() for path in export_tables(season, tmp_path))


def test_a_refused_folder_is_not_marked(season, tmp_path):
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "photos.csv").write_text("a grower's own\n")
    for _ in range(2):
        with pytest.raises(OutputError, match="is not of an export"):
            export_tables(season, tmp_path / "own")
    assert [path.name for path in (tmp_path / "own").iterdir()] == ["photos.csv"]


def test_an_earlier_season_that_is_no_more_doesn_t_come_back(season, records, tmp_path):
    """As where a sowing date was put right: what were two flats is one."""
    export_tables(season, tmp_path)
    with season.writing() as connection:
        for sql in ("DELETE FROM sowings WHERE sown < '2025-01-01'", "DELETE FROM flats WHERE started < '2025-01-01'"):
            connection.exec_driver_sql(sql)
    export_tables(season, tmp_path)
    assert table(tmp_path, "flats_before") == []


def test_a_folder_of_an_export_makes_earlier_seasons_anew_too(records, tmp_path):
    starts = [SOWN - timedelta(800), SOWN - timedelta(400), SOWN]
    for crop, sown in zip(("leek", "kale", "basil"), starts, strict=True):
        keep_register(records, register(FlatRow(31, crop, sown=sown)))
    export_tables(records, tmp_path / "out")
    with open_records(tmp_path / "anew.db") as anew:
        done = add_tables(anew, [tmp_path / "out"])
        for sown in starts:
            keep_day(anew, measured(31, sown + timedelta(20)), source="photo", keys=[key(sown)], version=VERSION)
        assert [(h.crop, h.sown) for h in read_history(anew).flats] == list(zip(("leek", "kale", "basil"), starts,
                                                                               strict=True))
    assert done.complaints == []


def test_lights_come_back_to_the_last_digit(records, tmp_path):
    """A shelf whose name looks like a remark's beginning, and readings finer than six digits."""
    light = Lighting("#A", "panel", ppfd_umol=((1234.5678, 200.0, 0.1 + 1.2),), hours=16, since=SOWN)
    keep_lightings(records, [light])
    export_tables(records, tmp_path)
    assert read_lights(tmp_path / "lights.csv") == ([light], [])


def test_lights_are_written_with_the_days_on_which_they_shone(records, tmp_path):
    """The end of the panel was forgotten: what came later counts, and the panel again once that was taken away."""
    day = [date(2025, 1, 1) + timedelta(n) for n in range(100)]
    panel, bare = Lighting("S1", "panel", since=day[0], until=day[90]), Lighting("", "bulb", since=day[0])
    tube, lamp = Lighting("s1", "tube", since=day[40], until=day[50]), Lighting("S1", "lamp", since=day[45],
                                                                               until=day[60])
    keep_lightings(records, [panel, tube, lamp, bare, Lighting("", "other", since=day[5])])
    flats = [FlatRow(31, "leek", sown=day[0], shelf="S1")]
    keep_register(records, register(*flats))
    for on in day[1::4]:
        keep_day(records, measured(31, on), source="photo", keys=[key(on)], version=VERSION)
    export_tables(records, tmp_path)
    found, said = read_lights(tmp_path / "lights.csv")
    assert said == [], "nothing in it is on together"
    assert [(x.light, x.since, x.until) for x in found if x.shelf] == [
        ("panel", day[0], day[39]), ("tube", day[40], day[44]), ("lamp", day[45], day[60]), ("panel", day[61], day[90])]
    before = [d.light for d in read_history(records).flats[0].days]
    keep_lightings(records, found)
    assert [d.light for d in read_history(records).flats[0].days] == before


def test_words_that_are_marked_as_text_already(records, tmp_path):
    said = [Potting(31, DAY, note=note) for note in ("=1+1", "'=1+1", "#1", "it's", "'so'")]
    keep_pottings(records, said)
    export_tables(records, tmp_path)
    assert read_pottings(tmp_path / "potted.csv") == (said, [])


def test_a_long_text_and_a_large_table_come_back(records, tmp_path):
    """The csv module takes 131 072 characters in a field by itself (Python's documentation of field_size_limit)."""
    said = [Potting(31, DAY, note=f"{n}" + "x" * 140_000) for n in range(40)]
    keep_pottings(records, said)
    export_tables(records, tmp_path)
    assert (tmp_path / "potted.csv").stat().st_size > 5_000_000
    assert read_pottings(tmp_path / "potted.csv") == (said, [])

"""The tables, and how those of an older version are brought up to date."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import fields
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from season_store import DAY, SOWN, VERSION, content, key, measured, register

from seedlingcv.errors import RecordsError
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.records import migrate, schema
from seedlingcv.records.database import open_records, reach
from seedlingcv.records.history import Lighting
from seedlingcv.records.keep import (
    KeptVerdict,
    keep_day,
    keep_lightings,
    keep_moves,
    keep_pottings,
    keep_register,
    keep_verdicts,
)
from seedlingcv.records.lights import Move
from seedlingcv.records.log import Potting, RootCheck
from seedlingcv.records.recall import newest_root_check, read_history
from seedlingcv.records.register import FlatRow


def older(target, revision="0001"):
    """Records as an older version made them, with something in each table."""
    with reach(target) as records:
        with records.writing() as connection:
            migrate.upgrade(connection, revision)
        assert keep_day(records, measured(), source="photo", keys=[key("a")], version=VERSION)
        keep_register(records, register(FlatRow(31, "tomato", sown=SOWN)))
        keep_verdicts(records, [KeptVerdict(31, None, DAY, DAY, "wait", None, {"n": [1.5]})])
        keep_pottings(records, [Potting(31, DAY + timedelta(9), 70)])
        hand = {"flat_id": 1, "day": DAY, "recorded_at": datetime(2025, 3, 21, 8)}
        with records.writing() as connection:
            connection.exec_driver_sql("INSERT INTO lightings (shelf, light, ppfd_umol) VALUES ('S1', 'panel', '[]')")
            for table, row in (
                    (schema.stands, {"flat_id": 1, "day": DAY, "shelf": "S1"}),
                    (schema.root_checks, hand | {"roots": "firm", "source": "hand", "entry": key("r")}),
                    (schema.corrections, hand | {"cell": "A1", "figure": "stem_length_mm", "value": 44.0,
                                                 "measured": 31.0, "entry": key("c")})):
                connection.execute(table.insert().inline().values(row))


def rows_of(target, place=None):
    """What stands in every table, past the program; place : a copy's schema on a server"""
    names = (*schema.metadata.tables, schema.VERSION_TABLE)
    with reach(target) as records, records.reading() as connection:
        there = f"{place}." if place else ""
        found = {name: connection.exec_driver_sql(f'SELECT * FROM {there}"{name}"').all() for name in names}
    assert all(found.values()), "no table is empty"
    return {name: sorted(map(str, rows)) for name, rows in found.items()}


def test_the_tables_are_those_the_program_reckons_with(records):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with records.reading() as connection:
        options = {"version_table": schema.VERSION_TABLE, "compare_type": True, "compare_server_default": True}
        assert compare_metadata(MigrationContext.configure(connection, opts=options), schema.metadata) == []


def test_the_newest_revision_is_known():
    from alembic.script import ScriptDirectory

    assert ScriptDirectory.from_config(migrate.settings()).get_heads() == [schema.REVISION]


def test_every_figure_has_a_column():
    assert {f.name for f in fields(CellMeasurement)} <= set(schema.cells.c.keys())


def test_a_file_keeps_no_write_ahead_log_and_holds_to_its_links(tmp_path):
    with open_records(tmp_path / "season.db") as records, records.reading() as connection:
        told = [connection.exec_driver_sql(f"PRAGMA {name}").scalar()
                for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")]
    assert told == ["delete", 2, 1, 30_000], "2 is FULL: sqlite.org/pragma.html#pragma_synchronous"


def test_a_file_that_somebody_gave_a_write_ahead_log(tmp_path):
    with open_records(tmp_path / "season.db"):
        pass
    other = sqlite3.connect(tmp_path / "season.db")
    assert other.execute("PRAGMA journal_mode = WAL").fetchone() == ("wal",)
    other.close()
    with open_records(tmp_path / "season.db") as records, records.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "delete"


def test_a_link_to_nowhere_is_refused(records):
    with pytest.raises(RecordsError), records.writing() as connection:
        connection.exec_driver_sql("INSERT INTO stands (flat_id, day) VALUES (99, '2025-03-01')")


@pytest.mark.parametrize("revision", ["0001", "0002"])
def test_older_records_are_copied_and_brought_up_to_date(target, request, tmp_path, revision):
    older(target, revision)
    was = rows_of(target)
    assert was[schema.VERSION_TABLE] == [f"('{revision}',)"]
    with open_records(target) as records:
        assert records.backup
        in_schema = records.backup.startswith("schema ")
        place = records.backup.removeprefix("schema ") if in_schema else None
        assert rows_of(target if in_schema else records.backup, place) == was
        if in_schema:
            request.getfixturevalue("server")[0].execute(f"DROP SCHEMA {place} CASCADE")
        (flat,) = read_history(records).flats
        first, *others = flat.days[0].measurement.cells
        assert (flat.crop, flat.potted, others) == ("tomato", DAY + timedelta(9), list(measured().cells[1:]))
        assert (first.stem_length_mm, first.flags[-1]) == (44, "corrected")
        assert [(s.since, s.shelf) for s in flat.stands] == [(DAY, "S1")]
        assert newest_root_check(records, 31) == RootCheck(31, DAY, "firm")
        with records.reading() as connection:
            for table in ("stands", "lightings", "corrections", "root_checks"):
                assert connection.exec_driver_sql(f"SELECT told_by FROM {table}").all() == [(None,)]
        keep_moves(records, [Move(31, DAY + timedelta(2), "S2")], told_by="/season/moves.csv")
        assert [s.shelf for s in read_history(records).flats[0].stands] == ["S1", "S2"]
        keep_lightings(records, [Lighting("S1", "panel", window_side="row A")])
        assert [x.window_side for x in read_history(records).lightings] == ["row A"]
        before = content(records, tmp_path / "one")
    with open_records(target) as again:
        assert again.backup is None
        assert content(again, tmp_path / "two") == before


def test_the_copy_opens_as_records(tmp_path):
    older(tmp_path / "season.db")
    with open_records(tmp_path / "season.db") as records:
        copy = records.backup
    assert copy.startswith(str(tmp_path / f"season.db.before-{schema.REVISION}-"))
    with open_records(copy, make=False) as records:
        assert len(read_history(records).flats[0].days) == 1


def test_nothing_is_changed_if_no_copy_can_be_put_aside(tmp_path, monkeypatch):
    path = tmp_path / "season.db"
    older(path)
    was = path.read_bytes()

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(migrate, "_to_disk", full)
    with pytest.raises(RecordsError, match="No space left.*Nothing was changed"):
        open_records(path)
    assert path.read_bytes() == was
    assert [p.name for p in tmp_path.iterdir()] == ["season.db"]
    monkeypatch.undo()
    with open_records(path) as records:
        assert records.backup


def test_a_damaged_copy_stops_the_change(tmp_path):
    """An index that misses a row: the tables could be read and changed all the same, but the copy isn't whole."""
    path = tmp_path / "season.db"
    older(path)
    with closing(sqlite3.connect(path)) as connection:
        size = connection.execute("PRAGMA page_size").fetchone()[0]
        page = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'sqlite_autoindex_cells_2'"
                                  ).fetchone()[0]
    was = path.read_bytes()
    start = was.index(b"A1", (page - 1) * size, page * size)
    was = was[:start] + b"A9" + was[start + 2 :]
    path.write_bytes(was)
    with pytest.raises(RecordsError, match="no copy can be put aside.*Nothing was changed"):
        open_records(path)
    assert path.read_bytes() == was
    assert [p.name for p in tmp_path.iterdir()] == ["season.db"]


def test_a_change_that_fails_over_and_over_leaves_no_copies(target, request, monkeypatch):
    older(target)
    was = rows_of(target)
    schemas = _schemas(request, target)

    def fails(connection, revision="head"):
        connection.exec_driver_sql("DELETE FROM day_photos")
        connection.exec_driver_sql("SELECT * FROM nowhere")

    monkeypatch.setattr(migrate, "upgrade", fails)
    for _ in range(2):
        with pytest.raises(RecordsError):
            open_records(target)
    assert rows_of(target) == was
    assert _schemas(request, target) == schemas
    if isinstance(target, Path):
        assert [p.name for p in target.parent.iterdir()] == ["season.db"]


def _schemas(request, target):
    if isinstance(target, Path):
        return None
    return request.getfixturevalue("server")[0].execute(
        "SELECT nspname FROM pg_namespace WHERE nspname LIKE 'before%' ORDER BY 1").fetchall()


def test_what_a_killed_try_left_of_its_copy_goes(tmp_path):
    older(tmp_path / "season.db")
    (tmp_path / "season.db.before-0003-20250301-080000.part").write_bytes(b"half of it")
    (tmp_path / "season.db.before-0002-20250301-080000").write_bytes(b"a copy")
    with open_records(tmp_path / "season.db"):
        pass
    left = sorted(p.name for p in tmp_path.iterdir())
    assert left[:2] == ["season.db", "season.db.before-0002-20250301-080000"]
    assert len(left) == 3 and not left[2].endswith(".part")


def test_a_server_that_allows_no_copy_is_left_as_it_is(server):
    connection, address = server
    if not connection.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user").fetchone()[0]:
        pytest.skip("the server's user may not make another user")
    older(address)
    database, place = connection.execute("SELECT current_database(), current_schema()").fetchone()
    role = place.replace("test_", "guest_")
    connection.execute(f"CREATE ROLE {role} LOGIN PASSWORD 'guest'")
    connection.execute(f"GRANT USAGE, CREATE ON SCHEMA {place} TO {role}")
    connection.execute(f"GRANT ALL ON ALL TABLES IN SCHEMA {place} TO {role}")
    connection.execute(f'REVOKE CREATE ON DATABASE "{database}" FROM {role}')
    try:
        from sqlalchemy.engine import make_url

        guest = make_url(address).set(username=role, password="guest").render_as_string(hide_password=False)
        with pytest.raises(RecordsError, match="doesn't allow"):
            open_records(guest)
        version = connection.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchone()
        assert version == ("0001",)
    finally:
        connection.execute(f"DROP OWNED BY {role}")
        connection.execute(f"DROP ROLE {role}")


def test_a_change_that_breaks_off_leaves_the_older_tables(target, monkeypatch):
    older(target)

    def broken(connection, revision="head"):
        connection.exec_driver_sql("ALTER TABLE lightings ADD COLUMN window_side TEXT")
        raise KeyboardInterrupt

    monkeypatch.setattr(migrate, "upgrade", broken)
    with pytest.raises(KeyboardInterrupt):
        open_records(target)
    with reach(target) as records, records.reading() as connection:
        from sqlalchemy import inspect

        assert "window_side" not in {c["name"] for c in inspect(connection).get_columns("lightings")}


def test_records_of_a_newer_version_are_left_alone(target):
    with open_records(target) as records, records.writing() as connection:
        connection.exec_driver_sql(f"UPDATE {schema.VERSION_TABLE} SET version_num = '9999'")
    with pytest.raises(RecordsError, match="newer version"):
        open_records(target)


def test_records_that_do_not_say_their_version(target):
    with open_records(target) as records, records.writing() as connection:
        connection.exec_driver_sql(f"DELETE FROM {schema.VERSION_TABLE}")
    with pytest.raises(RecordsError, match="don't say any more which version"):
        open_records(target)


def test_another_programs_tables_are_left_alone(target):
    with reach(target) as records, records.writing() as connection:
        connection.exec_driver_sql("CREATE TABLE photos (name TEXT)")
    with pytest.raises(RecordsError, match="another program"):
        open_records(target)
    with reach(target) as records, records.reading() as connection:
        assert connection.exec_driver_sql("SELECT * FROM photos").all() == []


def test_records_are_not_made_where_they_are_only_asked_for(target):
    with pytest.raises(RecordsError, match="no records yet"):
        open_records(target, make=False)


OPEN = "import sys; from seedlingcv.records.database import open_records; open_records(sys.argv[1])"


def test_three_that_open_new_records_at_once(target):
    opened = [subprocess.Popen([sys.executable, "-W", "error", "-c", OPEN, str(target)], stderr=subprocess.PIPE)
              for _ in range(3)]
    told = [process.communicate()[1] for process in opened]
    assert [process.returncode for process in opened] == [0, 0, 0], told
    with open_records(target, make=False) as records:
        assert keep_day(records, measured(day=DAY), source="photo", keys=[key("a")], version=VERSION)


def test_starting_the_program_loads_no_database_library():
    told = subprocess.run([sys.executable, "-c", "import seedlingcv.cli.app, sys; print('sqlalchemy' in sys.modules)"],
                          capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"


def test_somebody_else_was_quicker(target, monkeypatch):
    """Between a first look and the lock another program brought the records up to date: nothing is left to do."""
    open_records(target).engine.dispose()
    real, looks = migrate._revision, []
    monkeypatch.setattr(migrate, "_revision", lambda *a: looks.append(1) or ("0002" if len(looks) == 1 else real(*a)))
    with open_records(target) as records:
        assert records.backup is None and len(looks) == 2

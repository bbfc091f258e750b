"""The tables, and how those of an older version are brought up to date."""

import sqlite3
import subprocess
import sys
from dataclasses import fields

import pytest
from season_store import DAY, SOWN, VERSION, content, key, measured, register

from seedlingcv.errors import RecordsError
from seedlingcv.measure.table import CellMeasurement
from seedlingcv.records import migrate, schema
from seedlingcv.records.database import open_records, reach
from seedlingcv.records.history import Lighting
from seedlingcv.records.keep import keep_day, keep_lightings, keep_register
from seedlingcv.records.recall import read_history
from seedlingcv.records.register import FlatRow


def older(target):
    """Records as the first version made them, with something in them."""
    with reach(target) as records:
        with records.writing() as connection:
            migrate.upgrade(connection, "0001")
        assert keep_day(records, measured(), source="photo", keys=[key("a")], version=VERSION)
        keep_register(records, register(FlatRow(31, "tomato", sown=SOWN)))
        with records.writing() as connection:
            connection.exec_driver_sql("INSERT INTO lightings (shelf, light, ppfd_umol) VALUES ('S1', 'panel', '[]')")


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


def test_older_records_are_copied_and_brought_up_to_date(target, request, tmp_path):
    older(target)
    with open_records(target) as records:
        assert records.backup
        _copy_holds_the_older_tables(records.backup, request)
        (flat,) = read_history(records).flats
        assert (flat.crop, flat.days[0].measurement.cells) == ("tomato", measured().cells)
        keep_lightings(records, [Lighting("S1", "panel", window_side="row A")])
        assert [x.window_side for x in read_history(records).lightings] == ["row A"]
        before = content(records, tmp_path / "one")
    with open_records(target) as again:
        assert again.backup is None
        assert content(again, tmp_path / "two") == before


def _copy_holds_the_older_tables(backup, request):
    if backup.startswith("schema "):
        connection = request.getfixturevalue("server")[0]
        name = backup.removeprefix("schema ")
        columns = {row[0] for row in connection.execute(
            "SELECT column_name FROM information_schema.columns WHERE table_schema = %s AND table_name = 'lightings'",
            [name])}
        count = connection.execute(f"SELECT count(*) FROM {name}.cells").fetchone()
        version = connection.execute(f"SELECT version_num FROM {name}.{schema.VERSION_TABLE}").fetchone()
        connection.execute(f"DROP SCHEMA {name} CASCADE")
    else:
        connection = sqlite3.connect(backup)
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        columns = {row[1] for row in connection.execute("PRAGMA table_info(lightings)")}
        count = connection.execute("SELECT count(*) FROM cells").fetchone()
        version = connection.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchone()
        connection.close()
    assert "shelf" in columns and "window_side" not in columns
    assert (tuple(count), tuple(version)) == ((len(measured().cells),), ("0001",))


def test_the_copy_opens_as_records(tmp_path):
    older(tmp_path / "season.db")
    with open_records(tmp_path / "season.db") as records:
        copy = records.backup
    assert copy.startswith(str(tmp_path / "season.db.before-0002-"))
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

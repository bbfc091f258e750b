"""Tables made, and those of an older version brought up to date, after a copy was put aside."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from datetime import datetime
from glob import escape
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect, text

from seedlingcv.errors import RecordsError
from seedlingcv.records.database import Records
from seedlingcv.records.schema import REVISION, VERSION_TABLE, metadata
from seedlingcv.records.trouble import of_sqlite

if TYPE_CHECKING:
    from alembic.config import Config


def bring_up_to_date(records: Records, *, make: bool) -> None:
    """Make the tables or change them to this version's, all or nothing; says in `records.backup` where the copy is.

    make : whether to make tables where there are none
    Raises RecordsError; records of a newer version, and what are no records, are left as they are.
    """
    with records.reading() as connection:
        found = _revision(connection, records.place)
    if found == REVISION:
        return
    if found is None and not make:
        raise RecordsError("There are no records yet.", where=records.place,
                           next_step="Name the place that holds them.")
    backup = None
    try:
        with records.writing() as connection:
            found = _revision(connection, records.place)  # somebody else may have been quicker
            if found == REVISION:
                return
            backup = _back_up(connection, records.place) if found else None
            upgrade(connection)
    except BaseException:
        if backup and found:
            _drop_copy(records, found, backup)
        raise
    records.backup = backup


def upgrade(connection: Connection, revision: str = "head") -> None:
    from alembic import command  # slow to load, and seldom needed

    config = settings()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def settings() -> Config:
    """Alembic's, without a file."""
    from alembic.config import Config

    config = Config()
    scripts = str(Path(__file__).with_name("migrations")).replace("%", "%%")  # % has a meaning in these settings
    config.set_main_option("script_location", scripts)
    config.set_main_option("path_separator", "os")
    return config


def _revision(connection: Connection, place: str) -> str | None:
    """Which version's tables stand there; None for none."""
    tables = set(inspect(connection).get_table_names())
    if VERSION_TABLE in tables:
        found = connection.scalar(text(f"SELECT version_num FROM {VERSION_TABLE}"))
        if found is None:
            raise RecordsError("These records don't say any more which version made them.", where=place,
                               next_step="Take a copy of them, or let the photos and tables fill new ones.")
        if found != REVISION and found not in _known_revisions():
            raise RecordsError("These records were made by a newer version of seedlingcv.", where=place,
                               next_step="Bring this one up to date: pip install --upgrade seedlingcv.")
        return found
    foreign = tables if connection.dialect.name == "sqlite" else tables & set(metadata.tables)
    if foreign:  # a database on a server may well hold other things too
        raise RecordsError("This database belongs to another program, so it is left as it is.", where=place,
                           next_step="Name another one.")
    return None


def _known_revisions() -> set[str]:
    from alembic.script import ScriptDirectory

    return {script.revision for script in ScriptDirectory.from_config(settings()).walk_revisions()}


def _back_up(connection: Connection, place: str) -> str:
    if connection.dialect.name == "sqlite":
        return str(_copy_file(Path(place)))
    return f"schema {_copy_tables(connection)}"


def _copy_file(path: Path) -> Path:
    """Copy a database beside itself, checked, and on the disk for good when this returns."""
    for cut_off in path.parent.glob(f"{escape(path.name)}.before-*.part"):  # nobody else copies now
        with suppress(OSError):
            cut_off.unlink()
    copy = path.with_name(f"{path.name}.before-{REVISION}-{datetime.now():%Y%m%d-%H%M%S}")
    part = copy.with_name(f"{copy.name}.part")
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as source, \
                closing(sqlite3.connect(part)) as target:
            source.backup(target)
            checked = target.execute("PRAGMA integrity_check").fetchone()[0]
        if checked != "ok":
            raise sqlite3.DatabaseError(checked)
        _to_disk(part)
        os.replace(part, copy)
        with suppress(OSError):  # not every system lets a folder be opened
            _to_disk(path.absolute().parent)
    except (sqlite3.Error, OSError) as error:
        with suppress(OSError):
            part.unlink()
        why = of_sqlite(error)[0] if isinstance(error, sqlite3.Error) else f"{error.strerror}."
        raise RecordsError(f"The records must be brought up to date, but no copy can be put aside first: {why}",
                           where=str(copy), next_step="Nothing was changed. Make room or make the folder writable, and "
                                                      "run the same again.") from error
    return copy


def _drop_copy(records: Records, was: str, backup: str) -> None:
    """A try that changed nothing leaves no copy, or each would leave another. A server's copy went with the try."""
    if records.engine.dialect.name != "sqlite":
        return
    with suppress(RecordsError, OSError), records.reading() as connection:
        if _revision(connection, records.place) == was:
            Path(backup).unlink()


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _copy_tables(connection: Connection) -> str:
    """Copy every table into a schema of its own, in the transaction that changes them afterwards."""
    schema = f"before_{REVISION}"
    if schema in inspect(connection).get_schema_names():
        schema += f"_{datetime.now():%Y%m%d_%H%M%S}"
    quoted = connection.dialect.identifier_preparer.quote
    connection.execute(text(f"CREATE SCHEMA {quoted(schema)}"))
    for table in (*metadata.tables, VERSION_TABLE):
        if inspect(connection).has_table(table):
            connection.execute(text(f"CREATE TABLE {quoted(schema)}.{quoted(table)} AS TABLE {quoted(table)}"))
    return schema

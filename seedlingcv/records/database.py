"""The season's records: one file (SQLite), or a database that a team shares (PostgreSQL, `postgresql://…`).

One writes at a time, in either, and whoever comes second waits: SQLite by BEGIN IMMEDIATE, PostgreSQL by a lock of its
own. A transaction is there whole or not at all, whatever happens to the program. The file keeps a rollback journal, not
a write-ahead log, which doesn't work on a shared folder.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep
from typing import TYPE_CHECKING

from seedlingcv.errors import RecordsError
from seedlingcv.records.trouble import in_growers_words

if TYPE_CHECKING:
    from sqlalchemy import URL, Connection, Engine

WAIT_S = 30  # for another writer
CONNECT_S = 10  # for a server to answer
WRITERS = 7334  # names the lock that writers hold in PostgreSQL; any number does


@dataclass
class Records:
    """Open records. `place` is what people are told, without a password; `backup` where the records were copied to
    before they were brought up to date, if they were."""

    engine: Engine
    place: str
    backup: str | None = None

    def __enter__(self) -> Records:
        return self

    def __exit__(self, *_: object) -> None:
        self.engine.dispose()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction, alone in writing. Raises RecordsError, and then nothing of it was kept."""
        with in_growers_words(self.place), self.engine.connect() as connection:
            connection.execution_options(writes=True)
            if connection.dialect.name == "postgresql":  # else it wouldn't see what came while it waited for its turn
                connection.execution_options(isolation_level="READ COMMITTED")
            with connection.begin():
                yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """The records as they stand at one moment, whatever others write meanwhile. Raises RecordsError."""
        with in_growers_words(self.place), self.engine.connect() as connection:
            if connection.dialect.name == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection


def open_records(target: str | Path, *, make: bool = True) -> Records:
    """Open the records at a path or a `postgresql://` address; makes them, and brings older ones up to date.

    make : whether to make them where there are none
    Raises RecordsError. A file that is something else is left as it is.
    """
    records = reach(target, make=make)
    try:
        from seedlingcv.records.migrate import bring_up_to_date

        bring_up_to_date(records, make=make)
    except BaseException:
        records.engine.dispose()
        raise
    return records


def reach(target: str | Path, *, make: bool = True) -> Records:
    """The records' place, whatever tables are there. Raises RecordsError where it can't be a database."""
    text = str(target)
    if text.startswith(("postgresql:", "postgres:")):
        return _on_server(text.replace("postgres:", "postgresql:", 1) if text.startswith("postgres:") else text)
    return _in_file(Path(target), make)


def _in_file(path: Path, make: bool) -> Records:
    from sqlalchemy import create_engine, event
    from sqlalchemy.pool import QueuePool

    place = str(path)
    if "://" in place or ":/" in place[2:]:
        raise RecordsError("This address is of no kind that is known.", where=place.split(":")[0],
                           next_step="Name a file, or a PostgreSQL database as postgresql://name@host/database.")
    _look_at_file(path, make)
    address = f"{path.absolute().as_uri()}?mode={'rwc' if make else 'rw'}"

    def connect() -> sqlite3.Connection:
        # no isolation level: the driver must not begin transactions of its own accord, see _begin_in_file
        connection = sqlite3.connect(address, uri=True, timeout=WAIT_S, isolation_level=None, check_same_thread=False)
        for setting in ("foreign_keys = ON", "synchronous = FULL"):
            connection.execute(f"PRAGMA {setting}")
        _keep_no_log(connection)
        return connection

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool)
    event.listen(engine, "begin", _begin_in_file)
    return Records(engine, place)


def _look_at_file(path: Path, make: bool) -> None:
    """Without opening it: to close it again would take away the locks that this process has on it
    (sqlite.org/howtocorrupt.html, section 2.2). SQLite says itself whether it is a database."""
    place = str(path)
    try:
        if path.is_dir():
            raise RecordsError("This is a folder.", where=place, next_step="Name a file in it, such as season.db.")
        if path.exists():
            if not path.is_file():
                raise RecordsError("This is no file.", where=place, next_step="Name a file, such as season.db.")
        elif not make:
            raise RecordsError("There are no records yet.", where=place, next_step="Name the file that holds them.")
        elif not path.absolute().parent.is_dir():
            raise RecordsError("The folder for the records is not there.", where=place,
                               next_step="Make the folder, or name another place.")
    except OSError as error:
        raise RecordsError(f"The records can't be opened ({error.strerror}).", where=place,
                           next_step="Check that the file may be read, or name another place.") from error


def _keep_no_log(connection: sqlite3.Connection) -> None:
    """Somebody may have given the file a write-ahead log. To end it one must be alone; SQLite doesn't wait for that."""
    until = monotonic() + WAIT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = DELETE")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or monotonic() > until:
                raise
        sleep(0.05)


def _begin_in_file(connection: Connection) -> None:
    """Who writes takes the lock at once: to ask for it after having read may fail without waiting."""
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _on_server(address: str) -> Records:
    from sqlalchemy import create_engine, event
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(address).set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError) as error:
        raise RecordsError("This address can't be read.", where="postgresql://…",
                           next_step="Write postgresql://name@host/database.") from error
    try:
        engine = create_engine(url, pool_pre_ping=True, connect_args={
            "connect_timeout": CONNECT_S, "client_encoding": "utf8", "application_name": "seedlingcv"})
    except ModuleNotFoundError as error:
        raise RecordsError("For records on a server a library is missing.", where=_said(url),
                           next_step='Install it: pip install "seedlingcv[team]".') from error
    event.listen(engine, "begin", _begin_on_server)
    return Records(engine, _said(url))


def _said(url: URL) -> str:
    """The address for people: no password, and nothing after `?`, where one may stand too; what stands before the last
    @ may be a password's end, and what stands as the port of `name:12345` a password."""
    name = f"{url.username}@" if url.username else ""
    port = f":{url.port}" if url.port and url.username else ""
    return f"postgresql://{name}{(url.host or '').rpartition('@')[2]}{port}/{url.database or ''}"


def _begin_on_server(connection: Connection) -> None:
    if connection.get_execution_options().get("writes"):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{WAIT_S * 1000:.0f}ms'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS}, hashtext(coalesce(current_schema(), '')))")

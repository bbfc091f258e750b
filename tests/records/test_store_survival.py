"""Killed in the middle of writing, on a full disk, several at once: what was kept stays, and a second run completes it.
"""

import os
import random
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path

import pytest
from season_store import VERSION, content
from sqlalchemy import event
from writer import DAYS, FLATS, figures, season, write

from seedlingcv.errors import RecordsError
from seedlingcv.records.database import open_records
from seedlingcv.records.recall import known_days, read_history

WRITER = Path(__file__).with_name("writer.py")
PROGRAM = [sys.executable, "-W", "error", str(WRITER)]
PATHS = (str(WRITER.parents[2]), os.environ.get("PYTHONPATH"))
HERE = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, PATHS))}
TABLES = {"photos": "photos", "day": "measured_days", "verdict": "verdicts", "corrected": "corrections",
          "potted": "pottings"}
KILLS = 100
can_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that can fork")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """What the records say after a run that nobody disturbed."""
    folder = tmp_path_factory.mktemp("undisturbed")
    write(folder / "season.db", folder / "log")
    with open_records(folder / "season.db") as records:
        return content(records, folder / "tables")


@contextmanager
def forking() -> Iterator[subprocess.Popen]:
    """A process with everything loaded that forks a writer for each line it is given."""
    server = subprocess.Popen([*PROGRAM, "serve"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=HERE)
    try:
        yield server
    finally:
        server.communicate()


def run(server, target, log, kill_after_s=0.0) -> bool:
    """One writer, killed after that time if it still runs. Whether it was killed; it may not fail by itself."""
    server.stdin.write(f"{target} {log} {kill_after_s}\n")
    server.stdin.flush()
    status = int(server.stdout.readline())
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0
    return os.WIFSIGNALED(status)


def check_whole(target, log):
    """The records open, hold all that was told of as kept, and no flat-day in part."""
    told = [line.split(maxsplit=1) for line in Path(log).read_text().splitlines()]
    with open_records(target) as records:
        assert records.backup is None
        _check_integrity(records)
        days = {(h.flat, d.day): d.measurement.cells for h in read_history(records).flats for d in h.days}
        kept = {what: {words for kind, *rest in told if kind == what for words in rest} for what in TABLES}
        assert kept["day"] <= {f"{flat} {day}" for flat, day in days}
        for (flat, day), cells in days.items():
            right = [figures(flat, day, corrected=True).cells]
            if f"{flat} {day}" not in kept["corrected"]:
                right.append(figures(flat, day).cells)
            assert cells in right
        with records.reading() as connection:
            for what, table in TABLES.items():
                count = connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar()
                assert count >= len(kept[what]) * (2 if what == "photos" else 1)


def _check_integrity(records):
    if records.engine.dialect.name == "sqlite":
        with records.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").all() == [("ok",)]
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


def kill_often(places, undisturbed, tmp_path, kills):
    """Kill writers at random moments, each going on where the last one was killed; a finished season is compared with
    the undisturbed one, and the next place is taken."""
    chance = random.Random(2025)
    killed = finished = in_the_middle = 0
    with forking() as server:
        target, log = next(places), tmp_path / "log0"
        log.touch()
        run(server, next(places), tmp_path / "warm")  # the first one is slower than the others
        start = time.monotonic()
        run(server, next(places), tmp_path / "timed")
        longest_s = time.monotonic() - start
        while killed < kills:
            was_killed = run(server, target, log, kill_after_s=chance.uniform(0, longest_s))
            killed += was_killed
            longest_s *= 1.03 if was_killed else 0.8  # one in eight or so gets to the end, however busy the machine is
            in_the_middle += Path(f"{target}-journal").exists()
            check_whole(target, log)
            if not was_killed:
                finished += 1
                _check_same(target, undisturbed, tmp_path / f"tables{finished}")
                target, log = next(places), tmp_path / f"log{finished}"
                log.touch()
        run(server, target, log)
        check_whole(target, log)
        _check_same(target, undisturbed, tmp_path / "tables")
    return finished, in_the_middle


def _check_same(target, undisturbed, folder):
    with open_records(target) as records:
        assert content(records, folder) == undisturbed
        assert {(flat, day) for flat, day, _ in known_days(records, VERSION)} == set(season())


@can_fork
def test_a_hundred_kills_lose_nothing(undisturbed, tmp_path):
    places = (tmp_path / f"season{number}.db" for number in count())
    finished, in_the_middle = kill_often(places, undisturbed, tmp_path, KILLS)
    assert finished and in_the_middle, "a journal left behind shows that a transaction was cut off"


@can_fork
def test_kills_of_a_client_lose_nothing_on_a_server(server, undisturbed, tmp_path):
    connection, address = server

    def places():
        yield address
        name = address.rpartition("%3D")[2]
        number = 0
        try:
            while True:
                number += 1
                connection.execute(f"CREATE SCHEMA {name}_{number}")
                yield f"{address}_{number}"
        finally:
            for made in range(1, number + 1):
                connection.execute(f"DROP SCHEMA IF EXISTS {name}_{made} CASCADE")

    some = places()
    kill_often(some, undisturbed, tmp_path, 20)
    some.close()


def test_three_write_at_once(target, undisturbed, tmp_path):
    """Each writes the whole season, beginning elsewhere, so that they meet over and over."""
    logs = [tmp_path / f"log{number}" for number in range(3)]
    writers = [subprocess.Popen([*PROGRAM, "write", str(target), str(log), str(7 * number)], stderr=subprocess.PIPE,
                                env=HERE) for number, log in enumerate(logs)]
    told = [writer.communicate()[1] for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0, 0], told
    for log in logs:
        check_whole(target, log)
    with open_records(target) as records:
        assert content(records, tmp_path / "tables") == undisturbed
        with records.reading() as connection:
            counts = [connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar()
                      for table in ("flats", "sowings", "cells", "day_photos", *TABLES.values())]
    days = FLATS * DAYS
    assert counts == [FLATS, FLATS, 72 * days, 2 * days, 2 * days, days, days, days, FLATS]


def _full(path):
    """The database's size in pages, and not one more from now on."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("PRAGMA page_count").fetchone()[0]


@pytest.mark.parametrize("room", [0, 1, 5, 10, 15])
def test_a_full_disk(undisturbed, tmp_path, room):
    """SQLite ends with SQLITE_FULL where its file may not grow: sqlite.org/pragma.html#pragma_max_page_count."""
    from sqlalchemy import engine

    path, log = tmp_path / "season.db", tmp_path / "log"
    with open_records(path):
        pages = _full(path) + room

    def limit(connection, _):
        connection.execute(f"PRAGMA max_page_count = {pages}")

    event.listen(engine.Engine, "connect", limit)
    try:
        with pytest.raises(RecordsError, match="disk is full.*nothing is added twice"):
            write(path, log)
        check_whole(path, log)
    finally:
        event.remove(engine.Engine, "connect", limit)
    write(path, log)  # there is room again
    with open_records(path) as records:
        assert content(records, tmp_path / "tables") == undisturbed


def write_up_to(size, path, log):
    """A writer whose files may not grow beyond so many bytes."""
    limits = pytest.importorskip("resource")
    return subprocess.run([*PROGRAM, "write", str(path), str(log)], env=HERE, capture_output=True, text=True,
                          preexec_fn=lambda: limits.setrlimit(limits.RLIMIT_FSIZE, (size, size)))


@pytest.mark.parametrize("room_bytes", [0, 3_000, 20_000, 40_000])
def test_a_file_that_may_not_grow(undisturbed, tmp_path, room_bytes):
    """The system itself refuses to write on: setrlimit(2), RLIMIT_FSIZE."""
    path, log = tmp_path / "season.db", tmp_path / "log"
    with open_records(path):
        size = path.stat().st_size + room_bytes
    stopped = write_up_to(size, path, log)
    assert stopped.returncode == 1
    assert stopped.stderr.startswith("RecordsError: ") and "nothing is added twice" in stopped.stderr
    check_whole(path, log)
    write(path, log)
    with open_records(path) as records:
        assert content(records, tmp_path / "tables") == undisturbed


def test_records_can_not_even_be_made_where_there_is_no_room(tmp_path):
    path = tmp_path / "season.db"
    stopped = write_up_to(20_000, path, tmp_path / "log")
    assert stopped.stderr.startswith("RecordsError: ")
    with open_records(path) as records:
        assert read_history(records).flats == ()

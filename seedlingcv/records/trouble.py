"""What a database complains of, in a grower's words. A password is never in them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from seedlingcv.errors import RecordsError

SAFE = "What was kept before is safe."
AGAIN = f"{SAFE} Then run the same again; nothing is added twice."

OF_FILE = {
    sqlite3.SQLITE_BUSY: ("Another program has been writing to the records for too long.",
                          f"Wait until it has finished or close it. {AGAIN}"),
    sqlite3.SQLITE_READONLY: ("The records may be read but not added to.",
                              f"Make the file and its folder writable, or name another place. {AGAIN}"),
    sqlite3.SQLITE_FULL: ("The disk is full.", f"Make room on it. {AGAIN}"),
    sqlite3.SQLITE_IOERR: ("The disk or the share with the records can't be read or written; it may be full or gone.",
                           f"Check it. {AGAIN}"),
    sqlite3.SQLITE_CANTOPEN: ("The records can't be opened or made there.",
                              "Check that the folder is there and that you may write in it, or name another place."),
    sqlite3.SQLITE_NOTADB: ("This is no file of records, so it is left as it is.", "Name another file."),
    sqlite3.SQLITE_CORRUPT: ("The file of records is damaged.",
                             "Put it aside and take a copy of it, or let the photos and tables fill a new one."),
}
OF_FILE[sqlite3.SQLITE_LOCKED] = OF_FILE[sqlite3.SQLITE_BUSY]
OF_FILE[sqlite3.SQLITE_PERM] = OF_FILE[sqlite3.SQLITE_AUTH] = OF_FILE[sqlite3.SQLITE_READONLY]

NOT_LET_IN = ("The server doesn't let you in: the name or the password is wrong, or it asks for one.",
              "Check both in the address, or set the environment variable PGPASSWORD.")
NO_DATABASE = ("The server has no database of that name.",
               "Check the address, or ask whoever looks after the server to make it.")
NOT_REACHED = ("The server can't be reached.", f"Check its address, the network, and that it runs. {AGAIN}")
NOT_ALLOWED = ("The database doesn't allow you that.",
               f"Ask whoever looks after the server for the right to make tables and schemas in it. {AGAIN}")
OF_SERVER = {  # SQLSTATE, or its class
    "28": NOT_LET_IN, "3D": NO_DATABASE, "08": NOT_REACHED, "57": NOT_REACHED, "42501": NOT_ALLOWED,
    "55P03": OF_FILE[sqlite3.SQLITE_BUSY], "53100": ("The server's disk is full.", f"Make room on it. {AGAIN}"),
    "53": ("The server is too busy.", f"Wait a little. {AGAIN}"),
}
SIGNS = {"password": NOT_LET_IN, "authentication": NOT_LET_IN, "role ": NOT_LET_IN, "does not exist": NO_DATABASE}


@contextmanager
def in_growers_words(place: str) -> Iterator[None]:
    """Raises RecordsError for whatever the database at `place` complains of."""
    from sqlalchemy.exc import DBAPIError

    try:
        yield
    except DBAPIError as error:
        what, next_step = _words(error.orig)
        raise RecordsError(what, where=place, next_step=next_step) from error


def of_sqlite(error: sqlite3.Error) -> tuple[str, str]:
    """What is wrong and what to do."""
    code = getattr(error, "sqlite_errorcode", None)  # higher bits say more of the same
    return OF_FILE.get(code & 0xFF if code else 0) or _unknown(error)


def _words(error: BaseException | None) -> tuple[str, str]:
    if isinstance(error, sqlite3.Error):
        return of_sqlite(error)
    state = getattr(error, "sqlstate", None)
    if state:
        return OF_SERVER.get(state) or OF_SERVER.get(state[:2]) or _unknown(error)
    if type(error).__name__ != "OperationalError":
        return _unknown(error)
    text = str(error)  # where no connection came about, the words are all there is
    return next((words for sign, words in SIGNS.items() if sign in text), NOT_REACHED)


def _unknown(error: BaseException | None) -> tuple[str, str]:
    first = (str(error).strip().splitlines() or [""])[0]
    return f"The database refused it ({first}).", f"{SAFE} Please report how you came here."

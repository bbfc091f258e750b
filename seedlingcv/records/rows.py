"""Rows into tables, whichever database it is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from importlib import import_module
from typing import Any

from sqlalchemy import Connection, Table, func, select

Row = dict[str, Any]


def insert_into(connection: Connection, table: Table):
    """The dialect's own insert, which knows `on_conflict`."""
    return import_module(f"sqlalchemy.dialects.{connection.dialect.name}").insert(table)


def put(connection: Connection, table: Table, rows: list[Row], key: list[str]) -> None:
    """Add rows, or replace those that have the same key."""
    if not rows:
        return
    statement = insert_into(connection, table)
    others = {name: statement.excluded[name] for name in rows[0] if name not in key}
    connection.execute(statement.on_conflict_do_update(index_elements=key, set_=others), rows)


def hash_of(content: object) -> str:
    return sha256(json.dumps(content, sort_keys=True, default=str).encode()).hexdigest()


def readable(name: str) -> str:
    """A file's name may hold bytes that are no text, which no database takes."""
    return name.encode("utf-8", "replace").decode()


def moments(connection: Connection, table: Table) -> Iterator[datetime]:
    """Times of recording, each later than all that the table has: the clock may have been put back since."""
    last = connection.scalar(select(func.max(table.c.recorded_at))) or datetime.min
    while True:
        last = max(now(), last + timedelta(microseconds=1))
        yield last


def now() -> datetime:
    """UTC, without saying so: SQLite keeps no zone."""
    return datetime.now(UTC).replace(tzinfo=None)

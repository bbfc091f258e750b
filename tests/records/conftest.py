"""A place for records in both kinds of database: a file, and a schema of its own on a real PostgreSQL server.

SEEDLINGCV_TEST_POSTGRES is the address of a database in which schemas can be made; `.ci/run` starts a server for it.
"""

import secrets

import pytest
from season_store import server_address

from seedlingcv.records.database import open_records


@pytest.fixture
def server():
    """A connection to the server as itself, past the program; and the address of a schema that is gone afterwards."""
    psycopg = pytest.importorskip("psycopg")
    address = server_address()
    schema = f"test_{secrets.token_hex(6)}"
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {schema}")
        connection.execute(f"SET search_path = {schema}")
        joint = "&" if "?" in address else "?"
        try:
            yield connection, f"{address}{joint}options=-csearch_path%3D{schema}"
        finally:
            connection.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request, tmp_path):
    """Where records may be made: a path, or an address."""
    if request.param == "sqlite":
        return tmp_path / "season.db"
    return request.getfixturevalue("server")[1]


@pytest.fixture
def records(target):
    with open_records(target) as opened:
        yield opened

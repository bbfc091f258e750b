"""Invented flats for the tests of the records, and what the records hold, for comparing."""

import os
from datetime import date
from pathlib import Path

import pytest

from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.export import export_tables
from seedlingcv.records.register import FlatRow, Register

SOWN = date(2025, 2, 23)
DAY = date(2025, 3, 20)
VERSION = "0.1.0"


def server_address() -> str:
    """The server's address; tests that need it skip without it."""
    address = os.environ.get("SEEDLINGCV_TEST_POSTGRES")
    if not address:
        pytest.skip("no PostgreSQL server: SEEDLINGCV_TEST_POSTGRES names none")
    return address


def cells(rows=2, columns=3, stem_mm=30.0, **more):
    return tuple(CellMeasurement(cell_name(row, column), plants=1, stem_length_mm=stem_mm + 10 * row + column,
                                 leaf_spread_mm=50.0, true_leaves=2, stem_from="side", flags=("height_unsure",),
                                 se={"stem_length_mm": 1.5}, **more)
                 for row in range(rows) for column in range(1, columns + 1))


def measured(flat=31, day=DAY, rows=2, columns=3, **more):
    return FlatMeasurement(flat, day, rows, columns, cells(rows, columns, **more), flags=("height_from_side",))


def key(name) -> str:
    """Stands for the SHA-256 of a photo: 64 characters."""
    return f"{name:>064}"


def register(*rows: FlatRow) -> Register:
    by_flat: dict[int, tuple[FlatRow, ...]] = {}
    for row in rows:
        by_flat[row.flat] = (*by_flat.get(row.flat, ()), row)
    return Register(Path("flats.csv"), {flat: own[0] for flat, own in by_flat.items()}, parts=by_flat)


def content(records, folder: Path) -> dict[str, bytes]:
    """All that the records say, table by table, without the database's own numbers and clocks."""
    return {path.name: path.read_bytes() for path in export_tables(records, folder)}

"""How quick the records are with a season's 100 000 plants in them.

    python -m seedlingcv.benchmarks.records

In a file and, where SEEDLINGCV_TEST_POSTGRES is the address of a database, on that server too, in a schema that is gone
afterwards. All figures are invented. Two seasons: 200 flats on 7 days, and 1389 flats on one day, 72 cells each.
"""

from __future__ import annotations

import os
import random
import secrets
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from hashlib import sha256
from pathlib import Path

from seedlingcv import __version__
from seedlingcv.flat.layout import cell_name
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.records.database import Records, open_records
from seedlingcv.records.keep import KeptVerdict, Photo, keep_day, keep_photos, keep_register, keep_verdicts
from seedlingcv.records.recall import newest_verdicts, read_history
from seedlingcv.records.register import FlatRow, Register

ROWS, COLUMNS = 6, 12
FIRST_DAY = date(2025, 3, 1)
CROPS = ("tomato", "pepper", "basil", "lettuce", "cabbage", "leek", "celery", "marigold", "parsley", "cucumber")
REPEATS = 5


def main() -> None:
    print(f"{'':34}{'list':>9}{'one flat':>10}{'one crop':>10}{'a day kept':>12}   (seconds; median)")
    for flats, days in ((200, 7), (1389, 1)):
        for name, place in places():
            with place as target, open_records(target) as records:
                kept = fill(records, flats, days)
                print(f"{name}, {flats} flats x {days} days".ljust(34) + times(records, kept), flush=True)


def places() -> Iterator[tuple[str, object]]:
    yield "file", a_file()
    address = os.environ.get("SEEDLINGCV_TEST_POSTGRES")
    if address:
        yield "server", a_schema(address)


@contextmanager
def a_file() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder) / "season.db"


@contextmanager
def a_schema(address: str) -> Iterator[str]:
    import psycopg

    schema = f"bench_{secrets.token_hex(6)}"
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {schema}")
        try:
            yield f"{address}{'&' if '?' in address else '?'}options=-csearch_path%3D{schema}"
        finally:
            connection.execute(f"DROP SCHEMA {schema} CASCADE")


def fill(records: Records, flats: int, days: int) -> list[float]:
    """Write a season; returns how long each flat-day took to keep, in seconds."""
    rows = {10 + i: FlatRow(10 + i, CROPS[i % len(CROPS)], None, ROWS, COLUMNS, FIRST_DAY - timedelta(14), "panel")
            for i in range(flats)}
    keep_register(records, Register(Path("flats.csv"), rows))
    took = []
    for number in range(days):
        day = FIRST_DAY + timedelta(4 * number)
        for flat in rows:
            keys = [sha256(f"{flat} {day} {view}".encode()).hexdigest() for view in ("overhead", "second", "side")]
            keep_photos(records, [Photo(f"{key[:8]}.jpg", key, "overhead", None, flat, True) for key in keys])
            measured = measurement(flat, day)
            start = time.perf_counter()
            keep_day(records, measured, source="photo", keys=keys, version=__version__)
            took.append(time.perf_counter() - start)
        keep_verdicts(records, [verdict(flat, day) for flat in rows])
    return took


def measurement(flat: int, day: date) -> FlatMeasurement:
    """72 cells, all figures had in the front row, those from above in the others."""
    chance = random.Random(f"{flat} {day}")

    def cell(row: int, column: int) -> CellMeasurement:
        above = {"plants": 1, "canopy_cover": chance.random(), "leaf_spread_mm": chance.uniform(30, 60),
                 "leaf_area_mm2": chance.uniform(300, 900), "true_leaves": 2, "greenness": chance.random(),
                 "yellow_fraction": 0.01}
        side = {"stem_length_mm": chance.uniform(20, 60), "hypocotyl_length_mm": chance.uniform(10, 30),
                "stem_diameter_mm": 2.1, "height_mm": chance.uniform(20, 60), "row_spread_mm": 40.0, "lean_deg": 4.0}
        flags = () if row == 0 else ("not_in_front_row",)
        return CellMeasurement(cell_name(row, column), **above, **(side if row == 0 else {}), flags=flags,
                               se={"leaf_spread_mm": 1.2, "canopy_cover": 0.01})

    cells = tuple(cell(row, column) for row in range(ROWS) for column in range(1, COLUMNS + 1))
    return FlatMeasurement(flat, day, ROWS, COLUMNS, cells)


def verdict(flat: int, day: date) -> KeptVerdict:
    """About as long as a real one."""
    tree = {"reasons": [f"an invented reason of usual length, number {i}, with its figures" for i in range(6)],
            "limits": [{"kind": "touch", "day": day.isoformat(), "text": "leaves touch", "assumed": False}] * 3,
            "would_change": ["two more leaves", "a shorter stem"], "legginess_band": "normal", "leggy_share": 0.1}
    return KeptVerdict(flat, None, day, day, "pot_up", day + timedelta(5), tree)


def times(records: Records, kept: list[float]) -> str:
    """The medians of some runs, and of the flat-days kept."""
    newest = FIRST_DAY + timedelta(90)
    jobs: list[Callable[[], object]] = [lambda: newest_verdicts(records, today=newest),
                                        lambda: read_history(records, flats=[17]),
                                        lambda: read_history(records, crop=CROPS[0])]
    medians = [statistics.median(_time(job) for _ in range(REPEATS)) for job in jobs]
    return f"{medians[0]:9.3f}{medians[1]:10.3f}{medians[2]:10.3f}{statistics.median(kept):12.4f}"


def _time(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


if __name__ == "__main__":
    main()

"""The records as tables for other programs: CSV (UTF-8, RFC 4180) or Parquet, one file a table.

    flats, moves, lights, corrections, root_checks, potted   as the readers of these tables take them, so that they and
                                                             the photos make the records anew
    photos, measurements, verdicts                           what the program made of them

A folder that holds tables of the grower's own is refused: they are what the records are made anew from. So that an
export that broke off can be repeated, a file that marks the folder as an export's comes first.

A number used again has its newest flat in `flats` and the ones before in `flats_before`, `flats_before_2` and so on,
since a register has room for one. What a photo showed of roots is in `root_photos`.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, select

from seedlingcv.errors import OutputError, RecordsError
from seedlingcv.files import write_whole
from seedlingcv.records import schema
from seedlingcv.records.belonging import Season, seasons_of
from seedlingcv.records.database import Records
from seedlingcv.records.files import flats_before
from seedlingcv.records.history import FlatDay, FlatHistory, Lighting
from seedlingcv.records.recall import AsMeasured, as_measured, read_history
from seedlingcv.records.register import NAME
from seedlingcv.records.sowing import sowings
from seedlingcv.records.standing import one_by_one

Kind = Literal["text", "whole", "number", "day", "time", "truth"]
FORMULA = re.compile(r"'*[=+\-@\t]")  # begins what a spreadsheet would reckon with, or is marked already
MARK = "seedlingcv_export.txt"
MEASUREMENTS = "measurements.csv"
MARKED = "Tables that `seedlingcv records export` wrote; the next export into this folder writes over them.\n"
REGISTER = ("crop", "variety", "sown", "light", "roots", "seed_lot", "batch", "shelf")
NUMBERS = tuple(name for name in schema.FIGURES if name not in schema.WORDS)
COMPUTED = ("legginess", "sturdiness_quotient")
OURS = ("photos", "measurements", "verdicts")  # tables that nobody but an export writes


@dataclass(frozen=True)
class Sheet:
    """A table to write: its columns with their kinds, and its rows in the columns' order."""

    name: str
    columns: dict[str, Kind]
    rows: list[tuple[Any, ...]]


def export_tables(records: Records, folder: Path, form: Literal["csv", "parquet"] = "csv") -> list[Path]:
    """Write one file a table into the folder, which is made if need be, and return them.

    Raises RecordsError if the records can't be read or the library for Parquet is missing, OutputError if the files
    can't be written or would take the place of others than an earlier export's.
    """
    content = {"csv": _csv, "parquet": _parquet}[form]
    sheets = _sheets(records)
    sheets += [_register(name, ()) for name in _left_behind(folder, form) if name not in {s.name for s in sheets}]
    files = {sheet.name: folder / f"{sheet.name}.{form}" for sheet in sheets}
    there = [path.name for path in files.values() if path.exists()]
    mark = folder / MARK
    if there and not mark.exists() and not all(files[name].exists() for name in OURS):
        raise OutputError(f"{there[0]} is there already, and is not of an export; it won't be written over.",
                          where=str(folder), next_step="Name another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"The folder can't be made ({error.strerror}).", where=str(folder),
                          next_step="Name another place.") from error
    write_whole(mark, MARKED)
    written = []
    for sheet in sheets:
        path = files[sheet.name]
        write_whole(path, content(sheet))
        written.append(path)
    return written


def _left_behind(folder: Path, form: str) -> Iterator[str]:
    """Registers of earlier seasons of an earlier export, which must not come back if there are fewer seasons now."""
    turn = 1
    while (folder / f"{flats_before(turn)}.{form}").exists():
        yield flats_before(turn)
        turn += 1


def _csv(sheet: Sheet) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)  # ends lines as RFC 4180 has it
    writer.writerow([_written(name, "text") for name in sheet.columns])
    for row in sheet.rows:
        writer.writerow([_written(value, kind) for value, kind in zip(row, sheet.columns.values(), strict=True)])
    return out.getvalue().encode()


def _written(value: Any, kind: Kind) -> Any:
    if value is None:
        return ""
    if kind == "text":  # a spreadsheet must not take it for a formula
        return f"'{value}" if FORMULA.match(value) else value
    if kind == "truth":
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else value


def _parquet(sheet: Sheet) -> bytes:
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ModuleNotFoundError as error:
        raise RecordsError("For Parquet files a library is missing.",
                           next_step='Install it: pip install "seedlingcv[parquet]". CSV needs none.') from error
    types = {"text": pa.string(), "whole": pa.int64(), "number": pa.float64(), "day": pa.date32(),
             "time": pa.timestamp("us"), "truth": pa.bool_()}
    columns = list(zip(*sheet.rows, strict=True)) or [()] * len(sheet.columns)
    out = io.BytesIO()
    parquet.write_table(pa.table({name: pa.array(values, types[kind]) for (name, kind), values
                                  in zip(sheet.columns.items(), columns, strict=True)}), out)
    return out.getvalue()


def _sheets(records: Records) -> list[Sheet]:
    history = read_history(records)
    with records.reading() as connection:
        measured = as_measured(connection)
        return [*_registers(connection), _moves(connection), _lights(history.lightings), _photos(connection),
                _measurements(history.flats, measured), _verdicts(connection), _corrections(connection),
                *_root_checks(connection), _potted(connection)]


def _registers(connection: Connection) -> Iterator[Sheet]:
    rows = sowings(connection)
    left = sorted((s for s in seasons_of(connection) if s.id in rows), key=lambda s: (s.number, s.started or date.min))
    turn = 0
    while left or not turn:
        newest = {s.number: s for s in left}
        left = [s for s in left if newest[s.number] is not s]
        turn += 1
        yield _register(flats_before(turn - 1) if turn > 1 else NAME,
                        [(s, row) for s in newest.values() for row in rows[s.id]])


def _register(name: str, rows: Sequence[tuple[Season, dict[str, Any]]]) -> Sheet:
    extra = list(dict.fromkeys(key for _, row in rows for key in row["extra"]))
    kinds: dict[str, Kind] = {"flat": "whole", "layout": "text", "cells": "text"}
    kinds |= {column: "day" if column == "sown" else "text" for column in (*REGISTER, *extra)}
    return Sheet(name, kinds, [
        (s.number, f"{s.rows}x{s.columns}" if s.rows else None, row["part"] or None, *(row[c] for c in REGISTER),
         *(row["extra"].get(key) for key in extra)) for s, row in rows])


def _moves(connection: Connection) -> Sheet:
    flats, stands = schema.flats.c, schema.stands.c
    rows = connection.execute(select(flats.number, stands.day, stands.shelf, stands.light)
                              .where(stands.flat_id == flats.id).order_by(flats.number, stands.day))
    return Sheet("moves", {"flat": "whole", "date": "day", "shelf": "text", "light": "text"}, _plain(rows))


def _lights(lightings: Sequence[Lighting]) -> Sheet:
    kinds: dict[str, Kind] = {  # dates first: a row that began with a shelf called #A would be read as a remark
        "from": "day", "to": "day", "shelf": "text", "light": "text", "type": "text", "spectrum": "text",
        "ppfd": "text", "hours": "number", "distance_mm": "number", "red_far_red": "number", "window_side": "text",
        "dli_mol": "number"}
    return Sheet("lights", kinds, [
        (x.since, x.until, x.shelf, x.light, x.kind, x.spectrum, _grid(x.ppfd_umol), x.hours, x.distance_mm,
         x.red_far_red, x.window_side, x.dli_mol) for x in one_by_one(lightings)])


def _grid(readings: Sequence[Sequence[float]]) -> str | None:
    return " / ".join(" ".join(map(_number, row)) for row in readings) or None


def _number(value: float) -> str:
    return f"{value:.0f}" if value == int(value) else repr(value)


def _photos(connection: Connection) -> Sheet:
    flats, photos = schema.flats.c, schema.photos.c
    rows = connection.execute(
        select(photos.file, photos.taken, photos.view, flats.number, photos.usable, photos.problems, photos.sha256)
        .outerjoin(schema.flats, photos.flat_id == flats.id).order_by(photos.taken, photos.file, photos.id))
    kinds: dict[str, Kind] = {"file": "text", "taken": "time", "view": "text", "flat": "whole", "usable": "truth",
                              "problems": "text", "sha256": "text"}
    return Sheet("photos", kinds, [(*first, " ".join(problems or ()), key) for *first, problems, key in rows])


def _measurements(flats: Sequence[FlatHistory], measured: AsMeasured) -> Sheet:
    kinds: dict[str, Kind] = {
        "flat": "whole", "date": "day", "cell": "text", "part": "text", "crop": "text", "variety": "text",
        "sown": "day", "age_days": "whole", "shelf": "text", "light": "text", "source": "text",
        "program_version": "text"}
    kinds |= {name: "text" if name in schema.WORDS else "number" for name in (*schema.FIGURES, *COMPUTED)}
    kinds |= {"flags": "text"} | {f"{name}_se": "number" for name in NUMBERS}
    kinds |= {f"{name}_measured": "number" for name in NUMBERS}
    rows = [row for flat in flats for day in flat.days for row in _cells(flat, day, measured)]
    return Sheet("measurements", kinds, sorted(rows, key=lambda row: row[:2]))


def _cells(flat: FlatHistory, day: FlatDay, measured: AsMeasured) -> Iterator[tuple[Any, ...]]:
    version, before = measured[flat.flat, day.day]
    for cell in day.measurement.cells:
        old = before.get(cell.cell) if "corrected" in cell.flags else None
        yield (flat.flat, day.day, cell.cell, flat.part, flat.crop, flat.variety, flat.sown, day.age_days, day.shelf,
               day.light, day.source, version, *(getattr(cell, name) for name in (*schema.FIGURES, *COMPUTED)),
               " ".join(cell.flags), *(cell.se.get(name) for name in NUMBERS),
               *((getattr(old, n) if old and getattr(old, n) != getattr(cell, n) else None) for n in NUMBERS))


def _verdicts(connection: Connection) -> Sheet:
    flats, verdicts = schema.flats.c, schema.verdicts.c
    rows = connection.execute(
        select(flats.number, verdicts.part, verdicts.day, verdicts.today, verdicts.action, verdicts.due, verdicts.tree)
        .where(verdicts.flat_id == flats.id).order_by(flats.number, verdicts.day, verdicts.today, verdicts.part))
    kinds: dict[str, Kind] = {"flat": "whole", "part": "text", "date": "day", "list_of": "day", "action": "text",
                              "due": "day", "details_json": "text"}
    return Sheet("verdicts", kinds, [(flat, part or None, *rest, json.dumps(tree, ensure_ascii=False))
                                     for flat, part, *rest, tree in rows])


def _corrections(connection: Connection) -> Sheet:
    flats, table = schema.flats.c, schema.corrections.c
    rows = connection.execute(
        select(flats.number, table.day, table.cell, table.figure, table.value, table.who, table.when, table.why,
               table.measured).where(table.flat_id == flats.id)
        .order_by(flats.number, table.day, table.cell, table.figure, table.recorded_at, table.id))
    kinds: dict[str, Kind] = {"flat": "whole", "date": "day", "cell": "text", "figure": "text", "value": "number",
                              "who": "text", "when": "day", "why": "text", "measured_value": "number"}
    return Sheet("corrections", kinds, _plain(rows))


def _root_checks(connection: Connection) -> Iterator[Sheet]:
    flats, checks = schema.flats.c, schema.root_checks.c
    for source, name in (("hand", "root_checks"), ("photo", "root_photos")):
        rows = connection.execute(
            select(flats.number, checks.day, checks.roots, checks.who)
            .where(checks.flat_id == flats.id, checks.source == source).order_by(checks.day, flats.number, checks.id))
        yield Sheet(name, {"flat": "whole", "date": "day", "roots": "text", "who": "text"}, _plain(rows))


def _potted(connection: Connection) -> Sheet:
    flats, table = schema.flats.c, schema.pottings.c
    rows = connection.execute(
        select(flats.number, table.day, table.part, table.plants, table.pot, table.who, table.note)
        .where(table.flat_id == flats.id).order_by(table.day, flats.number, table.id))
    kinds: dict[str, Kind] = {"flat": "whole", "date": "day", "cells": "text", "plants": "whole", "pot": "text",
                              "who": "text", "note": "text"}
    return Sheet("potted", kinds, [(flat, day, part or None, *rest) for flat, day, part, *rest in rows])


def _plain(rows: Any) -> list[tuple[Any, ...]]:
    return [tuple(row) for row in rows]

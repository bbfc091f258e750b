"""A grower's tables into the records, whatever they are and in whatever order they come."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from hashlib import sha256
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.records.belonging import season_on, seasons_of
from seedlingcv.records.counting import cells_by_ruler
from seedlingcv.records.database import Records
from seedlingcv.records.export import MARK, MEASUREMENTS
from seedlingcv.records.files import FIGURES, KINDS, AnyTable, find_tables, read_table_of_any_kind
from seedlingcv.records.keep import (
    keep_corrections,
    keep_day,
    keep_lightings,
    keep_moves,
    keep_pottings,
    keep_register,
    keep_root_checks,
)
from seedlingcv.records.log import RootCheck
from seedlingcv.records.recall import register_rows
from seedlingcv.records.register import FlatRow, Register
from seedlingcv.records.rows import readable
from seedlingcv.records.ruler import BY_HAND, RulerSheet, on_layout
from seedlingcv.records.slips import inside, of_figures
from seedlingcv.records.summary import days_measured, row_contents, strays


@dataclass
class Added:
    """lines : what became of each file; notes : what to know; complaints : what could not be used
    crops : that registers name, with their flats
    """

    lines: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    crops: dict[str, set[int]] = field(default_factory=dict)


def add_tables(records: Records, files: Sequence[Path]) -> Added:
    """Registers go first, so that figures find their flats, and corrections last.

    files : tables, or folders, whose tables of the usual names are taken
    Raises RegisterError if one of them can't be read or told, before any is added; RecordsError.
    """
    tables = [read_table_of_any_kind(path) for path in _each(files)]
    done = Added()
    for table in sorted(tables, key=lambda t: list(KINDS).index(t.kind)):
        done.complaints += table.complaints
        before = row_contents(records)
        if table.kind == FIGURES:
            days, new = _add_figures(records, table, done)
            done.lines.append(f"{table.path.name}: {_count(days, 'flat-day')} of figures, {new} of them new.")
            if table.path.name == MEASUREMENTS:
                done.notes.append(f"{MEASUREMENTS}: an export's figures count as by ruler; photos of the same days, "
                                  "assessed again, go before them.")
            continue
        rows, gone = _add(records, table, done)
        new = (row_contents(records)[table.kind] - before[table.kind]).total()
        taken_out = f"; {gone} taken out that it doesn't say any more" if gone else ""
        done.lines.append(f"{table.path.name}: {_count(rows, 'row')} of {table.kind}, {new} of them new or changed"
                          f"{taken_out}.")
    for table in tables:
        if table.kind in ("moves", "root_checks", "potted", "corrections"):
            done.notes += [f"{table.path.name}: {said}" for said in strays(records, table.content)]
    return done


def _each(files: Sequence[Path]) -> list[Path]:
    found = []
    for path in files:
        inside = [*find_tables(path), *_measured(path)] if path.is_dir() else [path]
        if not inside:
            raise RegisterError("There is no table of a usual name in this folder.", where=str(path),
                                next_step=f"Name the files, or call them such as {', '.join(sorted(KINDS))} (.csv or "
                                          ".xlsx).")
        found += inside
    return list(dict.fromkeys(found))


def _measured(folder: Path) -> list[Path]:
    """The figures of an export; beside photos there are none."""
    figures = folder / MEASUREMENTS
    return [figures] if (folder / MARK).exists() and figures.exists() else []


def _add(records: Records, table: AnyTable, done: Added) -> tuple[int, int]:
    """How many rows the table has, and how many that were kept before it took out."""
    content, told_by = table.content, _told_by(table.path)
    gone = 0
    if table.kind == "flats":
        done.notes += keep_register(records, content)
        for row in (row for flat in content.flats for row in content.rows(flat) if row.crop):
            done.crops.setdefault(row.crop, set()).add(row.flat)
        return sum(len(content.rows(flat)) for flat in content.flats), gone
    if table.kind in ("corrections", "potted"):
        content, remarks = inside(records, content)
        done.complaints += [f"{table.path.name}: {remark}" for remark in remarks]
    if table.kind == "corrections":
        remarks = keep_corrections(records, content, told_by=told_by)
        done.complaints += [f"{table.path.name}: {remark}" for remark in remarks]
    elif table.kind == "root_checks":
        keep_root_checks(records, content, told_by=told_by)
    elif table.kind == "potted":
        keep_pottings(records, content)
    else:
        gone = {"lights": keep_lightings, "moves": keep_moves}[table.kind](records, content, told_by=told_by)
    return len(content), gone


def _told_by(path: Path) -> str:
    """A table's name in the records: wherever the program was started, it is the same table."""
    return readable(str(path.resolve()))


def _add_figures(records: Records, table: AnyTable, done: Added) -> tuple[int, int]:
    """How many flat-days the sheet has, and how many of them are new."""
    name, sheet = table.path.name, table.content
    _add_what_it_says(records, table.path, sheet)
    done.notes += [f"{name}: {said}" for said in of_figures(records, [m for f in sheet.flats for m in f.days])]
    registered, photographed = register_rows(records), days_measured(records, "photo")
    days = new = 0
    for flat in sheet.flats:
        for measured in flat.days:
            if measured.day is None:
                done.complaints.append(f"{name} flat {measured.flat}: figures without a date can't be kept; write the "
                                       "day they were measured.")
                continue
            days += 1
            row = next(iter(registered.get(measured.flat, ())), flat.row)
            if row.rows and not (row.sown and row.sown > measured.day):
                measured = on_layout(measured, row, name, done.complaints)
            hidden = _hidden(records, measured)
            if hidden:
                done.notes.append(f"flat {measured.flat} was measured by ruler on {measured.day} in cells that {name} "
                                  f"doesn't have ({', '.join(hidden)}). The figures read last count alone, so put all "
                                  "cells of a day into one sheet.")
            if not keep_day(records, measured, source="ruler", keys=[_hash(measured)], version=BY_HAND):
                continue
            new += 1
            if (measured.flat, measured.day) in photographed:
                done.notes.append(f"flat {measured.flat} was measured from photos on {measured.day} too, and these "
                                  f"count; the figures in {name} are kept beside them. To overrule a photo, correct "
                                  "it: `seedlingcv records correct`.")
    return days, new


def _hidden(records: Records, measured: FlatMeasurement) -> list[str]:
    """Cells that were measured by ruler that day and won't count any more."""
    assert measured.day is not None
    with records.reading() as connection:
        season = season_on(seasons_of(connection, [measured.flat]), measured.day)
        before = cells_by_ruler(connection, season.id, measured.day) if season else []
    now = {cell.cell for cell in measured.cells}
    return [cell for cell in before if cell not in now]


def _add_what_it_says(records: Records, path: Path, sheet: RulerSheet) -> None:
    """What a sheet of figures says of flats that no register has told of, and its root checks."""
    known = register_rows(records)
    rows = [replace(flat.row, roots=None) for flat in sheet.flats if flat.row.flat not in known]
    keep_register(records, Register(path, {row.flat: row for row in rows if row != FlatRow(row.flat)}))
    keep_root_checks(records, [RootCheck(flat.row.flat, flat.measurement.day, flat.row.roots) for flat in sheet.flats
                               if flat.row.roots and flat.measurement.day], told_by=_told_by(path))


def _hash(measured: FlatMeasurement) -> str:
    """Of a day's figures, its identity: the same sheet may be added twice."""
    return sha256(json.dumps([asdict(cell) for cell in measured.cells], sort_keys=True).encode()).hexdigest()


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"

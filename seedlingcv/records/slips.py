"""What can't be so in rows that are read well, beside what the records know of their flats."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import TypeVar

from sqlalchemy import select

from seedlingcv.measure.table import FlatMeasurement
from seedlingcv.records import schema
from seedlingcv.records.belonging import Season, season_on, seasons_of
from seedlingcv.records.database import Records
from seedlingcv.records.log import Correction, Potting
from seedlingcv.records.parts import REST, cell_place, covered, read_part
from seedlingcv.records.recall import register_rows
from seedlingcv.records.sheet import ranges
from seedlingcv.records.sowing import part_labels, sowings
from seedlingcv.records.summary import flats_by_number

Row = TypeVar("Row", Correction, Potting)


def inside(records: Records, rows: Iterable[Row]) -> tuple[list[Row], list[str]]:
    """The rows but those of cells that their flat hasn't got, and a complaint of each of these."""
    seasons = flats_by_number(records)
    fit, complaints = [], []
    for row in rows:
        said = outside(row, season_on(seasons.get(row.flat, ()), row.day))
        if said:
            complaints.append(f"{said} It is left out; correct the cells or the layout.")
        else:
            fit.append(row)
    return fit, complaints


def outside(row: Correction | Potting, flat: Season | None) -> str:
    """What is wrong with a row's cells, as far as the flat's layout is known; empty if nothing is."""
    cells = row.cell if isinstance(row, Correction) else row.part
    if not (flat and flat.rows and flat.columns and cells) or cells == REST:
        return ""
    if isinstance(row, Correction):
        place = cell_place(cells)
        fits = place is None or (place[0] < flat.rows and place[1] <= flat.columns)
        cells = f"cell {cells}"
    else:
        fits = read_part(cells).fits(flat.rows, flat.columns)
    return "" if fits else f"Flat {row.flat} has {flat.rows}x{flat.columns} cells, so no {cells}."


def of_figures(records: Records, measured: Sequence[FlatMeasurement]) -> list[str]:
    """What looks like a slip in figures that are about to be kept: a day before the sowing, a flat in no register."""
    seasons, registered = flats_by_number(records), register_rows(records)
    found = []
    for one in measured:
        own = seasons.get(one.flat, [])
        if one.day and own and season_on(own, one.day) is None:
            sown = min(s.started for s in own if s.started)
            found.append(f"flat {one.flat} was sown on {sown}, after {one.day}; check the date.")
    unknown = sorted({one.flat for one in measured} - set(registered))
    if registered and unknown:  # without any register nobody need be told of it
        many = len(unknown) > 1
        found.append(f"flat{'s' if many else ''} {ranges(unknown)} {'are' if many else 'is'} in no register; check the "
                     f"number{'s' if many else ''}.")
    return found


def already_potted(records: Records, potting: Potting) -> date | None:
    """The first day by which all that a potting says was written down before it, since the flat was seen."""
    table = schema.pottings.c
    with records.reading() as connection:
        flat = season_on(seasons_of(connection, [potting.flat]), potting.day)
        if flat is None:
            return None
        named = part_labels(sowings(connection, [flat.id]).get(flat.id, ()))
        kept = connection.execute(select(table.day, table.part).where(
            table.flat_id == flat.id, table.day <= potting.day, table.day >= (flat.seen or date.min))
            .order_by(table.day)).all()
    for turn, (day, _) in enumerate(kept, 1):
        if covered(potting.part, [part for _, part in kept[:turn]], named, flat.rows, flat.columns):
            return day
    return None

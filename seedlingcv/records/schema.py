"""The tables of the records.

    flats          one sowing of one numbered flat; `started` its earliest sowing date, empty where unknown
    sowings        what the register says of a flat, a row for each part of it; shelf and light: from sowing on
    stands         where a flat was moved to, and when
    lightings      lights over shelves
    photos         by the hash of their content; one that was measured before it was looked through has only that
    measured_days  a flat's measuring on one day, by one version, from certain photos or figures
    cells          its cells, one row each; the columns are the fields of measure/table.CellMeasurement
    day_photos     which photos a measured day rests on
    verdicts, corrections, root_checks, pottings

A text that belongs to a key is empty, never NULL, where there is none (a NULL never equals another one). What people
write down by hand has `entry`, a hash of all that was written, as its key: the same words twice are one entry.
`told_by` is the path of the table that said a row, empty for a single entry, NULL where nobody knows.

Only late imports lead here: SQLAlchemy is slow to load.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    DateTime,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from seedlingcv.measure.table import CellMeasurement

REVISION = "0003"  # the newest of migrations/versions
VERSION_TABLE = "seedlingcv_version"
HASH = String(64)
WHOLE = ""  # as a part: the whole flat, or the cells that no other part names

metadata = MetaData(naming_convention={
    "pk": "pk_%(table_name)s", "fk": "fk_%(table_name)s_%(column_0_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s", "ix": "ix_%(table_name)s_%(column_0_N_name)s"})


def _of_flat() -> Column[int]:
    return Column("flat_id", Integer, ForeignKey("flats.id"), nullable=False, index=True)


def _by_hand() -> tuple[Column[Any], ...]:
    return Column("entry", HASH, nullable=False, unique=True), Column("recorded_at", DateTime, nullable=False)


flats = Table(
    "flats", metadata,
    Column("id", Integer, primary_key=True),
    Column("number", Integer, nullable=False),
    Column("started", Date),
    Column("rows", Integer),
    Column("columns", Integer),
    UniqueConstraint("number", "started"),
)
Index("uq_flats_number_undated", flats.c.number, unique=True, sqlite_where=flats.c.started.is_(None),
      postgresql_where=flats.c.started.is_(None))

sowings = Table(
    "sowings", metadata,
    Column("id", Integer, primary_key=True),
    Column("flat_id", Integer, ForeignKey("flats.id"), nullable=False),
    Column("part", Text, nullable=False),  # as parts.read_part reads it, such as `rows A-C`
    Column("place", Integer, nullable=False),  # its turn in the register
    Column("crop", Text, index=True),
    Column("variety", Text),
    Column("sown", Date),
    Column("seed_lot", Text),
    Column("batch", Text),
    Column("shelf", Text),
    Column("light", Text),
    Column("roots", Text),
    Column("extra", JSON, nullable=False),  # the register's columns of other names
    UniqueConstraint("flat_id", "part"),
)

stands = Table(
    "stands", metadata,
    Column("id", Integer, primary_key=True),
    Column("flat_id", Integer, ForeignKey("flats.id"), nullable=False),
    Column("day", Date, nullable=False),
    Column("shelf", Text),
    Column("light", Text),
    Column("told_by", Text),
    UniqueConstraint("flat_id", "day"),
)

lightings = Table(
    "lightings", metadata,
    Column("id", Integer, primary_key=True),
    Column("shelf", Text, nullable=False),
    Column("light", Text, nullable=False),
    Column("kind", Text),
    Column("spectrum", Text),
    Column("ppfd_umol", JSON, nullable=False),  # rows of readings, row A first; empty where not measured
    Column("hours", Double),
    Column("distance_mm", Double),
    Column("red_far_red", Double),
    Column("since", Date),
    Column("until", Date),
    Column("window_side", Text),
    Column("told_by", Text),
    UniqueConstraint("shelf", "light", "since"),
)
Index("uq_lightings_shelf_light_open", lightings.c.shelf, lightings.c.light, unique=True,
      sqlite_where=lightings.c.since.is_(None), postgresql_where=lightings.c.since.is_(None))

photos = Table(
    "photos", metadata,
    Column("id", Integer, primary_key=True),
    Column("sha256", HASH, nullable=False, unique=True),
    Column("flat_id", Integer, ForeignKey("flats.id"), index=True),
    Column("file", Text),
    Column("view", Text),
    Column("taken", DateTime),
    Column("usable", Boolean),
    Column("problems", JSON),
)

measured_days = Table(
    "measured_days", metadata,
    Column("id", Integer, primary_key=True),
    Column("flat_id", Integer, ForeignKey("flats.id"), nullable=False),
    Column("day", Date, nullable=False, index=True),
    Column("source", Text, nullable=False),  # photo or ruler
    Column("keys_hash", HASH, nullable=False),  # of `keys` and the layout
    Column("version", Text, nullable=False),
    Column("keys", JSON, nullable=False),  # hashes of the photos, or one of the ruler's figures
    Column("rows", Integer, nullable=False),
    Column("columns", Integer, nullable=False),
    Column("flags", JSON, nullable=False),
    Column("recorded_at", DateTime, nullable=False),
    UniqueConstraint("flat_id", "day", "source", "keys_hash", "version"),
)

COUNTED = ("plants",)
WORDS = ("stem_from",)
FIGURES = tuple(f.name for f in fields(CellMeasurement) if f.name not in ("cell", "flags", "se"))


def _figure(name: str) -> Column[Any]:
    """Leaves of a whole flat by ruler may be 2.5, so they are no whole number."""
    return Column(name, Text if name in WORDS else Integer if name in COUNTED else Double)


cells = Table(
    "cells", metadata,
    Column("day_id", Integer, ForeignKey("measured_days.id"), primary_key=True, autoincrement=False),
    Column("place", Integer, primary_key=True, autoincrement=False),  # A1, A2 … row by row
    Column("cell", Text, nullable=False),
    *(_figure(name) for name in FIGURES),
    Column("flags", JSON, nullable=False),
    Column("se", JSON, nullable=False),
    UniqueConstraint("day_id", "cell"),
)

day_photos = Table(
    "day_photos", metadata,
    Column("day_id", Integer, ForeignKey("measured_days.id"), primary_key=True),
    Column("photo_id", Integer, ForeignKey("photos.id"), primary_key=True, index=True),
)

verdicts = Table(
    "verdicts", metadata,
    Column("id", Integer, primary_key=True),
    Column("flat_id", Integer, ForeignKey("flats.id"), nullable=False),
    Column("part", Text, nullable=False),
    Column("day", Date, nullable=False),  # the flat was seen
    Column("today", Date, nullable=False),  # the list was for
    Column("action", Text, nullable=False),
    Column("due", Date),
    Column("tree", JSON, nullable=False),
    UniqueConstraint("flat_id", "part", "day", "today"),
)

corrections = Table(
    "corrections", metadata,
    Column("id", Integer, primary_key=True),
    _of_flat(),
    Column("day", Date, nullable=False),
    Column("cell", Text, nullable=False),
    Column("figure", Text, nullable=False),
    Column("value", Double),  # NULL: the measured value is not to be used
    Column("measured", Double),  # what stood there when the correction came
    Column("who", Text),
    Column("when", Date),
    Column("why", Text),
    Column("told_by", Text),
    *_by_hand(),
)

root_checks = Table(
    "root_checks", metadata,
    Column("id", Integer, primary_key=True),
    _of_flat(),
    Column("day", Date, nullable=False),
    Column("roots", Text, nullable=False),
    Column("who", Text),
    Column("source", Text, nullable=False),  # hand or photo
    Column("told_by", Text),
    *_by_hand(),
)

pottings = Table(
    "pottings", metadata,
    Column("id", Integer, primary_key=True),
    _of_flat(),
    Column("day", Date, nullable=False),
    Column("part", Text, nullable=False),
    Column("plants", Integer),
    Column("pot", Text),
    Column("who", Text),
    Column("note", Text),
    *_by_hand(),
)

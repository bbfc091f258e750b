"""The tables of the first version. Later ones come as revisions of their own; this file stays as it is."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy import Column, Date, DateTime, Double, ForeignKeyConstraint, Integer, PrimaryKeyConstraint, Text

revision = "0001"
down_revision = None

HASH = sa.String(64)


def upgrade() -> None:
    _flats()
    _light()
    _measurings()
    _words()


def downgrade() -> None:
    raise NotImplementedError("there is nothing before the first tables")


def _id(table: str) -> tuple:
    return Column("id", Integer, nullable=False), PrimaryKeyConstraint("id", name=f"pk_{table}")


def _link(table: str, column: str, to: str) -> ForeignKeyConstraint:
    return ForeignKeyConstraint([column], [f"{to}.id"], name=f"fk_{table}_{column}")


def _flat(table: str) -> tuple:
    return Column("flat_id", Integer, nullable=False), _link(table, "flat_id", "flats")


def _once(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=f"uq_{table}_{'_'.join(columns)}")


def _undated(name: str, table: str, columns: list[str], date: str) -> None:
    empty = sa.text(f"{date} IS NULL")
    op.create_index(name, table, columns, unique=True, sqlite_where=empty, postgresql_where=empty)


def _flats() -> None:
    op.create_table(
        "flats", *_id("flats"), Column("number", Integer, nullable=False), Column("started", Date),
        Column("rows", Integer), Column("columns", Integer), _once("flats", "number", "started"))
    _undated("uq_flats_number_undated", "flats", ["number"], "started")
    op.create_table(
        "sowings", *_id("sowings"), *_flat("sowings"), Column("part", Text, nullable=False),
        Column("place", Integer, nullable=False), Column("crop", Text), Column("variety", Text), Column("sown", Date),
        Column("seed_lot", Text), Column("batch", Text), Column("shelf", Text), Column("light", Text),
        Column("roots", Text), Column("extra", sa.JSON, nullable=False), _once("sowings", "flat_id", "part"))


def _light() -> None:
    op.create_table(
        "stands", *_id("stands"), *_flat("stands"), Column("day", Date, nullable=False), Column("shelf", Text),
        Column("light", Text), _once("stands", "flat_id", "day"))
    op.create_table(
        "lightings", *_id("lightings"), Column("shelf", Text, nullable=False), Column("light", Text, nullable=False),
        Column("kind", Text), Column("spectrum", Text), Column("ppfd_umol", sa.JSON, nullable=False),
        Column("hours", Double), Column("distance_mm", Double), Column("red_far_red", Double), Column("since", Date),
        Column("until", Date), _once("lightings", "shelf", "light", "since"))
    _undated("uq_lightings_shelf_light_open", "lightings", ["shelf", "light"], "since")


def _measurings() -> None:
    op.create_table(
        "photos", *_id("photos"), Column("sha256", HASH, nullable=False), Column("flat_id", Integer),
        _link("photos", "flat_id", "flats"), Column("file", Text), Column("view", Text), Column("taken", DateTime),
        Column("usable", sa.Boolean), Column("problems", sa.JSON), _once("photos", "sha256"))
    op.create_table(
        "measured_days", *_id("measured_days"), *_flat("measured_days"), Column("day", Date, nullable=False),
        Column("source", Text, nullable=False), Column("keys_hash", HASH, nullable=False),
        Column("version", Text, nullable=False), Column("keys", sa.JSON, nullable=False),
        Column("rows", Integer, nullable=False), Column("columns", Integer, nullable=False),
        Column("flags", sa.JSON, nullable=False), Column("recorded_at", DateTime, nullable=False),
        _once("measured_days", "flat_id", "day", "source", "keys_hash", "version"))
    op.create_table(
        "cells", Column("day_id", Integer, nullable=False), Column("place", Integer, nullable=False),
        Column("cell", Text, nullable=False), Column("plants", Integer), Column("canopy_cover", Double),
        Column("leaf_spread_mm", Double), Column("leaf_area_mm2", Double), Column("true_leaves", Double),
        Column("greenness", Double), Column("yellow_fraction", Double), Column("stem_length_mm", Double),
        Column("stem_from", Text), Column("hypocotyl_length_mm", Double), Column("stem_diameter_mm", Double),
        Column("height_mm", Double), Column("row_spread_mm", Double), Column("lean_deg", Double),
        Column("flags", sa.JSON, nullable=False), Column("se", sa.JSON, nullable=False),
        _link("cells", "day_id", "measured_days"), PrimaryKeyConstraint("day_id", "place", name="pk_cells"),
        _once("cells", "day_id", "cell"))
    op.create_table(
        "day_photos", Column("day_id", Integer, nullable=False), Column("photo_id", Integer, nullable=False),
        _link("day_photos", "day_id", "measured_days"), _link("day_photos", "photo_id", "photos"),
        PrimaryKeyConstraint("day_id", "photo_id", name="pk_day_photos"))


def _words() -> None:
    op.create_table(
        "verdicts", *_id("verdicts"), *_flat("verdicts"), Column("part", Text, nullable=False),
        Column("day", Date, nullable=False), Column("today", Date, nullable=False),
        Column("action", Text, nullable=False), Column("due", Date), Column("tree", sa.JSON, nullable=False),
        _once("verdicts", "flat_id", "part", "day", "today"))
    op.create_table(
        "corrections", *_by_hand("corrections"), Column("cell", Text, nullable=False),
        Column("figure", Text, nullable=False), Column("value", Double), Column("measured", Double),
        Column("who", Text), Column("when", Date), Column("why", Text))
    op.create_table(
        "root_checks", *_by_hand("root_checks"), Column("roots", Text, nullable=False), Column("who", Text),
        Column("source", Text, nullable=False))
    op.create_table(
        "pottings", *_by_hand("pottings"), Column("part", Text, nullable=False), Column("plants", Integer),
        Column("pot", Text), Column("who", Text), Column("note", Text))


def _by_hand(table: str) -> tuple:
    return (*_id(table), *_flat(table), Column("day", Date, nullable=False), Column("entry", HASH, nullable=False),
            Column("recorded_at", DateTime, nullable=False), _once(table, "entry"))

"""Which table said a row, so that reading it again replaces its own words alone."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    for table in ("stands", "lightings", "corrections", "root_checks"):
        op.add_column(table, sa.Column("told_by", sa.Text))


def downgrade() -> None:
    raise NotImplementedError("the copy that was put aside is the way back")

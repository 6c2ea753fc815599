"""The fifth edition: the version of the site that a draw in hand was planned on, and the key it was begun under."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns, both empty for draws that are there, and the indexes."""
    op.add_column("taking", sa.Column("site_version", sa.Integer(), nullable=True))
    op.add_column("taking", sa.Column("begun_key", sa.String(100), nullable=True))
    op.create_index("uq_taking_begun_key", "taking", ["begun_key"], unique=True)
    op.create_index("ix_tap_station", "tap", ["station", "at"])

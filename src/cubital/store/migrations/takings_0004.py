"""The fourth edition: draws in hand and the taps of whoever draws them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    counted = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "taking",
        sa.Column("code", sa.String(20), nullable=False),
        sa.Column("made_at", sa.String(27), nullable=False),
        sa.Column("made_by", sa.String(100), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("identity", sa.Text(), nullable=True),
        sa.Column("closed_at", sa.String(27), nullable=True),
        sa.PrimaryKeyConstraint("code", name="pk_taking"),
    )
    op.create_table(
        "tap",
        sa.Column("sequence", counted, autoincrement=False, nullable=False),
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("taking", sa.String(20), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("device_at", sa.String(27), nullable=False),
        sa.Column("received_at", sa.String(27), nullable=False),
        sa.Column("by", sa.String(100), nullable=False),
        sa.Column("station", sa.String(100), nullable=False),
        sa.Column("why", sa.String(20), nullable=True),
        sa.PrimaryKeyConstraint("sequence", name="pk_tap"),
        sa.UniqueConstraint("key", name="uq_tap_key"),
    )
    op.create_index("ix_tap_taking", "tap", ["taking"])

"""The first edition: events that are only added to, and the states that they come to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

REFUSAL = "events are only added to, never changed or removed"

SQLITE = (
    f"""CREATE TRIGGER event_is_not_changed BEFORE UPDATE ON event
    BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    f"""CREATE TRIGGER event_is_not_removed BEFORE DELETE ON event
    BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    # INSERT OR REPLACE removes the older row without asking the trigger above.
    f"""CREATE TRIGGER event_is_not_replaced BEFORE INSERT ON event
    WHEN EXISTS (SELECT 1 FROM event WHERE sequence = NEW.sequence OR key = NEW.key
                 OR (specimen = NEW.specimen AND version = NEW.version))
    BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
)
POSTGRESQL = (
    f"""CREATE FUNCTION refuse_change_of_event() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$""",
    """CREATE TRIGGER event_is_not_changed BEFORE UPDATE OR DELETE ON event
    FOR EACH ROW EXECUTE FUNCTION refuse_change_of_event()""",
    """CREATE TRIGGER event_is_not_emptied BEFORE TRUNCATE ON event
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change_of_event()""",
)


def upgrade() -> None:
    """Make the tables and what guards them."""
    counted = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "event",
        sa.Column("sequence", counted, autoincrement=False, nullable=False),
        sa.Column("batch", counted, nullable=False),
        sa.Column("recorded_at", sa.String(27), nullable=False),
        sa.Column("behind_us", counted, nullable=False),
        sa.Column("key", sa.String(500), nullable=False),
        sa.Column("specimen", sa.String(200)),
        sa.Column("version", sa.Integer()),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("sequence", name="pk_event"),
        sa.UniqueConstraint("key", name="uq_event_key"),
        sa.UniqueConstraint("specimen", "version", name="uq_event_specimen"),
        sa.CheckConstraint("sequence >= 1 AND batch >= 1 AND batch <= sequence", name=op.f("ck_event_sequence")),
        sa.CheckConstraint("length(hash) = 64", name=op.f("ck_event_hash")),
        sa.CheckConstraint("(specimen IS NULL) = (version IS NULL)", name=op.f("ck_event_version")),
    )
    op.create_table(
        "specimen",
        sa.Column("id", sa.String(200), nullable=False),
        sa.Column("patient", sa.String(200), nullable=False),
        sa.Column("status", sa.String(4), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_specimen"),
        sa.CheckConstraint("status IN ('open', 'kept', 'gone')", name=op.f("ck_specimen_status")),
    )
    op.create_index("ix_specimen_patient", "specimen", ["patient"])
    op.create_index("ix_specimen_status", "specimen", ["status"])
    for statement in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(statement)

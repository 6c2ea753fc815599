"""The second edition: accounts, sessions, throttles of signing in, and the trail of who did and saw what."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

REFUSAL = "the trail is only added to, never changed or removed"

SQLITE = (
    f"""CREATE TRIGGER trail_is_not_changed BEFORE UPDATE ON trail
    BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    f"""CREATE TRIGGER trail_is_not_removed BEFORE DELETE ON trail
    BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    # INSERT OR REPLACE removes the older row without asking the trigger above.
    f"""CREATE TRIGGER trail_is_not_replaced BEFORE INSERT ON trail
    WHEN EXISTS (SELECT 1 FROM trail WHERE sequence = NEW.sequence)
    BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
)
POSTGRESQL = (
    f"""CREATE FUNCTION refuse_change_of_trail() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$""",
    """CREATE TRIGGER trail_is_not_changed BEFORE UPDATE OR DELETE ON trail
    FOR EACH ROW EXECUTE FUNCTION refuse_change_of_trail()""",
    """CREATE TRIGGER trail_is_not_emptied BEFORE TRUNCATE ON trail
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change_of_trail()""",
)


def upgrade() -> None:
    """Make the tables and what guards the trail."""
    counted = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "account",
        sa.Column("name", sa.String(100), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("password_hash", sa.String(300), nullable=False),
        sa.Column("must_change", sa.Boolean(), nullable=False),
        sa.Column("is_shut", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_account"),
    )
    op.create_table(
        "session",
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("account", sa.String(100), nullable=False),
        sa.Column("made_at", sa.String(27), nullable=False),
        sa.Column("seen_at", sa.String(27), nullable=False),
        sa.Column("ends_at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_session"),
    )
    op.create_index("ix_session_account", "session", ["account"])
    op.create_table(
        "throttle",
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("faults", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.String(27), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_throttle"),
    )
    op.create_table(
        "trail",
        sa.Column("sequence", counted, autoincrement=False, nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("account", sa.String(100), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("did", sa.String(200), nullable=False),
        sa.Column("about", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("sequence", name="pk_trail"),
    )
    for statement in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(statement)

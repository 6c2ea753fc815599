"""The third edition: versions of a site and their files, drafts of one, and orders without patients to try them on."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

REFUSAL = "versions of a site are only added to, never changed or removed"
KEYS = {"site_version": "site = NEW.site AND number = NEW.number", "site_file": "digest = NEW.digest"}


def guards_of_sqlite(table: str) -> tuple[str, ...]:
    """What refuses a change of this table in SQLite."""
    return (
        f"""CREATE TRIGGER {table}_is_not_changed BEFORE UPDATE ON {table}
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
        f"""CREATE TRIGGER {table}_is_not_removed BEFORE DELETE ON {table}
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
        # INSERT OR REPLACE removes the older row without asking the trigger above.
        f"""CREATE TRIGGER {table}_is_not_replaced BEFORE INSERT ON {table}
        WHEN EXISTS (SELECT 1 FROM {table} WHERE {KEYS[table]})
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    )


def guards_of_postgresql(table: str) -> tuple[str, ...]:
    """What refuses a change of this table in PostgreSQL."""
    return (
        f"""CREATE TRIGGER {table}_is_not_changed BEFORE UPDATE OR DELETE ON {table}
        FOR EACH ROW EXECUTE FUNCTION refuse_change_of_site()""",
        f"""CREATE TRIGGER {table}_is_not_emptied BEFORE TRUNCATE ON {table}
        FOR EACH STATEMENT EXECUTE FUNCTION refuse_change_of_site()""",
    )


FUNCTION = f"""CREATE FUNCTION refuse_change_of_site() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"""


def upgrade() -> None:
    """Make the tables and what guards the versions."""
    op.create_table(
        "site_file",
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("digest", name="pk_site_file"),
        sa.CheckConstraint("length(digest) = 64", name=op.f("ck_site_file_digest")),
    )
    op.create_table(
        "site_version",
        sa.Column("site", sa.String(300), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("account", sa.String(100), nullable=False),
        sa.Column("note", sa.String(500), nullable=False),
        sa.Column("restores", sa.Integer()),
        sa.Column("files", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site", "number", name="pk_site_version"),
        sa.CheckConstraint("number >= 0", name=op.f("ck_site_version_number")),
    )
    op.create_table(
        "site_draft",
        sa.Column("account", sa.String(100), nullable=False),
        sa.Column("site", sa.String(300), nullable=False),
        sa.Column("base", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.String(27), nullable=False),
        sa.Column("origin", sa.String(300), nullable=False),
        sa.Column("files", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("account", name="pk_site_draft"),
    )
    op.create_table(
        "order_log",
        sa.Column("site", sa.String(300), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("times", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site", "number", name="pk_order_log"),
        sa.CheckConstraint("times >= 1", name=op.f("ck_order_log_times")),
    )
    is_sqlite = op.get_bind().dialect.name == "sqlite"
    if not is_sqlite:
        op.execute(FUNCTION)
    for table in KEYS:
        for statement in (guards_of_sqlite if is_sqlite else guards_of_postgresql)(table):
            op.execute(statement)

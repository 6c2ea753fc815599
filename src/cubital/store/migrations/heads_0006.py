"""The sixth edition: the trail is chained, the ends of both chains are noted, and draws are found by their date."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

from cubital.store.migrations.accounts_0002 import SQLITE

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_PAGE = 1000
_LINE = ("at", "account", "role", "did", "about")


def upgrade() -> None:
    """Add the columns and the table, and fill them from what is there."""
    counted = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "chain_head",
        sa.Column("chain", sa.String(10), nullable=False),
        sa.Column("sequence", counted, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("chain", name="pk_chain_head"),
    )
    op.add_column("specimen", sa.Column("drawn_at", sa.String(27), nullable=True))
    op.create_index("ix_specimen_drawn_at", "specimen", ["drawn_at"])
    op.add_column("trail", sa.Column("hash", sa.String(64), nullable=False, server_default=""))
    connection = op.get_bind()
    _date_draws(connection)
    _seal_trail(connection)
    for chain in ("event", "trail"):
        connection.execute(
            sa.text(
                f"INSERT INTO chain_head (chain, sequence, hash) SELECT '{'record' if chain == 'event' else chain}', "
                f"sequence, hash FROM {chain} ORDER BY sequence DESC LIMIT 1"
            )
        )


def _date_draws(connection: sa.Connection) -> None:
    after = ""
    query = sa.text("SELECT id, state FROM specimen WHERE id > :after ORDER BY id LIMIT :most")
    while rows := connection.execute(query, {"after": after, "most": _PAGE}).all():
        found = [{"id": row.id, "drawn_at": _drawn_at(row.state)} for row in rows]
        connection.execute(sa.text("UPDATE specimen SET drawn_at = :drawn_at WHERE id = :id"), found)
        after = rows[-1].id


def _drawn_at(state: str) -> str | None:
    """None of an aliquot, and of a state that cannot be read, which the check of the record finds."""
    try:
        said = json.loads(state)
        moment = None if said.get("parent") else datetime.fromisoformat(said["collected_at"])
    except (ValueError, KeyError, AttributeError, TypeError):
        return None
    return None if moment is None else f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def _seal_trail(connection: sa.Connection) -> None:
    """Chain the lines as they stand: what was done to them before today, no hash tells."""
    is_sqlite = connection.dialect.name == "sqlite"
    if is_sqlite:
        for name in ("changed", "removed", "replaced"):
            op.execute(f"DROP TRIGGER trail_is_not_{name}")
    else:
        op.execute("ALTER TABLE trail DISABLE TRIGGER trail_is_not_changed")
    previous, after = "0" * 64, 0
    names = ", ".join(_LINE)
    query = sa.text(f"SELECT sequence, {names} FROM trail WHERE sequence > :after ORDER BY sequence LIMIT :most")
    while rows := connection.execute(query, {"after": after, "most": _PAGE}).all():
        sealed = []
        for row in rows:
            words = json.dumps([getattr(row, name) for name in _LINE], ensure_ascii=False, separators=(",", ":"))
            previous = hashlib.sha256(f"{previous}\n{row.sequence}\n{words}".encode()).hexdigest()
            sealed.append({"sequence": row.sequence, "hash": previous})
        connection.execute(sa.text("UPDATE trail SET hash = :hash WHERE sequence = :sequence"), sealed)
        after = rows[-1].sequence
    if is_sqlite:
        for statement in SQLITE:
            op.execute(statement)
    else:
        op.execute("ALTER TABLE trail ENABLE TRIGGER trail_is_not_changed")

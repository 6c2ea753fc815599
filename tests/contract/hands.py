"""Hands that get past the guards of a record, as someone with the database's password or the file can."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from sqlalchemy import Connection, select, text, update

from cubital.handling.chain import EMPTY, content_of, head_of, read_moment, seal
from cubital.model.record import Link
from cubital.store.engine import open_engine
from cubital.store.tables import chain_head, event


def run(address: str, *statements: str, is_guarded: bool = False) -> None:
    """Run these statements in the database, past its triggers unless it `is_guarded`."""
    engine = open_engine(address)
    try:
        with engine.begin() as connection:
            guards = [] if is_guarded else take_guards_off(connection)
            for statement in [*statements, *guards]:
                connection.execute(text(statement))
    finally:
        engine.dispose()


def take_guards_off(connection: Connection) -> list[str]:
    """Let events be changed in this transaction; the statements that put the guards back as they were."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SET LOCAL session_replication_role = replica"))
        return []
    rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")).all()
    for row in rows:
        connection.execute(text(f"DROP TRIGGER {row.name}"))
    return [row.sql for row in rows]


def note_end(connection: Connection, sequence: int, hash: str, *, chain: str = "record") -> None:
    """Make the database's own note of the end say this."""
    connection.execute(update(chain_head).where(chain_head.c.chain == chain).values(sequence=sequence, hash=hash))


def write_anew(address: str, sequence: int, old: str, new: str) -> None:
    """Change the body of one entry, and seal it and every one after it anew, so that the chain fits again."""
    engine = open_engine(address)
    try:
        with engine.begin() as connection:
            guards = take_guards_off(connection)
            previous = EMPTY
            for row in connection.execute(select(event).order_by(event.c.sequence)).mappings().all():
                link = Link(**row)
                body = link.body.replace(old, new) if link.sequence == sequence else link.body
                values: dict[str, Any] = {"body": body, "hash": link.hash}
                if link.sequence >= sequence:
                    now = read_moment(link.recorded_at) - timedelta(microseconds=link.behind_us)
                    fresh = seal(previous, content_of(body), batch=link.batch, version=link.version, now=now)
                    assert fresh.body == body
                    values["hash"] = fresh.hash
                    link = fresh
                connection.execute(update(event).where(event.c.sequence == link.sequence).values(**values))
                previous = head_of(link)
            note_end(connection, previous.sequence, previous.hash)
            for statement in guards:
                connection.execute(text(statement))
    finally:
        engine.dispose()

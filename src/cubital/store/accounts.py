"""Accounts, sessions, throttles and the trail in SQLite or PostgreSQL, as the use cases ask for them."""

from __future__ import annotations

from datetime import UTC, datetime
from threading import Lock
from typing import Any

import msgspec
from sqlalchemy import Connection, Engine, Row, Table, delete, or_, select
from sqlalchemy.dialects import postgresql, sqlite

from cubital.handling.chain import EMPTY
from cubital.handling.trail import hash_line
from cubital.model.account import Account, Session, Throttle, TrailAsk, TrailLine
from cubital.model.record import Head
from cubital.store.books import Books
from cubital.store.heads import note_head
from cubital.store.tables import account, session, throttle, trail

# Not the number by which the record locks: a sign-in waits for no event.
_LOCK = 0x637562616363
_CONVERTING = Lock()


def sql_accounts(engine: Engine) -> Books[SqlAccountBook]:
    """The accounts in one database."""
    return Books(engine, SqlAccountBook, lock=_LOCK)


class SqlAccountBook:
    """The accounts within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def accounts(self) -> tuple[Account, ...]:
        """Every account by name."""
        return tuple(_account(row) for row in self._connection.execute(select(account).order_by(account.c.name)))

    def account(self, name: str) -> Account | None:
        """The account of this folded name."""
        row = self._connection.execute(select(account).where(account.c.name == name)).first()
        return None if row is None else _account(row)

    def keep_account(self, one: Account) -> None:
        """Keep it in place of an older one."""
        self._keep(account, {name: getattr(one, name) for name in one.__struct_fields__}, key="name")

    def session(self, key: str) -> Session | None:
        """The session of this digest."""
        row = self._connection.execute(select(session).where(session.c.key == key)).first()
        return None if row is None else _session(row)

    def sessions(self) -> tuple[Session, ...]:
        """Every session that was not ended."""
        return tuple(_session(row) for row in self._connection.execute(select(session)))

    def keep_session(self, one: Session) -> None:
        """Keep it in place of an older one."""
        self._keep(session, _stamped(one), key="key")

    def end_sessions(self, *, account: str | None = None, key: str | None = None, but: str | None = None) -> int:
        """End the sessions of this account, or this one; `but` is left. How many there were."""
        query = delete(session).where(session.c.account == account if key is None else session.c.key == key)
        if but is not None:
            query = query.where(session.c.key != but)
        return self._connection.execute(query).rowcount

    def end_sessions_before(self, *, seen: datetime, ends: datetime) -> None:
        """Remove sessions last seen before, or that ended before."""
        self._connection.execute(
            delete(session).where(or_(session.c.seen_at < _text(seen), session.c.ends_at < _text(ends)))
        )

    def throttle(self, key: str) -> Throttle | None:
        """What is counted under this digest."""
        row = self._connection.execute(select(throttle).where(throttle.c.key == key)).first()
        return None if row is None else Throttle(key=row.key, faults=row.faults, last_at=_moment(row.last_at))

    def keep_throttle(self, one: Throttle) -> None:
        """Keep it in place of an older one."""
        self._keep(throttle, _stamped(one), key="key")

    def forget_throttles(self, *, key: str | None = None, before: datetime | None = None) -> None:
        """Forget what is counted under this digest, or was last counted before."""
        if key is not None:
            self._connection.execute(delete(throttle).where(throttle.c.key == key))
        if before is not None:
            self._connection.execute(delete(throttle).where(throttle.c.last_at < _text(before)))

    def write_trail(self, line: TrailLine) -> None:
        """Add a line, whatever its number, after the last one."""
        query = select(trail.c.sequence, trail.c.hash).order_by(trail.c.sequence.desc()).limit(1)
        row = self._connection.execute(query).first()
        previous = EMPTY if row is None else Head(sequence=row.sequence, hash=row.hash)
        said = {**_stamped(line), "sequence": previous.sequence + 1}
        head = Head(sequence=said["sequence"], hash=hash_line(previous.hash, **said))
        self._connection.execute(trail.insert(), [{**said, "hash": head.hash}])
        note_head(self._connection, "trail", head, previous=previous)

    def trail(self, ask: TrailAsk, *, most: int, before: int | None = None) -> tuple[TrailLine, ...]:
        """The newest lines that are asked for, newest first."""
        query = select(trail).order_by(trail.c.sequence.desc()).limit(most)
        if before is not None:
            query = query.where(trail.c.sequence < before)
        if ask.who:
            query = query.where(trail.c.account == ask.who)
        if ask.about:
            query = query.where(trail.c.about.startswith(ask.about, autoescape=True))
        if ask.since is not None:
            query = query.where(trail.c.at >= _text(ask.since))
        if ask.until is not None:
            query = query.where(trail.c.at < _text(ask.until))
        return tuple(
            TrailLine(sequence=r.sequence, at=_moment(r.at), account=r.account, role=r.role, did=r.did, about=r.about)
            for r in self._connection.execute(query)
        )

    def _keep(self, table: Table, row: dict[str, Any], *, key: str) -> None:
        dialect = sqlite if self._connection.dialect.name == "sqlite" else postgresql
        insert = dialect.insert(table)
        changed = {name: insert.excluded[name] for name in row if name != key}
        self._connection.execute(insert.on_conflict_do_update(index_elements=[key], set_=changed), [row])


def _stamped(one: Session | Throttle | TrailLine) -> dict[str, Any]:
    values = {name: getattr(one, name) for name in one.__struct_fields__}
    return {name: _text(value) if isinstance(value, datetime) else value for name, value in values.items()}


def _text(moment: datetime) -> str:
    """An instant whose texts sort as the instants do."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _account(row: Row[Any]) -> Account:
    # Two threads that first convert to a type at once can end the whole process, in msgspec.
    with _CONVERTING:
        return msgspec.convert(row, Account, from_attributes=True)


def _session(row: Row[Any]) -> Session:
    stamps = {name: _moment(getattr(row, name)) for name in ("made_at", "seen_at", "ends_at")}
    return Session(key=row.key, account=row.account, **stamps)

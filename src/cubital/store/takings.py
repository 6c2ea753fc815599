"""The draws in hand and their taps in SQLite or PostgreSQL, as the use cases ask for them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from fractions import Fraction
from typing import Any

import msgspec
from sqlalchemy import Connection, Engine, Row, func, select, update

from cubital.errors import TakingError
from cubital.model.identity import Identity
from cubital.model.order import Order
from cubital.model.plan import Plan
from cubital.model.taking import CHECKING, Taking, Tap
from cubital.store.books import Books
from cubital.store.tables import taking, tap

# Neither the number by which the record locks nor that of the accounts.
_LOCK = 0x637562746B67


class _Body(msgspec.Struct, frozen=True):
    order: Order
    plan: Plan


def sql_takings(engine: Engine) -> Books[SqlTakingBook]:
    """The draws in hand in one database."""
    return Books(engine, SqlTakingBook, lock=_LOCK)


class SqlTakingBook:
    """The draws in hand within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def taking(self, code: str) -> Taking | None:
        """The draw of this code."""
        row = self._connection.execute(select(taking).where(taking.c.code == code)).first()
        return None if row is None else _taking(row)

    def open_takings(self) -> tuple[Taking, ...]:
        """Every draw that is not closed, oldest first; one that this edition cannot read is left out."""
        query = select(taking).where(taking.c.closed_at.is_(None)).order_by(taking.c.made_at, taking.c.code)
        found = []
        for row in self._connection.execute(query):
            try:
                found.append(_taking(row))
            except TakingError:
                continue
        return tuple(found)

    def begun(self, key: str) -> Taking | None:
        """The draw that was begun under this key."""
        row = self._connection.execute(select(taking).where(taking.c.begun_key == key)).first()
        return None if row is None else _taking(row)

    def keep_taking(self, one: Taking, key: str | None) -> None:
        """Keep a new draw, begun under this key."""
        body = _encode(_Body(order=one.order, plan=one.plan))
        self._connection.execute(
            taking.insert(),
            [{"code": one.code, "made_at": _text(one.made_at), "made_by": one.made_by, "body": body,
              "site_version": one.site_version, "begun_key": key}],
        )  # fmt: skip

    def keep_identity(self, code: str, identity: Identity) -> None:
        """Keep what the request says of whose draw it is."""
        self._connection.execute(update(taking).where(taking.c.code == code).values(identity=_encode(identity)))

    def close(self, code: str, at: datetime) -> None:
        """Close this draw and forget whose it is."""
        self._connection.execute(update(taking).where(taking.c.code == code).values(identity=None, closed_at=_text(at)))

    def close_older(self, before: datetime, at: datetime, *, but: Sequence[str]) -> None:
        """Close every draw that was begun before, but those of these codes, and forget whose it is."""
        query = update(taking).where(taking.c.made_at < _text(before), taking.c.closed_at.is_(None))
        query = query.where(taking.c.code.not_in(but))
        self._connection.execute(query.values(identity=None, closed_at=_text(at)))

    def tap(self, key: str) -> Tap | None:
        """The tap of this key."""
        row = self._connection.execute(select(tap).where(tap.c.key == key)).first()
        return None if row is None else _tap(row)

    def taps(self, code: str) -> tuple[Tap, ...]:
        """Every tap of this draw, in the order in which they came."""
        query = select(tap).where(tap.c.taking == code).order_by(tap.c.sequence)
        return tuple(_tap(row) for row in self._connection.execute(query))

    def checks(self, *, by: str, station: str, since: datetime, until: datetime) -> tuple[Tap, ...]:
        """The checks of two identifiers by this person at this device in that time, of any draw, failed ones too."""
        query = select(tap).where(tap.c.station == station, tap.c.at >= _text(since), tap.c.at <= _text(until))
        query = query.where(tap.c.kind.in_(sorted(CHECKING)), tap.c.by == by)
        return tuple(_tap(row) for row in self._connection.execute(query.order_by(tap.c.sequence)))

    def add_tap(self, one: Tap) -> None:
        """Add a tap after the last one."""
        last = self._connection.execute(select(func.max(tap.c.sequence))).scalar() or 0
        values = {name: getattr(one, name) for name in one.__struct_fields__}
        row = {name: _text(value) if isinstance(value, datetime) else value for name, value in values.items()}
        self._connection.execute(tap.insert(), [{**row, "sequence": last + 1}])


def _plain(value: object) -> object:
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    raise NotImplementedError(f"a {type(value).__name__} has no place in a draw")


def _exact(kind: type, value: Any) -> object:
    if kind is Fraction and isinstance(value, str):
        return Fraction(value)
    raise NotImplementedError(f"a {kind.__name__} has no place in a draw")


# Made once, here: threads that first decode a type at once can end the process, in msgspec.
_BODY = msgspec.json.Decoder(_Body, dec_hook=_exact)
_IDENTITY = msgspec.json.Decoder(Identity)


def _encode(value: _Body | Identity) -> str:
    return msgspec.json.encode(value, enc_hook=_plain).decode()


def _taking(row: Row[Any]) -> Taking:
    try:
        body = _BODY.decode(row.body)
        identity = None if row.identity is None else _IDENTITY.decode(row.identity)
    except (msgspec.DecodeError, ValueError, ZeroDivisionError):
        # Without the words of the reader: they may hold what the row says of a patient.
        raise TakingError(
            "found a draw of another edition of this program; expected one of this; plan it again", where=row.code
        ) from None
    return Taking(
        code=row.code, made_at=_moment(row.made_at), made_by=row.made_by, order=body.order, plan=body.plan,
        identity=identity, closed_at=None if row.closed_at is None else _moment(row.closed_at),
        site_version=row.site_version,
    )  # fmt: skip


def _tap(row: Row[Any]) -> Tap:
    values = {name: getattr(row, name) for name in Tap.__struct_fields__}
    return Tap(**values | {name: _moment(values[name]) for name in ("at", "device_at", "received_at")})


def _text(moment: datetime) -> str:
    """An instant whose texts sort as the instants do."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)

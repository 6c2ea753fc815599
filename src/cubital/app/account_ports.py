"""What the accounts need from outside: a database that keeps them, and something that hashes passwords."""

from __future__ import annotations

from contextlib import AbstractContextManager
from datetime import datetime
from typing import Protocol

from cubital.model.account import Account, Session, Throttle, TrailAsk, TrailLine


class Hasher(Protocol):
    """What keeps passwords: slow on purpose."""

    def hash(self, password: str) -> str:
        """The hash to keep."""
        ...

    def is_right(self, kept: str, password: str) -> bool:
        """Whether this is the password that was kept so."""
        ...


class AccountBook(Protocol):
    """The accounts, sessions, throttles and the trail, within one transaction."""

    def accounts(self) -> tuple[Account, ...]:
        """Every account by name."""
        ...

    def account(self, name: str) -> Account | None:
        """The account of this folded name."""
        ...

    def keep_account(self, account: Account) -> None:
        """Keep it in place of an older one."""
        ...

    def session(self, key: str) -> Session | None:
        """The session of this digest."""
        ...

    def sessions(self) -> tuple[Session, ...]:
        """Every session that was not ended."""
        ...

    def keep_session(self, session: Session) -> None:
        """Keep it in place of an older one."""
        ...

    def end_sessions(self, *, account: str | None = None, key: str | None = None, but: str | None = None) -> int:
        """End the sessions of this account, or this one; `but` is left. How many there were."""
        ...

    def end_sessions_before(self, *, seen: datetime, ends: datetime) -> None:
        """Remove sessions last seen before, or that ended before."""
        ...

    def throttle(self, key: str) -> Throttle | None:
        """What is counted under this digest."""
        ...

    def keep_throttle(self, throttle: Throttle) -> None:
        """Keep it in place of an older one."""
        ...

    def forget_throttles(self, *, key: str | None = None, before: datetime | None = None) -> None:
        """Forget what is counted under this digest, or was last counted before."""
        ...

    def write_trail(self, line: TrailLine) -> None:
        """Add a line, whatever its number, after the last one."""
        ...

    def trail(self, ask: TrailAsk, *, most: int, before: int | None = None) -> tuple[TrailLine, ...]:
        """The newest lines that are asked for, newest first."""
        ...


class AccountStore(Protocol):
    """A database that holds the accounts."""

    def reading(self) -> AbstractContextManager[AccountBook]:
        """A transaction that only reads."""
        ...

    def writing(self) -> AbstractContextManager[AccountBook]:
        """A transaction that no other writer overlaps."""
        ...

    def close(self) -> None:
        """Give back every connection."""
        ...

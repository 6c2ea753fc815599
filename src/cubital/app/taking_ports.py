"""What taking a draw needs from outside: a database that keeps the draws in hand and their taps."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Protocol

from cubital.model.identity import Identity
from cubital.model.taking import Taking, Tap


class TakingBook(Protocol):
    """The draws in hand, within one transaction."""

    def taking(self, code: str) -> Taking | None:
        """The draw of this code."""
        ...

    def open_takings(self) -> tuple[Taking, ...]:
        """Every draw that is not closed, oldest first; one that this edition cannot read is left out."""
        ...

    def begun(self, key: str) -> Taking | None:
        """The draw that was begun under this key."""
        ...

    def keep_taking(self, taking: Taking, key: str | None) -> None:
        """Keep a new draw, begun under this key."""
        ...

    def keep_identity(self, code: str, identity: Identity) -> None:
        """Keep what the request says of whose draw it is."""
        ...

    def close(self, code: str, at: datetime) -> None:
        """Close this draw and forget whose it is."""
        ...

    def close_older(self, before: datetime, at: datetime, *, but: Sequence[str]) -> None:
        """Close every draw that was begun before, but those of these codes, and forget whose it is."""
        ...

    def tap(self, key: str) -> Tap | None:
        """The tap of this key."""
        ...

    def taps(self, code: str) -> tuple[Tap, ...]:
        """Every tap of this draw, in the order in which they came."""
        ...

    def checks(self, *, by: str, station: str, since: datetime, until: datetime) -> tuple[Tap, ...]:
        """The checks of two identifiers by this person at this device in that time, of any draw, failed ones too."""
        ...

    def add_tap(self, tap: Tap) -> None:
        """Add a tap after the last one."""
        ...


class TakingStore(Protocol):
    """A database that holds the draws in hand."""

    def reading(self) -> AbstractContextManager[TakingBook]:
        """A transaction that only reads."""
        ...

    def writing(self) -> AbstractContextManager[TakingBook]:
        """A transaction that no other writer overlaps."""
        ...

    def close(self) -> None:
        """Give back every connection."""
        ...

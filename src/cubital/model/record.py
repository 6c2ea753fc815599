"""The record of specimens: entries in one sequence, each bound to the one before it by its hash."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Literal

import msgspec

from cubital.model.specimen import AnyEvent, Specimen


class ClockTrusted(msgspec.Struct, frozen=True, kw_only=True, tag_field="event", tag="clock-trusted"):
    """A person vouched for the clock after the record had refused it: time goes on from `at`."""

    key: str
    at: datetime
    by: str
    station: str
    why: str


AnyContent = AnyEvent | ClockTrusted
ChainKey = Literal["record", "trail"]


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """One row of the record, byte for byte as it is kept and hashed.

    `sequence` counts from 1 without a gap; `batch` is the sequence of the first entry that was
    written in the same transaction. `recorded_at` is text in UTC with microseconds, never before
    that of the entry before it; `behind_us` is how far the clock stood behind it, 0 as a rule.
    `key`, `specimen` and `version` repeat what `body` says, so that they can be looked up;
    `version` counts the events of the specimen, and both are None where the content is of none.
    """

    sequence: int
    batch: int
    recorded_at: str
    behind_us: int
    key: str
    specimen: str | None
    version: int | None
    body: str
    hash: str


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """One event as the record holds it: when it was written down, and the hash that seals it.

    `behind_us` above 0 marks an entry for which the clock stood behind the record.
    """

    sequence: int
    batch: int
    recorded_at: datetime
    behind_us: int
    version: int | None
    content: AnyContent
    hash: str

    @property
    def delay_s(self) -> int:
        """How many whole seconds after it happened it was written down; below 0 where a clock was ahead."""
        return (self.recorded_at - self.content.at) // timedelta(seconds=1)


class Head(msgspec.Struct, frozen=True, kw_only=True):
    """Where a record ends: the number and hash of its last entry, and when that was written.

    An empty record has the sequence 0, a hash of zeros and no moment.
    """

    sequence: int
    hash: str
    recorded_at: datetime | None = None

    def __str__(self) -> str:
        return f"{self.sequence}:{self.hash}"


class TrailLink(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the trail as it is kept and hashed: `at` is text in UTC with microseconds."""

    sequence: int
    at: str
    account: str
    role: str
    did: str
    about: str
    hash: str


class NotedEnds(msgspec.Struct, frozen=True, kw_only=True):
    """Where the record and the trail ended at an instant, as it is noted outside the database."""

    at: datetime
    record: Head
    trail: Head


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """An event to be recorded, and how many events of its specimen the writer has seen before it."""

    event: AnyEvent
    expected: int


class Recorded(msgspec.Struct, frozen=True, kw_only=True):
    """What an append left: its entries, and each specimen as it was right after them.

    `is_repeat` says that all of it had been recorded before, under the same keys.
    """

    entries: tuple[Entry, ...]
    specimens: tuple[Specimen, ...]
    is_repeat: bool = False

"""What the use cases need from outside: a place that keeps the record of specimens, and a clock."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Protocol

from cubital.model.record import ChainKey, Head, Link, TrailLink
from cubital.model.specimen import Specimen

Now = Callable[[], datetime]


class RecordReading(Protocol):
    """One unchanging view of a record."""

    def head(self) -> Head:
        """Where the record ends."""
        ...

    def link_of(self, key: str) -> Link | None:
        """The link with this key; None where there is none."""
        ...

    def history(self, specimen: str) -> tuple[Link, ...]:
        """The links of one specimen in order; empty where it is unknown."""
        ...

    def links(self, *, after: int = 0, limit: int | None = None) -> Iterator[Link]:
        """The links after this sequence, in order, without holding them all."""
        ...

    def histories(self) -> Iterator[tuple[Link, ...]]:
        """The links of each specimen, one specimen after another."""
        ...

    def specimen(self, id: str) -> Specimen | None:
        """The kept state of this specimen."""
        ...

    def strays(self, state: Specimen) -> tuple[str, ...]:
        """The names of what is kept beside this state, to look it up by, and says something else than it."""
        ...

    def drawn_since(self, moment: datetime) -> tuple[Specimen, ...]:
        """The kept states of all tubes drawn at or after this instant, discarded ones too; no aliquots."""
        ...

    def specimens_of(self, patient: str) -> tuple[Specimen, ...]:
        """The kept states of all specimens of a patient, discarded ones too."""
        ...

    def specimens(self, *, statuses: Sequence[str]) -> Iterator[Specimen]:
        """The kept states of all specimens of these statuses: `open`, `kept` or `gone`."""
        ...

    def count_states(self) -> int:
        """How many states are kept."""
        ...

    def find_damage(self) -> tuple[str, ...]:
        """What the database itself finds wrong, in its words, and which guards are not as made; empty as a rule."""
        ...

    def noted_head(self, chain: ChainKey) -> Head | None:
        """Where the database itself last noted the end of this chain; None where it did not."""
        ...

    def trail(self) -> Iterator[TrailLink]:
        """The lines of the trail in order, without holding them all."""
        ...

    def has_accounts(self) -> bool:
        """Whether there is any account."""
        ...


class RecordWriting(RecordReading, Protocol):
    """The only writer of a record, until its transaction ends."""

    def append(self, links: Sequence[Link], specimens: Sequence[Specimen]) -> None:
        """Add these links and keep these states."""
        ...

    def forget_states(self) -> None:
        """Drop every kept state, to be computed anew; no link is touched."""
        ...

    def keep_states(self, specimens: Iterable[Specimen]) -> None:
        """Keep these states."""
        ...


class RecordStore(Protocol):
    """A database that holds one record."""

    @property
    def where(self) -> str:
        """How a message names it, without a password."""
        ...

    @property
    def file(self) -> Path | None:
        """The file that holds it; None where a server does."""
        ...

    @property
    def is_private(self) -> bool:
        """Whether nobody but its owner may read the file that holds it; a server keeps its own."""
        ...

    def reading(self) -> AbstractContextManager[RecordReading]:
        """A transaction that sees one moment of the record."""
        ...

    def writing(self) -> AbstractContextManager[RecordWriting]:
        """A transaction that no other writer overlaps; whole when it ends well, else not at all."""
        ...

    def close(self) -> None:
        """Give back every connection."""
        ...

"""Who a patient is, for paper only: never in a plan, a log or a message."""

from __future__ import annotations

from datetime import date, datetime

import msgspec


class Identity(msgspec.Struct, frozen=True, kw_only=True):
    """The identifiers of one patient as they are printed; `is_invented` marks one made up for a demonstration.

    What is printed of it in a trace or a log is nothing.

    >>> Identity(name="Invented, Ottoline", number="X-1", birth_date=date(1958, 3, 2))
    Identity(…)
    """

    name: str
    number: str
    birth_date: date
    second_number: str | None = None
    is_invented: bool = False

    def __repr__(self) -> str:
        return "Identity(…)"


class Collection(msgspec.Struct, frozen=True, kw_only=True):
    """Whose draw is printed and what its specimens are called; None is written by hand.

    `specimens` are the numbers of the specimens in the order of the plan's tubes that are kept;
    `collected` is a local time of the site.
    """

    identity: Identity
    specimens: tuple[str, ...] = ()
    collected: datetime | None = None
    collector: str | None = None

    def __repr__(self) -> str:
        return "Collection(…)"

"""Orders of the shipped site by their words, arranged, for the tests of moments."""

from __future__ import annotations

from datetime import UTC, datetime

from cubital.model import Ask, Event, Order, Site
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.directory import Directory
from cubital.planning.moments import Arrangement, arrange
from tests.published.shipped import SHIPPED

Said = tuple[str, str] | tuple[str, str, str]


def at(clock: str) -> datetime:
    """This clock time of one morning, in UTC."""
    return datetime.fromisoformat(f"2026-11-25T{clock}").replace(tzinfo=UTC)


def event(what: str, clock: str, of: str | None = None) -> Event:
    """What happened at this clock time."""
    return Event(what=what, at=at(clock), of=of)


def asked_for(*words: str | tuple[str, int], site: Site = SHIPPED) -> tuple[Asked, ...]:
    """What these words ask for; a pair is a test and its minute."""
    asks = tuple(Ask(test=word) if isinstance(word, str) else Ask(test=word[0], at_min=word[1]) for word in words)
    return resolve_asks(Order(asks=asks), site, Directory(site))


def arranged(
    *words: str | tuple[str, int], now: str | None = None, events: tuple[Event, ...] = (), site: Site = SHIPPED
) -> Arrangement:
    """The draws of these words."""
    instant = None if now is None else at(now)
    return arrange(asked_for(*words, site=site), site, now=instant, events=events)


def drawn(*words: str | tuple[str, int], **more: object) -> list[list[str]]:
    """The tests of each draw of these words, in order."""
    found = arranged(*words, **more)  # type: ignore[arg-type]
    tests = [one.test for one in asked_for(*words, site=more.get("site", SHIPPED))]  # type: ignore[arg-type]
    return [
        [test for test, slot in zip(tests, found.slot_of, strict=True) if slot == number]
        for number in range(len(found.slots))
    ]


def due(found: Arrangement) -> list[tuple[str | None, str | None]]:
    """The clock times between which each draw is due."""
    return [
        (None if begin is None else f"{begin:%H:%M}", None if end is None else f"{end:%H:%M}")
        for begin, end in found.due
    ]

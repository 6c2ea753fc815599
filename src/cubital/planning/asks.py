"""What an order asks for: its words resolved to tests of the directory, draw by draw."""

from __future__ import annotations

from typing import NamedTuple

from cubital.errors import OrderError
from cubital.model import Ask, Order, Site
from cubital.model.vocabulary import PRIORITIES
from cubital.planning.directory import Directory
from cubital.planning.settling import error_of

_RANKS = {priority: rank for rank, priority in enumerate(PRIORITIES)}


class InSeries(NamedTuple):
    """A test's place in a series: the panel, and the minute of the step as the panel writes it."""

    panel: str
    at_min: int


class Asked(NamedTuple):
    """One test at one minute of the order: how urgent, and the words it came from.

    `at_min` is 0 where neither the order nor a series gives a minute; `is_said` tells whether the order itself wrote
    one. `series` are the series it came through, where it came through one.
    """

    test: str
    at_min: int
    priority: int
    via: tuple[str, ...]
    series: tuple[InSeries, ...] = ()
    is_said: bool = False


class _Member(NamedTuple):
    at_min: int
    test: str
    series: tuple[InSeries, ...]


def resolve_asks(order: Order, site: Site, directory: Directory) -> tuple[Asked, ...]:
    """Every test this order asks for, panels and series expanded, in the order first met.

    A test that two panels share is drawn once, at the more urgent priority; where two series count
    from different events it is drawn for each. The same test written twice is refused, as is an
    order of nothing.
    """
    if not order.asks:
        raise OrderError("found no test; expected at least one; name a test, a panel or a code", where="tests")
    found: list[Asked] = []
    places: dict[tuple[int, str], list[int]] = {}
    direct: dict[tuple[str, int], str] = {}
    for number, ask in enumerate(order.asks):
        if ask.unsettled is not None:
            raise error_of(ask.unsettled)
        where = f"tests[{number if ask.place is None else ask.place}]"
        kind, key = directory.resolve(ask.test, system=ask.system, where=where)
        at_min = ask.at_min or 0
        if (key, at_min) in direct:
            raise OrderError(
                f"{ask.test!r} and {direct[key, at_min]!r} are the same, {key}; expected each test once; take one out",
                where=where,
            )
        direct[key, at_min] = ask.test
        members = [_Member(at_min, key, ())] if kind == "test" else _expand(site, key, at_min, where)
        for member in members:
            _add(found, places, member, ask, site)
    return tuple(found)


def _add(
    found: list[Asked], places: dict[tuple[int, str], list[int]], member: _Member, ask: Ask, site: Site
) -> None:
    priority = _RANKS[ask.priority]
    here = places.setdefault((member.at_min, member.test), [])
    events = _events(member.series, site)
    for place in here:
        before = found[place]
        if events and (theirs := _events(before.series, site)) and theirs != events:
            continue
        found[place] = Asked(
            member.test, member.at_min, min(before.priority, priority), (*before.via, ask.test),
            tuple(dict.fromkeys((*before.series, *member.series))), before.is_said or ask.at_min is not None,
        )  # fmt: skip
        return
    here.append(len(found))
    found.append(
        Asked(member.test, member.at_min, priority, (ask.test,), member.series, ask.at_min is not None)
    )


def _events(series: tuple[InSeries, ...], site: Site) -> frozenset[tuple[str, str | None]]:
    """What the minutes of these series count from, the first draw apart."""
    panels = [site.panels[place.panel] for place in series]
    return frozenset((panel.anchor, panel.of) for panel in panels if panel.anchor is not None)


def _expand(
    site: Site, key: str, at_min: int, where: str, inside: tuple[str, ...] = (), through: tuple[InSeries, ...] = ()
) -> list[_Member]:
    panel = site.panels[key]
    members: list[_Member] = []
    steps = [(at_min, test, through) for test in panel.tests]
    steps += [
        (at_min + step.at_min, test, (*through, InSeries(key, step.at_min)))
        for step in panel.series
        for test in step.tests
    ]
    for minute, test, places in steps:
        if test in site.tests:
            members.append(_Member(minute, test, places))
        elif test in site.panels and test != key and test not in inside:
            members += _expand(site, test, minute, where, (*inside, key), places)
        else:
            raise OrderError(
                f"panel {key} names {test!r}, which this site does not define; define it or change the panel",
                where=where,
            )
    return members

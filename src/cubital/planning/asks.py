"""What an order asks for: its words resolved to tests of the directory, draw by draw."""

from __future__ import annotations

from typing import NamedTuple

from cubital.errors import OrderError
from cubital.model import Ask, Order, Site
from cubital.model.vocabulary import PRIORITIES
from cubital.planning.directory import Directory

_RANKS = {priority: rank for rank, priority in enumerate(PRIORITIES)}


class Asked(NamedTuple):
    """One test at one minute of the order: how urgent, and the words it came from."""

    test: str
    at_min: int
    priority: int
    via: tuple[str, ...]


def resolve_asks(order: Order, site: Site, directory: Directory) -> tuple[Asked, ...]:
    """Every test this order asks for, panels and series expanded, in the order first met.

    A test that two panels share is drawn once, at the more urgent priority. The same test written
    twice is refused, as is an order of nothing.
    """
    if not order.asks:
        raise OrderError("found no test; expected at least one; name a test, a panel or a code", where="tests")
    found: dict[tuple[int, str], Asked] = {}
    direct: dict[tuple[str, int], str] = {}
    for number, ask in enumerate(order.asks):
        where = f"tests[{number}]"
        kind, key = directory.resolve(ask.test, system=ask.system, where=where)
        at_min = ask.at_min or 0
        if (key, at_min) in direct:
            raise OrderError(
                f"{ask.test!r} and {direct[key, at_min]!r} are the same, {key}; expected each test once; take one out",
                where=where,
            )
        direct[key, at_min] = ask.test
        members = [(at_min, key)] if kind == "test" else _expand(site, key, at_min, where)
        for minute, test in members:
            _add(found, minute, test, ask)
    return tuple(found.values())


def _add(found: dict[tuple[int, str], Asked], minute: int, test: str, ask: Ask) -> None:
    priority = _RANKS[ask.priority]
    before = found.get((minute, test))
    if before is None:
        found[minute, test] = Asked(test, minute, priority, (ask.test,))
    else:
        found[minute, test] = Asked(test, minute, min(before.priority, priority), (*before.via, ask.test))


def _expand(site: Site, key: str, at_min: int, where: str, inside: tuple[str, ...] = ()) -> list[tuple[int, str]]:
    panel = site.panels[key]
    members: list[tuple[int, str]] = []
    steps = [(at_min, test) for test in panel.tests]
    steps += [(at_min + step.at_min, test) for step in panel.series for test in step.tests]
    for minute, test in steps:
        if test in site.tests:
            members.append((minute, test))
        elif test in site.panels and test != key and test not in inside:
            members += _expand(site, test, minute, where, (*inside, key))
        else:
            raise OrderError(
                f"panel {key} names {test!r}, which this site does not define; define it or change the panel",
                where=where,
            )
    return members

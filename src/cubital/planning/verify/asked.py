"""What an order asks for, read again from its words and the site's directory."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from cubital.model import Ask, Order, Panel, Site, Test, Unsettled
from cubital.model.vocabulary import PRIORITIES

Steps = frozenset[tuple[str, int]]


class Asked(NamedTuple):
    """One test to be drawn once: its minute as order and series write it, and its highest priority.

    `steps` are the series it comes from, each with the minute of the step; `is_said` tells whether the order itself
    wrote a minute.
    """

    key: str
    at_min: int
    priority: str
    steps: Steps = frozenset()
    is_said: bool = False


def list_asked(order: Order, site: Site, unsettled: tuple[Unsettled, ...] = ()) -> tuple[list[Asked], list[str]]:
    """Every test the order asks for, once for each minute and event, and what cannot be read.

    A word that the plan says is `unsettled` is none of them, where it is so.
    """
    left = {one.word for one in unsettled}
    asked: list[Asked] = []
    findings: list[str] = []
    for ask in order.asks:
        entries = set() if ask.unsettled else _identify(ask.test, site)
        if ask.test in left:
            if len(entries) == 1:
                findings.append(f"the plan leaves out {ask.test!r} as not settled, which is {entries.pop()}")
            continue
        if len(entries) != 1:
            many = f"stands for {', '.join(sorted(entries))}" if entries else "is nothing this site defines"
            findings.append(f"the order asks for {ask.test!r}, which {many}")
            continue
        for one in _expand(entries.pop(), ask, site):
            if one.key not in site.tests:
                findings.append(f"the order reaches {one.key!r} through a panel, and no such test is defined")
            else:
                _add(asked, one, site)
    return asked, findings


def _add(asked: list[Asked], one: Asked, site: Site) -> None:
    """Add what is asked, or ask the same more urgently: series of two events draw their tests twice."""
    events = _events(one.steps, site)
    for place, before in enumerate(asked):
        if (before.key, before.at_min) != (one.key, one.at_min):
            continue
        if not events or not _events(before.steps, site) or events == _events(before.steps, site):
            priority = min(before.priority, one.priority, key=PRIORITIES.index)
            is_said = before.is_said or one.is_said
            asked[place] = before._replace(priority=priority, steps=before.steps | one.steps, is_said=is_said)
            return
    asked.append(one)


def _events(steps: Steps, site: Site) -> set[tuple[str, str | None]]:
    """What the minutes of these series count from, where that is not the first draw."""
    panels = [site.panels[panel] for panel, _ in steps]
    return {(panel.anchor, panel.of) for panel in panels if panel.anchor is not None}


def _identify(text: str, site: Site) -> set[str]:
    """The keys of the tests and panels these words may stand for; a key means itself."""
    if text in site.tests or text in site.panels:
        return {text}
    folded = _bare(text)
    entries: list[Test | Panel] = [*site.tests.values(), *site.panels.values()]
    found = {entry.key for entry in entries if folded in _words_of(entry)}
    if found:
        return found
    return {key for word, choices in site.ambiguous.items() if _bare(word) == folded for key in choices}


def _words_of(entry: Test | Panel) -> set[str]:
    words = [entry.key, entry.name, *entry.also, *entry.codes.values()]
    return {_bare(word) for word in words}


@lru_cache(maxsize=50_000)
def _bare(text: str) -> str:
    """A name without case, spaces, hyphens or punctuation, as people vary in these."""
    return "".join(letter for letter in text.casefold() if letter.isalnum() or letter == "%")


def _expand(key: str, ask: Ask, site: Site) -> Iterator[Asked]:
    """The tests that this key stands for, through panels and series."""
    start_min, is_said = ask.at_min or 0, ask.at_min is not None

    def through(key: str, at_min: int, steps: Steps, inside: tuple[str, ...]) -> Iterator[Asked]:
        panel = None if key in site.tests else site.panels.get(key)
        if panel is None or key in inside:
            yield Asked(key, at_min, ask.priority, steps, is_said)
            return
        for member in panel.tests:
            yield from through(member, at_min, steps, (*inside, key))
        for step in panel.series:
            for member in step.tests:
                here = steps | {(key, step.at_min)}
                yield from through(member, at_min + step.at_min, here, (*inside, key))

    return through(key, start_min, frozenset(), ())

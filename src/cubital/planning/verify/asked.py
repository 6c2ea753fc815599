"""What an order asks for, read again from its words and the site's directory."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from cubital.model import Order, Panel, Site, Test, Unsettled
from cubital.model.vocabulary import PRIORITIES

Asked = dict[tuple[int, str], str]


def list_asked(order: Order, site: Site, unsettled: tuple[Unsettled, ...] = ()) -> tuple[Asked, list[str]]:
    """Every (minute, test key) the order asks for with its highest priority, and what cannot be read.

    A word that the plan says is `unsettled` is none of them, where it is so.
    """
    left = {one.word for one in unsettled}
    asked: Asked = {}
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
        for at_min, key in _expand(entries.pop(), ask.at_min or 0, site, ()):
            if key not in site.tests:
                findings.append(f"the order reaches {key!r} through a panel, and no such test is defined")
                continue
            before = asked.get((at_min, key), PRIORITIES[-1])
            asked[at_min, key] = min(before, ask.priority, key=PRIORITIES.index)
    return asked, findings


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


def _expand(key: str, at_min: int, site: Site, inside: tuple[str, ...]) -> Iterator[tuple[int, str]]:
    panel = None if key in site.tests else site.panels.get(key)
    if panel is None or key in inside:
        yield at_min, key
        return
    for member in panel.tests:
        yield from _expand(member, at_min, site, (*inside, key))
    for step in panel.series:
        for member in step.tests:
            yield from _expand(member, at_min + step.at_min, site, (*inside, key))

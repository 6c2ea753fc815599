"""Searching a site's directory, and its tubes by the look of their stoppers."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from cubital.model import Site
from cubital.planning.directory import NEARLY, Directory
from cubital.planning.looks import kinds_by_look


class Match(msgspec.Struct, frozen=True, kw_only=True):
    """One test or panel that a text may mean."""

    kind: str
    key: str
    name: str
    also: tuple[str, ...]
    codes: Mapping[str, str]


class KindMatch(msgspec.Struct, frozen=True, kw_only=True):
    """One tube kind whose stopper looks as was said; `stopper` is the word of the site."""

    key: str
    name: str
    mark: str
    stopper: str | None


def find_kinds(text: str, site: Site) -> tuple[KindMatch, ...]:
    """The tube kinds of this site whose stopper looks so; empty where the text is no look of one.

    >>> from cubital.app.wiring import open_site
    >>> [found.key for found in find_kinds("pale blue", open_site(demo=True))]
    ['citrate']
    """
    kinds = (site.kinds[key] for key in kinds_by_look(text, site.kinds))
    return tuple(KindMatch(key=kind.key, name=kind.name, mark=kind.mark, stopper=kind.stopper) for kind in kinds)


def find_tests(text: str, site: Site, *, most: int = 20) -> tuple[Match, ...]:
    """The tests and panels of this site that the text may mean, best first; empty where nothing is near.

    A text that is the look of a stopper is no misspelled test.

    >>> from cubital.app.wiring import open_site
    >>> find_tests("potassium", open_site())[0].key
    'potassium'
    """
    is_look = bool(kinds_by_look(text, site.kinds))
    return tuple(
        Match(
            kind=hit.kind,
            key=hit.key,
            name=hit.name,
            also=hit.also,
            codes=(site.tests if hit.kind == "test" else site.panels)[hit.key].codes,
        )
        for hit in Directory(site).search(text, most)
        if hit.rank < NEARLY or not is_look
    )

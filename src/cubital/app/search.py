"""Searching a site's directory."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from cubital.model import Site
from cubital.planning.directory import Directory


class Match(msgspec.Struct, frozen=True, kw_only=True):
    """One test or panel that a text may mean."""

    kind: str
    key: str
    name: str
    also: tuple[str, ...]
    codes: Mapping[str, str]


def find_tests(text: str, site: Site, *, most: int = 20) -> tuple[Match, ...]:
    """The tests and panels of this site that the text may mean, best first; empty where nothing is near.

    >>> from cubital.app.wiring import open_site
    >>> find_tests("potassium", open_site())[0].key
    'potassium'
    """
    return tuple(
        Match(
            kind=hit.kind,
            key=hit.key,
            name=hit.name,
            also=hit.also,
            codes=(site.tests if hit.kind == "test" else site.panels)[hit.key].codes,
        )
        for hit in Directory(site).search(text, most)
    )

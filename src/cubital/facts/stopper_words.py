"""How people say what a stopper looks like."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, refuse_unknown, shape
from cubital.facts.sources import Mark


class StopperWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words that mean one look, and words that say nothing of it."""

    alike: tuple[tuple[str, ...], ...]
    silent: tuple[str, ...]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def stopper_words() -> StopperWords:
    """The words that are taken for one look, and those that only say that a stopper is meant.

    >>> stopper_words().alike[0]
    ('light', 'pale')
    """
    return load_stopper_words(read_table("stopper_words.toml"), file="stopper_words.toml")


def load_stopper_words(table: Mapping[str, Any], *, file: str) -> StopperWords:
    """The words a parsed table holds; a word means one look."""
    refuse_unknown(table, ("stoppers",), file=file)
    found = shape(table.get("stoppers"), StopperWords, file=file, entry="stoppers")
    check_marks_of({"stoppers": found}, file=file)
    words = [word for group in found.alike for word in group]
    twice = sorted(word for word in set(words) if words.count(word) > 1 or word in found.silent)
    if twice:
        raise FactsError(f"found {twice[0]!r} twice; expected each word once; take one out", where=f"{file} [stoppers]")
    return found

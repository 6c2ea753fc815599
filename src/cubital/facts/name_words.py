"""Words in the names of tests that do not say which test is meant."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries

KINDS = ("silent", "qualifier")


class NameWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One kind of such words."""

    words: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def name_words() -> Mapping[str, NameWords]:
    """The words that say nothing of the test (`silent`) and those that tell tests of one substance apart (`qualifier`).

    >>> "level" in name_words()["silent"].words, "direct" in name_words()["qualifier"].words
    (True, True)
    """
    return load_name_words(read_table("name_words.toml"), file="name_words.toml")


def load_name_words(table: Mapping[str, Any], *, file: str) -> Mapping[str, NameWords]:
    """The words a parsed table holds, by kind; each word is of one kind."""
    found = {key: shape(entry, NameWords, file=file, entry=key) for key, entry in entries(table, file=file)}
    check_marks_of(found, file=file)
    if tuple(sorted(found)) != tuple(sorted(KINDS)):
        said = ", ".join(found) or "nothing"
        raise FactsError(f"found {said}; expected {' and '.join(KINDS)}; write both", where=file)
    twice = set(found["silent"].words) & set(found["qualifier"].words)
    if twice:
        raise FactsError(f"found {sorted(twice)[0]!r} in both; expected each word once; take one out", where=file)
    return MappingProxyType(found)

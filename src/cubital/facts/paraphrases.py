"""Ways to write one name of a test."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, refuse_unknown, shape
from cubital.facts.sources import Mark

Group = Annotated[tuple[str, ...], msgspec.Meta(min_length=2)]


class Paraphrases(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words taken for one another, words that say nothing at all or alone, and words for what a test is taken from."""

    dropped: tuple[str, ...]
    generic: tuple[str, ...]
    matrix: tuple[str, ...]
    alike: tuple[Group, ...]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def paraphrases() -> Paraphrases:
    """The words that are taken for one another in the name of a test, the first of each group our own.

    >>> paraphrases().alike[1]
    ('antigen', 'ag')
    """
    return load_paraphrases(read_table("paraphrases.toml"), file="paraphrases.toml")


def load_paraphrases(table: Mapping[str, Any], *, file: str) -> Paraphrases:
    """The words a parsed table holds; each word stands once."""
    refuse_unknown(table, ("paraphrases",), file=file)
    found = shape(table.get("paraphrases"), Paraphrases, file=file, entry="paraphrases")
    check_marks_of({"paraphrases": found}, file=file)
    words = [*found.dropped, *found.matrix, *(word for group in found.alike for word in group)]
    twice = sorted(word for word in set(words) if words.count(word) > 1)
    if twice:
        raise FactsError(
            f"found {twice[0]!r} twice; expected each word once; take one out", where=f"{file} [paraphrases]"
        )
    return found

"""What a patient's flags ask of the collector."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, Literal

import msgspec

from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries


class Flag(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One flag: the caution it brings, how grave, and other spellings that mean it."""

    key: str
    level: Literal["warn", "note"]
    text: str
    marks: tuple[Mark, ...]
    also: tuple[str, ...] = ()


def flag_word(text: str) -> str:
    """A flag as it is compared with others, however it was spaced and capitalised.

    >>> flag_word(" Latex_Allergy"), flag_word("latex allergy")
    ('latex-allergy', 'latex-allergy')
    """
    return text.strip().casefold().replace(" ", "-").replace("_", "-")


@cache
def flags() -> Mapping[str, Flag]:
    """Every flag a patient may carry, by key."""
    return load_flags(read_table("flags.toml"), file="flags.toml")


def load_flags(table: Mapping[str, Any], *, file: str) -> Mapping[str, Flag]:
    """The flags of a parsed table; raises `FactsError` naming file and entry."""
    found = {
        key: shape({"key": key, **entry}, Flag, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)

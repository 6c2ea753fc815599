"""What a separating gel does to single tests."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries


class GelLimit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test and a gel: no gel kind serves it, one only where there is no other, or one as well as any.

    `holds_h` is how long a source found it kept on a gel in the room, None where none says.
    """

    test: str
    standing: Literal["never", "last", "alike"]
    text: Annotated[str, msgspec.Meta(min_length=1)]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    holds_h: Annotated[int, msgspec.Meta(gt=0)] | None = None

    def __post_init__(self) -> None:
        if self.standing == "never" and self.holds_h is not None:
            raise ValueError(f"found holds_h {self.holds_h} of a test that never goes on gel; expected none")


@cache
def gels() -> Mapping[str, GelLimit]:
    """What a gel does to a test, by test key; a test that is absent is not known.

    >>> gels()["phenytoin"].standing
    'never'
    """
    return load_gels(read_table("gels.toml"), file="gels.toml")


def load_gels(table: Mapping[str, Any], *, file: str) -> Mapping[str, GelLimit]:
    """The tests that a parsed table holds."""
    found = {
        key: shape({"test": key, **entry}, GelLimit, file=file, entry=key) for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)

"""What a gas analyzer measures in whole blood beside the gases, and how far it stands for the laboratory."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries

Words = Annotated[str, msgspec.Meta(min_length=1)]


class WholeBlood(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test in the whole blood of a gas container.

    `standing` is how far it may stand for the laboratory's; `bias` says the difference in words, `caution` what stands
    beside a plan that uses it. `volume_ul` is what the test adds to the sample of the gases: a panel is one aspirate.
    """

    test: str
    standing: Literal["first-choice", "with-warning", "trend-only"]
    volume_ul: Annotated[int, msgspec.Meta(gt=0)]
    bias: Words
    caution: Words
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def whole_blood() -> Mapping[str, WholeBlood]:
    """The tests that gas analyzers measure in whole blood, by test key.

    >>> whole_blood()["glucose"].standing
    'first-choice'
    """
    return load_whole_blood(read_table("whole_blood.toml"), file="whole_blood.toml")


def load_whole_blood(table: Mapping[str, Any], *, file: str) -> Mapping[str, WholeBlood]:
    """The tests that a parsed table holds."""
    found = {
        key: shape({"test": key, **entry}, WholeBlood, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)

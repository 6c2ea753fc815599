"""Published screens of results for what went into the tube, which stand beside the model."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.population import population
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, check_marks, entries, sources

Measure = Literal["value", "rise", "share-of-earlier"]


class Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One comparison: a result as it is, less another one, or against the patient's last one before."""

    of: str
    less: str | None = None
    measure: Measure = "value"
    at_least: Decimal | None = None
    at_most: Decimal | None = None

    def __post_init__(self) -> None:
        if (self.at_least is None) == (self.at_most is None):
            raise ValueError("expected at_least or at_most, one of them")
        if self.less is not None and self.measure != "value":
            raise ValueError(f"found less beside measure {self.measure!r}; expected it with the value only")


class Screen(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A published screen: what it means where all parts are met, what is doubted then; how old a result may be."""

    key: str
    means: str
    text: str
    parts: Annotated[tuple[Part, ...], msgspec.Meta(min_length=1)]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    doubted: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    earlier_max_h: int | None = None

    def __post_init__(self) -> None:
        if any(part.measure != "value" for part in self.parts) != (self.earlier_max_h is not None):
            raise ValueError("expected earlier_max_h with a part that asks for an earlier result, and only with one")

    def words(self) -> str:
        """That it is met, what it is, and what would tell.

        >>> screens()["dextrose"].words().partition(":")[0]
        'a published screen for dextrose is met (Yang 2024)'
        """
        source = sources()[self.marks[0].source].short()
        said = f"a published screen for {self.means} is met ({source}): {self.text}"
        return f"{said}; a new sample from another site would tell"


@cache
def screens() -> Mapping[str, Screen]:
    """Every screen by its key.

    >>> screens()["citrate-by-gap"].parts[1].less
    'chloride'
    """
    return load_screens(read_table("screens.toml"), file="screens.toml")


def load_screens(table: Mapping[str, Any], *, file: str) -> Mapping[str, Screen]:
    """The screens that a parsed table holds; refuses a part about what is no analyte."""
    found = {key: shape({"key": key, **raw}, Screen, file=file, entry=key) for key, raw in entries(table, file=file)}
    known = population().analytes
    for key, screen in found.items():
        check_marks(screen, file=file, entry=key)
        named = (*screen.doubted, *(name for part in screen.parts for name in (part.of, part.less) if name))
        unknown = [name for name in named if name not in known]
        if unknown:
            raise FactsError(f"found {', '.join(unknown)}, which no facts know; correct it", where=f"{file} [{key}]")
    return MappingProxyType(found)

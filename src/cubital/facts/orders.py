"""Orders of draw: what each guideline places, and what it leaves unsaid."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, Literal

import msgspec

from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries
from cubital.facts.tubes import AdditiveKey, Use


class Place(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which tubes stand here; a field left None stands for any. The most specific place wins.

    A kind whose use is trace-element or lead is placed only by a place that names that use;
    any other use falls back to places without one.
    """

    additive: AdditiveKey
    gel: bool | None = None
    use: Use | None = None
    material: Literal["glass", "plastic"] | None = None


class Step(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One step of an order; earlier places go earlier.

    `inner_order` is "source" when the source orders the places of this step, "house" when it does not
    and the listed order is this project's tie rule.
    """

    name: str
    places: tuple[Place, ...]
    mark: Mark
    inner_order: Literal["source", "house"] = "source"


class Silent(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tubes the source leaves unsaid, and what each other source holds."""

    what: str
    choices: tuple[str, ...]
    mark: Mark
    additive: AdditiveKey | None = None
    gel: bool | None = None
    use: Use | None = None

    def __post_init__(self) -> None:
        if self.additive is None and self.use is None:
            raise ValueError("found neither additive nor use; expected at least one")


class Refused(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tubes that are not taken this way at all, and why."""

    what: str
    mark: Mark
    additive: AdditiveKey | None = None
    use: Use | None = None

    def __post_init__(self) -> None:
        if self.additive is None and self.use is None:
            raise ValueError("found neither additive nor use; expected at least one")


class OrderPolicy(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One order of draw, with its scope, its steps, and what it leaves unsaid or refuses."""

    key: str
    name: str
    scope: str
    marks: tuple[Mark, ...]
    steps: tuple[Step, ...]
    silent: tuple[Silent, ...] = ()
    refused: tuple[Refused, ...] = ()
    accesses_in_scope: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        if not self.marks:
            raise ValueError("found no marks; expected at least one")
        seen: set[Place] = set()
        for step in self.steps:
            for place in step.places:
                if place in seen:
                    raise ValueError(f"found {place.additive} placed twice alike; expected once")
                seen.add(place)


@cache
def order_policies() -> Mapping[str, OrderPolicy]:
    """Every order of draw by its key.

    >>> [step.name for step in order_policies()["clsi-gp41"].steps][1]
    'citrate for coagulation'
    """
    return load_order_policies(read_table("order_of_draw.toml"), file="order_of_draw.toml")


def load_order_policies(table: Mapping[str, Any], *, file: str) -> Mapping[str, OrderPolicy]:
    """The orders of draw a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, OrderPolicy, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)

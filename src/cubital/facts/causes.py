"""What may have gone into a tube, how often, and what standing on the cells does."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal, get_args

import msgspec

from cubital.errors import FactsError
from cubital.facts.contaminants import contaminants
from cubital.facts.population import Between, population
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, check_marks, entries

CauseKey = Literal[
    "none", "k2-edta", "k3-edta", "sodium-citrate", "fluoride-oxalate", "lithium-heparin", "sodium-heparin",
    "saline", "dextrose", "balanced-fluid", "hemolysis", "delayed-separation", "other-patient",
]  # fmt: skip
CAUSES: tuple[str, ...] = get_args(CauseKey)


class Cause(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One cause: how often it is met, at which doses, and what it may move beyond what is computed.

    `share` is None for `none` alone, which has what the others leave. A cause with an additive and fluids says how much
    of its share is the fluids' (`fluid_part`), and their own dose.
    """

    key: CauseKey
    name: str
    family: str
    share_mark: Mark
    share: Decimal | None = None
    additive: str | None = None
    fluids: tuple[str, ...] = ()
    dose: Between | None = None
    fluid_dose: Between | None = None
    fluid_part: Decimal | None = None
    dose_g_per_l: Between | None = None
    dose_h: Between | None = None
    decline: Decimal = Decimal(0)
    doubted: tuple[str, ...] = ()
    doubted_mark: Mark | None = None

    def __post_init__(self) -> None:
        if bool(self.doubted) != (self.doubted_mark is not None):
            raise ValueError("expected doubted_mark with doubted analytes, and only with them")
        if (self.share is None) != (self.key == "none"):
            raise ValueError("expected a share of every cause but none")
        if self.share is not None and not 0 < self.share < 1:
            raise ValueError(f"found a share of {self.share}; expected above 0 and below 1")
        if bool(self.additive or self.fluids) != (self.dose is not None):
            raise ValueError("expected a dose with an additive or fluids, and only with them")
        has_both = bool(self.additive and self.fluids)
        if has_both != (self.fluid_dose is not None) or has_both != (self.fluid_part is not None):
            raise ValueError("expected fluid_dose and fluid_part with an additive and fluids, and only with both")
        if self.fluid_part is not None and not 0 < self.fluid_part < 1:
            raise ValueError(f"found a fluid_part of {self.fluid_part}; expected above 0 and below 1")
        for dose in (self.dose, self.fluid_dose):
            if dose is not None and dose.high > 1:
                raise ValueError(f"found a dose of {dose.high}; expected a share, at most 1")


class Change(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an hour on the cells does to one analyte, from one hour to another."""

    analyte: str
    mark: Mark
    share_per_h: Decimal | None = None
    amount_per_h: Decimal | None = None
    from_h: int = 0
    to_h: int | None = None

    def __post_init__(self) -> None:
        if (self.share_per_h is None) == (self.amount_per_h is None):
            raise ValueError("expected share_per_h or amount_per_h, one of them")


class Standing(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What standing on the cells does at one temperature."""

    key: str
    name: str
    changes: Annotated[tuple[Change, ...], msgspec.Meta(min_length=1)]


class Illness(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One illness that looks like a contaminated tube: what it does to the analytes at full strength."""

    key: str
    name: str
    share: Decimal
    mark: Mark
    factor: dict[str, Decimal] = {}
    amount: dict[str, Decimal] = {}

    def __post_init__(self) -> None:
        if not 0 < self.share < 1:
            raise ValueError(f"found a share of {self.share}; expected above 0 and below 1")
        if not (self.factor or self.amount) or any(value <= 0 for value in self.factor.values()):
            raise ValueError("expected an amount or a factor above 0 at least")


@cache
def causes() -> Mapping[str, Cause]:
    """Every cause by its key, in the order of an answer.

    >>> list(causes())[:2]
    ['none', 'k2-edta']
    """
    return load_causes(read_table("causes.toml"), file="causes.toml")


def load_causes(table: Mapping[str, Any], *, file: str) -> Mapping[str, Cause]:
    """The causes a parsed table holds; refuses what names no additive, fluid or analyte, and a missing cause."""
    found = {key: shape({"key": key, **raw}, Cause, file=file, entry=key) for key, raw in entries(table, file=file)}
    if tuple(found) != CAUSES:
        raise FactsError(f"found {', '.join(found)}; expected {', '.join(CAUSES)}, in this order", where=file)
    for key, cause in found.items():
        check_marks(cause, file=file, entry=key)
        unknown = [name for name in cause.doubted if name not in population().analytes]
        unknown += [name for name in cause.fluids if name not in contaminants().fluid]
        unknown += [] if cause.additive is None or cause.additive in contaminants().dose else [cause.additive]
        if unknown:
            raise FactsError(f"found {', '.join(unknown)}, which no facts know; correct it", where=f"{file} [{key}]")
    if sum(cause.share or 0 for cause in found.values()) >= 1:
        raise FactsError("found shares of 1 or more in all; expected room for none", where=file)
    return MappingProxyType(found)


@cache
def standing() -> Mapping[str, Standing]:
    """What an hour on the cells does, by temperature.

    >>> sorted(standing())
    ['cold', 'room']
    """
    return load_standing(read_table("standing.toml"), file="standing.toml")


def load_standing(table: Mapping[str, Any], *, file: str) -> Mapping[str, Standing]:
    """The changes a parsed table holds."""
    found = {key: shape({"key": key, **raw}, Standing, file=file, entry=key) for key, raw in entries(table, file=file)}
    for key, entry in found.items():
        check_marks(entry, file=file, entry=key)
        for change in entry.changes:
            if change.analyte not in population().analytes:
                raise FactsError(
                    f"found analyte {change.analyte!r}; expected one of population.toml", where=f"{file} [{key}]"
                )
    return MappingProxyType(found)


@cache
def illnesses() -> Mapping[str, Illness]:
    """The illnesses that are weighed against a contaminated tube.

    >>> "ketoacidosis" in illnesses()
    True
    """
    return load_illnesses(read_table("illness.toml"), file="illness.toml")


def load_illnesses(table: Mapping[str, Any], *, file: str) -> Mapping[str, Illness]:
    """The illnesses a parsed table holds."""
    found = {key: shape({"key": key, **raw}, Illness, file=file, entry=key) for key, raw in entries(table, file=file)}
    for key, illness in found.items():
        check_marks(illness, file=file, entry=key)
        unknown = sorted({*illness.factor, *illness.amount} - set(population().analytes))
        if unknown:
            raise FactsError(
                f"found {', '.join(unknown)}; expected analytes of population.toml", where=f"{file} [{key}]"
            )
    if sum(illness.share for illness in found.values()) >= 1:
        raise FactsError("found shares of 1 or more in all; expected room for the healthy", where=file)
    return MappingProxyType(found)

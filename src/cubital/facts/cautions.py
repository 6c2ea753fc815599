"""What the chair must do and watch: accesses, handling terms, the standing cautions."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any

import msgspec

from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries

Marks = Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
Whole = Annotated[int, msgspec.Meta(ge=0)]


class Discard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When blood is discarded first, what kind of tube takes it, and how much."""

    when: str
    needed: bool
    mark: Mark
    fill: str | None = None
    dead_space_multiple: Whole | None = None


class DeadVolume(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source's dead volume of an access."""

    low_ul: Whole
    high_ul: Whole
    mark: Mark


class Access(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How blood is reached; `dead_volume_ul` None is not known and must be asked."""

    key: str
    name: str
    closed: bool
    discards: tuple[Discard, ...]
    cautions: tuple[str, ...]
    marks: Marks
    dead_volume_ul: Whole | None = None
    dead_volume_rivals: tuple[DeadVolume, ...] = ()


class HandlingTerm(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One handling term: what to do, in a few words, and why; `only_by` is where it has a meaning, empty everywhere.

    A run up to `run_at_most_c`, or from `run_at_least_c` on, in degrees Celsius, keeps a tube as the term asks.
    """

    key: str
    instruction: str
    why: str
    marks: Marks
    opposes: tuple[str, ...] = ()
    only_by: tuple[str, ...] = ()
    run_at_most_c: int | None = None
    run_at_least_c: int | None = None

    def keeps(self, run_c: int) -> bool:
        """Whether a run at this temperature keeps a tube as the term asks; False where the facts do not say."""
        is_cold = self.run_at_most_c is not None and run_c <= self.run_at_most_c
        return is_cold or (self.run_at_least_c is not None and run_c >= self.run_at_least_c)


class Caution(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One standing caution and when it is shown."""

    key: str
    text: str
    when: str
    marks: Marks
    limit_s: Whole | None = None
    limit_attempts: Whole | None = None
    limit_m: Whole | None = None
    limit_percent: Decimal | None = None
    note_from_years: int | None = None
    warn_to_months: int | None = None
    limit_fraction: Decimal | None = None


@cache
def accesses() -> Mapping[str, Access]:
    """Every access by its key.

    >>> accesses()["winged-set"].dead_volume_ul
    500
    """
    return load_accesses(read_table("accesses.toml"), file="accesses.toml")


def load_accesses(table: Mapping[str, Any], *, file: str) -> Mapping[str, Access]:
    """The accesses a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, Access, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)


@cache
def handling_terms() -> Mapping[str, HandlingTerm]:
    """Every handling term a test may carry, by its key."""
    return load_handling_terms(read_table("handling.toml"), file="handling.toml")


def load_handling_terms(table: Mapping[str, Any], *, file: str) -> Mapping[str, HandlingTerm]:
    """The handling terms a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, HandlingTerm, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)


@cache
def safety() -> Mapping[str, Caution]:
    """The standing cautions by their key, in the order they are shown."""
    return load_safety(read_table("safety.toml"), file="safety.toml")


def load_safety(table: Mapping[str, Any], *, file: str) -> Mapping[str, Caution]:
    """The standing cautions a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, Caution, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    check_marks_of(found, file=file)
    return MappingProxyType(found)

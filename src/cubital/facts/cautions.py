"""What the chair must do and watch: accesses, handling terms, the standing cautions."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.facts.additives import check_marks_of
from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, entries

Marks = Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
Whole = Annotated[int, msgspec.Meta(ge=0)]
Positive = Annotated[int, msgspec.Meta(gt=0)]


class Discard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When blood is discarded first, what kind of tube takes it, and how much.

    `part_filled_ul` is what a discard tube holds that need not be filled; `ul` a discard of so much, whatever the
    dead space; `returned` whether the source gives it back.
    """

    when: str
    needed: bool
    mark: Mark
    fill: str | None = None
    dead_space_multiple: Whole | None = None
    part_filled_ul: Positive | None = None
    ul: Whole | None = None
    returned: bool | None = None

    def __post_init__(self) -> None:
        if self.ul is not None and self.dead_space_multiple is not None:
            raise ValueError("found ul and dead_space_multiple; expected one of them")
        if not self.needed and (self.part_filled_ul or self.ul or self.dead_space_multiple):
            raise ValueError("found an amount of a discard that is not needed; expected none")


class Return(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way to give back the blood that cleared a line, and whether it may be done.

    `closed` is a system that is never opened, `set-aside` a syringe that was taken off, `push-pull` mixing in the
    line by cycles. `not_for` are tests that it does not serve; `loss_ul` what is lost all the same, None not known.
    """

    how: Literal["closed", "set-aside", "push-pull"]
    allowed: bool
    text: str
    mark: Mark
    cycles_low: Positive | None = None
    cycles_high: Positive | None = None
    not_for: tuple[str, ...] = ()
    loss_ul: Whole | None = None

    def __post_init__(self) -> None:
        cycles = (self.cycles_low, self.cycles_high)
        if (None in cycles) == (self.how == "push-pull"):
            raise ValueError(f"found cycles {cycles} of {self.how}; expected them of push-pull, and of it alone")
        if self.cycles_low is not None and self.cycles_high is not None and self.cycles_low > self.cycles_high:
            raise ValueError(f"found cycles {cycles}; expected the lower first")


class CultureDiscard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much one source throws away before the culture of a line itself."""

    for_whom: Literal["any", "infant", "child", "adult"]
    ul: Whole
    mark: Mark


class NamedLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One kind of line that sources name: its dead space there, its discards and what to mind."""

    name: str
    marks: Marks
    discards: tuple[Discard, ...]
    dead_space_ul: Positive | None = None
    cautions: tuple[str, ...] = ()
    caution_marks: tuple[Mark, ...] = ()

    def __post_init__(self) -> None:
        if bool(self.cautions) != bool(self.caution_marks):
            raise ValueError("found cautions or caution_marks; expected both or neither")


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
    returns: tuple[Return, ...] = ()
    culture_discards: tuple[CultureDiscard, ...] = ()
    lines: tuple[NamedLine, ...] = ()

    def may_return(self, how: str) -> bool:
        """Whether blood that cleared the line may be given back in this way; False where no source says so."""
        found = [each.allowed for each in self.returns if each.how == how]
        return bool(found) and all(found)


class HandlingTerm(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One handling term: what to do, in a few words, and why; `only_by` is where it has a meaning, empty everywhere.

    `no_gel` says that no kind with a gel serves a test that has the term.
    Of terms that oppose each other a test that has none counts as having the one that is `unsaid`, or before it one
    that a term of its own `allows`. A run up to `run_at_most_c`, or from `run_at_least_c` on, in degrees Celsius,
    keeps a tube as the term asks.
    """

    key: str
    instruction: str
    why: str
    marks: Marks
    opposes: tuple[str, ...] = ()
    allows: tuple[str, ...] = ()
    unsaid: bool = False
    only_by: tuple[str, ...] = ()
    run_at_most_c: int | None = None
    run_at_least_c: int | None = None
    no_gel: bool = False

    def keeps(self, run_c: int) -> bool:
        """Whether a run at this temperature keeps a tube as the term asks; False where the facts do not say."""
        is_cold = self.run_at_most_c is not None and run_c <= self.run_at_most_c
        return is_cold or (self.run_at_least_c is not None and run_c >= self.run_at_least_c)


class Caution(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One standing caution and when it is shown; `tests` are those it is about, empty for any."""

    key: str
    text: str
    when: str
    marks: Marks
    tests: tuple[str, ...] = ()
    limit_s: Whole | None = None
    limit_ul: Whole | None = None
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

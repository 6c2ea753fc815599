"""What sources say of a specimen that waits: how long it keeps and where, how its values drift, when it is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal, get_args

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import Family
from cubital.facts.directory import tests_table
from cubital.facts.moments import moments
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks

StateKey = Literal["whole", "on-cells", "off-cells", "on-gel"]
StorageKey = Literal["ambient", "cold", "frozen", "warm", "ice"]
IndexKey = Literal["hemolysis", "lipemia", "icterus"]
INDICES: tuple[IndexKey, ...] = get_args(IndexKey)
Tests = Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
Minutes = Annotated[int, msgspec.Meta(ge=0)]
Positive = Annotated[int, msgspec.Meta(gt=0)]


class KeepingClaim(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one source says of how long some tests keep in one state and storage.

    Exactly one of three: `limit_min` is a limit that the source sets; `held_min` is how long a study
    found it to hold, which says nothing of later; `fails_min` is when a study found it to have failed.
    `on-gel` is off the cells and still in the gel tube: such a claim stands beside those off the cells.
    Empty `families` is any tube. `from_draw` counts from the draw though the cells are off.
    """

    tests: Tests
    state: StateKey
    storage: StorageKey
    mark: Mark
    families: tuple[Family, ...] = ()
    limit_min: Minutes | None = None
    held_min: Positive | None = None
    fails_min: Positive | None = None
    from_draw: bool = False

    def __post_init__(self) -> None:
        if sum(value is not None for value in (self.limit_min, self.held_min, self.fails_min)) != 1:
            raise ValueError("expected exactly one of limit_min, held_min and fails_min")
        if self.held_min is not None and self.mark.basis not in ("published", "standard"):
            raise ValueError("found a longer time from memory; expected one that was read: nothing else may lengthen")


class House(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A number of this project's own, in the unit of its name, with why."""

    mark: Mark
    at_most_s: Positive | None = None
    tenth_of: Positive | None = None


class Drift(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a value moves while the specimen waits, as a source measured it.

    Either `percent_per_h` (compound, low and high loss or gain), or `percent_per_d` (of the first
    value, straight), or `steps` of minutes and the change in mmol/L by then, straight between them.
    Nothing is said after `until_min`; a last step holds until then.
    """

    tests: Tests
    state: StateKey
    storage: StorageKey
    until_min: Positive
    mark: Mark
    families: tuple[Family, ...] = ()
    percent_per_h: tuple[Decimal, Decimal] | None = None
    percent_per_d: Decimal | None = None
    steps: tuple[tuple[Positive, Decimal], ...] = ()

    def __post_init__(self) -> None:
        given = (self.percent_per_h is not None, self.percent_per_d is not None, bool(self.steps))
        if sum(given) != 1:
            raise ValueError("expected exactly one of percent_per_h, percent_per_d and steps")
        times = [minutes for minutes, _ in self.steps]
        if times != sorted(set(times)) or (times and times[-1] > self.until_min):
            raise ValueError(f"found steps at {times}; expected rising times up to until_min")


class Bias(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The mean change of one test in blood that waited `after_min`, beside the study's own goal."""

    test: str
    percent: Decimal
    goal_percent: Decimal
    is_precise: bool
    after_min: Positive
    mark: Mark


AfterKey = Literal["dose", "infusion-end", "ingestion"]
AFTER: tuple[AfterKey, ...] = get_args(AfterKey)


class Timing(msgspec.Struct, frozen=True, kw_only=True):
    """When blood for a test is drawn, in minutes after an event; None is open. `outcome` is for any other time."""

    test: str
    after: AfterKey
    outcome: Literal["comment", "refuse"]
    mark: Mark
    from_min: int | None = None
    to_min: int | None = None


class IndexLimit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """From which index on a test's result needs a comment, and over which it is not reported; None is no such limit.

    `held_to` is as far as a study looked and found no disturbance: no comment is due, and above it nothing is known.
    Hemolysis is free hemoglobin in g/L; lipemia and icterus are in the unit that `unit` names.
    """

    tests: Tests
    index: IndexKey
    unit: str
    says: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    comment_from: Decimal | None = None
    refuse_over: Decimal | None = None
    held_to: Decimal | None = None

    def __post_init__(self) -> None:
        if self.comment_from is None and self.refuse_over is None and self.held_to is None:
            raise ValueError("found no limit; expected comment_from, refuse_over or held_to")
        if self.held_to is not None and (self.comment_from is not None or self.refuse_over is not None):
            raise ValueError("found held_to beside another limit; expected it alone")
        if self.comment_from is not None and self.refuse_over is not None and self.comment_from > self.refuse_over:
            raise ValueError("found a comment above the refusal; expected it below")


class Check(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One check of a specimen at receipt: why, and what a report says when it fails.

    `is_identity` is never excused; `is_whole` holds for every test of the tube, those added later too. Where it
    `is_shared`, what it says is said once for all the tests of an answer, not with each.
    """

    key: str
    why: str
    wording: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    is_identity: bool = False
    is_whole: bool = False
    is_shared: bool = False


@cache
def keeping_claims() -> tuple[KeepingClaim, ...]:
    """Every claim beside the table of stability.toml."""
    return load_keeping(read_table("keeping.toml"), file="keeping.toml")[0]


@cache
def house_rules() -> Mapping[str, House]:
    """The numbers of this project's own: `at_once`, `passing`."""
    return load_keeping(read_table("keeping.toml"), file="keeping.toml")[1]


def load_keeping(table: Mapping[str, Any], *, file: str) -> tuple[tuple[KeepingClaim, ...], Mapping[str, House]]:
    """The claims and the house rules that a parsed table holds; refuses one claim made twice."""
    refuse_unknown(table, ("claim", "house"), file=file)
    claims = _shape_all(table, "claim", KeepingClaim, file=file)
    seen: dict[object, int] = {}
    for place, claim in enumerate(claims):
        for test in claim.tests:
            key = (test, claim.state, claim.storage, claim.families, claim.mark.source)
            kind = (claim.limit_min is None, claim.held_min is None)
            if (key, kind) in seen:
                raise FactsError(
                    f"found {test} {claim.state} {claim.storage} of {claim.mark.source} twice; expected once; remove "
                    "one",
                    where=f"{file} [claim {place}]",
                )
            seen[key, kind] = place
    house = shape(table.get("house", {}), dict[str, House], file=file, entry="house")
    check_marks(house, file=file, entry="house")
    return claims, house


@cache
def drifts() -> tuple[Drift, ...]:
    """How values drift, by source."""
    return load_drift(read_table("drift.toml"), file="drift.toml")[0]


@cache
def biases() -> tuple[Bias, ...]:
    """The mean change of each test of a study after one wait."""
    return load_drift(read_table("drift.toml"), file="drift.toml")[1]


def load_drift(table: Mapping[str, Any], *, file: str) -> tuple[tuple[Drift, ...], tuple[Bias, ...]]:
    """The drifts and the biases that a parsed table holds."""
    refuse_unknown(table, ("drift", "bias"), file=file)
    return _shape_all(table, "drift", Drift, file=file), _shape_all(table, "bias", Bias, file=file)


@cache
def timings() -> Mapping[str, Timing]:
    """When blood is drawn after a dose, by test: the moments of the shipped directory that a time since it can break.

    >>> timings()["digoxin"].from_min
    360
    """
    found: dict[str, Timing] = {}
    for test, entry in tests_table().items():
        moment = moments().get(entry.get("moment", ""))
        if moment is None or not moment.has_window or moment.is_before:
            continue
        for after in AFTER:
            if moment.anchor == after:
                found[test] = Timing(
                    test=test, after=after, outcome=moment.outcome, mark=moment.marks[0], from_min=moment.from_min,
                    to_min=moment.to_min,
                )  # fmt: skip
    return MappingProxyType(found)


@cache
def index_limits() -> tuple[IndexLimit, ...]:
    """From which index on a result needs a comment or is withheld."""
    return load_indices(read_table("indices.toml"), file="indices.toml")


def load_indices(table: Mapping[str, Any], *, file: str) -> tuple[IndexLimit, ...]:
    """The limits that a parsed table holds; refuses one test twice for an index."""
    refuse_unknown(table, ("limit", "slope", "skin_puncture", "band", "every_test"), file=file)
    found = _shape_all(table, "limit", IndexLimit, file=file)
    seen = set()
    for place, limit in enumerate(found):
        for test in limit.tests:
            if (test, limit.index) in seen:
                raise FactsError(
                    f"found {limit.index} of {test} twice; expected once; remove one", where=f"{file} [limit {place}]"
                )
            seen.add((test, limit.index))
    return found


@cache
def checks() -> Mapping[str, Check]:
    """Every check at receipt by its key, in the order they are made."""
    return load_receipt(read_table("receipt.toml"), file="receipt.toml")


def load_receipt(table: Mapping[str, Any], *, file: str) -> Mapping[str, Check]:
    """The checks that a parsed table holds."""
    refuse_unknown(table, ("check",), file=file)
    found: dict[str, Check] = {}
    for place, check in enumerate(_shape_all(table, "check", Check, file=file)):
        if check.key in found:
            raise FactsError(f"found {check.key} twice; expected once; remove one", where=f"{file} [check {place}]")
        found[check.key] = check
    return found


def _shape_all(table: Mapping[str, Any], name: str, record: type[Any], *, file: str) -> tuple[Any, ...]:
    found = []
    for place, raw in enumerate(family(table, name, file=file)):
        entry = f"{name} {place}"
        shaped = shape(raw, record, file=file, entry=entry)
        check_marks(shaped, file=file, entry=entry)
        found.append(shaped)
    return tuple(found)

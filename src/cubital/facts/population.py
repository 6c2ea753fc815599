"""How results are spread among people and within one person, what an analyser can report, and what goes together."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import Annotated, Any

import msgspec

from cubital.errors import FactsError
from cubital.facts.directory import tests_table
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Basis, Mark, check_mark, check_marks

FILE = "population.toml"
_MARKED = {
    "interval": "interval", "spread": "spread", "within": "within_cv_percent", "analytic": "analytic_cv_percent",
    "possible": "possible", "molar_mass": "molar_mass_g_per_mol", "loinc": "loinc",
}  # fmt: skip


class Between(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A least and a most, in the unit of what holds it."""

    low: Decimal
    high: Decimal

    def __post_init__(self) -> None:
        if not 0 < self.low < self.high:
            raise ValueError(f"found {self.low} and {self.high}; expected 0 < low < high")


class Measurand(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One analyte as a result: its unit, how it is spread, and the bounds of what can be reported.

    `high_unweighed` says what raises it between vein and result and is no cause that is weighed.
    """

    key: str
    name: str
    unit: str
    tests: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    interval: Between
    spread: Decimal
    tail: Decimal
    within_cv_percent: Decimal
    analytic_cv_percent: Decimal
    possible: Between
    floor: Decimal
    from_: dict[str, tuple[Basis, str]] = msgspec.field(name="from")
    also: tuple[str, ...] = ()
    loinc: tuple[str, ...] = ()
    molar_mass_g_per_mol: Decimal | None = None
    charge: int | None = None
    can_be_zero: bool = False
    critical_low: Decimal | None = None
    critical_high: Decimal | None = None
    high_unweighed: str | None = None

    def __post_init__(self) -> None:
        for name in ("spread", "tail", "within_cv_percent", "analytic_cv_percent", "floor"):
            if getattr(self, name) <= 0:
                raise ValueError(f"found {name} of {getattr(self, name)}; expected above 0")

    def is_critical(self, value: float) -> bool:
        """Whether a value asks for action at once, by the limits of this file."""
        low, high = self.critical_low, self.critical_high
        return (low is not None and value <= low) or (high is not None and value >= high)


class Pair(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much two analytes go together."""

    of: tuple[str, str]
    level: Decimal
    change: Decimal
    mark: Mark

    def __post_init__(self) -> None:
        if not (-1 < self.level < 1 and -1 < self.change < 1):
            raise ValueError(f"found {self.level} and {self.change}; expected above -1 and below 1")


class Within(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How far a change within one person reaches, and by how much illness and childhood widen."""

    tail: Decimal
    illness: Decimal
    child: Decimal
    mark: Mark

    def __post_init__(self) -> None:
        if self.tail <= 0 or self.illness < 1 or self.child < 1:
            raise ValueError("found a tail of 0 or less or a factor under 1; expected a widening")


class Population(msgspec.Struct, frozen=True, kw_only=True):
    """Every analyte by its key, what goes together, and the change within a person."""

    within: Within
    analytes: Mapping[str, Measurand]
    pairs: tuple[Pair, ...]


@cache
def population() -> Population:
    """How results are spread.

    >>> population().analytes["potassium"].interval.high
    Decimal('5.2')
    """
    return load_population(read_table(FILE), file=FILE)


def load_population(table: Mapping[str, Any], *, file: str) -> Population:
    """The spread that a parsed table holds; refuses a claim without a mark and a pair of unknown analytes."""
    refuse_unknown(table, ("within", "analyte", "pair"), file=file)
    raw = table.get("analyte")
    if not isinstance(raw, dict) or not raw:
        raise FactsError("found no [analyte.…]; expected one at least; add it", where=file)
    analytes = {
        key: shape({"key": key, **entry}, Measurand, file=file, entry=f"analyte.{key}") for key, entry in raw.items()
    }
    for key, analyte in analytes.items():
        _check(analyte, where=f"{file} [analyte.{key}]")
    pairs = tuple(
        shape(entry, Pair, file=file, entry=f"pair {place}")
        for place, entry in enumerate(family(table, "pair", file=file))
    )
    for place, pair in enumerate(pairs):
        if pair.of[0] == pair.of[1] or not set(pair.of) <= set(analytes):
            raise FactsError(
                f"found {' and '.join(pair.of)}; expected two analytes of this file; correct the names",
                where=f"{file} [pair {place}]",
            )
    found = Population(
        within=shape(table.get("within"), Within, file=file, entry="within"), analytes=analytes, pairs=pairs
    )
    check_marks(found, file=file, entry="within, pair")
    return found


def _check(analyte: Measurand, *, where: str) -> None:
    """Refuse an analyte with an unmarked claim, a mark of nothing, or a test that the directory does not hold."""
    claims = {mark for mark, field in _MARKED.items() if getattr(analyte, field)}
    if analyte.critical_low is not None or analyte.critical_high is not None:
        claims.add("critical")
    if analyte.high_unweighed is not None:
        claims.add("high_unweighed")
    if claims != set(analyte.from_):
        odd = ", ".join(sorted(claims ^ set(analyte.from_)))
        raise FactsError(f"found claims and marks that differ in {odd}; expected a mark for each claim", where=where)
    for basis, source in analyte.from_.values():
        check_mark(basis, source, where=where)
    for test in analyte.tests:
        if test not in tests_table():
            raise FactsError(f"found test {test!r}; expected a key of tests.toml; correct it", where=where)
    if not analyte.possible.low <= analyte.floor <= analyte.interval.low:
        raise FactsError("found a floor beyond its bounds; expected possible.low to interval.low", where=where)

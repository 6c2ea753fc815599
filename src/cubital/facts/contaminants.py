"""What is weighed into a tube, what runs into a vein, and how much of each ion that brings."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.reading import read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks, entries

Species = Literal[
    "potassium", "sodium", "chloride", "lithium", "ammonium", "calcium", "magnesium", "glucose", "lactate",
    "edta", "citrate", "oxalate", "fluoride", "iodoacetate",
]  # fmt: skip
Basis = Literal["dihydrate", "monohydrate", "anhydrous", "free-acid"]
Level = Literal["typical", "low", "high"]
LEVELS: tuple[Level, ...] = ("typical", "low", "high")


class Weighed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way to weigh a salt: the formula and the mass of a mole of what lay on the scale."""

    formula: str
    molar_mass_g_per_mol: Decimal


class Salt(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One salt, each way it is weighed, and what a mole of it gives to the blood."""

    key: str
    name: str
    releases: dict[Species, int]
    weighed_as: dict[Basis, Weighed]
    mark: Mark
    not_known: tuple[Species, ...] = ()

    def __post_init__(self) -> None:
        if not self.releases or not self.weighed_as:
            raise ValueError("found no releases or no weighed_as; expected one of each at least")


class Span(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A figure with the range that its sources give."""

    typical: Decimal
    low: Decimal
    high: Decimal

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.typical <= self.high:
            raise ValueError(f"found {self.low}, {self.typical}, {self.high}; expected 0 < low <= typical <= high")

    def at(self, level: Level) -> Decimal:
        """The figure at this level."""
        return {"typical": self.typical, "low": self.low, "high": self.high}[level]


class Amount(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much of a salt, by mass with the way it is weighed, or in mmol/L."""

    substance: str
    of: Literal["blood", "solution"]
    weighed_as: Basis | None = None
    mg_per_ml: Span | None = None
    mmol_per_l: Span | None = None

    def __post_init__(self) -> None:
        if (self.mg_per_ml is None) == (self.mmol_per_l is None):
            raise ValueError(f"{self.substance}: expected mg_per_ml or mmol_per_l, one of them")
        if (self.mg_per_ml is None) != (self.weighed_as is None):
            raise ValueError(f"{self.substance}: expected weighed_as with a mass, and only with one")


class PlasmaAmount(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much of an ion is found more in the plasma of the filled tube."""

    species: Species
    mmol_per_l: Span


class Dose(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one additive brings; `blood_parts` of blood to one of solution where it is liquid."""

    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    amounts: tuple[Amount, ...] = ()
    plasma: tuple[PlasmaAmount, ...] = ()
    blood_parts: Decimal | None = None
    not_known: tuple[Species, ...] = ()

    def __post_init__(self) -> None:
        has_solution = any(amount.of == "solution" for amount in self.amounts)
        if has_solution != (self.blood_parts is not None):
            raise ValueError("expected blood_parts with amounts of a solution, and only with them")


class Fluid(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A fluid that runs into a vein; what it does not name it holds none of."""

    name: str
    mmol_per_l: dict[Species, Decimal]
    mark: Mark


class Contaminants(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Every additive's dose and every fluid, by key."""

    dose: dict[str, Dose]
    fluid: dict[str, Fluid]


@cache
def salts() -> Mapping[str, Salt]:
    """Every salt by its key.

    >>> sorted(salts()["k2-edta"].weighed_as)
    ['anhydrous', 'dihydrate', 'free-acid']
    """
    return load_salts(read_table("salts.toml"), file="salts.toml")


def load_salts(table: Mapping[str, Any], *, file: str) -> Mapping[str, Salt]:
    """The salts a parsed table holds."""
    found = {key: shape({"key": key, **raw}, Salt, file=file, entry=key) for key, raw in entries(table, file=file)}
    for key, salt in found.items():
        check_marks(salt, file=file, entry=key)
    return MappingProxyType(found)


@cache
def contaminants() -> Contaminants:
    """The dose of every additive and the make-up of every fluid.

    >>> contaminants().fluid["saline"].mmol_per_l["sodium"]
    Decimal('154')
    """
    return load_contaminants(read_table("contaminants.toml"), file="contaminants.toml")


def load_contaminants(table: Mapping[str, Any], *, file: str) -> Contaminants:
    """The doses and fluids a parsed table holds; refuses a salt or a way of weighing that salts.toml does not know."""
    refuse_unknown(table, ("dose", "fluid"), file=file)
    found = shape(dict(table), Contaminants, file=file, entry="")
    for key, dose in found.dose.items():
        check_marks(dose, file=file, entry=f"dose.{key}")
        for amount in dose.amounts:
            _check_amount(amount, where=f"{file} [dose.{key}]")
    for key, fluid in found.fluid.items():
        check_marks(fluid, file=file, entry=f"fluid.{key}")
    return found


def _check_amount(amount: Amount, *, where: str) -> None:
    salt = salts().get(amount.substance)
    if salt is None:
        raise FactsError(
            f"found substance {amount.substance!r}; expected a key of salts.toml; add it there", where=where
        )
    if amount.weighed_as is not None and amount.weighed_as not in salt.weighed_as:
        raise FactsError(
            f"found {salt.name} weighed as {amount.weighed_as!r}; expected one of {', '.join(salt.weighed_as)}; "
            "correct it",
            where=where,
        )

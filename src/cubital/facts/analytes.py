"""What is measured, by how much it may err, how an assay answers EDTA, and what is known in kind only."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import Family
from cubital.facts.contaminants import Span
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks, entries
from cubital.facts.tubes import AdditiveKey

Grade = Literal["outweighs", "spoils", "lesser"]
Answer = Literal["loss", "none", "one-to-one"]


class AllowableError(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """By how much a result may miss under one scheme; of an amount and a percentage the greater counts."""

    scheme: str
    mark: Mark
    amount: Decimal | None = None
    percent: Decimal | None = None

    def __post_init__(self) -> None:
        if self.amount is None and self.percent is None:
            raise ValueError("found neither amount nor percent; expected one of them at least")


class Analyte(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One analyte: its unit, a healthy adult's value, its allowable errors, the first of them taken first."""

    key: str
    name: str
    symbol: str
    unit: Literal["mmol/L", "umol/L", "g/L", "U/L"]
    tests: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    typical: Decimal
    typical_mark: Mark
    errors: tuple[AllowableError, ...]
    cells_to_serum: Decimal | None = None
    cells_mark: Mark | None = None

    def __post_init__(self) -> None:
        if (self.cells_to_serum is None) != (self.cells_mark is None):
            raise ValueError("found cells_to_serum or cells_mark alone; expected both or neither")

    @property
    def schemes(self) -> tuple[str, ...]:
        """The schemes that name an allowable error for it."""
        return tuple(error.scheme for error in self.errors)


class EdtaResponse(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How one assay principle answers EDTA in the sample."""

    analyte: str
    principle: str
    answer: Answer
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    ec50_mmol_per_l: Span | None = None
    slope: Decimal | None = None

    def __post_init__(self) -> None:
        if (self.answer == "loss") != (self.ec50_mmol_per_l is not None and self.slope is not None):
            raise ValueError("expected ec50_mmol_per_l and slope with the answer 'loss', and only with it")
        if self.slope is not None and self.slope <= 0:
            raise ValueError(f"found a slope of {self.slope}; expected above 0")


class CalciumBinding(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How oxalate and citrate hold calcium in plasma, and how much of it is free."""

    free_share: Decimal
    free_share_mark: Mark
    oxalate_solubility_mmol2_per_l2: Decimal
    oxalate_mark: Mark
    citrate_binding_l_per_mmol: Decimal
    citrate_mark: Mark

    def __post_init__(self) -> None:
        if not 0 < self.free_share < 1:
            raise ValueError(f"found a free share of {self.free_share}; expected above 0 and below 1")
        if self.oxalate_solubility_mmol2_per_l2 <= 0 or self.citrate_binding_l_per_mmol <= 0:
            raise ValueError("found a constant of 0 or less; expected above 0")


class Hemolysis(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What burst red cells set free, by gram of hemoglobin."""

    potassium_mmol_per_g: Span
    potassium_mark: Mark
    cell_hemoglobin_g_per_l: Annotated[int, msgspec.Meta(gt=0)]
    cell_mark: Mark


class Claim(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a trace of an additive does in kind: a direction and a source, never a number."""

    from_: Annotated[tuple[AdditiveKey, ...], msgspec.Meta(min_length=1)] = msgspec.field(name="from")
    to: Annotated[tuple[Family, ...], msgspec.Meta(min_length=1)]
    what: str
    way: Literal["up", "down", "either"]
    text: str
    mark: Mark
    grade: Grade = "spoils"
    not_to: tuple[AdditiveKey, ...] = ()


class Way(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way for blood of a tube to reach another, and what studies found of it."""

    key: str
    name: str
    level: Literal["warning", "error"]
    text: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


class Interference(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Every assay's answer to EDTA and every claim in kind."""

    edta: Annotated[tuple[EdtaResponse, ...], msgspec.Meta(min_length=1)]
    calcium: CalciumBinding
    hemolysis: Hemolysis
    way: Annotated[tuple[Way, ...], msgspec.Meta(min_length=1)]
    claim: Annotated[tuple[Claim, ...], msgspec.Meta(min_length=1)]

    def responses(self, analyte: str) -> tuple[EdtaResponse, ...]:
        """The assay principles of this analyte, the one a prediction takes first; empty where EDTA moves none."""
        return tuple(response for response in self.edta if response.analyte == analyte)

    def claims(self, additive: str, *, into: str, into_family: str) -> tuple[Claim, ...]:
        """What a trace of this additive does in a tube with that additive, of that family."""
        return tuple(
            claim
            for claim in self.claim
            if additive in claim.from_ and into_family in claim.to and into not in claim.not_to
        )


@cache
def analytes() -> Mapping[str, Analyte]:
    """Every analyte by its key.

    >>> analytes()["potassium"].errors[0].amount
    Decimal('0.3')
    """
    return load_analytes(read_table("analytes.toml"), file="analytes.toml")


def load_analytes(table: Mapping[str, Any], *, file: str) -> Mapping[str, Analyte]:
    """The analytes a parsed table holds."""
    found = {key: shape({"key": key, **raw}, Analyte, file=file, entry=key) for key, raw in entries(table, file=file)}
    for key, analyte in found.items():
        check_marks(analyte, file=file, entry=key)
    return MappingProxyType(found)


@cache
def interference() -> Interference:
    """How assays answer EDTA, and what is known in kind.

    >>> [response.principle for response in interference().responses("magnesium")]
    ['xylidyl-blue', 'isocitrate-dehydrogenase']
    """
    return load_interference(read_table("interference.toml"), file="interference.toml")


def load_interference(table: Mapping[str, Any], *, file: str) -> Interference:
    """The answers and claims a parsed table holds; refuses an analyte that analytes.toml does not know."""
    refuse_unknown(table, ("edta", "calcium", "hemolysis", "way", "claim"), file=file)
    for name in ("edta", "way", "claim"):
        family(table, name, file=file)
    found = shape(dict(table), Interference, file=file, entry="")
    check_marks(found, file=file, entry="")
    for place, response in enumerate(found.edta):
        if response.analyte not in analytes():
            raise FactsError(
                f"found analyte {response.analyte!r}; expected a key of analytes.toml; add it there",
                where=f"{file} [edta {place}]",
            )
    return found

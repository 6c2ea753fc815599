"""How much blood there is, how much may be taken, what a culture wants, and the hematocrit a plan takes."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.errors import FactsError
from cubital.facts.additives import check_marks_of
from cubital.facts.reading import family, read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks, entries

Positive = Annotated[int, msgspec.Meta(gt=0)]
Whole = Annotated[int, msgspec.Meta(ge=0)]


class PerKilogram(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source's blood volume per kilogram."""

    low_ul_per_kg: Positive
    high_ul_per_kg: Positive
    mark: Mark


class Band(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Blood volume at an age in days, `age_max_d` excluded; `guard_ul_per_kg` is the least of the sources."""

    name: str
    age_min_d: Whole
    guard_ul_per_kg: Positive
    rivals: Annotated[tuple[PerKilogram, ...], msgspec.Meta(min_length=1)]
    age_max_d: Positive | None = None
    preterm: bool = False

    def __post_init__(self) -> None:
        if self.guard_ul_per_kg != min(rival.low_ul_per_kg for rival in self.rivals):
            raise ValueError(f"found guard {self.guard_ul_per_kg}; expected the lowest of the sources")
        _check_ages(self.age_min_d, self.age_max_d)

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks of the sources."""
        return tuple(rival.mark for rival in self.rivals)


class Nadler(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Litres = height_cubed_l_per_m3 x h^3 + weight_l_per_kg x w + constant_l; adults."""

    height_cubed_l_per_m3: Decimal
    weight_l_per_kg: Decimal
    constant_l: Decimal
    weight_min_kg: Positive
    mark: Mark


class Lemmens(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """mL/kg = reference_ml_per_kg / sqrt(BMI / reference_bmi), for the obese adult."""

    reference_ml_per_kg: Positive
    reference_bmi: Positive
    mark: Mark


class ByWeightAndLength(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """log10 mL = weight_log_factor x log10 kg + length_per_cm x cm + constant, under `age_max_d` days of age."""

    weight_log_factor: Decimal
    length_per_cm: Decimal
    constant: Decimal
    age_max_d: Positive
    mark: Mark


class BloodVolumes(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All that is known of total blood volume."""

    band: Annotated[tuple[Band, ...], msgspec.Meta(min_length=1)]
    nadler: dict[Literal["male", "female"], Nadler]
    lemmens: Lemmens
    linderkamp: ByWeightAndLength

    @property
    def bands(self) -> tuple[Band, ...]:
        """The age bands, youngest first, preterm before term."""
        return self.band


class WeightCap(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The most blood up to and including a weight; None is the row above all others."""

    cap_ul: Positive
    weight_max_g: Positive | None = None


class WeightVolume(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A policy's own blood volume per kilogram up to and including a weight."""

    ul_per_kg: Positive
    weight_max_g: Positive | None = None


class Cap(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The most blood in a period; where it gives several amounts the least counts.

    A cap with ages in days holds from `age_min_d` to under `age_max_d`; one without holds at every age.
    """

    period_h: Positive
    percent_of_tbv: Decimal | None = None
    ul_per_kg: Positive | None = None
    cap_ul: Positive | None = None
    by_weight: tuple[WeightCap, ...] = ()
    age_min_d: Whole = 0
    age_max_d: Positive | None = None

    def is_for(self, age_h: int | None) -> bool:
        """Whether it holds at this age; it does where the age is not known.

        >>> cap = Cap(period_h=24, cap_ul=1000, age_max_d=28)
        >>> cap.is_for(24 * 28 - 1), cap.is_for(24 * 28), cap.is_for(None)
        (True, False, True)
        """
        if age_h is None:
            return True
        return 24 * self.age_min_d <= age_h and (self.age_max_d is None or age_h < 24 * self.age_max_d)

    @property
    def is_of_ages(self) -> bool:
        """Whether it holds at some ages only."""
        return self.age_min_d > 0 or self.age_max_d is not None

    def __post_init__(self) -> None:
        _check_ages(self.age_min_d, self.age_max_d)
        if (
            self.percent_of_tbv is None
            and self.ul_per_kg is None
            and self.cap_ul is None
            and not self.by_weight
        ):
            raise ValueError("found no amount; expected percent_of_tbv, ul_per_kg, cap_ul or by_weight")
        if self.percent_of_tbv is not None and not 0 < self.percent_of_tbv <= 10:
            raise ValueError(f"found {self.percent_of_tbv} %; expected above 0 and at most 10")
        _check_rows([row.weight_max_g for row in self.by_weight])


class SamplingLimit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One policy of how much blood may be taken; every cap must hold, each over its own period.

    A shipped one has marks; a site's own has none, and rests on the site. Where a site's own names a `program`, such as
    a study, it holds for patients with that flag, beside the limit that the site chose.
    """

    key: str
    name: str
    for_whom: str
    caps: Annotated[tuple[Cap, ...], msgspec.Meta(min_length=1)]
    marks: tuple[Mark, ...] = ()
    program: str | None = None
    weight_min_g: Positive | None = None
    draws_per_week: Positive | None = None
    own_blood_volume: tuple[WeightVolume, ...] = ()


class AdultCulture(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Blood cultures of an adult."""

    sets_low: Positive
    sets_high: Positive
    per_set_low_ul: Positive
    per_set_high_ul: Positive
    bottles_per_set: Positive
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


class CultureRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Blood cultures up to and including a weight; None is the row above all others."""

    sets_low: Positive
    sets_high: Positive
    total_low_ul: Positive
    total_high_ul: Positive
    weight_min_g: Positive | None = None
    weight_max_g: Positive | None = None
    percent_of_tbv_low: Decimal | None = None
    percent_of_tbv_high: Decimal | None = None
    first_set_bottles_ul: tuple[Positive, ...] = ()


class CultureTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source's cultures by weight, lightest first."""

    policy: str
    rows: Annotated[tuple[CultureRow, ...], msgspec.Meta(min_length=1)]
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]

    def __post_init__(self) -> None:
        _check_rows([row.weight_max_g for row in self.rows])


class AustralianCulture(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Blood cultures of a child by years of age."""

    per_year_of_age_ul: Positive
    age_min_a: Positive
    age_max_a: Positive
    infant_at_or_over_5_kg_ul: Positive
    infant_under_5_kg_low_ul: Positive
    infant_under_5_kg_high_ul: Positive
    advice_under_g: Positive
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


class CultureCaps(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The most a bottle takes, and the share of the blood volume not to pass."""

    bottle_max_ul: Positive
    bottle_usual_low_ul: Positive
    percent_of_tbv: Decimal
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


class CultureRule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One rule of which bottle, in which order, from where."""

    key: str
    text: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    at_or_below_ul: Positive | None = None


class CultureStep(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How far the one set of a culture steps down up to and including a weight; None is the row above all others."""

    least_ul: Positive
    useful_ul: Positive
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    weight_max_g: Positive | None = None

    def __post_init__(self) -> None:
        if self.least_ul > self.useful_ul:
            raise ValueError(f"found least_ul {self.least_ul} over useful_ul {self.useful_ul}; expected at most it")


class CultureSteps(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The least volumes of a culture by weight, lightest first, up to the row of any weight."""

    rows: Annotated[tuple[CultureStep, ...], msgspec.Meta(min_length=1)]

    def __post_init__(self) -> None:
        _check_rows([row.weight_max_g for row in self.rows])
        if self.rows[-1].weight_max_g is not None:
            raise ValueError("found no row above all weights; expected the last row without weight_max_g")
        volumes_ul = [(row.least_ul, row.useful_ul) for row in self.rows]
        if any(low[0] > high[0] or low[1] > high[1] for low, high in pairwise(volumes_ul)):
            raise ValueError("found a volume that falls as the weight rises; expected it to rise or stay")


class Cultures(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All that is known of blood culture volumes."""

    adult: AdultCulture
    by_weight: Annotated[tuple[CultureTable, ...], msgspec.Meta(min_length=1)]
    australian: AustralianCulture
    caps: CultureCaps
    steps: CultureSteps
    rules: Annotated[tuple[CultureRule, ...], msgspec.Meta(min_length=1)]

    def step(self, weight_g: int | None) -> CultureStep:
        """How far a culture of this weight steps down, with its marks; of no known weight that of an adult."""
        rows = self.steps.rows
        if weight_g is None:
            return rows[-1]
        return next(row for row in rows if row.weight_max_g is None or weight_g <= row.weight_max_g)

    def least_ul(self, weight_g: int | None) -> int:
        """The volume that no culture of this weight goes below; a child's weight must be known.

        >>> cultures().least_ul(600), cultures().least_ul(16_000), cultures().least_ul(None)
        (500, 3000, 10000)
        """
        return self.step(weight_g).least_ul

    def useful_ul(self, weight_g: int | None) -> int:
        """The volume that a short draw should still give a culture of this weight.

        >>> cultures().useful_ul(600), cultures().useful_ul(16_000), cultures().useful_ul(None)
        (1000, 5000, 20000)
        """
        return self.step(weight_g).useful_ul

    def rule(self, key: str) -> CultureRule:
        """The rule with this key; KeyError when there is none."""
        return {rule.key: rule for rule in self.rules}[key]

    def table(self, policy: str) -> CultureTable:
        """The table of this policy; KeyError when there is none."""
        return {table.policy: table for table in self.by_weight}[policy]


class Hematocrit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The hematocrit a plan takes when the patient's is not known."""

    name: str
    age_min_d: Whole
    fraction: Decimal
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]
    age_max_d: Positive | None = None
    sex: Literal["female", "male"] | None = None

    def __post_init__(self) -> None:
        if not Decimal("0.2") <= self.fraction <= Decimal("0.75"):
            raise ValueError(f"found fraction {self.fraction}; expected a fraction from 0.2 to 0.75")
        _check_ages(self.age_min_d, self.age_max_d)


def _check_ages(age_min_d: int, age_max_d: int | None) -> None:
    if age_max_d is not None and age_max_d <= age_min_d:
        raise ValueError(f"found ages {age_min_d} to {age_max_d} d; expected a rising range")


def _check_rows(weights_g: list[int | None]) -> None:
    bounded = [weight for weight in weights_g if weight is not None]
    if bounded != sorted(set(bounded)) or None in weights_g[:-1]:
        raise ValueError("expected rising weights, each once, the row without a weight last")


@cache
def blood_volumes() -> BloodVolumes:
    """Total blood volume by age with every source, and the formulas by height or length and weight.

    >>> [band.guard_ul_per_kg for band in blood_volumes().bands][-1]
    70000
    """
    return load_blood_volumes(read_table("blood_volumes.toml"), file="blood_volumes.toml")


def load_blood_volumes(table: Mapping[str, Any], *, file: str) -> BloodVolumes:
    """The blood volumes a parsed table holds."""
    found = shape(dict(table), BloodVolumes, file=file, entry="")
    check_marks(found, file=file, entry="")
    return found


@cache
def sampling_limits() -> Mapping[str, SamplingLimit]:
    """Every policy of how much blood may be taken, by its key."""
    return load_sampling_limits(read_table("sampling_limits.toml"), file="sampling_limits.toml")


def load_sampling_limits(table: Mapping[str, Any], *, file: str) -> Mapping[str, SamplingLimit]:
    """The limits a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, SamplingLimit, file=file, entry=key)
        for key, entry in entries(table, file=file)
    }
    for key, limit in found.items():
        if not limit.marks:
            raise FactsError("found no marks; expected one at least; say what it rests on", where=f"{file} [{key}]")
    check_marks_of(found, file=file)
    return MappingProxyType(found)


@cache
def cultures() -> Cultures:
    """Blood culture sets, volumes, caps and rules, every source beside the others."""
    return load_cultures(read_table("cultures.toml"), file="cultures.toml")


def load_cultures(table: Mapping[str, Any], *, file: str) -> Cultures:
    """The culture facts a parsed table holds."""
    found = shape(dict(table), Cultures, file=file, entry="")
    check_marks(found, file=file, entry="")
    return found


class Evidence(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one study found of blood drawn for tests, in words."""

    key: str
    text: str
    mark: Mark


@cache
def blood_loss() -> tuple[Evidence, ...]:
    """What studies found of blood drawn for tests and of smaller tubes."""
    return load_blood_loss(read_table("blood_loss.toml"), file="blood_loss.toml")


def load_blood_loss(table: Mapping[str, Any], *, file: str) -> tuple[Evidence, ...]:
    """The findings a parsed table holds."""
    refuse_unknown(table, ("evidence", "formula"), file=file)
    found = tuple(
        shape(raw, Evidence, file=file, entry=f"evidence {place}")
        for place, raw in enumerate(family(table, "evidence", file=file))
    )
    check_marks(found, file=file, entry="evidence")
    return found


class LossFormula(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One formula of the blood that brings the hematocrit from one value to another, in words."""

    key: Literal["linear", "average", "logarithmic"]
    text: str
    marks: Annotated[tuple[Mark, ...], msgspec.Meta(min_length=1)]


@cache
def loss_formulas() -> tuple[LossFormula, ...]:
    """The formulas of the loss from one hematocrit to another, the one that allows least first."""
    return load_loss_formulas(read_table("blood_loss.toml"), file="blood_loss.toml")


def load_loss_formulas(table: Mapping[str, Any], *, file: str) -> tuple[LossFormula, ...]:
    """The formulas a parsed table holds."""
    found = tuple(
        shape(raw, LossFormula, file=file, entry=f"formula {place}")
        for place, raw in enumerate(family(table, "formula", file=file))
    )
    check_marks(found, file=file, entry="formula")
    return found


@cache
def hematocrits() -> tuple[Hematocrit, ...]:
    """The planning hematocrits by age and sex; the most specific sex wins."""
    return load_hematocrits(read_table("hematocrits.toml"), file="hematocrits.toml")


def load_hematocrits(table: Mapping[str, Any], *, file: str) -> tuple[Hematocrit, ...]:
    """The planning hematocrits a parsed table holds."""
    refuse_unknown(table, ("band",), file=file)
    bands = family(table, "band", file=file)
    found = tuple(shape(band, Hematocrit, file=file, entry=f"band {place}") for place, band in enumerate(bands))
    check_marks(found, file=file, entry="band")
    return found

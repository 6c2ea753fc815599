"""What FHIR R4 resources say of the patient: age, sex, weight, height, hematocrit."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import msgspec

from cubital.errors import OrderError, UnitError
from cubital.exchange.fhir_records import Measured, Person, Quantity, day_of
from cubital.exchange.form import Form
from cubital.exchange.patient_object import (
    LEAST_HEMATOCRIT,
    MOST_HEMATOCRIT,
    hours_since,
    refuse_implausible,
)
from cubital.facts.plausibility import plausibility
from cubital.model import Patient
from cubital.units import exact

LOINC = "http://loinc.org"
WEIGHT, HEIGHT, HEMATOCRIT = "weight", "height", "hematocrit"
# LOINC 29463-7 body weight, 8302-2 body height, 4544-3 and 20570-8 hematocrit of blood.
MEASURES = {"29463-7": WEIGHT, "8302-2": HEIGHT, "4544-3": HEMATOCRIT, "20570-8": HEMATOCRIT}
# UCUM units to kg, cm and share; the pound and the inch are exact by definition (0.45359237 kg, 2.54 cm).
UNITS: dict[str, dict[str, Fraction]] = {
    WEIGHT: {"kg": Fraction(1), "g": Fraction(1, 1000), "[lb_av]": Fraction("0.45359237")},
    HEIGHT: {"cm": Fraction(1), "m": Fraction(100), "mm": Fraction(1, 10), "[in_i]": Fraction("2.54")},
    HEMATOCRIT: {"%": Fraction(1, 100), "{fraction}": Fraction(1), "1": Fraction(1), "L/L": Fraction(1)},
}
USABLE_STATUS = ("final", "amended", "corrected", "preliminary", "registered")


class Found(msgspec.Struct, frozen=True, kw_only=True):
    """One measured value in kg, cm or share, the day it was measured, and where it stands."""

    measure: str
    value: Fraction
    day: datetime.date | None
    where: str


def read_measure(measured: Measured, *, where: str) -> Found | None:
    """The value of an Observation that a plan uses; None for any other, or one that was withdrawn."""
    measures = {MEASURES[c.code] for c in measured.code.coding if c.system == LOINC and c.code in MEASURES}
    if not measures or measured.status not in USABLE_STATUS or measured.value_quantity is None:
        return None
    (measure,) = measures if len(measures) == 1 else _refuse_two(where)
    place = f"{where} valueQuantity"
    value = _in_our_unit(measured.value_quantity, measure, where=place)
    if value is None:
        return None
    if measure == HEMATOCRIT and not LEAST_HEMATOCRIT <= value <= MOST_HEMATOCRIT:
        raise OrderError(
            f"found a hematocrit of {float(value):g} of the blood; expected a share from 0.05 to 0.85; "
            "correct the value or its unit (% or {fraction})",
            where=place,
        )
    day = day_of(measured.effective_date_time, where=f"{where} effectiveDateTime")
    return Found(measure=measure, value=value, day=day, where=place)


def _refuse_two(where: str) -> Any:
    raise OrderError("found codes of two different measures; expected one; correct code", where=where)


def _in_our_unit(quantity: Quantity, measure: str, *, where: str) -> Fraction | None:
    if quantity.value is None or quantity.comparator is not None:
        return None
    unit = quantity.code if quantity.code is not None else quantity.unit
    factor = UNITS[measure].get(unit or "")
    if factor is None:
        raise OrderError(
            f"found {measure} in {(unit or 'no unit')[:20]!r}; expected UCUM {', '.join(UNITS[measure])}; "
            "write the unit's code",
            where=where,
        )
    try:
        if isinstance(quantity.value, str):
            raise UnitError("text")
        return exact(quantity.value, where=where) * factor
    except UnitError:
        raise OrderError(
            "found a value that is not a number; expected one; correct it", where=where
        ) from None


def read_patient(
    person: Person | None, measures: Iterable[Found], *, on: datetime.date | None, where: str
) -> tuple[Patient, tuple[str, ...]]:
    """The patient of an order on this day, and what of them was not read.

    The latest value of a measure up to the day of the draw is taken. A birth date without a day,
    or values that contradict each other, leave the fact unknown.
    """
    unread: list[str] = []
    age_h = _age(person, on, where, unread)
    found = list(measures)
    weight = _latest(found, WEIGHT, on, unread)
    height = _latest(found, HEIGHT, on, unread)
    hematocrit = _latest(found, HEMATOCRIT, on, unread)
    bounds = plausibility()
    if weight is not None:
        _check(
            weight, "weight_kg", bounds.weight_kg.at(age_h), age_h, unit="kilograms", other=(1000, "grams")
        )
    if height is not None:
        _check(height, "height_cm", bounds.height_cm.at(age_h), age_h, unit="centimetres", other=(10, "mm"))
    gender = person.gender if person is not None else None
    patient = Patient(
        age_h=age_h,
        sex=gender if gender in ("female", "male") else None,  # type: ignore[arg-type]
        weight_g=None if weight is None else int(weight.value * 1000),
        height_mm=None if height is None else int(height.value * 10),
        hematocrit=None if hematocrit is None else hematocrit.value,
    )
    return patient, tuple(unread)


def _age(person: Person | None, on: datetime.date | None, where: str, unread: list[str]) -> int | None:
    if person is None or person.birth_date is None:
        return None
    born = day_of(person.birth_date, where=f"{where} birthDate")
    if born is None or on is None:
        unread.append("Patient.birthDate: " + ("it names no day" if born is None else "no day of the draw"))
        return None
    return hours_since(born, on, form=Form({}, where=where), key="birthDate")


def _latest(found: list[Found], measure: str, on: datetime.date | None, unread: list[str]) -> Found | None:
    usable = [f for f in found if f.measure == measure and (on is None or f.day is None or f.day <= on)]
    dated = [f for f in usable if f.day is not None]
    latest = [f for f in dated if f.day == max(d.day for d in dated if d.day is not None)] or usable
    if len({f.value for f in latest}) > 1:
        unread.append(f"Observation: {len(latest)} different values of {measure}, none of them the latest")
        return None
    return latest[0] if latest else None


def _check(
    found: Found, key: str, bounds: tuple[Any, Any], age_h: int | None, *, unit: str, other: tuple[int, str]
) -> None:
    form = Form({key: found.value}, where=found.where)
    refuse_implausible(form, key, found.value, bounds, age_h, unit=unit, factors=(other,))

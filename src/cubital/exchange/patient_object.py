"""The patient of an order, of results or of draws, as an object of JSON: to Patient, nothing guessed."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from cubital.errors import UnitError
from cubital.exchange.form import Form, show_json
from cubital.model import Patient
from cubital.model.vocabulary import SEXES
from cubital.units import age_hours, age_text

MOST_FLAGS = 50
MOST_DRAWN_ML = 10_000
MOST_AGE_YEARS = 130
LEAST_HEMATOCRIT, MOST_HEMATOCRIT = Fraction(5, 100), Fraction(85, 100)
PATIENT_KEYS = ("age", "birth_date", "sex", "weight_kg", "height_cm", "hematocrit", "drawn_ml", "flags")
_LEADING_NUMBER = re.compile(r"\s*([0-9]{1,3}(?:[.,][0-9]{1,4})?)")
_HEMATOCRIT = "a share from 0.05 to 0.85"


def patient_from_json(
    value: Any, *, where: str = "patient", today: datetime.date | None = None
) -> tuple[Patient, tuple[str, ...]]:
    """The patient that a decoded JSON object stands for, and the paths of fields that nothing reads."""
    return read_patient(Form({"patient": value}, where=where), today)


def read_patient(form: Form, on: datetime.date | None) -> tuple[Patient, tuple[str, ...]]:
    """The patient of a document, and the paths of fields that nothing reads; `on` is the day of the draw."""
    row = form.inner("patient")
    if row is None:
        return Patient(), ()
    unread = row.take_unknown(PATIENT_KEYS)
    age_h = _read_age(row, on)
    flags = []
    for i, flag in enumerate(row.items("flags", most=MOST_FLAGS, what="flags")):
        word = Form({"flag": flag}, where=row.where, path=row.place(f"flags[{i}]")).text("flag")
        if word is not None and word not in flags:
            flags.append(word)
    patient = Patient(
        age_h=age_h,
        sex=row.choice("sex", SEXES),  # type: ignore[arg-type]
        weight_g=_read_weight(row, age_h),
        height_mm=_read_height(row, age_h),
        hematocrit=_read_hematocrit(row),
        drawn_ul=read_volume_ul(row, "drawn_ml", most_ml=MOST_DRAWN_ML) or 0,
        flags=tuple(flags),
    )
    return patient, unread


def _read_age(row: Form, on: datetime.date | None) -> int | None:
    age, born = row.content.get("age"), row.day("birth_date")
    if age is not None and born is not None:
        row.refuse("birth_date", found="it beside age", expected="one of the two", remedy="take one out")
    if age is not None:
        try:
            return age_hours(age, where="")  # type: ignore[arg-type]
        except UnitError:
            row.refuse(
                "age",
                found=show_json(age),
                expected="a number and a UCUM unit of age, at most 130 years",
                remedy='write it as "4 a" (years), "7 mo", "3 wk", "10 d" or "36 h"',
            )
    if born is None:
        return None
    if on is None:
        row.refuse(
            "birth_date",
            found="it without the day of the draw",
            expected="the day too",
            remedy='write "on", such as "2026-11-25", or write age',
        )
    return hours_since(born, on, form=row, key="birth_date")


def hours_since(born: datetime.date, on: datetime.date, *, form: Form, key: str) -> int:
    """How many hours of whole days lie between a birth and a draw; refuses a birth that is not possible."""
    days = (on - born).days
    if days < 0:
        form.refuse(key, found="a birth date in the future", expected=f"a day up to {on}", remedy="correct it")
    if days > MOST_AGE_YEARS * 365.25:
        form.refuse(
            key,
            found=f"a birth over {MOST_AGE_YEARS} years before the draw",
            expected="the day of birth",
            remedy="correct it",
        )
    return days * 24


def _read_hematocrit(row: Form) -> Fraction | None:
    value = row.content.get("hematocrit")
    if isinstance(value, str):
        match = _LEADING_NUMBER.match(value)
        number = Fraction(match[1].replace(",", ".")) if match else None
        row.refuse("hematocrit", found=show_json(value), expected=_HEMATOCRIT, remedy=_share_remedy(number))
    number = row.number("hematocrit", expected=_HEMATOCRIT)
    if number is not None and not LEAST_HEMATOCRIT <= number <= MOST_HEMATOCRIT:
        row.refuse("hematocrit", found=show_json(value), expected=_HEMATOCRIT, remedy=_share_remedy(number))
    return number


def _share_remedy(number: Fraction | None) -> str:
    for share in (number, number / 100) if number is not None else ():
        if LEAST_HEMATOCRIT <= share <= MOST_HEMATOCRIT:
            return f"write {float(share)}"
    return "write the share of cells, such as 0.45"


def _read_weight(row: Form, age_h: int | None) -> int | None:
    from cubital.facts.plausibility import plausibility

    weight_kg = row.number("weight_kg", expected="kilograms")
    if weight_kg is None:
        return None
    refuse_implausible(
        row,
        "weight_kg",
        weight_kg,
        plausibility().weight_kg.at(age_h),
        age_h,
        unit="kilograms",
        factors=((1000, "grams"),),
    )
    return int(weight_kg * 1000)


def _read_height(row: Form, age_h: int | None) -> int | None:
    from cubital.facts.plausibility import plausibility

    height_cm = row.number("height_cm", expected="centimetres")
    if height_cm is None:
        return None
    refuse_implausible(
        row,
        "height_cm",
        height_cm,
        plausibility().height_cm.at(age_h),
        age_h,
        unit="centimetres",
        factors=((10, "millimetres"), (Fraction(1, 100), "metres")),
    )
    return int(height_cm * 10)


def refuse_implausible(
    form: Form,
    key: str,
    value: Fraction,
    bounds: tuple[Any, Any],
    age_h: int | None,
    *,
    unit: str,
    factors: Sequence[tuple[int | Fraction, str]],
) -> None:
    """Refuse a measure that nobody of this age has, saying what it would be in the unit it may be in."""
    if bounds[0] <= form.content[key] <= bounds[1]:
        return
    least, most = Fraction(bounds[0]), Fraction(bounds[1])
    at_age = f" at {age_text(age_h)}" if age_h is not None else ""
    remedy = "check it and the age" if age_h is not None else "correct it"
    for factor, other in factors:
        if least <= value / factor <= most:
            remedy = f"if that is {other}, write {float(value / factor):g}"
            break
    form.refuse(
        key,
        found=show_json(form.content.get(key)),
        expected=f"{unit} from {float(least):g} to {float(most):g}{at_age}",
        remedy=remedy,
    )


def read_volume_ul(form: Form, key: str, *, most_ml: int) -> int | None:
    """Whole microlitres of a field in millilitres, from 0 to the most; None where it is absent."""
    expected = f"millilitres from 0 to {most_ml}"
    volume_ml = form.number(key, expected=expected)
    if volume_ml is None:
        return None
    if not 0 <= volume_ml <= most_ml:
        form.refuse(key, found=show_json(form.content[key]), expected=expected, remedy="write millilitres")
    volume_ul = volume_ml * 1000
    if volume_ul.denominator != 1:
        form.refuse(
            key,
            found=show_json(form.content[key]),
            expected="whole microlitres",
            remedy="write at most three decimals",
        )
    return volume_ul.numerator

"""Whole microlitres, seconds and days inside; text with units outside. The only rounding is here."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from cubital.errors import UnitError

UL_PER_ML = 1000
_MOST_EXPONENT = 18

# UCUM: a = mean Julian year of 365.25 d, mo = a/12 (The Unified Code for Units of Measure, 2.1, table 28).
_HOURS_PER_AGE_UNIT = {
    "a": Fraction(8766),
    "mo": Fraction(8766, 12),
    "wk": Fraction(168),
    "d": Fraction(24),
    "h": Fraction(1),
}
_AGE = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(a|mo|wk|d|h)\s*")


def exact(value: object, *, where: str) -> Fraction:
    """What this number is, exactly; a float is read as the decimal a person would have typed.

    Raises `UnitError` for anything that is not a finite number.

    >>> exact(0.1, where="x")
    Fraction(1, 10)
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str | Decimal | Fraction):
        raise UnitError(f"found {value!r}; expected a number", where=where)
    if isinstance(value, Fraction):
        return value
    if isinstance(value, int) and abs(value) >= 10 ** (_MOST_EXPONENT + 1):
        # Python writes no whole number of more than 4,300 digits, so it is refused before it is written.
        raise UnitError("found a whole number out of range; expected a measure", where=where)
    try:
        decimal = Decimal(str(value))
        if not decimal.is_finite() or abs(decimal.adjusted()) > _MOST_EXPONENT:
            raise InvalidOperation
        return Fraction(decimal)
    except (InvalidOperation, ValueError):
        raise UnitError(f"found {str(value)[:40]!r}; expected a finite number", where=where) from None


def microlitres(millilitres: object, *, where: str) -> int:
    """How many whole microlitres this many millilitres are; a fraction of a microlitre is refused.

    >>> microlitres(2.7, where="x")
    2700
    """
    volume_ul = exact(millilitres, where=where) * UL_PER_ML
    if volume_ul.denominator != 1:
        raise UnitError(
            f"{millilitres} mL is not a whole number of microlitres; write at most three decimals", where=where
        )
    return volume_ul.numerator


def millilitres_text(volume_ul: int) -> str:
    """How a volume in microlitres is printed, in mL without trailing zeros.

    >>> millilitres_text(2700), millilitres_text(10000), millilitres_text(-50)
    ('2.7', '10', '-0.05')
    """
    text = f"{Decimal(volume_ul).scaleb(-3):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def millilitres(volume_ul: int) -> float:
    """The same volume as a JSON number in mL."""
    return volume_ul / UL_PER_ML


def age_hours(text: str, *, where: str) -> int:
    """How many whole completed hours old; `text` is a number and a UCUM unit (a, mo, wk, d or h).

    >>> age_hours("4 a", where="x"), age_hours("36 h", where="x")
    (35064, 36)
    """
    match = _AGE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise UnitError(
            f"found {str(text)[:40]!r}; expected a number and a UCUM unit of age: "
            "a (years), mo, wk, d or h, such as '4 a' or '10 d'",
            where=where,
        )
    hours = Fraction(match[1]) * _HOURS_PER_AGE_UNIT[match[2]]
    if hours > 130 * 8766:
        raise UnitError(f"found {text!r}, over 130 years; expected an age in a, mo, wk, d or h", where=where)
    return int(hours)


def age_text(hours: int) -> str:
    """An age in the unit a ward would use.

    >>> age_text(35064), age_text(36), age_text(24 * 40), age_text(age_hours("5 mo", where="x"))
    ('4 a', '36 h', '40 d', '5 mo')
    """
    if hours < 72:
        return f"{hours} h"
    if hours < 24 * 90:
        return f"{hours // 24} d"
    if hours < 2 * 8766:
        # Ages are kept in whole hours, rounded down, so a month's last hour may be missing.
        return f"{int((hours + 1) * 12 / 8766)} mo"
    return f"{hours // 8766} a"


def ceil_div(numerator: int, denominator: int) -> int:
    """The least whole number not below the quotient.

    >>> ceil_div(7, 2), ceil_div(8, 2)
    (4, 4)
    """
    return -(-numerator // denominator)

"""Blood volume by height or length and weight, rounded down to whole microlitres."""

from __future__ import annotations

from decimal import Context, Decimal
from fractions import Fraction
from math import isqrt

from cubital.facts.volumes import ByWeightAndLength, Lemmens, Nadler

# Logarithms and powers of Decimal are rounded alike on every machine; those of a float need not be.
_EXACT = Context(prec=28)


def nadler_ul(formula: Nadler, *, height_mm: int, weight_g: int) -> int | None:
    """The volume by Nadler's formula of this sex; None under the least weight it is used for.

    Sources: nadler-1962. Not valid for children, whatever their weight.

    >>> from cubital import facts
    >>> nadler_ul(facts.blood_volumes().nadler["male"], height_mm=1750, weight_g=70_000)
    4823754
    """
    if weight_g < 1000 * formula.weight_min_kg:
        return None
    litres = (
        Fraction(formula.height_cubed_l_per_m3) * Fraction(height_mm, 1000) ** 3
        + Fraction(formula.weight_l_per_kg) * Fraction(weight_g, 1000)
        + Fraction(formula.constant_l)
    )
    return int(litres * 1_000_000)


def body_mass_index(*, height_mm: int, weight_g: int) -> Fraction:
    """Weight over height squared, in kg/m2.

    >>> body_mass_index(height_mm=2000, weight_g=120_000)
    Fraction(30, 1)
    """
    return Fraction(weight_g * 1000, height_mm * height_mm)


def lemmens_ul(formula: Lemmens, *, height_mm: int, weight_g: int) -> int:
    """The volume of an obese adult: reference / sqrt(BMI / reference BMI) per kilogram.

    Sources: lemmens-2006, from memory. Meant for a body mass index of 30 and more.

    >>> from cubital import facts
    >>> lemmens_ul(facts.blood_volumes().lemmens, height_mm=2000, weight_g=140_000)
    7769580
    """
    ratio = Fraction(formula.reference_bmi) / body_mass_index(height_mm=height_mm, weight_g=weight_g)
    ul_per_kg = isqrt(int(ratio * (1000 * formula.reference_ml_per_kg) ** 2))
    return ul_per_kg * weight_g // 1000


def by_weight_and_length_ul(formula: ByWeightAndLength, *, length_mm: int, weight_g: int) -> int:
    """The volume of an infant by the logarithm of weight and by length.

    Sources: linderkamp-1977, second-hand. Not valid from two years on.

    >>> from cubital import facts
    >>> by_weight_and_length_ul(facts.blood_volumes().linderkamp, length_mm=750, weight_g=10_000)
    814141
    """
    log_kg = _EXACT.log10(Decimal(weight_g).scaleb(-3))
    log_ml = formula.weight_log_factor * log_kg + formula.length_per_cm * Decimal(length_mm) / 10 + formula.constant
    return int(_EXACT.power(10, log_ml) * 1000)

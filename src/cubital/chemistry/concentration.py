"""How much of a salt a litre holds: mass concentration to amount, by the molar mass of the salt as weighed."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from cubital import facts

Number = int | Decimal | Fraction


def millimoles_per_litre(mg_per_ml: Number, molar_mass_g_per_mol: Number) -> Fraction:
    """How many mmol/L a mass concentration in mg/mL (the same as g/L) is.

    The molar mass must be of the salt that was weighed, hydrate included: EDTA stated as free acid,
    anhydrous salt and dihydrate differ by up to 38 %. Raises `ValueError` for a negative
    concentration or a molar mass that is not above zero.

    >>> round(float(millimoles_per_litre(Decimal("1.5"), Decimal("404.45"))), 2)
    3.71
    """
    if mg_per_ml < 0:
        raise ValueError(f"found {mg_per_ml} mg/mL; expected 0 or more")
    if molar_mass_g_per_mol <= 0:
        raise ValueError(f"found {molar_mass_g_per_mol} g/mol; expected above 0")
    return Fraction(mg_per_ml) * 1000 / Fraction(molar_mass_g_per_mol)


def amount_range(concentration: facts.Concentration) -> tuple[Fraction, Fraction] | None:
    """The range of this concentration in mmol/L; None where its unit or its molar mass does not allow one.

    >>> known = facts.additives()["k2-edta"].concentrations[0]
    >>> [round(float(value), 1) for value in amount_range(known)]
    [3.7, 5.4]
    """
    if concentration.mmol_per_l is not None:
        low, high = concentration.mmol_per_l
        return Fraction(low), Fraction(high)
    if concentration.mg_per_ml is None or concentration.molar_mass_g_per_mol is None:
        return None
    low, high = concentration.mg_per_ml
    mass = concentration.molar_mass_g_per_mol
    return millimoles_per_litre(low, mass), millimoles_per_litre(high, mass)

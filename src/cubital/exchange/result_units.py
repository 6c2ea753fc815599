"""Units of results in UCUM (2.1): a fixed grammar, exact factors, and by molar mass or charge to an analyte's own unit.

A unit that this does not know is refused, and so is one that the analyte cannot have. Nothing is guessed from a value.
"""

from __future__ import annotations

import re
from fractions import Fraction

from cubital.errors import UnitError
from cubital.facts.population import Measurand

# UCUM is case-sensitive; the litre alone may be written either way.
_UNIT = re.compile(r"([kmunp]?)(mol|eq|g|U|\[IU\]|kat)/([md]?)([Ll])")
_PREFIXES = {
    "": Fraction(1), "k": Fraction(1000), "m": Fraction(1, 10**3), "u": Fraction(1, 10**6),
    "n": Fraction(1, 10**9), "p": Fraction(1, 10**12), "d": Fraction(1, 10),
}  # fmt: skip
_UNITS_PER_KATAL = 60 * 10**6
# A mole of urea holds two of nitrogen: IUPAC conventional atomic weight 14.007.
_NITROGEN_G_PER_MOL = 2 * Fraction("14.007")
_USUAL_SLIPS = {
    "mEq/L": "meq/L", "IU/L": "[IU]/L or U/L", "mcg/dL": "ug/dL", "mcmol/L": "umol/L", "μmol/L": "umol/L",
    "µmol/L": "umol/L", "mg%": "mg/dL", "mM": "mmol/L", "uM": "umol/L",
}  # fmt: skip


def to_own_unit(
    value: Fraction, unit: str, measurand: Measurand, *, where: str, is_urea_nitrogen: bool = False
) -> Fraction:
    """The value in the analyte's own unit.

    Raises `UnitError` for a unit that is not known, or that the analyte cannot be converted from.

    >>> from cubital.facts.population import population
    >>> float(round(to_own_unit(Fraction(90), "mg/dL", population().analytes["glucose"], where="x"), 3))
    4.996
    """
    per_litre, kind = _read(unit, where=where)
    own_per_litre, own_kind = _read(measurand.unit, where="population.toml")
    if is_urea_nitrogen:
        if kind != "g":
            _refuse(unit, measurand, "a mass, such as mg/dL, of urea nitrogen; write urea where it is urea", where)
        return value * per_litre / _NITROGEN_G_PER_MOL / own_per_litre
    if kind == own_kind:
        return value * per_litre / own_per_litre
    if own_kind == "mol" and kind == "g" and measurand.molar_mass_g_per_mol is not None:
        return value * per_litre / Fraction(measurand.molar_mass_g_per_mol) / own_per_litre
    if own_kind == "mol" and kind == "eq" and measurand.charge is not None:
        return value * per_litre / measurand.charge / own_per_litre
    if own_kind == "U" and kind == "kat":
        return value * per_litre * _UNITS_PER_KATAL / own_per_litre
    _refuse(unit, measurand, f"a unit that converts to {measurand.unit}", where)
    raise AssertionError


def _read(unit: str, *, where: str) -> tuple[Fraction, str]:
    """How many of its kind to the litre one of this unit is, and the kind."""
    match = _UNIT.fullmatch(unit)
    if match is None:
        remedy = (
            f"write {_USUAL_SLIPS[unit]}" if unit in _USUAL_SLIPS else "write it as UCUM does, such as mmol/L or mg/dL"
        )
        raise UnitError(f"found the unit {unit[:30]!r}; expected a UCUM unit of concentration; {remedy}", where=where)
    prefix, kind, of_litre, _ = match.groups()
    return _PREFIXES[prefix] / _PREFIXES[of_litre], "U" if kind == "[IU]" else kind


def _refuse(unit: str, measurand: Measurand, expected: str, where: str) -> None:
    raise UnitError(f"found {unit} of {measurand.name}; expected {expected}", where=where)

"""What burst red cells add to serum or plasma, by its free hemoglobin."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import NamedTuple

from cubital import facts
from cubital.errors import UnitError
from cubital.facts.hemolysis import hemolysis_facts


class Rise(NamedTuple):
    """How much one source has an analyte rise for each g/L of free hemoglobin, in its own unit at a typical value."""

    per_g: Decimal
    basis: str
    source: str


def released_by_hemolysis(
    native: Mapping[str, float], hemoglobin_g_per_l: float, *, level: facts.Level = "typical"
) -> dict[str, float]:
    """How much each analyte rises, in its own unit, with so much free hemoglobin; analytes that do not are left out.

    Potassium by the published slope; others by how much more cells hold than serum, where that is known, so a level
    changes potassium only. Phosphate is left out: what cells set free of it depends on time.

    >>> {key: round(up, 2) for key, up in released_by_hemolysis({"potassium": 4.2, "chloride": 102}, 3.0).items()}
    {'potassium': 0.99}
    """
    if hemoglobin_g_per_l < 0:
        raise UnitError(f"found {hemoglobin_g_per_l} g/L; expected 0 or more", where="free hemoglobin")
    known = facts.interference().hemolysis
    burst = hemoglobin_g_per_l / known.cell_hemoglobin_g_per_l
    rises = {}
    for analyte, amount in native.items():
        ratio = facts.analytes()[analyte].cells_to_serum if analyte in facts.analytes() else None
        if analyte == "potassium":
            rises[analyte] = float(known.potassium_mmol_per_g.at(level)) * hemoglobin_g_per_l
        elif ratio is not None:
            rises[analyte] = amount * burst * (float(ratio) - 1)
    return rises


def without_hemolysis(potassium: float, hemoglobin_g_per_l: float) -> tuple[float, float, float]:
    """Potassium as it was before the cells burst: lowest, typical and highest, by the range between persons.

    >>> [round(value, 2) for value in without_hemolysis(5.8, 3.0)]
    [4.63, 4.81, 5.11]
    """
    if hemoglobin_g_per_l < 0:
        raise UnitError(f"found {hemoglobin_g_per_l} g/L; expected 0 or more", where="free hemoglobin")
    slope = facts.interference().hemolysis.potassium_mmol_per_g
    low, typical, high = (
        potassium - float(step) * hemoglobin_g_per_l for step in (slope.high, slope.typical, slope.low)
    )
    return low, typical, high


@cache
def rises_of(analyte: str) -> tuple[Rise, ...]:
    """Every rise that is known of this analyte, the least first; empty where hemolysis is not known to raise it.

    What cells set free adds the same to any result, so a rise that a source gives in percent is taken of the typical
    value; so is what follows from how much more cells hold than serum.

    >>> [str(rise.per_g) for rise in rises_of("potassium")]
    ['0.33', '0.36', '0.40', '0.40', '0.51']
    """
    known = facts.analytes()[analyte]
    found = [
        Rise(
            slope.rise_per_g if slope.rise_per_g is not None else known.typical * (slope.percent_per_g or 0) / 100,
            slope.mark.basis, slope.mark.source,
        )
        for slope in hemolysis_facts().slopes_of(analyte)
    ]  # fmt: skip
    if known.cells_to_serum is not None and known.cells_mark is not None:
        per_g = known.typical * (known.cells_to_serum - 1) / facts.interference().hemolysis.cell_hemoglobin_g_per_l
        found.append(Rise(per_g, "computed", known.cells_mark.source))
    return tuple(sorted(found, key=lambda rise: rise.per_g))

"""IUPAC conventional atomic weights, from memory: the molar masses that the facts carry, built from their formulas."""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital import facts
from tests.published.shipped import within

WEIGHTS = {
    "H": "1.008", "C": "12.011", "N": "14.007", "O": "15.999", "F": "18.998",
    "Na": "22.990", "K": "39.098", "Li": "6.94", "I": "126.90",
}  # fmt: skip
FORMULAS = {
    "EDTA free acid": {"C": 10, "H": 16, "N": 2, "O": 8},
    "dipotassium EDTA anhydrous": {"C": 10, "H": 14, "N": 2, "O": 8, "K": 2},
    "dipotassium EDTA dihydrate": {"C": 10, "H": 18, "N": 2, "O": 10, "K": 2},
    "tripotassium EDTA dihydrate": {"C": 10, "H": 17, "N": 2, "O": 10, "K": 3},
    "trisodium citrate dihydrate": {"C": 6, "H": 9, "O": 9, "Na": 3},
    "citric acid anhydrous": {"C": 6, "H": 8, "O": 7},
    "citric acid monohydrate": {"C": 6, "H": 10, "O": 8},
    "dextrose monohydrate": {"C": 6, "H": 14, "O": 7},
    "sodium fluoride": {"Na": 1, "F": 1},
    "potassium oxalate monohydrate": {"C": 2, "H": 2, "O": 5, "K": 2},
    "lithium iodoacetate": {"C": 2, "H": 2, "I": 1, "O": 2, "Li": 1},
    "sodium iodoacetate": {"C": 2, "H": 2, "I": 1, "O": 2, "Na": 1},
}
CARRIED = {
    (c.salt, float(c.molar_mass_g_per_mol))
    for additive in facts.additives().values()
    for c in additive.concentrations
    if c.molar_mass_g_per_mol is not None
}


def test_every_salt_with_a_molar_mass_has_a_formula_here() -> None:
    assert {salt for salt, _ in CARRIED} == set(FORMULAS)


@pytest.mark.parametrize(("salt", "carried"), sorted(CARRIED))
def test_a_molar_mass_is_the_sum_of_its_atoms(salt: str, carried: float) -> None:
    mass = sum(Fraction(WEIGHTS[element]) * count for element, count in FORMULAS[salt].items())
    assert within(mass, carried, 0.015)

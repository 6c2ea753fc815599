"""The `molmass` library (Gohlke; atomic weights of its own table) as an independent judge of our molar masses."""

from __future__ import annotations

import molmass
import pytest

from cubital import facts
from cubital.facts.contaminants import Species

WAYS = [
    (key, basis, weighed.formula, float(weighed.molar_mass_g_per_mol))
    for key, salt in facts.salts().items()
    for basis, weighed in salt.weighed_as.items()
]


@pytest.mark.parametrize(("key", "basis", "formula", "carried"), WAYS)
def test_a_molar_mass_is_the_mass_of_its_formula(key: str, basis: str, formula: str, carried: float) -> None:
    assert abs(molmass.Formula(formula).mass - carried) <= 0.02, (key, basis)


def test_the_ions_that_a_salt_gives_are_the_ones_in_its_formula() -> None:
    symbols: dict[Species, str] = {"potassium": "K", "sodium": "Na", "lithium": "Li", "fluoride": "F"}
    for key, salt in facts.salts().items():
        for basis, weighed in salt.weighed_as.items():
            if basis == "free-acid":
                continue
            counted = {item.symbol: item.count for item in molmass.Formula(weighed.formula).composition().values()}
            for ion, symbol in symbols.items():
                assert counted.get(symbol, 0) == salt.releases.get(ion, 0), (key, basis, ion)


def test_every_molar_mass_of_the_additives_list_is_that_of_a_salt() -> None:
    known = {float(w.molar_mass_g_per_mol) for salt in facts.salts().values() for w in salt.weighed_as.values()}
    carried = {
        float(c.molar_mass_g_per_mol)
        for additive in facts.additives().values()
        for c in additive.concentrations
        if c.molar_mass_g_per_mol is not None and c.salt != "sodium iodoacetate"
    }
    assert carried <= known

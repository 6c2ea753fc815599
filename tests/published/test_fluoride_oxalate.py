"""Sodium fluoride and potassium oxalate tubes: doses from handbooks, from memory; what they add is computed. Check 15.

2.5 mg/mL of sodium fluoride and 2 mg/mL of potassium oxalate monohydrate: 59.5 and 10.9 mmol/L of blood; plasma at a
hematocrit of 0.45 +108 sodium, +39.5 potassium, 19.7 oxalate, as upper bounds, because water leaves the cells.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import load_of, mixed, tube_plasma, water_shift
from cubital.chemistry.chelation import measured

LOAD = load_of("fluoride-oxalate")
PLASMA = tube_plasma(LOAD, 0.45)


def test_the_blood_takes_60_mmol_of_fluoride_and_11_of_oxalate() -> None:
    found = LOAD.per_blood_mmol_per_l
    assert (round(found["fluoride"], 1), round(found["sodium"], 1)) == (59.5, 59.5)
    assert (round(found["oxalate"], 1), round(found["potassium"], 1)) == (10.9, 21.7)


def test_the_plasma_of_a_full_tube_holds_twice_that() -> None:
    found = PLASMA.added_mmol_per_l
    assert found["sodium"] == pytest.approx(108, rel=0.02)
    assert found["potassium"] == pytest.approx(39.5, rel=0.02)
    assert found["oxalate"] == pytest.approx(19.7, rel=0.02)


def test_five_percent_raises_sodium_and_potassium_together_and_lowers_calcium() -> None:
    native = {"sodium": 140.0, "potassium": 4.2, "calcium": 2.35}
    found = measured(mixed(native, PLASMA, 0.05))
    assert found["sodium"] - 140 == pytest.approx(5.4, rel=0.02)
    assert found["potassium"] - 4.2 == pytest.approx(1.97, rel=0.02)
    assert found["oxalate"] == pytest.approx(1.0, rel=0.02)
    assert found["calcium"] < 2.35


def test_water_from_the_cells_takes_a_sixth_off_these_upper_bounds() -> None:
    assert 1 - 1 / water_shift(LOAD, 0.45) == pytest.approx(0.17, abs=0.005)

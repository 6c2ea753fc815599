"""Nadler, Hidalgo, Bloch. Prediction of blood volume in normal human adults. Surgery 1962;51:224-232.

The coefficients are second-hand (five pages agree); the volumes are computed from them. Checks C15 and C16. A plan
takes the lowest volume that any source gives, so it is held here against the band of 70 mL/kg too.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from cubital import facts
from cubital.chemistry.blood_volume import nadler_ul
from cubital.facts.volumes import Nadler
from cubital.planning.patient import blood_volume_ul
from tests.published.shipped import patient_of, within

FORMULAS: Mapping[str, Nadler] = {str(sex): formula for sex, formula in facts.blood_volumes().nadler.items()}
CASES = [
    ("male", 1750, 70, 4.824, 68.9),
    ("male", 1800, 80, 5.319, 66.5),
    ("female", 1650, 60, 3.768, 62.8),
    ("female", 1600, 55, 3.461, 62.9),
]


@pytest.mark.parametrize(("sex", "height_mm", "kilograms", "litres", "ml_per_kg"), CASES)
def test_the_volume_of_an_adult(sex: str, height_mm: int, kilograms: int, litres: float, ml_per_kg: float) -> None:
    found_ul = nadler_ul(FORMULAS[sex], height_mm=height_mm, weight_g=kilograms * 1000)
    assert found_ul is not None
    assert within(found_ul / 1_000_000, litres, 0.002)
    assert within(found_ul / 1000 / kilograms, ml_per_kg, 0.05)


@pytest.mark.parametrize(("sex", "height_mm", "kilograms", "litres", "ml_per_kg"), CASES)
def test_a_plan_takes_it_where_it_is_below_70_per_kilogram(
    sex: str, height_mm: int, kilograms: int, litres: float, ml_per_kg: float
) -> None:
    guarded_ul = blood_volume_ul(patient_of(kilograms, 40, sex=sex, height_mm=height_mm))
    assert guarded_ul is not None
    assert within(guarded_ul / 1_000_000, litres, 0.002)
    assert guarded_ul < 70_000 * kilograms
    assert blood_volume_ul(patient_of(kilograms, 40)) == 70_000 * kilograms


def test_a_volume_over_70_per_kilogram_is_not_taken() -> None:
    """A tall light man: Nadler gives 5.47 L at 60 kg, the band 4.2 L."""
    found_ul = nadler_ul(FORMULAS["male"], height_mm=2000, weight_g=60_000)
    assert found_ul is not None
    assert within(found_ul / 1_000_000, 5.471, 0.002)
    assert blood_volume_ul(patient_of(60, 40, sex="male", height_mm=2000)) == 4_200_000


def test_the_formula_is_not_used_below_35_kilograms_nor_for_a_child() -> None:
    assert nadler_ul(FORMULAS["male"], height_mm=1500, weight_g=34_999) is None
    assert nadler_ul(FORMULAS["male"], height_mm=1500, weight_g=35_000) is not None
    child = patient_of(40, 12, sex="male", height_mm=1300)
    assert blood_volume_ul(child) == 65_000 * 40

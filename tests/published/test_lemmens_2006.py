"""Lemmens, Bernstein, Brodsky. Estimating blood volume in obese and morbidly obese patients. Obes Surg 2006. The
formula, 70 / sqrt(BMI / 22) mL/kg, is from memory; the values are computed from it. Check C48.
"""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.chemistry.blood_volume import lemmens_ul
from cubital.planning.patient import blood_volume_ul
from tests.published.shipped import patient_of, within


@pytest.mark.parametrize(("bmi", "ml_per_kg"), [(30, 59.9), (35, 55.5), (44, 49.5)])
def test_the_volume_per_kilogram_falls_with_the_body_mass_index(bmi: int, ml_per_kg: float) -> None:
    grams = bmi * 4 * 1000  # at 2 m of height
    patient = patient_of(grams / 1000, 40, height_mm=2000)
    found_ul = lemmens_ul(facts.blood_volumes().lemmens, height_mm=2000, weight_g=grams)
    assert within(found_ul / grams, ml_per_kg, 0.1)
    assert blood_volume_ul(patient) == found_ul


def test_below_a_body_mass_index_of_30_the_band_stands() -> None:
    grams = 30 * 4 * 1000 - 1
    assert blood_volume_ul(patient_of(grams / 1000, 40, height_mm=2000)) == 70_000 * grams // 1000

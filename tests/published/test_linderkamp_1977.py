"""Linderkamp, Versmold, Riegel, Betke. Estimation and prediction of blood volume in infants and children. Eur J Pediatr
1977;125:227-234, table 1 as a page of formulas reports it; the paper was not read.

Under two years: log10 of mL = 0.7891 log10 kg + 0.004132 cm + 1.8117, with an error of 10.1 %. Worked by hand at 10 kg
and 75 cm: log10 10 is 1, so 0.7891 + 0.3099 + 1.8117 = 2.9107, and 10^2.9107 is 814.1 mL, for log10 8.141 is 0.9107.
"""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.app.blood_loss import blood_report
from cubital.chemistry.blood_volume import by_weight_and_length_ul
from cubital.model import Patient
from cubital.planning.patient import blood_volume_ul, is_infant
from tests.published.shipped import SHIPPED, patient_of, within

FORMULA = facts.blood_volumes().linderkamp
# Table 1 of the paper, by the same page: the mean of the children of an age, in mL/kg, and its standard deviation.
MEASURED = [(3.4, 500, 84.4, 7.5), (6.0, 620, 76.6, 9.0), (9.0, 720, 82.4, 10.4), (11.5, 820, 86.1, 9.7)]


def test_a_child_of_ten_kilograms_and_75_centimetres_by_hand() -> None:
    assert within(by_weight_and_length_ul(FORMULA, length_mm=750, weight_g=10_000) / 1000, 814.1, 0.1)


@pytest.mark.parametrize(("kilograms", "length_mm", "ml_per_kg", "deviation"), MEASURED)
def test_usual_infants_come_out_within_one_deviation_of_what_the_paper_measured(
    kilograms: float, length_mm: int, ml_per_kg: float, deviation: float
) -> None:
    """Weights and lengths of usual infants at a week, 4, 9 and 18 months are from memory."""
    found_ul = by_weight_and_length_ul(FORMULA, length_mm=length_mm, weight_g=int(kilograms * 1000))
    assert within(found_ul / 1000 / kilograms, ml_per_kg, deviation)


def test_a_plan_takes_it_where_it_is_the_lowest() -> None:
    """By hand at 12 kg and 70 cm: 0.7891 x 1.07918 + 0.28924 + 1.8117 = 2.95252, 896.4 mL, under 75 x 12 = 900."""
    guarded_ul = blood_volume_ul(patient_of(12, 0.9, height_mm=700))
    assert within((guarded_ul or 0) / 1000, 896.4, 0.1)
    assert blood_volume_ul(patient_of(12, 0.9)) == 900_000
    assert blood_volume_ul(patient_of(10, 0.9, height_mm=750)) == 750_000


def test_it_ends_at_two_years_and_is_not_taken_for_an_age_not_known() -> None:
    """20 kg at 70 cm is no child, but 67 mL/kg is below the 70 of the band."""
    last_h = 24 * FORMULA.age_max_d
    young, old = (blood_volume_ul(Patient(age_h=h, weight_g=20_000, height_mm=700)) for h in (last_h - 1, last_h))
    assert young == by_weight_and_length_ul(FORMULA, length_mm=700, weight_g=20_000)
    assert (young or 0) < 70_000 * 20
    assert old == 70_000 * 20
    assert not is_infant(None)


def test_it_stands_among_the_sources_of_the_report_with_its_mark() -> None:
    found = blood_report(patient_of(10, 1, height_mm=750), SHIPPED)
    rows = {row.source.partition(",")[0]: row for row in found.volumes}
    assert rows["Linderkamp"].low_ul == rows["Linderkamp"].high_ul == 814_141
    assert rows["Linderkamp"].rests_on == "published: linderkamp-1977 (read second-hand)"
    assert "Nadler" not in rows

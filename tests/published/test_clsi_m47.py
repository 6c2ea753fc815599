"""Dien Bard. J Clin Microbiol 2016;54:1418 (read), quoting CLSI M47: a culture does not pass 1 % of the blood volume,
illustrated at 80 mL/kg. Stricter than the 2.5 to 4 % of IDSA/ASM. Check C25: both are shown.
"""

from __future__ import annotations

from fractions import Fraction

from cubital import facts
from cubital.model import Patient
from tests.published.shipped import order_of, patient_of, site_under, verified, within

CAP = facts.cultures().caps.percent_of_tbv
SITE = site_under("common-practice", blood_limit=None)


def said_of(patient: Patient) -> list[str]:
    plan = verified(order_of("blood-culture", patient=patient), SITE)
    return [caution.text for caution in plan.cautions if "clsi-m47" in caution.sources]


def test_at_ten_kilograms_the_cap_is_8_millilitres_and_6_pass() -> None:
    assert within(Fraction(CAP) * 10 * 80 / 100, 8.0, 0.1)
    assert said_of(patient_of(10, 2)) == []  # 7 mL by the guard of 70 mL/kg: 6 mL still pass


def test_at_one_and_a_half_kilograms_the_cap_is_1_2_millilitres_and_4_do_not_pass() -> None:
    assert within(Fraction(CAP) * Fraction("1.5") * 80 / 100, 1.2, 0.1)
    said = said_of(patient_of(1.5, 0))
    assert len(said) == 1
    assert "4 mL" in said[0]
    assert "1.147 mL" in said[0]  # at the guard of 76.5 mL/kg, 4 % under the published 1.2


def test_the_cap_is_not_passed_at_its_edge() -> None:
    """6 mL are 1 % of 600 mL: 8 kg at 75 mL/kg."""
    assert said_of(patient_of(8, 0.5)) == []
    assert len(said_of(patient_of(7.999, 0.5))) == 1


def test_the_shipped_limit_leaves_a_set_out_rather_than_pass_its_own_share() -> None:
    plan = verified(order_of("blood-culture", patient=patient_of(1.5, 0)), site_under("common-practice"))
    assert plan.unplaced == ()
    assert plan.totals.all_blood_ul == 2000
    assert plan.totals.limit_ul is not None
    assert plan.totals.all_blood_ul <= plan.totals.limit_ul

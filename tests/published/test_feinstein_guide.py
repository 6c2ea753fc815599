"""A research institute's review-board guide (Feinstein; read): of a healthy child 3 % in 24 h and 10 % in a month, of
an ill one 2.5 % and 5 %; a preterm newborn has 90 to 105 mL/kg. Checks C19 and C21.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.model import Patient
from cubital.planning.patient import blood_volume_ul, sampling_limit
from tests.published.shipped import SHIPPED, order_of, verified, within

PRETERM = Patient(weight_g=1500, age_h=24 * 3, flags=("preterm",))


@pytest.mark.parametrize(
    ("policy", "period_h", "published_ml"),
    [
        ("feinstein-healthy", 24, 24),
        ("feinstein-healthy", 720, 80),
        ("feinstein-ill", 24, 20),
        ("feinstein-ill", 720, 40),
    ],
)
def test_a_child_of_10_kilograms_at_80_per_kilogram(policy: str, period_h: int, published_ml: int) -> None:
    cap = next(cap for cap in facts.sampling_limits()[policy].caps if cap.period_h == period_h)
    assert cap.percent_of_tbv is not None
    assert within(Fraction(cap.percent_of_tbv) * 10 * 80 / 100, published_ml, 0.1)


def test_five_millilitres_of_a_preterm_newborn_lie_between_the_two_caps() -> None:
    published = Fraction(5_000, 1500 * 100) * 100  # at 100 mL/kg, the other guide's figure
    assert within(published, 3.3, 0.1)
    guarded_ul = blood_volume_ul(PRETERM)
    assert guarded_ul == 135_000  # at 90 mL/kg, the lower end here: 10 % less
    ours = Fraction(5_000 * 100, guarded_ul)
    assert within(ours, 3.7, 0.05)
    ill, most = (
        sampling_limit(PRETERM, replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit=policy)))
        for policy in ("feinstein-ill", "howie-2011-max")
    )
    assert ill.limit_ul == 3_375 < 5_000
    assert most.limit_ul == 6_750 > 5_000


def test_a_plan_for_the_preterm_newborn_stays_under_the_cap_and_says_what_it_left_out() -> None:
    order = order_of("prothrombin-time", "cbc", "potassium", "group-check", "blood-culture", patient=PRETERM)
    site = replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit="feinstein-ill"))
    plan = verified(order, site)
    assert plan.totals.all_blood_ul <= 3_375
    left_out = {entry.test for entry in plan.unplaced}
    assert left_out == {"group-check", "prothrombin-time"}
    assert plan.cautions[0].level == "stop"
    assert all(test in plan.cautions[0].text for test in left_out)
    assert any("finds less" in c.text for c in plan.cautions)  # the culture is kept, with less blood

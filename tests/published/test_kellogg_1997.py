"""A US children's hospital table of culture volumes after Kellogg 1997 (read). It differs from IDSA/ASM at 1.1 to 2
kg: 4.5 mL against 4 mL, and agrees at 12.8 to 36.3 kg; a bottle takes at most 10 mL. Both stand side by side in the
facts.
"""

from __future__ import annotations

from cubital import facts
from tests.published.shipped import SHIPPED, order_of, patient_of, verified

KNOWN = facts.cultures()


def test_the_plan_takes_half_a_millilitre_less_than_the_hospital_at_one_and_a_half_kilograms() -> None:
    rival = next(row for row in KNOWN.table("kellogg-hospital").rows if row.weight_max_g == 2000)
    ours = next(row for row in KNOWN.table("idsa-asm-2018").rows if row.weight_max_g == 2000)
    assert (rival.total_low_ul, ours.total_low_ul) == (4_500, 4_000)


def test_both_tables_take_20_millilitres_at_20_kilograms_and_40_over_36_3() -> None:
    for weight_max_g, total_ul in ((36_300, 20_000), (None, 40_000)):
        for policy in ("kellogg-hospital", "idsa-asm-2018"):
            row = next(row for row in KNOWN.table(policy).rows if row.weight_max_g == weight_max_g)
            assert row.total_low_ul == total_ul


def test_no_planned_bottle_takes_more_than_ten_millilitres() -> None:
    for kilograms in (0.9, 5, 20, 36.3, 70, 150):
        plan = verified(order_of("blood-culture", patient=patient_of(kilograms)), SHIPPED)
        assert all(tube.draw_ul <= KNOWN.caps.bottle_max_ul for tube in plan.tubes)

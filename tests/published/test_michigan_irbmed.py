"""A medical school's review board (Michigan IRBMED; read): the older table per three months by weight, and the
guidance of 2022 on blood volume and on draws over 1 %. Check C20.

The table alone is unsafe for the smallest: 20 mL is 20 % of the volume at 1 kg. A plan holds 5 % in 24 h beside it.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.planning.patient import blood_volume_ul, sampling_limit
from tests.published.shipped import SHIPPED, order_of, patient_of, verified, within

ROWS = next(cap.by_weight for cap in facts.sampling_limits()["michigan-3-month"].caps if cap.by_weight)
SITE = replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit="michigan-3-month"))


@pytest.mark.parametrize(
    ("kilograms", "years", "table_ul", "ours_ul"),
    [(8, 0.5, 30_000, 30_000), (18, 5, 100_000, 58_500), (52, 40, 450_000, 182_000), (1, 0, 20_000, 3_825)],
)
def test_the_table_by_weight_and_the_share_that_undercuts_it(
    kilograms: int, years: float, table_ul: int, ours_ul: int
) -> None:
    grams = kilograms * 1000
    assert next(r.cap_ul for r in ROWS if r.weight_max_g is None or grams <= r.weight_max_g) == table_ul
    assert sampling_limit(patient_of(kilograms, years), SITE).limit_ul == ours_ul


def test_the_table_gives_a_newborn_of_1_kilogram_a_fifth_and_more_of_its_blood() -> None:
    volume_ul = blood_volume_ul(patient_of(1, 0)) or 0
    assert Fraction(ROWS[0].cap_ul, volume_ul) > Fraction(20, 100)
    assert (sampling_limit(patient_of(1, 0), SITE).limit_ul or 0) * 5 < ROWS[0].cap_ul


@pytest.mark.parametrize(
    ("name", "ml_per_kg"),
    [("preterm newborn", 100), ("term newborn", 80), ("1 to 12 months", 75), ("1 to 3 years", 75),
     ("4 to 6 years", 80), ("7 to 18 years", 85), ("adult", 70)],
)  # fmt: skip
def test_no_plan_takes_more_per_kilogram_than_the_guidance_of_2022(name: str, ml_per_kg: int) -> None:
    band = next(band for band in facts.blood_volumes().bands if band.name == name)
    own = next(rival for rival in band.rivals if rival.mark.source == "michigan-2022")
    assert own.low_ul_per_kg == ml_per_kg * 1000
    flags = ("preterm",) if band.preterm else ()
    found_ul = blood_volume_ul(patient_of(10, (band.age_min_d + 1) / 365.25, flags=flags))
    assert found_ul is not None
    assert found_ul <= ml_per_kg * 10_000


def test_over_one_percent_of_the_volume_the_hematocrit_is_asked_for() -> None:
    said = facts.safety()["large-draw"].text
    for kilograms, share, is_warned in ((2.6, 0.97, False), (2.4, 1.06, True)):
        order = order_of("cbc", "prothrombin-time", patient=patient_of(kilograms, 0.1))
        plan = verified(order, SHIPPED)
        assert within(Fraction(plan.totals.all_blood_ul * 100, plan.totals.blood_volume_ul or 1), share, 0.01)
        assert any(said in caution.text for caution in plan.cautions) is is_warned


# A choice of this project: an adult's two sets of cultures take over 1 %, and the guidance is for research.
@pytest.mark.parametrize(("years", "level"), [(17.9, "warn"), (18, "note"), (61, "note")])
def test_an_adult_over_one_percent_gets_a_note_and_a_child_a_warning(years: float, level: str) -> None:
    said = facts.safety()["large-draw"].text
    plan = verified(order_of("blood-culture", "cbc", patient=patient_of(55, years)), SHIPPED)
    assert plan.totals.all_blood_ul * 100 > (plan.totals.blood_volume_ul or 0)
    assert [caution.level for caution in plan.cautions if said in caution.text] == [level]

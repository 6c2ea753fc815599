"""A widely copied children's hospital table of the maximum draw by weight, from memory: 2.5 % in 24 h and 5 % in 30
days of 100 mL/kg to 2 kg and 80 above. It is the shipped default limit.

Its 24 h column is 2.5, 5, 6, 10, 20, 40 and 60 mL at 1, 2, 3, 5, 10, 20 and 30 kg. A plan takes the lower of its
volume and the guard of the age, so ours is stricter wherever the guard is below 100 or 80 mL/kg.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from cubital import facts
from cubital.planning.patient import sampling_limit
from tests.published.shipped import SHIPPED, patient_of, within

POLICY = facts.sampling_limits()["hospital-2-5-percent"]


@pytest.mark.parametrize(
    ("kilograms", "day_ml", "month_ml"),
    [(1, 2.5, 5), (2, 5, 10), (3, 6, 12), (5, 10, 20), (10, 20, 40), (20, 40, 80), (30, 60, 120)],
)
def test_the_table_follows_from_its_own_rule(kilograms: int, day_ml: float, month_ml: float) -> None:
    grams = kilograms * 1000
    per_kg = next(r.ul_per_kg for r in POLICY.own_blood_volume if r.weight_max_g is None or grams <= r.weight_max_g)
    day, month = POLICY.caps
    for cap, published in ((day, day_ml), (month, month_ml)):
        assert cap.percent_of_tbv is not None
        assert within(cap.percent_of_tbv * Decimal(per_kg * kilograms) / 100 / 1000, published, 0.001)


@pytest.mark.parametrize(
    ("kilograms", "years", "table_ml", "ours_ml"),
    [(1, 0, 2.5, 1.912), (3, 0, 6, 5.737), (5, 0.3, 10, 9.375), (10, 2, 20, 17.5), (20, 6, 40, 32.5),
     (30, 9, 60, 48.75)],
)
def test_the_shipped_limit_is_at_or_below_the_table(
    kilograms: int, years: float, table_ml: float, ours_ml: float
) -> None:
    limit_ul = sampling_limit(patient_of(kilograms, years), SHIPPED).limit_ul
    assert limit_ul is not None
    assert within(limit_ul / 1000, ours_ml, 0.0005)
    assert limit_ul / 1000 < table_ml

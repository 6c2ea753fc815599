"""45 CFR 46.110, expedited review, category 2 (two review-board guides read): of others than healthy adults of 110 lb
the lesser of 50 mL and 3 mL/kg in 8 weeks; of those adults 550 mL. Check C18. Taken here as the most for one plan.
"""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from cubital.planning.patient import Limit, sampling_limit
from tests.published.shipped import SHIPPED, order_of, patient_of, verified


def limit_of(policy: str, kilograms: float, **fields: Any) -> Limit:
    site = replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit=policy))
    return sampling_limit(patient_of(kilograms, **fields), site)


@pytest.mark.parametrize(
    ("kilograms", "limit_ul"), [(12, 36_000), (20, 50_000), (16.666, 49_998), (16.667, 50_000), (1, 3_000)]
)
def test_a_child_gives_the_lesser_of_50_millilitres_and_3_per_kilogram(kilograms: float, limit_ul: int) -> None:
    assert limit_of("cfr-46-110", kilograms).limit_ul == limit_ul


def test_the_adult_rule_holds_from_110_pounds_and_is_unknown_below() -> None:
    assert limit_of("cfr-46-110-adult", 49.9).limit_ul == 550_000
    below = limit_of("cfr-46-110-adult", 49.899)
    assert below.limit_ul is None
    assert "this weight is below that" in (below.missing or "")


def test_what_was_drawn_before_counts() -> None:
    site = replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit="cfr-46-110"))
    drawn = patient_of(12, drawn_ul=35_000)
    plan = verified(order_of("prothrombin-time", "cbc", patient=drawn), site)
    assert plan.totals.all_blood_ul <= 1_000
    assert plan.unplaced
    free = verified(order_of("prothrombin-time", "cbc", patient=patient_of(12)), site)
    assert free.unplaced == ()

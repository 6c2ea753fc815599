"""Howie. Blood sample volumes in child health research: review of safe limits. Bull World Health Organ 2011;89:46-53
(read), and PMC4890332, a study of sick children with a cap of 3.8 % at 80 mL/kg (read). Check C17.

The published volumes take 80 mL/kg. A plan takes the lowest volume of any source, 70 mL/kg at two years, so its
limits are seven eighths of the published ones; both are stated.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.planning.patient import blood_volume_ul, sampling_limit
from tests.published.shipped import SHIPPED, patient_of, within

CHILD = patient_of(10, 2)
BANDS = facts.blood_volumes().bands
PUBLISHED_UL_PER_KG = next(
    rival.low_ul_per_kg for band in BANDS for rival in band.rivals if rival.mark.source == "pmc4890332"
)
PUBLISHED_ML = {
    ("howie-2011-low", 24): 8.0,
    ("feinstein-ill", 24): 20.0,
    ("feinstein-healthy", 24): 24.0,
    ("sick-child-3-8-percent", 24): 30.4,
    ("howie-2011-max", 24): 40.0,
    ("howie-2011-max", 1344): 80.0,
}


def test_a_child_of_10_kilograms_has_800_millilitres_as_published_and_700_as_planned() -> None:
    assert 10 * PUBLISHED_UL_PER_KG == 800_000
    assert blood_volume_ul(CHILD) == 700_000


@pytest.mark.parametrize(("policy", "period_h"), PUBLISHED_ML)
def test_a_share_of_the_published_volume_is_the_published_amount(policy: str, period_h: int) -> None:
    cap = next(cap for cap in facts.sampling_limits()[policy].caps if cap.period_h == period_h)
    assert cap.percent_of_tbv is not None
    found_ul = Fraction(cap.percent_of_tbv) * 10 * PUBLISHED_UL_PER_KG / 100
    assert within(found_ul / 1000, PUBLISHED_ML[policy, period_h], 0.1)


@pytest.mark.parametrize(
    ("policy", "ours_ml"),
    [
        ("howie-2011-low", 7.0),
        ("feinstein-ill", 17.5),
        ("feinstein-healthy", 21.0),
        ("sick-child-3-8-percent", 26.6),
        ("howie-2011-max", 35.0),
    ],
)
def test_the_planned_limit_is_stricter_than_published_by_an_eighth(policy: str, ours_ml: float) -> None:
    site = replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit=policy))
    limit_ul = sampling_limit(CHILD, site).limit_ul
    assert limit_ul is not None
    assert within(limit_ul / 1000, ours_ml, 0.0005)
    assert within(Fraction(limit_ul, 1000) / Fraction(7, 8), PUBLISHED_ML[policy, 24], 0.1)

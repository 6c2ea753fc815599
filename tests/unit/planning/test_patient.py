"""What a patient's facts mean for a draw, on both sides of each edge."""

from __future__ import annotations

from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital.model import Patient, Site
from cubital.planning.patient import blood_volume_ul, describe, planning_hematocrit, sampling_limit
from tests.published.shipped import SHIPPED, patient_of


def under(policy: str | None) -> Site:
    return replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit=policy))


@pytest.mark.parametrize(
    ("age_d", "fraction"),
    [(0, "0.67"), (13, "0.67"), (14, "0.63"), (29, "0.63"), (30, "0.55"), (60, "0.55"), (61, "0.42"), (2190, "0.42"),
     (2191, "0.45"), (4382, "0.45"), (4383, "0.50")],
)  # fmt: skip
def test_the_hematocrit_of_an_age_is_that_of_its_band(age_d: int, fraction: str) -> None:
    assert planning_hematocrit(Patient(age_h=24 * age_d), SHIPPED) == Fraction(fraction)


def test_of_unknown_age_the_grown_band_is_taken_and_of_unknown_sex_the_higher() -> None:
    assert planning_hematocrit(Patient(), SHIPPED) == Fraction("0.50")
    assert planning_hematocrit(Patient(sex="female"), SHIPPED) == Fraction("0.46")
    assert planning_hematocrit(Patient(sex="female", age_h=0), SHIPPED) == Fraction("0.67")


def test_the_patient_s_own_hematocrit_goes_before_the_site_s_and_the_site_s_before_the_band() -> None:
    site = replace(SHIPPED, planning=replace(SHIPPED.planning, hematocrit=Fraction("0.40")))
    assert planning_hematocrit(Patient(hematocrit=Fraction("0.31")), site) == Fraction("0.31")
    assert planning_hematocrit(Patient(), site) == Fraction("0.40")


@pytest.mark.parametrize(
    ("age_d", "flags", "ml_per_kg"),
    [(29, ("preterm",), 90), (30, ("preterm",), 75), (29, (), 76.5), (30, (), 75), (364, (), 75), (365, (), 70),
     (1460, (), 70), (1461, (), 65), (6938, (), 65), (6939, (), 70)],
)  # fmt: skip
def test_the_blood_volume_of_an_age_is_the_guard_of_its_band(
    age_d: int, flags: tuple[str, ...], ml_per_kg: float
) -> None:
    patient = Patient(age_h=24 * age_d, weight_g=10_000, flags=flags)
    assert blood_volume_ul(patient) == ml_per_kg * 10_000


def test_of_unknown_age_the_lowest_of_all_bands_is_taken() -> None:
    assert blood_volume_ul(Patient(weight_g=10_000)) == 650_000


def test_without_a_weight_no_volume_and_no_limit_is_made_up() -> None:
    assert blood_volume_ul(Patient(age_h=0)) is None
    found = sampling_limit(Patient(age_h=0), SHIPPED)
    assert (found.limit_ul, found.blood_volume_ul, found.missing) == (None, None, "the weight is not known")


def test_a_site_that_chose_no_limit_says_so() -> None:
    found = sampling_limit(patient_of(10, 2), under(None))
    assert found.limit_ul is None
    assert found.blood_volume_ul == 700_000
    assert "no blood limit" in (found.missing or "")


def test_the_least_of_a_policy_s_amounts_counts() -> None:
    assert sampling_limit(patient_of(60, 40), under("pediatrician-guide")).limit_ul == 30_000
    assert sampling_limit(patient_of(10, 2), under("pediatrician-guide")).limit_ul == 22_040
    unknown = sampling_limit(Patient(), under("pediatrician-guide"))
    assert (unknown.limit_ul, unknown.missing) == (30_000, "the weight is not known")


def test_a_patient_is_described_by_what_is_known_and_no_more() -> None:
    assert describe(Patient()) == "age, sex and weight not given"
    assert describe(Patient(age_h=4 * 8766, sex="female", weight_g=16_500)) == "4 a, female, 16.5 kg"

"""CLSI H21, Collection, Transport and Processing of Blood Specimens for Testing Plasma-Based Coagulation Assays: 5th
edition 2008 and 6th edition 2024, both as secondary pages report them; the texts were not read.

Fill of 90 % or more; above a hematocrit of 0.55 the citrate is adjusted. Checks C06, C09, C10, C13, C14.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital import facts
from cubital.chemistry.citrate import (
    REFERENCE_A,
    REFERENCE_B,
    blood_to_citrate,
    citrate_for_blood_ul,
    citrate_in_total_ul,
    is_full_enough,
)
from cubital.model import Patient
from tests.published.shipped import SHIPPED, order_of, verified, within


def test_a_fill_of_90_percent_is_8_1_to_1_and_accepted() -> None:
    assert within(blood_to_citrate(Fraction(90, 100)), 8.1, 0.01)
    assert is_full_enough(Fraction(90, 100), facts.fills()[0])


@pytest.mark.parametrize(
    ("percent", "published_ml"), [(55, 0.416), (60, 0.370), (65, 0.324), (70, 0.2775), (75, 0.231)]
)
def test_formula_a_for_5_millilitres_of_blood(percent: int, published_ml: float) -> None:
    """The teaching page's constant is 1.85e-3; 1/540 is 1.852e-3, hence the last digit."""
    found = citrate_for_blood_ul(5000, Fraction(percent, 100))
    assert within(found / 1000, published_ml, 0.001)
    assert within(found / 1000, 1.85e-3 * (100 - percent) * 5, 0.0005)


def test_each_formula_is_exactly_right_at_its_own_reference() -> None:
    assert within(citrate_for_blood_ul(1000, REFERENCE_A) / 1000, 0.111, 0.0005)
    assert within(citrate_in_total_ul(1000, REFERENCE_B) / 1000, 0.100, 0.0005)
    assert citrate_for_blood_ul(900, REFERENCE_A) == 100
    assert citrate_in_total_ul(1000, REFERENCE_B) == 100


@pytest.mark.parametrize(("hematocrit", "is_warned"), [("0.55", False), ("0.551", True), ("0.549", False)])
def test_a_measured_hematocrit_above_55_percent_stops_a_citrate_tube(hematocrit: str, is_warned: bool) -> None:
    patient = Patient(hematocrit=Fraction(hematocrit))
    plan = verified(order_of("prothrombin-time", patient=patient), SHIPPED)
    said = facts.safety()["high-hematocrit"].text
    assert [c.level for c in plan.cautions if c.text.startswith(said)] == (["stop"] if is_warned else [])


def test_a_high_hematocrit_without_a_citrate_tube_is_not_stopped() -> None:
    plan = verified(order_of("cbc", patient=Patient(hematocrit=Fraction("0.60"))), SHIPPED)
    assert facts.safety()["high-hematocrit"].text not in [c.text for c in plan.cautions]

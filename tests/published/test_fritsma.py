"""Fritsma. Coagulation collection notes (read): the citrate of a high hematocrit after CLSI H21 6th edition, and the
dead volume of a winged set, about 0.5 mL. Checks C11, C31, C32; the geometry of the tubing is computed.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital import facts
from cubital.chemistry.citrate import REFERENCE_B, citrate_for_blood_ul, citrate_in_total_ul
from cubital.chemistry.tubing import first_fill, tubing_ul
from tests.published.shipped import SHIPPED, order_of, site_of_kinds, verified, within

DEAD_UL = facts.accesses()["winged-set"].dead_volume_ul or 0


def test_formula_b_as_printed_with_blood_fed_in_takes_98_microlitres_off_300() -> None:
    found_ul = citrate_in_total_ul(2700, Fraction(60, 100))
    assert within(found_ul, 202, 1)
    assert within(300 - found_ul, 98, 1)


def test_the_misreading_is_not_noticed_because_formula_a_agrees_within_2_percent() -> None:
    for percent in range(55, 66):
        misread = citrate_in_total_ul(2700, Fraction(percent, 100))
        right = citrate_for_blood_ul(2700, Fraction(percent, 100))
        assert abs(misread / right - 1) < Fraction(2, 100)


def test_formula_b_for_a_fixed_blood_volume_is_218_microlitres() -> None:
    assert within(citrate_for_blood_ul(2700, Fraction(60, 100), reference=REFERENCE_B), 218, 0.5)


@pytest.mark.parametrize(("length_mm", "published_ml"), [(305, 0.504), (178, 0.294)])
def test_the_tubing_of_a_winged_set(length_mm: int, published_ml: float) -> None:
    assert within(tubing_ul(length_mm, 1.45) / 1000, published_ml, 0.002)


def test_the_dead_volume_we_take_is_about_that_of_the_long_tubing() -> None:
    assert within(DEAD_UL / 1000, 0.5, 0.0005)
    assert within(tubing_ul(305, 1.45), DEAD_UL, 5)


@pytest.mark.parametrize(
    ("draw_ul", "percent"), [(2700, 81.5), (1800, 72.2), (4500, 88.9), (10000, 95.0)]
)
def test_the_share_that_the_first_tube_gets(draw_ul: int, percent: float) -> None:
    assert within(first_fill(draw_ul, DEAD_UL) * 100, percent, 0.1)


def test_no_shipped_citrate_tube_reaches_its_least_fill_behind_a_winged_set() -> None:
    kind = SHIPPED.kinds["citrate"]
    least = Fraction(kind.fill_min_percent or 0, 100)
    assert all(first_fill(size.draw_ul, DEAD_UL) < least for size in kind.sizes)


def test_a_winged_set_before_citrate_wants_a_discard_tube_without_additive() -> None:
    plan = verified(order_of("prothrombin-time", access="winged-set"), SHIPPED)
    assert [tube.purpose for tube in plan.tubes] == ["discard", "collect"]
    assert plan.tubes[0].additive == "none"


def test_a_winged_set_before_serum_wants_none_and_a_straight_needle_never() -> None:
    site = site_of_kinds("common-practice")
    assert [t.purpose for t in verified(order_of("serum-gel", access="winged-set"), site).tubes] == ["collect"]
    assert [t.purpose for t in verified(order_of("citrate"), site).tubes] == ["collect"]
    assert [t.purpose for t in verified(order_of("citrate", "edta"), site).tubes] == ["collect", "collect"]


def test_a_winged_set_with_a_culture_before_the_citrate_wants_no_discard() -> None:
    site = site_of_kinds("common-practice")
    plan = verified(order_of("culture", "citrate", access="winged-set"), site)
    assert "discard" not in [tube.purpose for tube in plan.tubes]

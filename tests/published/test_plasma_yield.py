"""How much blood a millilitre of plasma takes: V x (1 - H), computed. 1.82 mL at a hematocrit of 0.45, 2.5 mL at 0.60,
in theory; 2.0 to 2.5 mL in practice (from memory). Nordin 2004 (abstract read): hematocrit 0.395-0.500 in men and
0.348-0.459 in women, of which a plan takes the upper end.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital.model import Patient, Tube, TubeKind
from cubital.model.vocabulary import SexKey
from cubital.planning.capacity import usable_ul
from cubital.planning.patient import planning_hematocrit
from tests.published.shipped import SHIPPED, within

PLAIN = TubeKind(key="k", name="k", additive="lithium-heparin", sizes=())


def blood_for_a_millilitre(hematocrit: str, recovery: Fraction) -> int:
    """The least draw whose usable plasma is 1 mL, in uL."""
    draws = range(1000, 4000)
    return next(
        draw_ul
        for draw_ul in draws
        if usable_ul(PLAIN, Tube(draw_ul=draw_ul), "plasma", hematocrit=Fraction(hematocrit), recovery=recovery) >= 1000
    )


@pytest.mark.parametrize(("hematocrit", "blood_ml"), [("0.45", 1.82), ("0.60", 2.50)])
def test_in_theory(hematocrit: str, blood_ml: float) -> None:
    assert within(blood_for_a_millilitre(hematocrit, Fraction(1)) / 1000, blood_ml, 0.005)


def test_at_the_shipped_recovery_and_an_adult_s_hematocrit_it_is_inside_the_practice() -> None:
    for hematocrit in ("0.45", "0.50"):
        found = blood_for_a_millilitre(hematocrit, SHIPPED.planning.recovery) / 1000
        assert 2.0 <= found <= 2.5


@pytest.mark.parametrize(("sex", "upper"), [("male", "0.500"), ("female", "0.459"), (None, "0.500")])
def test_the_planning_hematocrit_is_not_below_the_upper_reference_of_the_study(sex: SexKey | None, upper: str) -> None:
    taken = planning_hematocrit(Patient(age_h=40 * 8766, sex=sex), SHIPPED)
    assert 0 <= taken - Fraction(upper) <= Fraction(1, 1000)


def test_a_measured_hematocrit_and_the_site_s_own_go_before_the_study() -> None:
    assert planning_hematocrit(Patient(hematocrit=Fraction("0.31")), SHIPPED) == Fraction("0.31")

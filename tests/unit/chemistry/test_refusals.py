"""What each computation refuses, on both sides of its edge, and where it has no answer."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

import pytest

from cubital import facts
from cubital.chemistry.citrate import (
    adjustments,
    blood_to_citrate,
    citrate_for_blood_ul,
    citrate_in_total_ul,
    citrate_in_tube,
    plasma_citrate,
)
from cubital.chemistry.concentration import amount_range, millimoles_per_litre
from cubital.chemistry.tubing import first_fill, tubing_ul
from cubital.chemistry.vacuum import air_pressure_kpa, draw_share

REFUSED: list[tuple[str, Callable[[], object]]] = [
    ("expected 0 or more", lambda: millimoles_per_litre(Decimal("-0.1"), 100)),
    ("expected above 0", lambda: millimoles_per_litre(1, 0)),
    ("expected above 0", lambda: millimoles_per_litre(1, Decimal(-1))),
    ("expected 0 or more", lambda: blood_to_citrate(Fraction(-1, 1000))),
    ("below 1", lambda: citrate_for_blood_ul(1000, Fraction(1))),
    ("above 0", lambda: citrate_for_blood_ul(1000, Fraction(0))),
    ("below 1", lambda: citrate_in_total_ul(1000, Fraction(45))),
    ("expected 0 or more", lambda: citrate_for_blood_ul(-1, Fraction(1, 2))),
    ("expected 0 or more", lambda: citrate_in_total_ul(-1, Fraction(1, 2))),
    ("expected 0 or more", lambda: citrate_in_tube(Fraction(-1), Fraction(1))),
    ("expected 0 or more", lambda: plasma_citrate(Fraction(-1), Fraction(1, 2))),
    ("expected 0 or more", lambda: plasma_citrate(Fraction(1), Fraction(1, 2), blood_parts=Fraction(-1, 9))),
    ("both above 0", lambda: adjustments(-1, Fraction(1, 2))),
    ("both above 0", lambda: adjustments(-900, Fraction(1, 2), tube_citrate_ul=Fraction(100))),
    ("both above 0", lambda: adjustments(900, Fraction(1, 2), tube_citrate_ul=Fraction(0))),
    ("both above 0", lambda: adjustments(900, Fraction(1, 2), tube_citrate_ul=Fraction(-100))),
    ("expected 0 or more", lambda: tubing_ul(-1, 1.0)),
    ("expected 0 or more", lambda: tubing_ul(1, -0.1)),
    ("above 0", lambda: first_fill(0, 0)),
    ("no negative", lambda: first_fill(1000, -1)),
    ("-500 to 11000", lambda: air_pressure_kpa(11_000.5)),
    ("-500 to 11000", lambda: air_pressure_kpa(-501)),
    ("gas share", lambda: draw_share(0.0)),
    ("gas share", lambda: draw_share(1.01)),
    ("absolute zero", lambda: draw_share(0.5, temperature_c=-273.15)),
]


@pytest.mark.parametrize(("said", "ask"), REFUSED)
def test_what_cannot_be_is_refused_with_what_was_expected(said: str, ask: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=said):
        ask()


def test_the_edges_themselves_are_answered() -> None:
    assert millimoles_per_litre(0, 1) == 0
    assert blood_to_citrate(Fraction(0)) == 0
    assert citrate_for_blood_ul(0, Fraction(1, 2)) == citrate_in_total_ul(0, Fraction(1, 2)) == 0
    assert citrate_in_tube(Fraction(0), Fraction(1)) == plasma_citrate(Fraction(0), Fraction(1, 2)) == 0
    assert adjustments(1, Fraction(1, 2))[0].citrate_ul > 0
    assert tubing_ul(0, 1) == 0
    assert first_fill(1000, 0) == 1
    assert air_pressure_kpa(11_000) < 23
    assert air_pressure_kpa(-500) > 101.325
    assert draw_share(1.0, altitude_m=9000) == 1.0


def test_a_line_that_holds_more_than_the_tube_leaves_it_empty_and_never_below() -> None:
    assert first_fill(300, 500) == 0


def test_a_tube_whose_gas_is_under_the_pressure_around_it_draws_nothing() -> None:
    assert draw_share(0.2, altitude_m=3000) == 0.0


def test_a_concentration_in_units_of_heparin_or_without_a_molar_mass_has_no_amount() -> None:
    heparin = facts.additives()["lithium-heparin"].concentrations[0]
    assert heparin.iu_per_ml is not None
    assert amount_range(heparin) is None
    unsaid = next(c for c in facts.additives()["k2-edta"].concentrations if "not stated" in c.salt)
    assert amount_range(unsaid) is None


def test_a_concentration_by_amount_is_its_own_range() -> None:
    citrate = facts.additives()["citrate-9-1"].concentrations[0]
    assert amount_range(citrate) == (Fraction(109), Fraction(109))

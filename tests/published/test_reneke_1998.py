"""Reneke and others. Prolonged prothrombin time and activated partial thromboplastin time due to underfilled specimen
tubes. Am J Clin Pathol 1998;109:754 (abstract read).

3.2 % and 3.8 % trisodium citrate are 109 and 129 mmol/L, 10.9 and 12.9 mmol/L in a full tube; under a fill of 90 %
the aPTT is mostly prolonged. Checks C04, C05, C07, C08; the table of fills is computed.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from cubital import facts
from cubital.chemistry.citrate import blood_to_citrate, citrate_in_tube, is_full_enough
from cubital.chemistry.concentration import millimoles_per_litre
from tests.published.shipped import SHIPPED, order_of, verified, within

CITRATE = facts.additives()["citrate-9-1"]
IN_BLOOD = next(c.mmol_per_l for c in CITRATE.concentrations if c.of == "blood") or (Decimal(0), Decimal(0))
SOLUTIONS = [c for c in CITRATE.concentrations if c.of == "solution" and c.mark.source == "reneke-1998"]
DEFAULT = facts.fills()[0]


def test_the_two_strengths_by_mass_of_the_dihydrate_are_109_and_129() -> None:
    for grams, solution, published in zip((32, 38), SOLUTIONS, (108.8, 129.2), strict=True):
        assert solution.molar_mass_g_per_mol is not None
        assert solution.mmol_per_l is not None
        computed = millimoles_per_litre(grams, solution.molar_mass_g_per_mol)
        assert within(computed, published, 0.1)
        assert within(computed, float(solution.mmol_per_l[0]), 0.3)


def test_a_full_tube_holds_the_ends_of_the_published_range() -> None:
    for solution, published in zip(SOLUTIONS, IN_BLOOD, strict=True):
        assert solution.mmol_per_l is not None
        assert within(citrate_in_tube(Fraction(solution.mmol_per_l[0]), Fraction(1)), float(published), 0.05)


@pytest.mark.parametrize(
    ("percent", "ratio", "weak", "strong"),
    [
        (110, 9.9, 10.0, 11.8),
        (100, 9.0, 10.9, 12.9),
        (90, 8.1, 12.0, 14.2),
        (80, 7.2, 13.3, 15.7),
        (70, 6.3, 14.9, 17.7),
        (60, 5.4, 17.0, 20.2),
    ],
)
def test_the_ratio_and_the_citrate_at_a_fill(percent: int, ratio: float, weak: float, strong: float) -> None:
    fill = Fraction(percent, 100)
    assert within(blood_to_citrate(fill), ratio, 1e-9)
    assert within(citrate_in_tube(Fraction(109), fill), weak, 0.05)
    assert within(citrate_in_tube(Fraction(129), fill), strong, 0.05)


def test_at_80_percent_the_citrate_passes_the_published_range_and_the_tube_is_refused() -> None:
    fill = Fraction(80, 100)
    assert citrate_in_tube(Fraction(109), fill) > IN_BLOOD[1]
    assert not is_full_enough(fill, DEFAULT)


def test_the_default_least_fill_is_the_90_percent_that_the_authors_recommend() -> None:
    assert "reneke-1998" in [mark.source for mark in DEFAULT.marks]
    assert is_full_enough(Fraction(90, 100), DEFAULT)
    assert not is_full_enough(Fraction(8999, 10000), DEFAULT)
    plan = verified(order_of("prothrombin-time"), SHIPPED)
    assert [tube.fill_min_percent for tube in plan.tubes] == [90]

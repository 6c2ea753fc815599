"""A slide of Andrews University (read): 0.34 mL of citrate for 4.5 mL at a hematocrit of 0.60, by formula B. C12."""

from __future__ import annotations

from fractions import Fraction

from cubital.chemistry.citrate import citrate_in_total_ul
from tests.published.shipped import within


def test_formula_b_as_printed_for_4_5_millilitres_rounds_to_the_slide() -> None:
    found = citrate_in_total_ul(4500, Fraction(60, 100)) / 1000
    assert within(found, 0.336, 0.001)
    assert within(found, 0.34, 0.005)

"""Hathaway and Goodnight's table of citrate in 1 mL of blood and citrate, as a secondary page gives it.

0.10 mL at a hematocrit of 0.40, 0.09 at 0.50, 0.075 at 0.60, 0.06 at 0.70: rounded to 5 uL, it is formula B with V
the total. The first row is the loosest: the formula gives 0.108.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital.chemistry.citrate import citrate_in_total_ul
from tests.published.shipped import within


@pytest.mark.parametrize(
    ("percent", "ours", "published"), [(40, 0.108, 0.10), (50, 0.092, 0.09), (60, 0.075, 0.075), (70, 0.057, 0.06)]
)
def test_citrate_in_a_millilitre_of_the_filled_tube(percent: int, ours: float, published: float) -> None:
    found = citrate_in_total_ul(1000, Fraction(percent, 100)) / 1000
    assert within(found, ours, 0.0005)
    assert within(found, published, 0.009)

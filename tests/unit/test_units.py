"""Tests of exact numbers: what is one, and what is refused with a reason."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from cubital.errors import UnitError
from cubital.units import exact


@pytest.mark.parametrize(
    "value", [10**4301, -(10**5000), 10**19, Decimal("1e19"), "1" * 5000, float("inf"), True, None]
)
def test_a_value_that_is_no_measure_is_refused_as_a_unit_error_that_names_the_place(value: object) -> None:
    with pytest.raises(UnitError, match="expected a"):
        exact(value, where="patient.weight_kg")


@pytest.mark.parametrize(
    ("value", "read"), [(10**18, Fraction(10**18)), (-(10**18), Fraction(-(10**18))), (0.1, Fraction(1, 10))]
)
def test_a_number_is_read_exactly_up_to_the_largest_taken(value: object, read: Fraction) -> None:
    assert exact(value, where="x") == read

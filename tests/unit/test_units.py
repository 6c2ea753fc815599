"""Tests of exact numbers: what is one, and what is refused with a reason."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from cubital.errors import UnitError
from cubital.units import exact

NO_MEASURES = {
    "of 4302 digits": 10**4301,
    "negative of 5001 digits": -(10**5000),
    "past the largest": 10**19,
    "decimal past the largest": Decimal("1e19"),
    "text of 5000 digits": "1" * 5000,
    "infinite": float("inf"),
    "a claim": True,
    "nothing": None,
}


@pytest.mark.parametrize("value", NO_MEASURES.values(), ids=NO_MEASURES)
def test_a_value_that_is_no_measure_is_refused_as_a_unit_error_that_names_the_place(value: object) -> None:
    with pytest.raises(UnitError, match="expected a"):
        exact(value, where="patient.weight_kg")


@pytest.mark.parametrize(
    ("value", "read"), [(10**18, Fraction(10**18)), (-(10**18), Fraction(-(10**18))), (0.1, Fraction(1, 10))]
)
def test_a_number_is_read_exactly_up_to_the_largest_taken(value: object, read: Fraction) -> None:
    assert exact(value, where="x") == read

"""USP 26, Anticoagulant Citrate Dextrose Solution, A and B (secondary): the salts of a litre and the limits of the
monograph for sodium and for total citrate as anhydrous citric acid. Checks C49 and C50.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from cubital import facts
from cubital.chemistry.concentration import amount_range
from tests.published.shipped import within

SODIUM_G_PER_MOL = Fraction("22.990")  # IUPAC conventional, from memory
CITRIC_ACID_G_PER_MOL = Fraction("192.12")


def amount_of(solution: str, salt: str) -> Fraction:
    found = next(c for c in facts.additives()[solution].concentrations if c.salt == salt)
    amounts = amount_range(found)
    assert amounts is not None
    return amounts[0]


@pytest.mark.parametrize(
    ("solution", "sodium", "sodium_limits", "citrate", "citrate_limits"),
    [
        ("acd-a", 5.16, (4.90, 5.42), 21.67, (20.59, 22.75)),
        ("acd-b", 3.10, (2.94, 3.25), 13.02, (12.37, 13.67)),
    ],
)
def test_sodium_and_total_citrate_lie_inside_the_limits_of_the_monograph(
    solution: str,
    sodium: float,
    sodium_limits: tuple[float, float],
    citrate: float,
    citrate_limits: tuple[float, float],
) -> None:
    salt = amount_of(solution, "trisodium citrate dihydrate")
    acid = amount_of(solution, "citric acid anhydrous")
    sodium_g = 3 * salt * SODIUM_G_PER_MOL / 1000
    citrate_g = (salt + acid) * CITRIC_ACID_G_PER_MOL / 1000
    assert within(sodium_g, sodium, 0.02)
    assert sodium_limits[0] <= sodium_g <= sodium_limits[1]
    assert within(citrate_g, citrate, 0.02)
    assert citrate_limits[0] <= citrate_g <= citrate_limits[1]


@pytest.mark.parametrize("solution", ["acd-a", "acd-b"])
def test_the_acid_as_monohydrate_is_the_same_amount_as_the_anhydrous(solution: str) -> None:
    anhydrous = amount_of(solution, "citric acid anhydrous")
    monohydrate = amount_of(solution, "citric acid monohydrate")
    assert abs(anhydrous / monohydrate - 1) < Fraction(1, 200)


@pytest.mark.parametrize("solution", ["acd-a", "acd-b"])
def test_b_is_three_fifths_of_a(solution: str) -> None:
    salts = ("trisodium citrate dihydrate", "citric acid anhydrous", "dextrose monohydrate")
    for salt in salts:
        assert within(amount_of("acd-b", salt) / amount_of("acd-a", salt), 0.6, 0.004)

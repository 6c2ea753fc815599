"""LOINC, Regenstrief Institute: the last digit of a code is a mod 10 check digit (Luhn). The codes of the shipped
directory are from memory or from a public map, so the digit is the check that stands; # 48 of our collection.
"""

from __future__ import annotations

import pytest

from cubital.model import Panel, Test
from tests.published.shipped import SHIPPED, order_of, verified

ENTRIES: list[Test | Panel] = [*SHIPPED.tests.values(), *SHIPPED.panels.values()]
CODED = {entry.key: entry.codes["loinc"] for entry in ENTRIES if "loinc" in entry.codes}


def has_valid_check_digit(code: str) -> bool:
    body, _, check = code.partition("-")
    doubled = [int(digit) * (2 - place % 2) for place, digit in enumerate(reversed(body))]
    total = sum(value - 9 if value > 9 else value for value in doubled)
    return check == str(-total % 10)


def test_the_digit_finds_a_wrong_code() -> None:
    assert has_valid_check_digit("2823-3")
    assert not has_valid_check_digit("2823-4")
    assert not has_valid_check_digit("2832-3")


def test_most_of_the_directory_is_coded() -> None:
    assert len(CODED) >= 150


@pytest.mark.parametrize(("key", "code"), sorted(CODED.items()))
def test_a_shipped_code_has_its_check_digit(key: str, code: str) -> None:
    assert has_valid_check_digit(code)


def test_no_test_needs_more_at_its_minimum_than_typically() -> None:
    assert SHIPPED.tests
    for test in SHIPPED.tests.values():
        for accept in test.accepts:
            assert 0 < accept.minimum_ul <= accept.volume_ul


def test_an_order_by_code_is_the_order_by_name() -> None:
    by_code, by_key = (verified(order_of(word), SHIPPED) for word in ("2823-3", "potassium"))
    assert by_code.tubes == by_key.tubes

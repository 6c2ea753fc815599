"""What a phlebotomist and a clinical chemist found wrong in the shipped facts, each with what settled it."""

from __future__ import annotations

import pytest

from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED, order_of, verified


@pytest.mark.parametrize("word", ["U&E", "U and E", "UEC", "U/E", "u+e"])
def test_urea_and_electrolytes_hold_no_calcium_and_no_glucose(word: str) -> None:
    """A hospital laboratory: sodium, potassium, chloride, bicarbonate, urea and creatinine (pathology-centre-ue)."""
    assert Directory(SHIPPED).resolve(word) == ("panel", "urea-and-electrolytes")
    tests = {test for tube in verified(order_of("U&E"), SHIPPED).tubes for test in tube.tests}
    assert tests == {"sodium", "potassium", "chloride", "bicarbonate", "urea-nitrogen", "creatinine"}

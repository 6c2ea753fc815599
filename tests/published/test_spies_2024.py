"""Spies, Farnsworth. J Lab Med 2024 (abstract read): 928,742 panels with computed contamination by infusion fluid.

Allowable errors and reference change values are passed at 10 % or less for chloride, glucose, calcium and potassium, by
saline and by dextrose. Checks 16, 17 and 18; fluids from memory, dextrose by both ways it is weighed.
"""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.chemistry.additives import fluid, mixed
from cubital.chemistry.carryover import allowable_error

NATIVE = {"sodium": 140.0, "potassium": 4.2, "chloride": 102.0, "bicarbonate": 24.0, "calcium": 2.35, "glucose": 5.0}


def test_a_tenth_of_saline_thins_all_but_sodium_and_chloride() -> None:
    found = mixed(NATIVE, fluid("saline"), 0.10)
    for analyte, expected in (
        ("sodium", 141.4), ("chloride", 107.2), ("potassium", 3.78), ("calcium", 2.115), ("bicarbonate", 21.6),
        ("glucose", 4.5),
    ):  # fmt: skip
        assert found[analyte] == pytest.approx(expected, abs=0.01)


def test_a_fifth_of_saline_does_it_twice_over() -> None:
    found = mixed(NATIVE, fluid("saline"), 0.20)
    assert (round(found["sodium"], 1), round(found["potassium"], 2), round(found["chloride"], 1)) == (
        142.8,
        3.36,
        112.4,
    )


@pytest.mark.parametrize(("key", "glucose"), [("dextrose-anhydrous", 32.25), ("dextrose-monohydrate", 29.73)])
def test_a_tenth_of_dextrose_raises_glucose_sixfold_by_the_way_it_is_weighed(key: str, glucose: float) -> None:
    found = mixed(NATIVE, fluid(key), 0.10)
    assert found["glucose"] == pytest.approx(glucose, abs=0.05)
    assert found["sodium"] == pytest.approx(126.0, abs=0.01)
    assert found["chloride"] == pytest.approx(91.8, abs=0.01)


@pytest.mark.parametrize(("analyte", "share"), [("potassium", 0.071), ("chloride", 0.098)])
def test_saline_passes_the_limits_of_potassium_and_chloride_under_a_tenth(analyte: str, share: float) -> None:
    allowed = allowable_error(facts.analytes()[analyte], NATIVE[analyte])
    assert allowed is not None

    def moved(at: float) -> float:
        return abs(mixed(NATIVE, fluid("saline"), at)[analyte] - NATIVE[analyte])

    assert moved(share - 0.002) < allowed[1] < moved(share + 0.002)
    assert share < 0.10


# Yang and others (2024/25, abstract): the best single sign of saline is a calcium that fell by 24 %, which is a share
# of 0.24 of a fluid without calcium. Check 19.
def test_a_calcium_that_fell_by_a_quarter_is_a_quarter_of_saline() -> None:
    assert mixed(NATIVE, fluid("saline"), 0.24)["calcium"] == pytest.approx(0.76 * 2.35, abs=1e-9)

"""Allowable errors: 42 CFR 493.931 as of 2025 and of 1992, and the table of a proficiency scheme in Ann Lab Med
2022;42:150 (read). The figures of 2025 were read second-hand in a public listing that names the paragraph and agree
with what was remembered. Checks 39 and 40."""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.chemistry.carryover import allowable_error


def allowed(analyte: str, value: float, scheme: str | None = None) -> float:
    """How far this result may miss."""
    found = allowable_error(facts.analytes()[analyte], value, scheme=scheme)
    assert found is not None
    return found[1]


def test_potassium_may_miss_by_a_fifth_of_a_millimole_or_a_twentieth_under_the_scheme() -> None:
    assert allowed("potassium", 3.0, "rcpaqap") == pytest.approx(0.20, abs=0.001)
    assert allowed("potassium", 6.0, "rcpaqap") == pytest.approx(0.30, abs=0.001)


def test_potassium_of_four_passes_at_4_30_and_not_at_4_31_under_the_rule_of_2025() -> None:
    assert round(4.30 - 4.00, 9) <= allowed("potassium", 4.0) < 4.31 - 4.00


@pytest.mark.parametrize(
    ("analyte", "value", "new", "old"),
    [
        ("potassium", 4.0, 0.3, 0.5), ("sodium", 140, 4, 4), ("chloride", 100, 5, 5), ("calcium", 2.4, 0.25, 0.25),
        ("magnesium", 1.0, 0.15, 0.25), ("albumin", 40, 3.2, 4.0), ("total-protein", 70, 5.6, 7.0),
        ("glucose", 10, 0.8, 1.0), ("glucose", 3, 0.333, 0.333), ("iron", 20, 3, 4),
        ("alkaline-phosphatase", 100, 20, 30),
        ("creatinine", 100, 17.7, 26.5), ("creatinine", 300, 30, 45),
    ],
)  # fmt: skip
def test_the_greater_of_amount_and_percentage_counts(analyte: str, value: float, new: float, old: float) -> None:
    assert allowed(analyte, value, "clia-2025") == pytest.approx(new)
    assert allowed(analyte, value, "clia-1992") == pytest.approx(old)

"""Lippi, Cadamuro, von Meyer, Simundic, EFLM WG-PRE. Practical recommendations for managing hemolyzed samples in
clinical chemistry testing (abstract read): no bias, release; a bias that is not clinical, release with a comment of the
direction; a clinical one, suppress; 10 g/L of free hemoglobin or more, suppress all; formulas are discouraged.
"""

from __future__ import annotations

import re

import pytest

from tests.published.hemolyzed import BAND, faults_of


@pytest.mark.parametrize(
    ("grams_per_l", "outcome"),
    [("0.2", None), ("0.55", "comment"), ("0.58", "comment"), ("0.59", "refuse"), ("3", "refuse")],
)
def test_potassium_is_released_commented_or_suppressed_by_its_bias(grams_per_l: str, outcome: str | None) -> None:
    # 0.51 mmol/L for each g/L, the steepest that was read, against the 0.3 mmol/L of 42 CFR 493.931.
    assert [found.outcome for found in faults_of("potassium", grams_per_l)] == ([] if outcome is None else [outcome])


def test_the_comment_names_the_direction() -> None:
    (found,) = faults_of("potassium", "0.55")
    assert "up: red cells set potassium free" in found.text


@pytest.mark.parametrize(
    "test", ["sodium", "calcium", "vitamin-d", "thyrotropin", "prothrombin-time", "potassium", "haptoglobin"]
)
def test_everything_is_suppressed_from_ten_grams_on(test: str) -> None:
    (found,) = faults_of(test, "10")
    assert (found.outcome, found.sources) == ("refuse", ("eflm-hemolysis",))
    assert [one.outcome for one in faults_of(test, "9.9")] in ([], ["comment"], ["refuse"])
    assert "any result unreliable" not in " ".join(one.text for one in faults_of(test, "9.9"))


@pytest.mark.parametrize("grams_per_l", ["0.5", "0.58", "0.7", "2", "4.9"])
def test_no_corrected_number_is_ever_said_and_a_range_only_where_the_site_wants_it(grams_per_l: str) -> None:
    (plain,) = faults_of("potassium", grams_per_l)
    (banded,) = faults_of("potassium", grams_per_l, site=BAND)
    assert "too high" not in plain.text
    assert banded.outcome == plain.outcome
    said = banded.text.removeprefix(plain.text)
    assert re.fullmatch(
        r"; it reads about [0-9.]+( to [0-9.]+)? mmol/L too high, which says how urgent a new sample is and is never "
        r"subtracted", said,
    )  # fmt: skip

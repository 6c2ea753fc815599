"""Sanchez-Giron and others 2008, as Crit Care 2019, doi 10.1186/s13054-019-2511-9, reports them (secondary): after
testing 91 % of the blood in standard tubes (4,612 mL) and 74 % in small ones (1,267 mL) was left over. Check C43.
Siegal and others, JAMA 2023 (abstract): patients of the trial and its secondary analysis. Check C47."""

from __future__ import annotations

import pytest

from cubital import facts

STANDARD_LEFT_ML, SMALL_LEFT_ML = 4612, 1267


def test_a_third_was_drawn_in_small_tubes_and_as_much_used() -> None:
    standard_ml, small_ml = STANDARD_LEFT_ML / 0.91, SMALL_LEFT_ML / 0.74
    assert (round(standard_ml), round(small_ml)) == (5068, 1712)
    assert standard_ml - STANDARD_LEFT_ML == pytest.approx(456, abs=1)
    assert small_ml - SMALL_LEFT_ML == pytest.approx(445, abs=1)
    assert small_ml / standard_ml - 1 == pytest.approx(-0.66, abs=0.01)


def test_the_words_that_the_prompt_prints_hold_these_numbers() -> None:
    words = {evidence.key: evidence.text for evidence in facts.blood_loss()}
    for number in ("5,068", "1,712", "456", "445"):
        assert number in words["left-over"]
    assert "21,201" in words["trial"]
    assert "27,411" in words["trial"]


def test_the_result_that_was_not_significant_is_called_so() -> None:
    assert "not significant" in {e.key: e.text for e in facts.blood_loss()}["trial"]

"""Letter, Ann Clin Biochem, doi 10.1177/0004563220978686 (read): potassium is reported below 0.5 g/L of free
hemoglobin. Check 22. From there to 5.0 it corrects with a worded comment, which is not followed here: the European
working group discourages formulas (test_eflm_hemolysis.py). That it says nothing above 5.0 is kept: no range is said
there.
"""

from __future__ import annotations

import pytest

from tests.published.hemolyzed import BAND, faults_of


@pytest.mark.parametrize(("grams_per_l", "outcomes"), [("0.3", []), ("0.49", []), ("0.5", ["comment"])])
def test_potassium_is_reported_without_a_word_below_half_a_gram(grams_per_l: str, outcomes: list[str]) -> None:
    assert [found.outcome for found in faults_of("potassium", grams_per_l)] == outcomes


@pytest.mark.parametrize(("grams_per_l", "is_said"), [("5.0", True), ("5.1", False)])
def test_how_far_it_reads_too_high_is_said_to_five_grams_and_not_above(grams_per_l: str, is_said: bool) -> None:
    (found,) = faults_of("potassium", grams_per_l, site=BAND)
    assert found.outcome == "refuse"
    assert ("too high" in found.text) == is_said

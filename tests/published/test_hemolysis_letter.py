"""Letter, Ann Clin Biochem, doi 10.1177/0004563220978686 (read): potassium reported below 0.5 g/L of free hemoglobin,
corrected with a worded comment from 0.5 to 5.0, not reported above. Check 22.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from cubital.handling.faults import index_faults


@pytest.mark.parametrize(
    ("grams_per_l", "outcomes"),
    [("0.3", []), ("0.49", []), ("0.5", ["comment"]), ("2.0", ["comment"]), ("5.0", ["comment"]), ("6.0", ["refuse"])],
)
def test_potassium_is_reported_commented_or_withheld_by_its_hemolysis(grams_per_l: str, outcomes: list[str]) -> None:
    found = [f for f in index_faults("potassium", {"hemolysis": Decimal(grams_per_l)}) if f.check == "hemolysis"]
    assert [f.outcome for f in found] == outcomes

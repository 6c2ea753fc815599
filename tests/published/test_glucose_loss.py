"""Loss of glucose, measured. Turchiano 2013, J Environ Public Health 256151 (abstract read): 5-7 % an hour without an
inhibitor. J Pak Med Assoc, 30 persons (abstract read): clotting blood loses 8 mg/dL in the first hour, then 7 an hour.
Clin Chem 1987 (abstract read): with fluoride 0.40 mmol/L in the first 2 h, then flat; 1989;35:315-317 (abstract read):
steady up to 3 d. Checks 23 to 25.
"""

from __future__ import annotations

import pytest

from cubital.facts.keeping import Drift
from cubital.handling.drift import drifted, drifts_of
from tests.published.shipped import within
from tests.published.waiting import unspun

MG_PER_DL_TO_MMOL_PER_L = 1 / 18.016  # glucose, 180.16 g/mol


def drift_from(source: str, additive: str) -> Drift:
    (found,) = [x for x in drifts_of("glucose", additive, "on-cells", "ambient") if x.mark.source == source]
    return found


def test_two_hours_without_an_inhibitor_leave_90_3_to_86_5_percent() -> None:
    left = drifted(100, drift_from("turchiano-2013", "lithium-heparin"), 120)
    assert left is not None
    assert within(left[0], 86.5, 0.2)
    assert within(left[1], 90.3, 0.2)


def test_three_hours_in_clotting_blood_leave_68_of_90_milligrams() -> None:
    left = drifted(90 * MG_PER_DL_TO_MMOL_PER_L, drift_from("jpma-glucose", "clot-activator"), 180)
    assert left is not None
    assert within(left[0] / MG_PER_DL_TO_MMOL_PER_L, 68, 1)


@pytest.mark.parametrize("hours", [2, 24])
def test_fluoride_loses_0_4_in_two_hours_and_no_more(hours: int) -> None:
    left = drifted(5.5, drift_from("clin-chem-1987", "fluoride-oxalate"), 60 * hours)
    assert left is not None
    assert within(left[0], 5.10, 0.05)


def test_nothing_is_said_beyond_what_was_measured() -> None:
    assert drifted(5.0, drift_from("jpma-glucose", "clot-activator"), 181) is None


def test_with_fluoride_glucose_keeps_where_the_site_extends_and_without_it_does_not() -> None:
    assert unspun("glucose", "fluoride-oxalate", 24, "extended") == "kept"
    assert unspun("glucose", "lithium-heparin", 1, "extended") == "past"
    # 30 min to plasma whatever the tube, fluoride acting late: American guideline of 2011, from memory.
    for additive in ("fluoride-oxalate", "lithium-heparin"):
        assert unspun("glucose", additive, 0.5) == "kept"
        assert unspun("glucose", additive, 0.6) == "past"

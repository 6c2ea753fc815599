"""Feng and others. Effects of storage on coagulation tests. Sci Rep 2014;4:3868 (abstract read). Plasma of 72 samples,
a change over 10 % counts: aPTT 8 h at 25 C and 12 h at 4 C, factor VIII 2 h, factor IX 4 h, PT and fibrinogen 24 h
at either. Checks 29 and 30.
"""

from __future__ import annotations

import pytest

from tests.published.waiting import off_cells, off_cells_cold

CITRATE = "citrate-9-1"
APTT = "activated-partial-thromboplastin-time"


def test_aptt_plasma_is_good_at_7_hours_and_not_at_9_at_25_degrees() -> None:
    assert off_cells(APTT, CITRATE, 7, "extended") == "kept"
    assert off_cells(APTT, CITRATE, 9, "extended") == "past"


def test_aptt_plasma_is_good_at_11_hours_and_not_at_13_at_4_degrees() -> None:
    assert off_cells_cold(APTT, CITRATE, 11, "extended") == "kept"
    assert off_cells_cold(APTT, CITRATE, 13, "extended") == "past"


def test_the_guideline_refuses_under_the_strict_policy_what_the_study_found_good() -> None:
    assert off_cells(APTT, CITRATE, 7) == "past"
    assert off_cells_cold(APTT, CITRATE, 11) == "past"


def test_after_3_hours_factor_viii_is_lost_and_factor_ix_is_not() -> None:
    assert off_cells("factor-viii", CITRATE, 3) == "past"
    assert off_cells("factor-ix", CITRATE, 3) == "kept"
    assert off_cells("factor-viii", CITRATE, 2) == "kept"
    assert off_cells("factor-ix", CITRATE, 4.1) == "past"


@pytest.mark.parametrize(("test", "strict"), [("prothrombin-time", "past"), ("fibrinogen", "kept")])
def test_plasma_for_pt_and_fibrinogen_is_good_for_24_hours_in_the_cold(test: str, strict: str) -> None:
    # The table of this project lets no plasma for PT into the cold, from memory; the study was read.
    assert off_cells_cold(test, CITRATE, 23, "extended") == "kept"
    assert off_cells_cold(test, CITRATE, 25, "extended") == "past"
    assert off_cells_cold(test, CITRATE, 23) == strict

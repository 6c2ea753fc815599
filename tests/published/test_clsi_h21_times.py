"""CLSI H21-A5 as quoted by Feng and others, Sci Rep 2014;4:3868 (read second-hand): PT 24 h at room temperature, aPTT
and other assays 4 h. From memory of H21-A5: unspun blood for PT is not refrigerated; aPTT on heparin is spun within an
hour. Check 28.
"""

from __future__ import annotations

import pytest

from cubital.handling.keeping import POLICIES, PolicyKey
from tests.published.waiting import chilled_unspun, off_cells, unspun

CITRATE = "citrate-9-1"
APTT = "activated-partial-thromboplastin-time"


@pytest.mark.parametrize("policy", POLICIES)
@pytest.mark.parametrize("test", ["prothrombin-time", "inr"])
def test_pt_and_inr_keep_for_24_hours_and_no_longer(test: str, policy: PolicyKey) -> None:
    assert unspun(test, CITRATE, 23, policy) == "kept"
    assert unspun(test, CITRATE, 24, policy) == "kept"
    assert unspun(test, CITRATE, 24.02, policy) == "past"


def test_aptt_keeps_for_four_hours_from_the_draw_spun_or_not() -> None:
    assert unspun(APTT, CITRATE, 3.5) == "kept"
    assert unspun(APTT, CITRATE, 5) == "past"
    assert off_cells(APTT, CITRATE, 3.5) == "kept"
    assert off_cells(APTT, CITRATE, 4) == "past"  # ten minutes on the cells before count from the draw


@pytest.mark.parametrize("policy", POLICIES)
def test_unspun_blood_for_pt_is_not_refrigerated_under_any_policy(policy: PolicyKey) -> None:
    assert chilled_unspun("prothrombin-time", CITRATE, 0.5, policy) == "past"


def test_aptt_on_heparin_must_be_off_the_cells_within_an_hour() -> None:
    test = "activated-partial-thromboplastin-time-on-heparin"
    assert unspun(test, CITRATE, 1) == "kept"
    assert unspun(test, CITRATE, 1.1) == "past"

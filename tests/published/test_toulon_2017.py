"""Toulon and others. Stability of coagulation tests in unspun tubes. Int J Lab Hematol 2017 (abstract read), 144
patients: PT, aPTT, fibrinogen and D-dimer acceptable at 8 h unspun at room temperature, factor VIII at 6 h (-5.2 %;
-8.5 % at 8 h). Most guidelines: 4 h from the draw.
"""

from __future__ import annotations

import pytest

from tests.published.waiting import unspun

CITRATE = "citrate-9-1"
APTT = "activated-partial-thromboplastin-time"


@pytest.mark.parametrize("test", ["prothrombin-time", APTT, "fibrinogen", "d-dimer"])
def test_unspun_blood_is_good_at_8_hours_where_the_site_extends(test: str) -> None:
    assert unspun(test, CITRATE, 8, "extended") == "kept"


@pytest.mark.parametrize("test", [APTT, "fibrinogen"])
def test_the_strict_site_keeps_to_4_hours(test: str) -> None:
    assert unspun(test, CITRATE, 4) == "kept"
    assert unspun(test, CITRATE, 4.1) == "past"


def test_factor_viii_is_good_at_6_hours_unspun_and_not_at_8() -> None:
    assert unspun("factor-viii", CITRATE, 6, "extended") == "kept"
    assert unspun("factor-viii", CITRATE, 8, "extended") == "past"
    assert unspun("factor-viii", CITRATE, 6) == "past"

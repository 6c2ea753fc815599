"""Adding tests to kept plasma. Clin Chem Lab Med 2024, doi 10.1515/cclm-2023-1388 (abstract read): capped heparin
plasma at 16 C, lactate dehydrogenase never. Int J Lab Hematol 2017;39:475-481 (abstract read): at 24 h PT,
fibrinogen and antithrombin can be added, aPTT cannot. Check 34.
"""

from __future__ import annotations

import pytest

from cubital.handling.keeping import POLICIES, PolicyKey
from tests.published.waiting import off_cells
from tests.unit.handling.test_addon import HOUR, gel, offer, stored, why


@pytest.mark.parametrize("policy", POLICIES)
@pytest.mark.parametrize("hours", [1, 2, 24, 48])
def test_lactate_dehydrogenase_is_never_added_at_any_age_cold_or_not(hours: int, policy: PolicyKey) -> None:
    for specimen in (gel(), gel("g", stored("g", "cold"))):
        found = offer("lactate-dehydrogenase", specimen, after=hours * HOUR, policy=policy)
        assert found.outcome == "refuse"
        assert "no age and no storage" in why(found)
        assert found.reasons[0].sources == ("addon-2024",)


def test_at_24_hours_pt_fibrinogen_and_antithrombin_can_be_added_and_aptt_cannot() -> None:
    good = ("prothrombin-time", "fibrinogen", "antithrombin")
    for test in (*good, "activated-partial-thromboplastin-time"):
        standing = off_cells(test, "citrate-9-1", 24 - 1 / 6, "extended")
        assert standing == ("kept" if test in good else "past"), test

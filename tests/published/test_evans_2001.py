"""Evans and others. Stability of hormones in EDTA blood. Clin Biochem 2001;34:107-112 (abstract read): at 4 C all
tested but corticotropin steady over 120 h; natriuretic peptides under 24 h at room temperature. Check 32.
"""

from __future__ import annotations

import pytest

from cubital.handling.keeping import POLICIES, PolicyKey
from tests.published.waiting import off_cells, off_cells_cold

EDTA = "k2-edta"


@pytest.mark.parametrize("policy", POLICIES)
@pytest.mark.parametrize("test", ["bnp", "nt-probnp"])
def test_natriuretic_peptides_are_lost_at_30_hours_at_room_temperature(test: str, policy: PolicyKey) -> None:
    assert off_cells(test, EDTA, 30, policy) == "past"


@pytest.mark.parametrize("policy", POLICIES)
def test_corticotropin_is_lost_at_120_hours_at_4_degrees(policy: PolicyKey) -> None:
    assert off_cells_cold("corticotropin", EDTA, 120, policy) == "past"


@pytest.mark.parametrize("test", ["aldosterone", "insulin"])
def test_other_hormones_are_kept_at_120_hours_at_4_degrees_where_the_site_extends(test: str) -> None:
    # Ten minutes on the cells count too: what a study alone found to hold is counted from the draw.
    assert off_cells_cold(test, EDTA, 119.8, "extended") == "kept"
    # Aldosterone keeps five days off its cells by a directory too, which counts from there.
    assert off_cells_cold(test, EDTA, 119.9, "extended") == ("kept" if test == "aldosterone" else "mixed")
    assert off_cells_cold(test, EDTA, 121, "extended") == "past"

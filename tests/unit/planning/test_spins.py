"""A tube is never told to spin cold and warm at once."""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.planning.spins import COLD, TWICE, WARM, spin_for, spin_text

FAMILIES = sorted({family for spin in facts.spins() for family in spin.families})


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("gel", [False, True])
def test_a_tube_asked_for_cold_is_spun_cold_or_has_no_setting(family: str, gel: bool) -> None:
    found = spin_for(family, gel, (COLD,))
    assert found is None or found.temp_high_c < 10
    warm = spin_for(family, gel, (WARM,))
    assert warm is None or warm.temp_low_c == 37
    twice = spin_for(family, gel, (TWICE,))
    assert twice is None or twice.spins == 2


def test_ammonia_in_heparin_is_spun_at_four_degrees_and_potassium_is_not() -> None:
    cold, usual = spin_for("heparin", True, (COLD,)), spin_for("heparin", True, ())
    assert cold is not None
    assert usual is not None
    assert (spin_text(cold), spin_text(usual)) == ("1300-2000 g, 10 min, 4 C", "1300-2000 g, 10 min, 20-25 C")

"""Hanon and others. Stability and collection time of parathyrin. Clin Chem Lab Med 2013 (abstract read): EDTA blood 24
h or more, EDTA plasma 48 h or more, at 4 C 72 h or more; clotted blood loses after 3 h, serum after 2 h, at 4 C 24
h or more. Check 31.
"""

from __future__ import annotations

from tests.published.waiting import off_cells, off_cells_cold, unspun

EDTA, SERUM = "k2-edta", "clot-activator"


def test_edta_blood_at_20_hours_is_good_and_clotted_blood_at_4_is_not() -> None:
    assert unspun("parathyrin", EDTA, 20) == "kept"
    assert unspun("parathyrin", SERUM, 3) == "kept"
    assert unspun("parathyrin", SERUM, 4) == "past"


def test_edta_plasma_keeps_for_two_days_and_serum_for_two_hours() -> None:
    assert off_cells("parathyrin", EDTA, 47) == "kept"
    assert off_cells("parathyrin", SERUM, 2) == "kept"
    assert off_cells("parathyrin", SERUM, 3) == "past"


def test_edta_plasma_at_4_degrees_is_good_at_70_hours_and_serum_to_24() -> None:
    assert off_cells_cold("parathyrin", EDTA, 70) == "kept"
    assert off_cells_cold("parathyrin", SERUM, 24) == "kept"
    assert off_cells_cold("parathyrin", SERUM, 25) == "past"


def test_of_heparin_plasma_nothing_was_said() -> None:
    assert off_cells("parathyrin", "lithium-heparin", 1) == "unknown"

"""Ercan and others. Serum after and before an EDTA tube. Biochem Med 2021;31:020704 (read): of 388 outpatients 24 %
of the pairs of one draw differ in potassium by over 0.3 mmol/L though no EDTA is in either. Check 10: a difference of
potassium alone is not EDTA. A preprint of 2025 (abstract read): magnesium by isocitrate dehydrogenase is not moved.
Check 11.
"""

from __future__ import annotations

from cubital.chemistry.additives import load_of, tube_plasma
from tests.published.weighed import PANEL, adult, of_edta, tainted, weigh

FIRST = adult(potassium=4.2)


def test_two_tubes_of_one_draw_that_differ_in_potassium_by_0_4_are_not_called_edta() -> None:
    earlier = {key: FIRST[key] for key in PANEL}
    found = weigh(FIRST | {"potassium": 4.6}, *PANEL, earlier=earlier, hours=0.1)
    assert (found.verdict, found.redraw) == ("nothing found", False)
    assert of_edta(found) < 0.02
    assert "potassium" in found.trusted


def test_edta_is_still_possible_where_the_magnesium_assay_does_not_see_it() -> None:
    edta = tube_plasma(load_of("k2-edta"), 0.45)
    values = tainted(FIRST, edta, 0.12, principles={"magnesium": "isocitrate-dehydrogenase"})
    assert values["magnesium"] == FIRST["magnesium"]
    found = weigh(values, *PANEL)
    assert found.verdict in ("cannot tell", "suspect")
    assert found.redraw
    assert of_edta(found) > 0.2
    assert {"potassium", "alkaline-phosphatase", "calcium"}.isdisjoint(found.trusted)

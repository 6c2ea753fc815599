"""Assay-dependent effects of EDTA contamination on plasma magnesium and iron. Preprint 2025 (abstract read).

Magnesium by isocitrate dehydrogenase and iron by ferene withstand EDTA. By xylidyl blue half of magnesium is lost at
0.78-1.18 mmol/L of EDTA, the allowable limit is passed at 0.16-0.34; by ferrozine half of iron at 5.6-8.86, the limit
at 4.68-5.46. Cadamuro and others, Clin Chem Lab Med 2015 (abstract): iron moved only at 4.4 mmol/L.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.chelation import measured_share, response_of


def share(analyte: str, principle: str, edta: float) -> float:
    """What this assay still measures."""
    response = response_of(analyte, principle)
    assert response is not None
    return measured_share(response, edta)


@pytest.mark.parametrize(("analyte", "principle"), [("magnesium", "isocitrate-dehydrogenase"), ("iron", "ferene")])
def test_an_assay_that_withstands_edta_loses_nothing_at_any_dose(analyte: str, principle: str) -> None:
    assert [share(analyte, principle, edta) for edta in (0.0, 0.3, 9.0)] == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("analyte", "principle", "low", "high"),
    [("magnesium", "xylidyl-blue", 0.78, 1.18), ("iron", "ferrozine", 5.6, 8.86)],
)
def test_half_is_lost_inside_the_published_range(analyte: str, principle: str, low: float, high: float) -> None:
    assert share(analyte, principle, low) > 0.5 > share(analyte, principle, high)


# The slope came from another paper's -2.4 %. What an allowable limit was is not in the abstract: here 0.16 mmol/L loses
# 0.6 % and 0.34 loses 5.0 %, which suits a limit near 5 % and not the 15 % of the proficiency rules.
def test_magnesium_at_the_published_limit_doses_has_lost_half_to_five_percent() -> None:
    assert 1 - share("magnesium", "xylidyl-blue", 0.16) == pytest.approx(0.006, abs=0.002)
    assert 1 - share("magnesium", "xylidyl-blue", 0.34) == pytest.approx(0.05, abs=0.005)


# Not used to draw the curve: iron was seen to move first at 4.4 mmol/L, where the curve has lost 8 %.
def test_iron_begins_to_move_at_the_dose_that_another_study_saw() -> None:
    assert 1 - share("iron", "ferrozine", 4.4) == pytest.approx(0.08, abs=0.01)
    assert 1 - share("iron", "ferrozine", 2.0) < 0.002

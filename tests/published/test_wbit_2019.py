"""Blood of another patient. Blood-group samples of 2019 (data read): 143 wrong blood in tube of 1,394,862, 1.025 in
10,000. Rosenbaum and Baron, Am J Clin Pathol 2018;150:555-566 (abstract read): the changes of eleven analytes tell it
far better than any one. Check 44, and 45: 90 % sensitivity and 98 % specificity of one in 2,000 is a predictive value
of 2.2 %, so a panel alone never proves it. The two patients are invented.
"""

from __future__ import annotations

import pytest

from cubital.facts.causes import causes
from tests.published.weighed import PANEL, adult, weigh

ONE = adult()
# An invented second patient: liver and kidney ill.
OTHER = adult(
    sodium=136.0, potassium=4.9, chloride=98.0, bicarbonate=21.0, urea=14.0, creatinine=190.0, calcium=2.2,
    magnesium=0.9, phosphate=1.5, albumin=31.0, total_protein=60.0, alkaline_phosphatase=160.0,
    alanine_aminotransferase=80.0, total_bilirubin=30.0,
)  # fmt: skip


def test_its_share_before_any_result_is_the_rate_that_was_counted() -> None:
    rate = 143 / 1_394_862
    assert rate == pytest.approx(1.025e-4, rel=0.001)
    share = causes()["other-patient"].share
    assert share is not None
    assert float(share) == pytest.approx(rate, rel=0.01)


def test_a_good_rule_at_a_low_rate_is_mostly_wrong() -> None:
    found, sound = 0.90 / 2000, (1 - 0.98) * 1999 / 2000
    assert found / (found + sound) == pytest.approx(0.022, abs=0.0005)


def test_another_patient_s_panel_against_earlier_results_is_raised_a_thousandfold_and_drawn_again() -> None:
    found = weigh(OTHER, *PANEL, earlier={key: ONE[key] for key in PANEL})
    assert found.probability("other-patient") > 1000 * 1.025e-4
    assert found.redraw
    assert found.trusted == ()
    assert "check who was drawn" in found.reasons[0]


def test_the_same_panel_without_earlier_results_says_that_it_cannot_be_told() -> None:
    found = weigh(OTHER, *PANEL)
    assert found.probability("other-patient") < 0.001
    assert any("another patient's blood cannot be told" in reason for reason in found.reasons)


def test_the_same_patient_again_is_never_called_another() -> None:
    assert weigh(ONE, *PANEL, earlier={key: ONE[key] for key in PANEL}).probability("other-patient") < 1e-4

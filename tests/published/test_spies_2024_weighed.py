"""Spies, Farnsworth. J Lab Med 2024 (abstract read), and Yang, Wen, McCudden, Tacker 2024/25 (abstract read), as the
whole program answers what they computed and saw.

Allowable errors are passed at a share of 0.10 and less; what staff flagged had a median of 0.18 (dextrose) and 0.24
(other fluids). The best single signs, against an earlier result: calcium down by 24 %, glucose up by 400 mg/dL (22.2
mmol/L), potassium up by 3.0 mmol/L. Checks 16, 17, 19 and 20. The mixtures are computed, fluids from memory.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import fluid, mixed
from tests.published.weighed import PANEL, adult, holds, weigh

KEYS = (*PANEL, "glucose")
NATIVE = adult(sodium=140.0, potassium=4.2, chloride=102.0, bicarbonate=24.0, calcium=2.35, glucose=5.0)
DAY_BEFORE = {key: NATIVE[key] for key in KEYS}
CAUSE = {
    "saline": "saline", "dextrose-anhydrous": "dextrose", "dextrose-monohydrate": "dextrose",
    "lactated-ringer": "balanced-fluid", "acetate-gluconate": "balanced-fluid",
}  # fmt: skip


@pytest.mark.parametrize(
    ("key", "share"),
    [("saline", 0.24), ("dextrose-anhydrous", 0.18), ("dextrose-monohydrate", 0.18), ("lactated-ringer", 0.24)],
)
def test_the_share_that_staff_flagged_is_suspected_without_any_earlier_result(key: str, share: float) -> None:
    found = weigh(mixed(NATIVE, fluid(key), share), *KEYS)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability(CAUSE[key]) > 0.8
    assert holds(found, share)


@pytest.mark.parametrize("key", ["saline", "dextrose-anhydrous", "dextrose-monohydrate"])
def test_a_tenth_is_suspected_with_the_results_of_the_day_before(key: str) -> None:
    found = weigh(mixed(NATIVE, fluid(key), 0.10), *KEYS, earlier=DAY_BEFORE)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability(CAUSE[key]) > 0.4
    assert holds(found, 0.10)
    assert not {"calcium", "glucose", "potassium", "chloride"} & set(found.trusted)


# Missed: a tenth of saline flags half of all calcium results falsely, and without earlier results is not noticed:
# calcium 2.12 and potassium 3.78 are many patients' own.
def test_a_tenth_of_saline_without_earlier_results_cannot_be_told() -> None:
    found = weigh(mixed(NATIVE, fluid("saline"), 0.10), *KEYS)
    assert (found.verdict, found.redraw) == ("cannot tell", False)
    assert found.probability("saline") < 0.1


# Missed: a tenth of a balanced fluid cannot be told even with them. It moves sodium, potassium and chloride by under
# 2 %.
def test_a_tenth_of_a_balanced_fluid_cannot_be_told() -> None:
    found = weigh(mixed(NATIVE, fluid("lactated-ringer"), 0.10), *KEYS, earlier=DAY_BEFORE)
    assert found.verdict == "cannot tell"
    assert 0.05 < found.probability("balanced-fluid") < 0.2


def test_a_calcium_down_by_24_percent_with_its_protein_is_a_fluid_and_24_percent_of_it() -> None:
    earlier = {key: NATIVE[key] for key in ("calcium", "albumin", "total-protein", "sodium", "chloride", "potassium")}
    values = mixed(NATIVE, fluid("saline"), 0.24)
    alone = weigh(values, "calcium", "albumin", "total-protein", earlier=earlier)
    assert sum(alone.probability(cause) for cause in ("saline", "dextrose", "balanced-fluid")) > 0.4
    assert holds(alone, 0.24)
    assert alone.redraw
    whole = weigh(values, *earlier, earlier=earlier)
    assert whole.probability("saline") > 0.9
    assert whole.fraction.estimate == pytest.approx(0.24, abs=0.02)


def test_a_calcium_down_by_24_percent_whose_protein_stayed_is_no_fluid() -> None:
    earlier = {key: NATIVE[key] for key in PANEL}
    found = weigh(NATIVE | {"calcium": 0.76 * 2.35}, *PANEL, earlier=earlier)
    assert sum(found.probability(cause) for cause in ("saline", "dextrose", "balanced-fluid")) < 0.05


def test_a_glucose_up_by_22_with_the_rest_thinned_is_dextrose_and_without_that_is_not() -> None:
    earlier = {key: NATIVE[key] for key in ("sodium", "potassium", "chloride", "calcium", "glucose")}
    thinned = mixed(NATIVE, fluid("dextrose-anhydrous"), 22.2 / (277.5 - 5.0))
    assert thinned["glucose"] == pytest.approx(27.2, abs=0.05)
    assert weigh(thinned, *earlier, earlier=earlier).probability("dextrose") > 0.5
    diabetic = {**earlier, "glucose": 27.2, "sodium": 131.0, "chloride": 94.0, "potassium": 5.2}
    assert weigh(diabetic, earlier=earlier).probability("dextrose") < 0.05


# Missed in kind: their alert for a potassium up by 3.0 means an infusion of potassium, which no cause here stands
# for. It cannot be told and is drawn again before anybody acts.
def test_a_potassium_up_by_three_alone_is_drawn_again_without_a_cause_named() -> None:
    earlier = {key: NATIVE[key] for key in ("sodium", "potassium", "chloride", "calcium", "glucose")}
    found = weigh({**earlier, "potassium": 7.2}, earlier=earlier)
    assert (found.verdict, found.redraw) == ("cannot tell", True)
    assert "potassium" not in found.trusted

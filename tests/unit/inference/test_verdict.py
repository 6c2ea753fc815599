"""The answer for one sample: verdict, redraw, trust and reasons. Values are invented unless a source is named."""

from __future__ import annotations

import pytest

from cubital.facts.causes import CAUSES
from cubital.facts.population import population
from cubital.inference.population import typical_native
from cubital.inference.verdict import Suspicion, allowable, suspicions
from cubital.inference.wording import CAUTION
from cubital.model.results import Earlier, ResultSet
from tests.unit.inference.test_posterior import PANEL, sample, with_additive


def answer(values: dict[str, float], *keys: str, **fields: object) -> Suspicion:
    return suspicions([sample({**typical_native(), **values}, *keys, **fields)])[0]


def said(found: Suspicion) -> str:
    return "\n".join(found.reasons)


def test_typical_results_are_nothing_found_and_all_trusted_without_a_share() -> None:
    found = answer({})
    assert (found.verdict, found.redraw) == ("nothing found", False)
    assert found.trusted == PANEL
    assert found.fraction.estimate is None
    assert "a small share is never excluded" in said(found)


def test_the_causes_are_all_named_in_their_order_and_sum_to_one() -> None:
    found = answer({"potassium": 6.3})
    assert tuple(key for key, _ in found.causes) == CAUSES
    assert sum(chance for _, chance in found.causes) == pytest.approx(1, abs=1e-9)


def test_a_tenth_of_edta_plasma_is_suspected_with_its_share_and_drawn_again() -> None:
    found = answer(with_additive("k2-edta", 0.1))
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.fraction.low is not None
    assert found.fraction.high is not None
    assert found.fraction.low < 0.1 < found.fraction.high
    assert found.fraction.estimate == pytest.approx(0.1, abs=0.02)
    assert "potassium" not in found.trusted
    assert {"sodium", "creatinine", "albumin"} <= set(found.trusted)
    assert "K2 EDTA would explain" in said(found)


@pytest.mark.parametrize(("value", "is_drawn_again"), [(4.3, False), (6.8, True)])
def test_one_result_cannot_tell_and_a_critical_one_is_drawn_again(value: float, is_drawn_again: bool) -> None:
    found = answer({"potassium": value}, "potassium")
    assert (found.verdict, found.redraw) == ("cannot tell", is_drawn_again)
    assert "one result cannot tell" in said(found)


def test_a_lone_critical_potassium_among_usual_results_is_drawn_again_before_acting() -> None:
    found = answer({"potassium": 6.5})
    assert (found.verdict, found.redraw) == ("cannot tell", True)
    assert "draw again before acting: potassium 6.5 mmol/L" in said(found)


def test_kidney_failure_and_ketoacidosis_are_not_called_a_tube_s() -> None:
    kidney = answer({"potassium": 6.0, "creatinine": 600, "urea": 35, "bicarbonate": 16})
    acidosis = answer({"sodium": 128, "chloride": 92, "potassium": 5.6, "glucose": 38, "bicarbonate": 9})
    assert [kidney.verdict, acidosis.verdict] == ["nothing found", "nothing found"]


def test_lithium_in_a_tube_with_lithium_heparin_is_never_trusted() -> None:
    found = answer({"lithium": 0.9}, "sodium", "potassium", "lithium", additive="lithium-heparin")
    assert found.redraw
    assert "lithium" not in found.trusted
    assert "lithium cannot be measured in a tube with lithium-heparin" in said(found)
    assert found.probability("lithium-heparin") == 0


def test_a_tube_that_holds_edta_itself_is_named_where_the_results_say_so() -> None:
    found = answer(with_additive("k2-edta", 1.0), additive="k2-edta")
    assert found.verdict == "suspect"
    assert found.probability("k2-edta") > 0.9
    assert "nearly all of it hidden" in said(found)


def test_hemolysis_beside_edta_is_said_beside_it() -> None:
    values = with_additive("k2-edta", 0.1)
    values |= {"potassium": values["potassium"] + 1.0, "lactate-dehydrogenase": 450.0}
    found = answer(values, *PANEL, "lactate-dehydrogenase", hemolysis_g_per_l=3.0)
    assert found.probability("k2-edta") + found.probability("k3-edta") > 0.8
    assert "then with hemolysis" in said(found)


def test_without_earlier_results_another_patient_cannot_be_told_and_that_is_said() -> None:
    assert "another patient's blood cannot be told" in said(answer({}))
    with_earlier = answer({}, previous=(Earlier(analyte="sodium", value=139, hours_before=24),))
    assert "another patient's blood cannot be told" not in said(with_earlier)


def test_earlier_results_of_more_than_a_year_ago_are_not_used_and_that_is_said() -> None:
    old = (Earlier(analyte="potassium", value=3.0, hours_before=9000),)
    assert answer({}, previous=old).causes == answer({}).causes
    assert "more than a year ago" in said(answer({}, previous=old))


def test_every_answer_ends_with_the_caution() -> None:
    assert [answer(values).reasons[-1] for values in ({}, {"potassium": 7.0})] == [CAUTION, CAUTION]


def test_the_strictest_published_limit_decides_what_is_trusted() -> None:
    # RCPAQAP (Ann Lab Med 2022, read): 0.20 mmol/L to 4.0, then 5 %; CLIA 2025 allows 0.3.
    assert allowable("potassium", 4.0) == pytest.approx(0.2)
    assert allowable("creatine-kinase", 100.0) == pytest.approx(10.0)


def test_no_samples_have_no_answers() -> None:
    assert suspicions([]) == ()
    assert suspicions([ResultSet(results=())])[0].verdict == "cannot tell"


GROSS_EDTA = {
    "potassium": 14, "sodium": 141, "calcium": 0.6, "magnesium": 0.3, "alkaline-phosphatase": 12, "creatinine": 80,
    "albumin": 41,
}  # fmt: skip
FEEDING = {
    "glucose": 60, "potassium": 8.5, "phosphate": 4.0, "sodium": 122, "chloride": 90, "magnesium": 1.6,
    "creatinine": 60, "albumin": 31, "calcium": 2.6,
}  # fmt: skip


def only(values: dict[str, float], **fields: object) -> Suspicion:
    return answer(values, *values, **fields)


def test_the_magnesium_beside_edta_is_not_trusted() -> None:
    """It falls with EDTA (Lima-Oliveira 2014), and was trusted where the calcium had taken most of the EDTA."""
    found = only(GROSS_EDTA)
    assert found.verdict == "suspect"
    assert set(found.trusted) <= {"sodium", "creatinine", "albumin"}


def test_what_calls_for_action_and_is_trusted_is_not_said_to_be_the_tube_s() -> None:
    found = only({**GROSS_EDTA, "glucose": 2.0})
    named = next(reason for reason in found.reasons if reason.startswith("draw again before acting"))
    assert all(population().analytes[key].name not in named for key in found.trusted)
    assert "potassium 14 mmol/L" in named


def test_where_no_cause_known_here_fits_nothing_is_trusted() -> None:
    """Feeding by vein, which is no cause here: glucose, sodium and calcium of it were trusted."""
    found = only(FEEDING)
    assert (found.verdict, found.redraw) == ("cannot tell", True)
    assert "something else may be in the tube" in said(found)
    assert found.trusted == ()


def test_a_high_potassium_that_is_not_explained_names_what_is_not_weighed() -> None:
    """Platelets of a serum tube are no cause here: nothing of them was said."""
    serum = {"potassium": 6.3, "sodium": 140, "calcium": 2.35, "creatinine": 75, "lactate-dehydrogenase": 330}
    assert "not weighed here, and raises potassium too: many platelets" in said(only(serum))
    assert "not weighed here" not in said(only({**serum, "potassium": 5.0}))
    assert "not weighed here" not in said(only(GROSS_EDTA))


def test_a_measured_index_stands_beside_the_hemolysis_that_the_results_ask_for() -> None:
    red = {"potassium": 6.4, "lactate-dehydrogenase": 900, "aspartate-aminotransferase": 90, "sodium": 139}
    assert "its index says 3 g/L" in said(only(red, hemolysis_g_per_l=3.0))
    assert "its index says" not in said(only(red))

"""The answer for one sample: verdict, redraw, trust and reasons. Values are invented unless a source is named."""

from __future__ import annotations

import pytest

from cubital.facts.causes import CAUSES
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

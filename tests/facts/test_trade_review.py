"""What a phlebotomist and a clinical chemist found wrong in the shipped facts, each with what settled it."""

from __future__ import annotations

import pytest

from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED, order_of, patient_of, verified


@pytest.mark.parametrize("word", ["U&E", "U and E", "UEC", "U/E", "u+e"])
def test_urea_and_electrolytes_hold_no_calcium_and_no_glucose(word: str) -> None:
    """A hospital laboratory: sodium, potassium, chloride, bicarbonate, urea and creatinine (pathology-centre-ue)."""
    assert Directory(SHIPPED).resolve(word) == ("panel", "urea-and-electrolytes")
    tests = {test for tube in verified(order_of("U&E"), SHIPPED).tubes for test in tube.tests}
    assert tests == {"sodium", "potassium", "chloride", "bicarbonate", "urea-nitrogen", "creatinine"}


def test_one_tube_serves_group_screen_and_crossmatch() -> None:
    """Two hospital laboratories ask one 6 mL EDTA tube for both (nhs-crossmatch-list, group-and-save-list)."""
    tubes = verified(order_of("G&S", "XM", "cbc"), SHIPPED).tubes
    bank = [tube for tube in tubes if "crossmatch" in tube.tests]
    assert [(set(tube.tests), tube.draw_ul) for tube in bank] == [({"type-and-screen", "crossmatch"}, 6000)]
    assert "complete-blood-count" not in bank[0].tests
    assert "label_by_hand" in bank[0].handling


def test_a_second_sample_for_the_group_is_never_a_share_of_the_first() -> None:
    tubes = verified(order_of("group-check", "G&S"), SHIPPED).tubes
    assert len(tubes) == 2


@pytest.mark.parametrize("test", ["G&S", "XM", "antibody-screen"])
def test_what_is_crossmatched_says_how_long_the_sample_is_valid(test: str) -> None:
    said = [caution.text for caution in verified(order_of(test), SHIPPED).cautions]
    assert any("valid for 72 h when transfused or pregnant" in text for text in said)


def test_a_newborn_s_group_and_antiglobulin_test_can_be_taken_from_the_heel() -> None:
    newborn = patient_of(3.4, 0.003)
    plan = verified(order_of("DAT", "ABORH", access="skin-puncture", patient=newborn), SHIPPED)
    assert {tube.kind for tube in plan.tubes} == {"edta-micro"}

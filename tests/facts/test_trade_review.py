"""What a phlebotomist and a clinical chemist found wrong in the shipped facts, each with what settled it."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.planning.directory import Directory
from tests.published.shipped import SHIPPED, order_of, patient_of, verified


@pytest.mark.parametrize("word", ["U&E", "U and E", "UEC", "U/E", "u+e"])
def test_urea_and_electrolytes_hold_no_calcium_and_no_glucose(word: str) -> None:
    """A hospital laboratory: sodium, potassium, chloride, bicarbonate, urea and creatinine (pathology-centre-ue)."""
    assert Directory(SHIPPED).resolve(word) == ("panel", "urea-and-electrolytes")
    tests = {test for tube in verified(order_of("U&E"), SHIPPED).tubes for test in tube.tests}
    assert tests == {"sodium", "potassium", "chloride", "bicarbonate", "urea-nitrogen", "creatinine"}


def test_one_tube_serves_group_screen_and_crossmatch() -> None:
    """Two hospital laboratories ask one 6 mL EDTA tube for both (nhs-crossmatch-list, group-and-save-list).

    It holds the reserve of both too, as shipped.
    """
    bare = replace(SHIPPED, planning=replace(SHIPPED.planning, reserve_percent=0))
    for site, draw_ul in ((bare, 6000), (SHIPPED, 6000)):
        tubes = verified(order_of("G&S", "XM", "cbc"), site).tubes
        bank = [tube for tube in tubes if "crossmatch" in tube.tests]
        assert [(set(tube.tests), tube.draw_ul) for tube in bank] == [({"type-and-screen", "crossmatch"}, draw_ul)]
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


@pytest.mark.parametrize(
    ("test", "words"),
    [
        ("CD4", "counted within 48 h: ask before a draw that a weekend or holiday would hold up"),
        ("malaria", "one negative film does not exclude malaria"),
        ("lithium", "never a tube of lithium heparin"),
        ("protein-c", "low on warfarin"),
        ("protein-s", "low on warfarin and in pregnancy"),
        ("antithrombin", "low on heparin"),
        ("lupus anticoagulant", "heparin, warfarin and direct oral anticoagulants change the result"),
    ],
)
def test_what_makes_a_result_useless_is_said_at_the_chair(test: str, words: str) -> None:
    assert any(words in caution.text for caution in verified(order_of(test), SHIPPED).cautions)


def test_the_hour_of_a_parathyrin_is_noted_and_does_not_warn() -> None:
    """One review's advice (hanon-2013), which most laboratories do not ask: it stood as a warning on every plan."""
    found = [c for c in verified(order_of("PTH"), SHIPPED).cautions if "10:00" in c.text]
    assert [caution.level for caution in found] == ["note"]


@pytest.mark.parametrize(("test", "term"), [
    ("cyclosporine", "not_from_infusion_line"), ("tacrolimus", "not_from_infusion_line"),  # hacker-2014
    ("factor-viii", "no_chill"), ("von-willebrand-factor-antigen", "no_chill"),  # bohm-2006
    ("ammonia", "no_hemolysis"),  # children-ammonia-list
])  # fmt: skip
def test_a_test_is_handled_as_its_source_asks(test: str, term: str) -> None:
    assert term in SHIPPED.tests[test].handling


@pytest.mark.parametrize("test", ["HIV RNA", "HCV RNA", "HBV DNA"])
def test_a_viral_load_does_not_ask_for_the_skin_of_a_blood_culture(test: str) -> None:
    assert all("sterile" not in tube.handling for tube in verified(order_of(test), SHIPPED).tubes)


def test_a_liver_panel_is_kept_out_of_the_sun_and_not_wrapped() -> None:
    """Room light took 2 % of a high bilirubin in 8 h (bilirubin-light): a strict receipt refused an unwrapped tube."""
    terms = {term for tube in verified(order_of("LFT"), SHIPPED).tubes for term in tube.handling}
    assert "shade" in terms
    assert "protect_from_light" not in terms
    assert "protect_from_light" in verified(order_of("vitamin A"), SHIPPED).tubes[0].handling

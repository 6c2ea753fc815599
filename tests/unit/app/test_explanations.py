"""Why, and what each source says: every statement with its mark."""

from __future__ import annotations

import datetime

import msgspec
import pytest

from cubital import facts
from cubital.app.draws import plan_order
from cubital.app.explanation import Explanation, basis_words, citations, explanation_document
from cubital.app.kind_explanation import HARMS, MIXING, PLACES
from cubital.app.plan_explanation import explain_words, proof_words, reasons_of
from cubital.app.subject_explanation import explain_subject
from cubital.app.wiring import open_site
from cubital.errors import AmbiguousTest, UnknownTest
from cubital.model import Ask, Order, Patient

DEMO = open_site(demo=True)
DAY = datetime.date(2026, 11, 25)


def told_of(*names: str) -> tuple[Explanation, ...]:
    return explain_words(Order(asks=tuple(Ask(test=name) for name in names), on=DAY), DEMO)


def texts(explanation: Explanation, title: str) -> list[str]:
    return [line.text for s in explanation.sections if s.title.startswith(title) for line in s.statements]


def test_a_kind_stands_beside_every_order_of_draw_the_chosen_one_marked() -> None:
    (told,) = told_of("citrate")
    places = texts(told, PLACES)
    assert len(places) == len(facts.order_policies())
    assert [text for text in places if text.startswith("chosen here: ")] == [
        "chosen here: step 2 of CLSI GP41, 7th edition 2017, venous: citrate for coagulation"
    ]


def test_what_an_order_of_draw_leaves_unsaid_is_said_to_be_unsaid_with_what_others_hold() -> None:
    (told,) = told_of("acd-a")
    unsaid = [text for text in texts(told, PLACES) if "leaves it unsaid" in text]
    assert any("Others: " in text for text in unsaid)
    assert texts(told, PLACES)[0].startswith("this site: the site places acd-a before fluoride-oxalate")


def test_rival_counts_of_inversions_stand_side_by_side() -> None:
    (told,) = told_of("edta")
    assert texts(told, MIXING)[0].startswith("8 chosen of 5 to 10")
    assert {"5", "8 to 10"} <= set(texts(told, MIXING)[1:])


@pytest.mark.parametrize("kind", sorted(DEMO.kinds))
def test_every_statement_about_every_kind_says_what_it_rests_on(kind: str) -> None:
    told = told_of(kind)[0]
    for section in told.sections:
        for line in section.statements:
            assert line.rests_on, line.text
            assert line.text
    titles = [section.title for section in told.sections]
    assert PLACES in titles


@pytest.mark.parametrize("key", [*sorted(facts.order_policies()), *sorted(facts.sampling_limits())])
def test_every_order_of_draw_and_every_limit_is_explained(key: str) -> None:
    told = told_of(key)[0]
    assert told.subject == key
    assert all(line.rests_on for section in told.sections for line in section.statements)


def test_a_limit_of_the_site_is_explained_with_its_ages_its_program_and_no_source() -> None:
    caps = (facts.Cap(period_h=672, ul_per_kg=3000, age_max_d=28), facts.Cap(period_h=24, cap_ul=2000, age_min_d=28))
    limit = facts.SamplingLimit(key="Unit", name="unit", for_whom="newborns", program="iron-study", caps=caps)
    (told,) = explain_subject("Unit", msgspec.structs.replace(DEMO, limits={"Unit": limit}))
    lines = [line for section in told.sections for line in section.statements]
    assert [line.text for line in lines] == [
        "newborns", "holds beside the site's limit for a patient with the flag iron-study",
        "in 28 d, from 0 d of age to under 28 d, the least of: 3 mL/kg",
        "in 24 h, from 28 d of age on, the least of: 2 mL",
    ]  # fmt: skip
    assert {line.rests_on for line in lines} == {"this site's own file"}


@pytest.mark.parametrize("key", [*sorted(DEMO.tests), *sorted(DEMO.panels)])
def test_every_test_and_panel_of_the_demo_site_is_explained_with_its_marks(key: str) -> None:
    told = [each for each in told_of(key) if each.subject == key]
    assert told
    assert all(line.rests_on for each in told for section in each.sections for line in section.statements)


def test_a_key_of_two_things_explains_both() -> None:
    assert [told.title for told in told_of("lead")][:2] == [
        "lead: lead, K2 EDTA, certified low lead (tan)",
        "lead: lead, blood",
    ]


def test_an_additive_explains_every_kind_that_holds_it() -> None:
    assert {told.subject for told in told_of("acd-a")} == {"acd-a"}
    assert {told.subject for told in told_of("k2-edta")} >= {"edta", "edta-blood-bank", "edta-gel"}


def test_tests_are_explained_tube_by_tube_with_the_harm_to_the_tube_that_follows() -> None:
    head, first, second = told_of("PT", "K")
    assert head.subject == "plan"
    assert first.title.startswith("Tube 1: citrate")
    assert [s.title for s in first.sections if s.title.startswith(HARMS)] == [
        f"{HARMS} (heparin gel, routine chemistry)"
    ]
    assert any("heparin" in text for text in texts(first, HARMS))
    assert texts(second, HARMS) == []


def test_a_name_that_is_nothing_here_is_refused() -> None:
    with pytest.raises(UnknownTest):
        told_of("no-such-thing")
    with pytest.raises(AmbiguousTest):
        told_of("citrate", "troponin")


def test_the_document_cites_every_source_that_a_statement_names() -> None:
    told = told_of("PT", "K", "CBC")
    document = explanation_document(told)
    named = {k for each in told for s in each.sections for line in s.statements for k in line.sources}
    assert document["format"] == "cubital.explanation/1"
    assert set(document["sources"]) == named
    assert dict(citations(told)) == document["sources"]


@pytest.mark.parametrize(
    ("basis", "source", "words"),
    [
        ("site", "site", "this site's own file"),
        ("common-practice", "common-practice", "common practice, no source"),
        ("memory", "memory", "from memory"),
        ("memory", "eflm-2018", "from memory of eflm-2018"),
        ("published", "icsh-1993", "published: icsh-1993 (abstract read)"),
        ("standard", "clsi-gp41", "standard: clsi-gp41 (read second-hand)"),
    ],
)
def test_each_kind_of_truth_has_its_own_words(basis: str, source: str, words: str) -> None:
    assert basis_words(basis, (source,)) == words


def test_a_test_that_cannot_be_drawn_is_explained_and_why_it_cannot() -> None:
    told = told_of("arterial-blood-gas")
    assert [each.subject for each in told] == ["arterial-blood-gas", "plan"]
    assert told[1].title == "No draw of this"
    assert "straight-needle" in texts(told[1], "Why")[0]


def test_the_reasons_of_a_plan_cover_the_whole_and_every_tube() -> None:
    plan = plan_order(Order(asks=(Ask(test="PT"), Ask(test="K"))), DEMO, today=DAY)
    told = reasons_of(plan)
    assert len(told) == 1 + len(plan.tubes)
    assert sum(len(s.statements) for s in told[1].sections) == len(plan.tubes[0].reasons)


def test_the_proof_is_said_only_where_there_is_one() -> None:
    import msgspec

    plan = plan_order(Order(asks=(Ask(test="PT"), Ask(test="K"))), DEMO, today=DAY)
    assert proof_words(plan).startswith("proved: ")
    cut = msgspec.structs.replace(plan, optimal=False)
    assert proof_words(cut).startswith("not proved: ")
    assert "at best 2 tubes and 2.9 mL" in proof_words(cut)


def test_an_order_of_which_nothing_fits_is_said_to_be_that() -> None:
    order = Order(asks=(Ask(test="PT"),), patient=Patient(age_h=48, weight_g=1000, drawn_ul=2000))
    assert proof_words(plan_order(order, DEMO, today=DAY)).startswith("proved: nothing of this order fits")


def test_where_only_cultures_fit_nothing_else_is_said_to_fit() -> None:
    asks = (Ask(test="blood-culture", priority="stat"), Ask(test="PT"))
    plan = plan_order(Order(asks=asks, patient=Patient(age_h=48, weight_g=1100)), DEMO, today=DAY)
    assert [tube.purpose for tube in plan.tubes] == ["culture"]
    assert proof_words(plan).startswith("proved: nothing else of this order fits")


def test_a_colour_is_told_to_be_no_tube_and_every_kind_that_has_it_by_letters_and_additive() -> None:
    (yellow,) = told_of("yellow")
    assert "does not tell the tube" in yellow.title
    told = [line.text for section in yellow.sections for line in section.statements]
    assert [text[:2] for text in told] == ["SP", "AA"]
    assert "[SPS]" in told[0]
    assert "[ACD-A]" in told[1]
    with pytest.raises(UnknownTest):
        told_of("mauve")


@pytest.mark.parametrize("key", ["straight-needle", "winged-set", "syringe", "skin-puncture", "line"])
def test_every_access_is_explained_with_what_it_discards(key: str) -> None:
    told = told_of(key)
    assert told[0].subject == key
    text = " ".join(line.text for each in told for section in each.sections for line in section.statements)
    if key == "line":
        assert "discard 6 times the dead space" in text
    if key == "winged-set":
        assert "0.5 mL, as taken here" in text


def test_every_standing_caution_is_explained_under_safety() -> None:
    (told,) = told_of("safety")
    said = {line.text for section in told.sections for line in section.statements}
    assert said == {rule.text for rule in facts.safety().values()}


def test_an_order_of_draw_says_that_it_is_a_precaution() -> None:
    told = told_of("clsi-gp41")[0]
    assert any("does not prove a spoiled sample" in line.text for s in told.sections for line in s.statements)

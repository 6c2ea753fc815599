"""The reasons in numbers that a plan carries."""

from __future__ import annotations

from cubital.app.draws import plan_order, plan_orders, verify_plan
from cubital.app.order_numbers import TRACE_UL, reason_of_pair
from cubital.app.wiring import open_site
from cubital.model import Ask, Order, Plan

SITE = open_site()


def planned(*tests: str) -> Plan:
    """A plan at the shipped site."""
    return plan_order(Order(asks=tuple(Ask(test=test) for test in tests)), SITE)


def numbers(plan: Plan) -> list[tuple[str, str]]:
    """The reasons of the order, each with its tube's additive."""
    return [(tube.additive, r.text) for tube in plan.tubes for r in tube.reasons if r.about == "order"]


def test_a_tube_before_edta_says_what_a_trace_of_it_would_do_to_potassium() -> None:
    ((additive, text),) = numbers(planned("potassium", "complete-blood-count"))
    assert additive != "k2-edta"
    assert "edta: 10 uL of its blood in this tube would move potassium by +" in text
    assert "of what may err" in text
    assert "a trace of this one there would do nothing that is known" in text


def test_what_is_known_in_kind_is_said_without_a_number() -> None:
    found = dict(numbers(planned("prothrombin-time", "potassium")))
    assert "act in kind (" in found["citrate-9-1"]


def test_the_last_tube_and_a_lone_tube_have_no_such_reason() -> None:
    plan = planned("potassium", "complete-blood-count")
    assert not any(reason.about == "order" for reason in plan.tubes[-1].reasons)
    assert numbers(planned("potassium")) == []


def test_tubes_of_two_draws_do_not_stand_one_before_the_other() -> None:
    order = Order(asks=(Ask(test="potassium"), Ask(test="complete-blood-count", at_min=60)))
    assert numbers(plan_order(order, SITE)) == []


def test_one_order_and_many_carry_the_same_reasons_and_the_plan_stays_sound() -> None:
    order = Order(asks=(Ask(test="potassium"), Ask(test="prothrombin-time"), Ask(test="complete-blood-count")))
    one = plan_order(order, SITE)
    (many,) = plan_orders([order], SITE)
    assert one == many
    assert verify_plan(one, order, SITE) == ()


def test_a_reason_names_the_sources_of_the_doses_and_is_called_computed() -> None:
    reason = reason_of_pair("clot-activator", 3500, ("potassium",), "k2-edta", 2000, ())
    assert reason is not None
    assert (reason.basis, reason.sources) == ("computed", ("icsh-1993",))


def test_an_amount_that_is_not_known_is_said_to_be_so() -> None:
    reason = reason_of_pair("clot-activator", 3500, ("potassium",), "fluoride-edta", 2000, ())
    assert reason is not None
    assert "move potassium by an amount not known" in reason.text


def test_a_tube_smaller_than_the_trace_is_no_fault() -> None:
    assert reason_of_pair("clot-activator", int(TRACE_UL) // 2, ("potassium",), "k2-edta", 2000, ()) is not None

"""Lima-Oliveira and others. Biochem Med 2011;21(2) (read), quoting CLSI: a tourniquet for at most 60 s. A Canadian
laboratory's sheet (read): lactate without tourniquet. Check C40.
"""

from __future__ import annotations

from cubital import facts
from tests.published.shipped import SHIPPED, order_of, verified


def test_every_plan_says_60_seconds() -> None:
    rule = facts.safety()["tourniquet"]
    assert rule.limit_s == 60
    for test in ("cbc", "potassium", "blood-culture"):
        plan = verified(order_of(test), SHIPPED)
        assert [c.sources for c in plan.cautions if c.text == rule.text] == [("lima-oliveira-2011",)]
    assert "60 s" in rule.text


def test_lactate_is_drawn_without_a_tourniquet_and_potassium_is_not_said_to_be() -> None:
    lactate = verified(order_of("lactate"), SHIPPED)
    assert "no_tourniquet" in lactate.tubes[0].handling
    assert "no_tourniquet" not in verified(order_of("potassium"), SHIPPED).tubes[0].handling
    assert "tourniquet" in facts.handling_terms()["no_tourniquet"].instruction.casefold()

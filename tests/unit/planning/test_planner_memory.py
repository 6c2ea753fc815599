"""What a planner keeps: it answers from it, forgets when it is too much, and answers the same either way."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from msgspec.structs import replace

from cubital.model import Ask, Order, Patient
from cubital.planning import Planner
from cubital.planning import plan as plan_module
from tests.published.shipped import SHIPPED, YEAR_H

KEYS = sorted(
    key for key, test in SHIPPED.tests.items()
    if test.culture is None and test.bench != "point of care" and "gas" not in key
)  # fmt: skip


def some_orders(count: int) -> list[Order]:
    random = Random(11)
    return [
        Order(
            asks=tuple(Ask(test=key) for key in random.sample(KEYS[:12], 3)),
            patient=Patient(
                age_h=random.choice((YEAR_H // 2, YEAR_H * 40)),
                weight_g=random.choice((None, 4000, 70_000)),
                hematocrit=random.choice((None, Fraction(2, 5))),
            ),
        )
        for _ in range(count)
    ]


def test_an_equal_question_is_worked_out_once() -> None:
    planner, (order,) = Planner(SHIPPED), some_orders(1)
    first = planner.plan(order)
    worked_out = planner.worked_out
    assert planner.plan(replace(order, id="another")) == replace(first, id="another")
    assert planner.worked_out == worked_out > 0


def test_urgency_flags_access_and_day_make_another_question() -> None:
    planner = Planner(SHIPPED)
    order = Order(asks=(Ask(test=KEYS[0]),), patient=Patient(age_h=YEAR_H * 40))
    others = [
        replace(order, asks=(Ask(test=KEYS[0], priority="stat"),)),
        replace(order, patient=replace(order.patient, flags=("latex-allergy",))),
        replace(order, access="winged-set"),
        replace(order, objective="least-blood"),
        replace(order, patient=replace(order.patient, hematocrit=Fraction(1, 2))),
    ]
    for number, each in enumerate([order, *others], start=1):
        planner.plan(each)
        assert planner.worked_out == number


def test_a_planner_that_must_forget_gives_the_same_plans(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = some_orders(80)
    kept = [Planner(SHIPPED).plan(order) for order in orders]
    monkeypatch.setattr(plan_module, "_KEPT_DRAFTS", 3)
    forgetful = Planner(SHIPPED)
    assert [forgetful.plan(order) for order in orders] == kept


def test_a_prepared_planner_gives_the_same_plans() -> None:
    prepared = Planner(SHIPPED)
    prepared.prepare(some_orders(1)[0])
    assert prepared.worked_out == 0
    for order in some_orders(40):
        assert prepared.plan(order) == Planner(SHIPPED).plan(order)


def test_questions_that_are_known_keep_no_more_than_two_generations_however_often_they_come(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    most = 20
    monkeypatch.setattr(plan_module, "_KEPT_DRAFTS", most)
    planner = Planner(SHIPPED)
    alike = [Order(asks=(Ask(test=key),), patient=Patient(age_h=YEAR_H * 40)) for key in KEYS[:3]]
    for percent in range(20, 70):
        for order in alike:
            planner.plan(replace(order, patient=replace(order.patient, hematocrit=Fraction(percent, 100))))
        questions = [*planner._questions.values(), *planner._older.values()]
        assert sum(1 + len(question.drafts) for question in questions) <= 2 * (most + len(alike) + 1)

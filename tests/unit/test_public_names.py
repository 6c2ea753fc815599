"""What `import cubital` offers, and what it costs."""

from __future__ import annotations

import subprocess
import sys

import pytest

import cubital


def test_the_public_names_are_these_and_sorted() -> None:
    assert cubital.__all__ == [
        "Ask", "Order", "Patient", "Plan", "Site", "errors", "plan", "plan_many", "read_order", "read_results",
        "read_site", "suspect", "verify",
    ]  # fmt: skip
    assert cubital.__all__ == sorted(cubital.__all__)


def test_every_public_name_is_there_and_listed() -> None:
    for name in cubital.__all__:
        assert getattr(cubital, name) is not None
        assert name in dir(cubital)


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'plann'"):
        cubital.plann  # type: ignore[attr-defined]  # noqa: B018


def test_the_import_alone_loads_nothing_else() -> None:
    code = "import sys, cubital; print(*(m for m in sys.modules if m == 'msgspec' or m.startswith('cubital.')))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.split() == []


def test_an_order_is_planned_and_verified_by_the_public_names_alone() -> None:
    site = cubital.read_site()
    order = cubital.read_order('{"patient": {"age": "4 a", "weight_kg": 18}, "tests": ["K", "CBC"]}')
    plan = cubital.plan(order, site)
    assert [tube.tests for tube in plan.tubes] == [("potassium",), ("complete-blood-count",)]
    assert cubital.verify(plan, order, site) == ()


def test_many_orders_give_one_outcome_each_in_order() -> None:
    orders = [cubital.Order(asks=(cubital.Ask(test=name),)) for name in ("K", "no such test", "CBC")]
    found = list(cubital.plan_many(orders, cubital.read_site()))
    assert [isinstance(each, cubital.Plan) for each in found] == [True, False, True]


def test_results_are_read_and_weighed_by_the_public_names_alone() -> None:
    samples = cubital.read_results("code,value,unit\nK,4.2,mmol/L\nNa,140,mmol/L\nCa,2.3,mmol/L\n", cubital.read_site())
    (found,) = cubital.suspect(samples)
    assert (found.verdict, found.redraw) == ("nothing found", False)

"""Every requisition is planned as an expert laboratory would, and the independent verifier passes each plan."""

from __future__ import annotations

import pytest

import cubital
from cubital.errors import CubitalError
from tests.requisitions.cases import Case, order_of, read_cases, site_of
from tests.requisitions.checks import failures
from tests.requisitions.expectations import holds

CASES = read_cases()


@pytest.mark.parametrize("name", CASES)
def test_a_requisition_is_planned_as_an_expert_laboratory_would(name: str) -> None:
    found = shortcomings(CASES[name])
    assert not found, "\n".join([CASES[name].why, *found])


def shortcomings(case: Case) -> list[str]:
    """Where the plan of this case differs from what is expected of it, and what the verifier finds wrong with it."""
    site, refused = site_of(case), case.expect.refused
    try:
        order = order_of(case)
        if order.unread:
            return [f"of the order this was not understood: {', '.join(order.unread)}"]
        plan = cubital.plan(order, site)
    except CubitalError as error:
        if refused is None:
            return [f"refused: {error}"]
        return [] if holds(str(error), refused) else [f"refused with {str(error)!r}; expected words {refused!r}"]
    return failures(case.expect, plan) + [f"verifier: {words}" for words in cubital.verify(plan, order, site)]


def test_at_least_150_requisitions_are_asked() -> None:
    assert len(CASES) >= 150


def test_every_key_of_the_expectations_is_used_by_a_case() -> None:
    from tests.requisitions.checks import CHECKS
    from tests.requisitions.expectations import stated

    used = {key for case in CASES.values() for key in stated(case.expect)}
    assert set(CHECKS) == used

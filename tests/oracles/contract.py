"""What the issue promises for an order: which volumes, what is kept, and the optimum then."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import NamedTuple

from cubital.model import Order, Plan, Site
from tests.oracles.instance import Answer, Instance

Solve = Callable[[Instance], Answer | None]


class Promise(NamedTuple):
    """The volumes a plan must take and the optimum it must reach."""

    volumes: str
    answer: Answer


def promise(order: Order, site: Site, solve: Solve, *, budget_ul: int | None = None) -> Promise:
    """Typical volumes where they keep everything and the least blood is not the aim; else minimum volumes."""
    objective = order.objective or site.planning.objective
    if objective != "least-blood":
        typical = Instance.of(order, site, minimum=False, budget_ul=budget_ul)
        answer = _answer(typical, solve)
        if answer.kept == typical.everything:
            return Promise("typical", answer)
    return Promise("minimum", _answer(Instance.of(order, site, minimum=True, budget_ul=budget_ul), solve))


def _answer(instance: Instance, solve: Solve) -> Answer:
    answer = solve(instance)
    if answer is None:
        raise AssertionError("the oracle ran out of time")
    return answer


def value_of(plan: Plan, order: Order, site: Site) -> Promise:
    """What a plan reached, in the terms of a promise."""
    asked = Counter(r.rank for r in Instance.of(order, site, minimum=False).requests)
    left = Counter(("stat", "timed", "routine").index(entry.priority) for entry in plan.unplaced)
    kept = (asked[0] - left[0], asked[1] - left[1], asked[2] - left[2])
    totals = plan.totals
    return Promise(plan.volumes, Answer(kept, totals.tubes, totals.blood_ul, totals.preference))

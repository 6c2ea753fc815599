"""Orders of the shipped directory, tests for ice among them, reach the optimum of both solvers and verify."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from bench.solvers import SOLVERS
from msgspec.structs import replace

from cubital.app.wiring import open_site
from cubital.model import Ask, Order, Patient
from cubital.model.vocabulary import ObjectiveKey
from cubital.planning import Planner
from cubital.planning.verify import verify
from tests.oracles.contract import promise, value_of

OBJECTIVES: tuple[ObjectiveKey, ...] = ("fewest-tubes", "least-blood", "liked-kinds")
SITE = open_site()
SITE = replace(SITE, planning=replace(SITE.planning, blood_limit=None, reserve_percent=0))
# On this order a planner that put the tumour marker on ice reached a tube less than the oracles.
FOUND = (
    "glucose-tolerance-60-min", "glucose-6-phosphate-dehydrogenase", "hemoglobin", "lipoprotein-a", "porphyrins",
    "cancer-antigen-125", "inr", "theophylline", "prothrombin-time", "calcitonin", "gastrin", "hiv-viral-load",
)  # fmt: skip
# A tube that a straight needle cannot fill (perchloric acid of pyruvate) stands in no question of these.
FILLED = {key for key, kind in SITE.kinds.items() if kind.can_be_filled_by("straight-needle")}
ICED = tuple(
    sorted(
        key for key, test in SITE.tests.items()
        if "ice" in test.handling and any(tube in FILLED for accept in test.accepts for tube in accept.tubes)
    )
)  # fmt: skip
OTHERS = tuple(
    sorted(
        key for key, test in SITE.tests.items()
        if "ice" not in test.handling and not test.culture and test.moment != "newborn-screen"
        and test.bench != "point of care"
    )
)  # fmt: skip


def reaches_the_optimum(keys: tuple[str, ...], objective: ObjectiveKey, planner: Planner) -> bool:
    asks = tuple(Ask(test=key) for key in keys)
    order = Order(asks=asks, patient=Patient(hematocrit=Fraction(42, 100)), objective=objective)
    plan = planner.plan(order)
    assert plan.optimal
    assert verify(plan, order, SITE) == ()
    reached = value_of(plan, order, SITE)
    return all(promise(order, SITE, solver.solve) == reached for solver in SOLVERS.values())


@pytest.mark.parametrize("objective", OBJECTIVES)
def test_the_order_that_a_planner_and_the_oracles_once_packed_unlike_is_packed_alike(objective: ObjectiveKey) -> None:
    assert reaches_the_optimum(FOUND, objective, Planner(SITE))


@pytest.mark.parametrize("objective", OBJECTIVES)
def test_orders_with_tests_for_ice_among_others_reach_the_optimum(objective: ObjectiveKey) -> None:
    random, planner = Random(14), Planner(SITE)
    for _ in range(25):
        keys = (*random.sample(ICED, random.randint(1, 4)), *random.sample(OTHERS, random.randint(3, 8)))
        assert reaches_the_optimum(keys, objective, planner), keys

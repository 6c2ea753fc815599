"""Plans that throw blood away, are short of it or step cultures down reach the optimum of brute force and CP-SAT."""

from __future__ import annotations

from collections import Counter
from random import Random
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.model import Plan
from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.generators import FAMILIES, Case
from tests.generators.bedside import at_bedside
from tests.oracles import brute, cpsat, highs
from tests.oracles.contract import Promise, Solve, promise, value_of
from tests.oracles.instance import Instance

BLOCK = 20
ASKED: dict[str, dict[str, Any]] = {
    "one draw": {}, "one draw, limited": {"limited": True}, "two draws": {"draws": 2},
    "two draws, limited": {"draws": 2, "limited": True}, "cultures": {"draws": 2, "cultures": True},
    "cultures, limited": {"draws": 2, "cultures": True, "limited": True},
}  # fmt: skip


def a_case(family: str, seed: int, **asked: Any) -> Case:
    """The case of this family and seed at a bedside, the same every time."""
    random = Random(seed)
    return at_bedside(FAMILIES[family](random), random, **asked)


def faults(case: Case, *solvers: Solve) -> list[str]:
    """Every way in which the plan is not sound, not proved, or not what an oracle says."""
    order, site = case
    plan = plan_draw(order, site)
    found = [f"verify: {finding}" for finding in verify(plan, order, site)]
    if not plan.optimal:
        found.append("the plan does not call itself optimal")
    reached = value_of(plan, order, site)
    for solve in solvers:
        wanted = promise(order, site, solve, limit_ul=plan.totals.limit_ul)
        if wanted != reached:
            found.append(f"{order.access}: an oracle has {wanted}, the plan {reached}")
    return found


@pytest.mark.parametrize("asked", ASKED)
@pytest.mark.parametrize("block", range(4))
def test_small_orders_at_a_bedside_reach_the_optimum_of_brute_force(asked: str, block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        assert not faults(a_case("small", seed, **ASKED[asked]), brute.solve), seed


@pytest.mark.parametrize("asked", ["one draw, limited", "two draws", "two draws, limited", "cultures, limited"])
def test_medium_orders_at_a_bedside_reach_the_optimum_of_cp_sat(asked: str) -> None:
    for seed in range(200, 208):
        assert not faults(a_case("medium", seed, **ASKED[asked]), cpsat.solve), seed


@pytest.mark.parametrize("seed", range(300, 310))
def test_medium_orders_of_one_draw_reach_the_optimum_of_highs(seed: int) -> None:
    assert not faults(a_case("medium", seed, limited=seed % 2 == 0), highs.solve)


@pytest.mark.parametrize("seed", range(80))
def test_the_oracles_agree_on_what_draws_owe(seed: int) -> None:
    order, site = a_case("small", seed, draws=2)
    for objective in ("fewest-tubes", "least-blood", "liked-kinds"):
        for budget_ul in (None, 6000):
            instance = Instance.of(order, site, minimum=True, objective=objective, budget_ul=budget_ul)
            wanted = brute.solve(instance)
            for form in ("patterns", "assignment"):
                assert cpsat.solve(instance, form=form) == wanted
            assert highs.solve(instance) == wanted


@pytest.mark.parametrize("limited", [False, True])
@pytest.mark.parametrize("block", range(3))
def test_a_reserve_is_kept_as_far_as_it_costs_no_tube_and_no_liking(block: int, limited: bool) -> None:
    """By needle and uncounted, where lots share nothing, so that the oracle can say how far."""
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = a_case("small", seed, limited=limited, reserve=True)
        kinds = {
            key: replace(kind, sizes=tuple(replace(size, in_stock=None) for size in kind.sizes))
            for key, kind in site.kinds.items()
        }
        case = Case(replace(order, access="straight-needle"), replace(site, kinds=kinds))
        assert not faults(case, brute.solve), seed


def _packing_kinds(wanted: Promise, instance: Instance) -> list[str]:
    """For each draw of an oracle's packing with a ratio tube: whether a discard is owed, spared or not asked for."""
    found = []
    for toll in instance.tolls:
        here = [
            instance.sizes[tube.size]
            for tube in wanted.answer.packing
            if instance.requests[tube.requests[0]].draw == toll.draw
        ]
        ratio = [size for size in here if size.additive in toll.additives]
        if ratio and toll.is_sparable:
            is_spared = toll.owed_ul((size.additive, size.place) for size in here) == toll.always_ul
            found.append("spared" if is_spared else "owed")
        elif toll.ratio_ul:
            found.append("coagulation" if ratio else "no ratio tube")
    return found


def test_the_orders_at_a_bedside_hold_what_a_discard_can_meet() -> None:
    """Among them discards are owed, spared and avoided, tests and cultures left out, and cultures stepped down."""
    tally = Counter[str]()
    for seed in range(200):
        order, site = a_case("small", seed, limited=True, draws=2, cultures=seed % 2 == 0)
        plan: Plan = plan_draw(order, site)
        tally[order.access] += 1
        tally[plan.objective] += 1
        tally["left out"] += bool(plan.unplaced)
        tally["kept by the collector"] += bool(order.keep)
        tally["thrown away"] += plan.totals.discard_ul > 0
        tally["returned"] += plan.totals.returned_ul > 0
        tally["culture drawn"] += any(tube.purpose == "culture" for tube in plan.tubes)
        reached = value_of(plan, order, site)
        tally["culture short"] += reached.culture_ul > 0 and any(ul >= 500 for ul in reached.loss)
        free = Case(order, replace(site, planning=replace(site.planning, blood_limit=None)))
        wanted = promise(*free, brute.solve)
        instance = Instance.of(
            *free, minimum=wanted.volumes == "minimum", objective=wanted.objective,
            bottled=[str(ask.at_min or 0) for ask in order.asks if site.tests[ask.test].culture],
        )  # fmt: skip
        tally.update(_packing_kinds(wanted, instance))
    least = {
        "winged-set": 50, "line": 50, "left out": 80, "kept by the collector": 15, "thrown away": 25, "returned": 5,
        "culture drawn": 20, "culture short": 10, "owed": 15, "spared": 3, "coagulation": 10, "no ratio tube": 40,
        "fewest-tubes": 60, "least-blood": 30, "liked-kinds": 8,
    }  # fmt: skip
    assert {what: tally[what] for what in least if tally[what] < least[what]} == {}

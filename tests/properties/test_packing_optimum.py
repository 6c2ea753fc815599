"""The planner reaches the optimum that brute force, HiGHS and CP-SAT reach, and its plans verify."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from random import Random
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from msgspec.structs import replace

from cubital.model import Order, Patient, Site, Test, Tube, TubeKind
from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.generators import Case, medium, small
from tests.generators.strategies import cases
from tests.oracles import brute
from tests.oracles.campaign import compare, make_case
from tests.oracles.contract import promise, value_of

BLOCK = 20


@pytest.mark.parametrize("block", range(20))
def test_small_orders_reach_the_optimum_of_every_oracle(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        faults = compare(make_case("small", seed, budget=False), ("brute", "highs", "cpsat"))
        assert not faults, (seed, faults)


@pytest.mark.parametrize("block", range(15))
def test_small_orders_under_a_blood_limit_reach_the_optimum_of_every_oracle(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        faults = compare(make_case("small", seed, budget=True), ("brute", "cpsat"))
        assert not faults, (seed, faults)


@pytest.mark.parametrize("block", range(10))
def test_medium_orders_reach_the_optimum_of_highs_and_cp_sat(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        faults = compare(make_case("medium", seed, budget=False), ("highs", "cpsat"))
        assert not faults, (seed, faults)


@pytest.mark.parametrize("block", range(5))
def test_medium_orders_under_a_blood_limit_reach_the_optimum_of_both_solvers(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        faults = compare(make_case("medium", seed, budget=True), ("highs", "cpsat"))
        assert not faults, (seed, faults)


@pytest.mark.parametrize("block", range(3))
def test_realistic_orders_reach_the_optimum_of_highs_and_cp_sat(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        faults = compare(make_case("realistic", seed, budget=seed % 3 == 0), ("highs", "cpsat"))
        assert not faults, (seed, faults)


@pytest.mark.parametrize("seed", range(6))
def test_hard_orders_reach_the_optimum_of_cp_sat(seed: int) -> None:
    faults = compare(make_case("hard", seed, budget=False), ("cpsat",))
    assert not faults, faults


def test_a_blood_limit_cuts_into_many_of_the_limited_orders() -> None:
    """Otherwise the comparison under a limit would compare nothing."""
    plans = [plan_draw(*make_case("small", seed, budget=True)) for seed in range(300)]
    assert sum(plan.totals.limit_ul is not None for plan in plans) == 300
    assert sum(bool(plan.unplaced) for plan in plans) >= 60
    assert sum(plan.volumes == "minimum" and plan.objective == "fewest-tubes" for plan in plans) >= 40
    assert sum(not plan.unplaced for plan in plans) >= 60


@settings(max_examples=150, deadline=None)
@given(cases())
def test_whatever_the_site_a_plan_verifies_and_reaches_the_optimum(case: Case) -> None:
    plan = plan_draw(*case)
    assert verify(plan, *case) == ()
    assert value_of(plan, *case) == promise(*case, brute.solve)


# What may never make a plan worse


class Reached(NamedTuple):
    """A plan's worth: what it loses by rank, typical volumes before minimum, then the objective."""

    loss: tuple[int, ...]
    volumes: str
    objective: tuple[int, int, int]


def reach(order: Order, site: Site) -> Reached:
    plan = plan_draw(order, site)
    value = value_of(plan, order, site)
    return Reached(value.loss, plan.volumes, value.levels)


def assert_no_worse(after: Reached, before: Reached, *, but_fewer: bool = False) -> None:
    """Loses no more, does not fall to minimum volumes, and is no dearer where both are the same."""
    if not but_fewer:
        assert after.loss <= before.loss
    if after.loss == before.loss or but_fewer:
        assert not (before.volumes == "typical" and after.volumes == "minimum")
        if after.volumes == before.volumes:
            assert after.objective <= before.objective


def with_sizes(site: Site, change: Callable[[Tube], Tube]) -> Site:
    def changed(kind: TubeKind) -> TubeKind:
        return replace(kind, sizes=tuple(change(size) for size in kind.sizes))

    return replace(site, kinds={key: changed(kind) for key, kind in site.kinds.items()})


def with_tests(site: Site, change: Callable[[Test], Test]) -> Site:
    return replace(site, tests={key: change(test) for key, test in site.tests.items()})


@pytest.mark.parametrize("family", [small, medium])
@pytest.mark.parametrize("block", range(5))
def test_more_stock_never_makes_a_plan_worse(family: Callable[[Random], Case], block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = family(Random(seed))
        more = with_sizes(
            site, lambda size: replace(size, in_stock=None if size.in_stock is None else size.in_stock + 1)
        )
        assert_no_worse(reach(order, more), reach(order, site))


@pytest.mark.parametrize("family", [small, medium])
@pytest.mark.parametrize("block", range(5))
def test_smaller_volumes_never_make_a_plan_worse(family: Callable[[Random], Case], block: int) -> None:
    def lessen(test: Test) -> Test:
        accepts = tuple(
            replace(a, volume_ul=(a.volume_ul + 1) // 2, minimum_ul=(a.minimum_ul + 1) // 2)
            for a in test.accepts
        )
        return replace(test, accepts=accepts)

    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = family(Random(seed))
        assert_no_worse(reach(order, with_tests(site, lessen)), reach(order, site))


@pytest.mark.parametrize("block", range(5))
def test_a_lower_hematocrit_never_makes_a_plan_worse(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = medium(Random(seed))
        planning = replace(site.planning, hematocrit=Fraction(25, 100))
        assert_no_worse(reach(order, replace(site, planning=planning)), reach(order, site))


@pytest.mark.parametrize("block", range(5))
def test_benches_that_share_never_make_a_plan_worse(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = medium(Random(seed))
        benches = tuple(sorted({test.bench for test in site.tests.values()}))
        planning = replace(site.planning, share_benches=(benches,))
        assert_no_worse(reach(order, replace(site, planning=planning)), reach(order, site))


@pytest.mark.parametrize("block", range(5))
def test_one_test_less_never_makes_a_plan_of_all_tests_dearer(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = medium(Random(seed))
        before = reach(order, site)
        if not any(before.loss):
            less = replace(order, asks=order.asks[1:])
            assert_no_worse(reach(less, site), before, but_fewer=True)


@pytest.mark.parametrize("block", range(5))
def test_a_higher_blood_limit_never_makes_a_plan_worse(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = make_case("small", seed, budget=True)
        patient = order.patient
        assert patient.weight_g is not None
        heavier: Patient = replace(patient, weight_g=patient.weight_g * 2, drawn_ul=0)
        if (patient.weight_g <= 2000) != (patient.weight_g * 2 <= 2000):
            continue  # the shipped limit takes another blood volume per kilogram there
        assert_no_worse(reach(replace(order, patient=heavier), site), reach(order, site))


@pytest.mark.parametrize("block", range(5))
def test_the_order_of_asks_tests_and_kinds_changes_nothing_that_counts(block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        order, site = medium(Random(seed))
        random = Random(seed)
        asks, tests, stocked = list(order.asks), list(site.tests.items()), list(site.kinds.items())
        for listed in (asks, tests, stocked):
            random.shuffle(listed)
        shuffled = replace(site, tests=dict(tests), kinds=dict(stocked))
        assert reach(replace(order, asks=tuple(asks)), shuffled) == reach(order, site)


@pytest.mark.parametrize("seed", range(20))
def test_the_same_question_gets_the_same_plan_twice(seed: int) -> None:
    case = medium(Random(seed))
    assert plan_draw(*case) == plan_draw(*case)

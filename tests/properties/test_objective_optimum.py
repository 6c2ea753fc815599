"""The packing by each objective, with tests of many ranks, reaches the optimum of every oracle."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import chain, combinations
from random import Random
from typing import NamedTuple, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace as change

from cubital.errors import NoTube, PlanError
from cubital.model import Site
from cubital.planning.choices import Shelf, Wanted, lots_of
from cubital.planning.cost import PackObjective, levels_of
from cubital.planning.packing import pack
from cubital.planning.parts import Packing
from tests.generators import FAMILIES
from tests.oracles import brute, cpsat, highs
from tests.oracles.contract import Solve
from tests.oracles.instance import Answer, Instance
from tests.unit.planning.test_packing import kind, needs

OBJECTIVES: tuple[PackObjective, ...] = get_args(PackObjective)
BLOCK = 20
CUT = (0, 1, 4, 15)


class Asked(NamedTuple):
    """One question as the packing takes it and as the oracles do."""

    shelf: Shelf
    wanted: list[Wanted]
    instance: Instance


def ask(
    family: str, seed: int, objective: PackObjective, *, ranks: int = 1, is_alone: bool = False, unused: bool = False
) -> Asked | None:
    """The generated order of this seed at minimum volumes, its tests of so many ranks; None where one fits no tube.

    With `unused` the stock begins and ends with a kind that no test accepts.
    """
    random = Random(seed)
    order, site = FAMILIES[family](random)
    if unused:
        extra = {key: kind(key, (100, None), (9000, None)) for key in ("first-unused", "last-unused")}
        kinds = {"first-unused": extra["first-unused"], **site.kinds, "last-unused": extra["last-unused"]}
        site = change(site, kinds=kinds)
    shelf = Shelf(site, access=order.access, on=order.on, hematocrit=site.planning.hematocrit or Fraction(9, 20))
    plain = Instance.of(order, site, minimum=True)
    lots = lots_of(site)
    wanted, requests = [], []
    for request in plain.requests:
        at_min, key = request.name.split("/", 1)
        test, rank = site.tests[key], random.randrange(ranks)
        try:
            ways = shelf.ways_for(test, minimum=True)
        except NoTube:
            return None
        alone = shelf.alone_for(test, minimum=True) if is_alone else None
        lot = (int(at_min), lots.get(test.bench, test.bench))
        wanted.append(Wanted(key, int(at_min), rank, lot, test.own_tube, ways, alone))
        requests.append(replace(request, rank=rank))
    return Asked(shelf, wanted, replace(plain, requests=tuple(requests), objective=objective))


def reached(asked: Asked, packing: Packing) -> Answer:
    """What a packing comes to, in the terms of the oracles."""
    kept = set(range(len(asked.wanted))) - set(packing.dropped)
    assert sorted(n for tube in packing.tubes for n in tube.members) == sorted(kept)
    assert sum(asked.shelf.items[tube.item][1].draw_ul for tube in packing.tubes) == packing.cost[1]
    return Answer(asked.instance.count_ranks(kept), *packing.cost)


def worth(asked: Asked, packing: Packing) -> tuple[object, ...]:
    """What is kept rank by rank, then the levels of the objective: the smaller the better."""
    assert asked.instance.objective in OBJECTIVES
    answer = reached(asked, packing)
    return tuple(-count for count in answer.kept), levels_of(asked.instance.objective, *packing.cost)


def faults(asked: Asked, solvers: tuple[Solve, ...], budget_ul: int | None) -> list[str]:
    """Every way in which the packing and an oracle differ, all tests kept or as many as can be."""
    asked = asked._replace(instance=replace(asked.instance, budget_ul=budget_ul))
    objective = asked.instance.objective
    assert objective in OBJECTIVES
    packing = pack(asked.shelf, asked.wanted, objective=objective, budget_ul=budget_ul)
    kept_all = packing is not None
    if packing is None:
        packing = pack(asked.shelf, asked.wanted, objective=objective, budget_ul=budget_ul, may_drop=True)
        assert packing is not None
    found = []
    if not packing.finished or packing.bound != packing.cost:
        found.append(f"{packing.bound} is proved of {packing.cost}")
    ours = reached(asked, packing)
    if kept_all != (ours.kept == asked.instance.everything):
        found.append(f"{ours.kept} are kept where all were {'' if kept_all else 'not '}said to fit")
    for solve in solvers:
        answer = solve(asked.instance)
        if answer != ours:
            found.append(f"{objective} within {budget_ul}: the packing reached {ours}, an oracle {answer}")
    return found


@pytest.mark.parametrize("objective", OBJECTIVES)
@pytest.mark.parametrize("block", range(10))
def test_small_orders_reach_the_optimum_of_brute_force_by_every_objective(objective: PackObjective, block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        for budget_ul in (None, 3000, 7000):
            asked = ask("small", seed, objective, ranks=1 + seed % 5, is_alone=seed % 2 == 0)
            if asked is not None:
                assert faults(asked, (brute.solve,), budget_ul) == [], seed


@pytest.mark.parametrize("objective", OBJECTIVES)
@pytest.mark.parametrize("block", range(3))
def test_medium_orders_reach_the_optimum_of_cp_sat_by_every_objective(objective: PackObjective, block: int) -> None:
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        asked = ask("medium", seed, objective, ranks=1 + seed % 12)
        if asked is not None:
            assert faults(asked, (cpsat.solve,), (None, 6000, 15000)[seed % 3]) == [], seed


def test_realistic_and_hard_orders_reach_the_optimum_of_highs_by_liked_kinds() -> None:
    for family, seeds in (("realistic", range(30)), ("hard", range(2))):
        for seed in seeds:
            asked = ask(family, seed, "liked-kinds")
            if asked is not None:
                assert faults(asked, (highs.solve,), None) == [], (family, seed)


def test_small_orders_leave_tests_out_and_choose_by_the_objective() -> None:
    """Otherwise the comparisons above would compare little."""
    left, apart = 0, 0
    for seed in range(200):
        found = [ask("small", seed, objective, ranks=1 + seed % 5) for objective in OBJECTIVES]
        asked = [one for one in found if one is not None]
        short = [pack(a.shelf, a.wanted, objective="liked-kinds", budget_ul=3000, may_drop=True) for a in asked[:1]]
        left += sum(packing is not None and bool(packing.dropped) for packing in short)
        whole = [pack(a.shelf, a.wanted, objective=o) for a, o in zip(asked, OBJECTIVES, strict=False)]
        apart += len({packing.cost for packing in whole if packing is not None}) > 1
    assert left >= 80
    assert apart >= 20


# What is left out


@pytest.mark.parametrize("objective", OBJECTIVES)
@pytest.mark.parametrize("block", range(3))
def test_what_is_left_out_is_least_rank_by_rank(objective: PackObjective, block: int) -> None:
    """By trying every set of tests: none that a packing holds keeps more of the first rank, then of the next."""
    for seed in range(block * BLOCK, (block + 1) * BLOCK):
        asked = ask("small", seed, objective, ranks=4)
        if asked is None:
            continue
        found = pack(asked.shelf, asked.wanted, objective=objective, budget_ul=4000, may_drop=True)
        assert found is not None
        numbers = range(len(asked.wanted))
        fitting = [
            kept
            for kept in chain.from_iterable(combinations(numbers, count) for count in range(len(numbers) + 1))
            if pack(asked.shelf, [asked.wanted[n] for n in kept], objective=objective, budget_ul=4000) is not None
        ]
        best = max(asked.instance.count_ranks(kept) for kept in fitting)
        assert asked.instance.count_ranks(set(numbers) - set(found.dropped)) == best, seed


@pytest.mark.parametrize("ranks", [(0, 1, 1), (253, 254, 254), (7, 200, 201)])
def test_one_test_of_a_rank_is_kept_before_all_of_every_later_rank(ranks: tuple[int, ...]) -> None:
    """The one needs the whole of the blood, the two others half of it each."""
    kinds = {"k": kind("k", (400, None), (800, None))}
    tests = {test.key: test for test in (needs("a", 700, "k"), needs("b", 300, "k"), needs("c", 300, "k"))}
    site = Site(name="invented", kinds=kinds, tests=tests)
    shelf = Shelf(site, access="straight-needle", on=None, hematocrit=Fraction(9, 20))
    wanted = [
        Wanted(test.key, 0, rank, (0, str(number)), False, shelf.ways_for(test, minimum=True))
        for number, (test, rank) in enumerate(zip(tests.values(), ranks, strict=True))
    ]
    found = pack(shelf, wanted, objective="fewest-tubes", budget_ul=800, may_drop=True)
    assert found is not None
    assert found.dropped == (1, 2)


@pytest.mark.parametrize("rank", [-1, 255, 1000])
def test_a_number_that_is_no_rank_is_refused_where_tests_may_be_left_out(rank: int) -> None:
    asked = ask("small", 1, "fewest-tubes")
    assert asked is not None
    wanted = [asked.wanted[0]._replace(rank=rank), *asked.wanted[1:]]
    with pytest.raises(PlanError, match=f"found rank {rank}; expected 0"):
        pack(asked.shelf, wanted, objective="fewest-tubes", budget_ul=100, may_drop=True)


def test_more_tests_than_a_rank_can_count_are_refused_where_some_may_be_left_out() -> None:
    asked = ask("small", 1, "fewest-tubes")
    assert asked is not None
    with pytest.raises(PlanError, match="found 256 tests; expected at most 255"):
        pack(asked.shelf, [asked.wanted[0]] * 256, objective="fewest-tubes", budget_ul=100, may_drop=True)


# What changes nothing, and what never makes it worse


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from(OBJECTIVES), st.sampled_from((None, 2000, 5000, 9000)))
def test_a_kind_that_no_test_accepts_changes_nothing(
    seed: int, objective: PackObjective, budget_ul: int | None
) -> None:
    asked, again = ask("small", seed, objective, ranks=3), ask("small", seed, objective, ranks=3, unused=True)
    if asked is None or again is None:
        return
    pairs = [
        pack(one.shelf, one.wanted, objective=objective, budget_ul=budget_ul, may_drop=budget_ul is not None)
        for one in (asked, again)
    ]
    first, second = pairs
    assert (first is None) == (second is None)
    if first is not None and second is not None:
        assert (reached(asked, first), first.bound) == (reached(again, second), second.bound)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from(OBJECTIVES), st.integers(0, 9000), st.integers(0, 4000))
def test_more_blood_never_keeps_less_and_never_costs_more(
    seed: int, objective: PackObjective, budget_ul: int, more_ul: int
) -> None:
    asked = ask("small", seed, objective, ranks=5)
    if asked is None:
        return
    worths = []
    for within_ul in (budget_ul, budget_ul + more_ul):
        found = pack(asked.shelf, asked.wanted, objective=objective, budget_ul=within_ul, may_drop=True)
        assert found is not None
        assert found.cost[1] <= within_ul
        worths.append(worth(asked, found))
    assert worths[1] <= worths[0]


@pytest.mark.parametrize("objective", OBJECTIVES)
@pytest.mark.parametrize("family", ["small", "medium"])
def test_a_search_that_is_cut_claims_no_more_than_it_proved(objective: PackObjective, family: str) -> None:
    unproved = 0
    for seed in range(60):
        asked = ask(family, seed, objective)
        if asked is None:
            continue
        whole = pack(asked.shelf, asked.wanted, objective=objective, may_drop=True)
        assert whole is not None
        for node_limit in CUT:
            try:
                found = pack(asked.shelf, asked.wanted, objective=objective, may_drop=True, node_limit=node_limit)
            except PlanError:
                continue
            assert found is not None
            best = levels_of(objective, *whole.cost)
            if not found.dropped and not whole.dropped:
                assert levels_of(objective, *found.bound) <= best <= levels_of(objective, *found.cost)
            assert worth(asked, whole) <= worth(asked, found)
            assert not found.finished or worth(asked, whole) == worth(asked, found)
            unproved += not found.finished
    assert unproved >= (3 if family == "medium" else 0)

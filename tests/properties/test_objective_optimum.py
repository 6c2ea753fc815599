"""The packing by each objective, with tests of many ranks, reaches the optimum of every oracle."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import NamedTuple, get_args

import pytest

from cubital.errors import NoTube
from cubital.planning.choices import Shelf, Wanted, lots_of
from cubital.planning.cost import PackObjective
from cubital.planning.packing import pack
from cubital.planning.parts import Packing
from tests.generators import FAMILIES
from tests.oracles import brute
from tests.oracles.contract import Solve
from tests.oracles.instance import Answer, Instance

OBJECTIVES: tuple[PackObjective, ...] = get_args(PackObjective)
BLOCK = 20


class Asked(NamedTuple):
    """One question as the packing takes it and as the oracles do."""

    shelf: Shelf
    wanted: list[Wanted]
    instance: Instance


def ask(family: str, seed: int, objective: PackObjective, *, ranks: int = 1, is_alone: bool = False) -> Asked | None:
    """The generated order of this seed at minimum volumes, its tests of so many ranks; None where one fits no tube."""
    random = Random(seed)
    order, site = FAMILIES[family](random)
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

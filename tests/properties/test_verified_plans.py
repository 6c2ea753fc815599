"""Plans of hundreds of random orders of the shipped directory, and of the demo, in which the verifier finds nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from random import Random

import pytest
from msgspec.structs import replace

from cubital.errors import CubitalError
from cubital.model import Order, Plan, Site
from cubital.planning import Planner
from cubital.planning.verify import verify
from tests.generators.shipped_orders import CULTURES, shipped_order, shipped_sites
from tests.unit.planning.verify.sound_plan import settled

SITES = shipped_sites()
PLANNERS = tuple(Planner(site) for site in SITES)
BLOCKS, SEEDS = 4, 200
NEWBORN_H = 24 * 28


def planned(block: int) -> Iterator[tuple[int, Plan, Order, Site]]:
    """The plans of a block of seeds, each with its order and site; what the planner refuses is passed over."""
    for seed in range(block * SEEDS, (block + 1) * SEEDS):
        number = seed % len(SITES)
        order = shipped_order(Random(seed), SITES[number])
        try:
            plan = PLANNERS[number].plan(order)
        except CubitalError:
            continue
        yield seed, plan, order, SITES[number]


def kinds_of_order(plan: Plan, order: Order) -> Iterator[str]:
    """What this order has that the verifier must judge."""
    age_h = order.patient.age_h
    yield "plan"
    if any(ask.test in CULTURES for ask in order.asks):
        yield "culture"
    if sum(any(tube.draw == draw.number for tube in plan.tubes) for draw in plan.draws) > 1:
        yield "several draws"
    if any(draw.due_from is not None or draw.due_to is not None for draw in plan.draws):
        yield "instants"
    if age_h is not None and age_h < NEWBORN_H:
        yield "newborn"
    if any(tube.purpose == "discard" for tube in plan.tubes):
        yield f"discard by {order.access}"
    if any(tube.returned for tube in plan.tubes):
        yield "returned"
    if order.place is not None:
        yield "travel"
    if any(caution.level == "stop" and caution.about in {t for tube in plan.tubes for t in tube.tests}
           for caution in plan.cautions):  # fmt: skip
        yield "too late"
    if plan.unplaced:
        yield "left out"


EACH = (
    "culture", "several draws", "instants", "newborn", "discard by winged-set", "discard by line", "travel", "too late",
    "left out",
)  # fmt: skip


@pytest.mark.parametrize("block", range(BLOCKS))
def test_the_verifier_finds_nothing_wrong_with_what_is_planned(block: int) -> None:
    seen = Counter[str]()
    for seed, plan, order, site in planned(block):
        assert verify(plan, order, site) == (), seed
        seen.update(kinds_of_order(plan, order))
    assert seen["plan"] > SEEDS // 3
    assert all(seen[kind] for kind in EACH), seen


def test_two_draws_made_one_are_always_found() -> None:
    tried = 0
    for seed, plan, order, site in planned(BLOCKS):
        drawn = sorted({tube.draw for tube in plan.tubes})
        if len(drawn) < 2 or plan.unplaced:
            continue
        first, second = Random(seed).sample(drawn, 2)
        rows = sorted((replace(t, draw=first) if t.draw == second else t for t in plan.tubes), key=lambda t: t.draw)
        places = [1 + sum(other.draw == row.draw for other in rows[:n]) for n, row in enumerate(rows)]
        tubes = tuple(replace(row, position=place) for row, place in zip(rows, places, strict=True))
        findings = verify(settled(replace(plan, tubes=tubes)), order, site)
        assert [words for words in findings if "wants" not in words and "comes after" not in words], (seed, findings)
        tried += 1
    assert tried > SEEDS // 20


def test_a_plan_without_one_of_its_discards_is_always_found() -> None:
    tried = 0
    for seed, plan, order, site in planned(BLOCKS + 1):
        discards = [tube for tube in plan.tubes if tube.purpose == "discard"]
        for gone in discards[:1]:
            kept = [t for t in plan.tubes if t is not gone]
            tubes = tuple(replace(t, position=t.position - 1) if t.draw == gone.draw else t for t in kept)
            assert verify(settled(replace(plan, tubes=tubes)), order, site) != (), seed
            tried += 1
    assert tried > SEEDS // 20


def test_a_plan_for_a_place_farther_away_is_found_where_it_says_no_stop() -> None:
    tried = 0
    for seed, plan, order, site in planned(BLOCKS + 2):
        if order.place is not None:
            continue
        far = replace(order, place="island")
        late = PLANNERS[seed % len(SITES)].plan(far)
        if late.tubes == plan.tubes and late.cautions == plan.cautions:
            continue
        assert verify(late, far, site) == (), seed
        drawn = {test for tube in plan.tubes for test in tube.tests}
        stops = {caution.about for caution in late.cautions if caution.level == "stop"}
        if stops & drawn - {caution.about for caution in plan.cautions}:
            assert verify(plan, far, site) != (), seed
            tried += 1
    assert tried > SEEDS // 20

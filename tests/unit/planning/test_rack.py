"""Packed tubes as rows: a row asked for again is the same, at another position only its position differs."""

from __future__ import annotations

from random import Random

from msgspec.structs import replace

from cubital.model import Ask, Order, Patient
from cubital.planning import Planner
from tests.generators.cases import realistic_order, realistic_site
from tests.published.shipped import SHIPPED


def test_a_planner_that_has_planned_many_orders_gives_each_the_plan_that_a_new_planner_gives() -> None:
    random = Random(5)
    site = realistic_site(random)
    kept = Planner(site)
    for _ in range(60):
        access = random.choice(("straight-needle", "winged-set", "syringe"))
        order = replace(realistic_order(random, site), access=access)
        assert kept.plan(order) == Planner(site).plan(order)


def test_the_same_test_at_typical_and_at_minimum_volume_is_not_the_same_row() -> None:
    kept = Planner(SHIPPED)
    orders = [
        Order(asks=(Ask(test="potassium"),), patient=Patient(age_h=8766 * 40), objective=objective)
        for objective in ("fewest-tubes", "least-blood", "fewest-tubes")
    ]
    typical, minimum, again = (kept.plan(order).tubes[0] for order in orders)
    assert typical.needed_ul != minimum.needed_ul
    assert again == typical


def test_every_position_of_every_draw_counts_from_one() -> None:
    random = Random(6)
    kept = Planner(SHIPPED)
    by_needle = {key for key, kind in SHIPPED.kinds.items() if kind.can_be_filled_by("straight-needle")}
    # A test with a moment of its own is refused at a minute that contradicts it.
    keys = sorted(
        key
        for key, test in SHIPPED.tests.items()
        if test.moment is None and any(not by_needle.isdisjoint(way.tubes) for way in test.accepts)
    )
    for _ in range(60):
        asks = tuple(Ask(test=key, at_min=random.choice((0, 60))) for key in random.sample(keys, 8))
        plan = kept.plan(Order(asks=asks, access=random.choice(("winged-set", "straight-needle"))))
        for draw in plan.draws:
            here = [tube.position for tube in plan.tubes if tube.draw == draw.number]
            assert here == list(range(1, len(here) + 1))

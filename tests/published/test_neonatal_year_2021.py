"""Ann Clin Biochem 2021, doi 10.1177/00045632211030953 (abstract, authors not noted): one neonatal unit's year, 463
patients, 8,481 draws, 23,899 tests. Its order system asked for 11,222 mL in 18,509 containers; planning by minimum and
dead volumes, hematocrit and sharing came to 4,915 mL in 15,549.

The unit's own orders are not in it: ours is invented and only as large, so its volumes are no repeat of theirs. What is
checked is that the sizes agree, that every plan is sound and proved, and that no draw takes more for being planned.
"""

from __future__ import annotations

import pytest
from bench.neonatal_unit import CONTAINERS, DRAWS, PATIENTS, TESTS, fixed_size, unit_site, year
from bench.newborns import (
    MINIMUM_CONTAINERS,
    MINIMUM_ML,
    SEED,
    SYSTEM_CONTAINERS,
    SYSTEM_ML,
    by_fixed_size,
    by_plan,
)

from cubital.model import Order

SITE = unit_site()


@pytest.fixture(scope="module")
def orders() -> list[Order]:
    return year(SEED)


def test_the_published_saving_is_56_percent_of_the_blood_and_16_of_the_containers() -> None:
    assert (PATIENTS, DRAWS, TESTS) == (463, 8_481, 23_899)
    assert (SYSTEM_ML, SYSTEM_CONTAINERS, MINIMUM_ML, MINIMUM_CONTAINERS) == (11_222, 18_509, 4_915, 15_549)
    assert round(100 * (1 - MINIMUM_ML / SYSTEM_ML)) == 56
    assert round(100 * (1 - MINIMUM_CONTAINERS / SYSTEM_CONTAINERS)) == 16


def test_the_invented_year_is_as_large_as_the_published_one(orders: list[Order]) -> None:
    assert len(orders) == DRAWS
    assert sum(len(order.asks) for order in orders) == TESTS
    assert all(len({ask.test for ask in order.asks}) == len(order.asks) for order in orders)


def test_the_same_seed_makes_the_same_year_and_another_seed_another(orders: list[Order]) -> None:
    assert year(SEED) == orders
    assert year(SEED + 1) != orders


def test_over_half_of_the_draws_are_by_heel_and_none_of_those_for_coagulation(orders: list[Order]) -> None:
    by_heel = [order for order in orders if order.access == "skin-puncture"]
    assert 0.5 < len(by_heel) / len(orders) < 0.6
    assert not any(SITE.tests[ask.test].bench == "coagulation" for order in by_heel for ask in order.asks)


def test_fixed_size_practice_serves_every_test_once_and_no_two_benches_in_a_container(orders: list[Order]) -> None:
    for order in orders[::7]:
        for container in CONTAINERS:
            samples = fixed_size(order, SITE, container)
            assert sorted(test for s in samples for test in s.tests) == sorted(ask.test for ask in order.asks)
            assert all(len({SITE.tests[test].bench for test in s.tests}) == 1 for s in samples)
            assert all(s.draw_ul in {size.draw_ul for size in SITE.kinds[s.kind].sizes} for s in samples)


def test_no_draw_of_the_planned_year_takes_more_blood_or_more_containers(orders: list[Order]) -> None:
    some = orders[::9]
    usual, smallest = by_fixed_size(some, SITE, "usual"), by_fixed_size(some, SITE, "smallest")
    fewest, least = by_plan(some, SITE, "fewest-tubes"), by_plan(some, SITE, "least-blood")
    assert all(ours <= theirs for ours, theirs in zip(least.blood_ul, smallest.blood_ul, strict=True))
    assert all(ours <= theirs for ours, theirs in zip(fewest.containers, usual.containers, strict=True))
    assert sum(least.blood_ul) < sum(smallest.blood_ul) < sum(usual.blood_ul)
    assert sum(fewest.containers) < sum(usual.containers)
    assert least.large < usual.large

"""Tests whose handling opposes: never in one tube, and in no more tubes than a brute force needs."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement, product
from typing import Any

import pytest

from cubital.model import Test
from tests.unit.planning.test_packing import drawn, kind, needs, plan_of, site_of

# By hand and not of the facts: what shares no tube.
PAIRS = ({"ice", "no_chill"}, {"cold_spin", "room_temperature_spin"}, {"ice", "warm"}, {"warm", "no_chill"})
# Every handling of these terms that tests of the shipped directory have, and no handling.
HANDLINGS = (
    (), ("ice",), ("ice", "cold_spin"), ("cold_spin",), ("no_chill",), ("no_chill", "room_temperature_spin"),
    ("room_temperature_spin",),
)  # fmt: skip
TUBE = (kind("k", (1000, None)),)


def may_share(one: Test, other: Test) -> bool:
    a, b = set(one.handling), set(other.handling)
    return not any((pair & a) | (pair & b) == pair and pair & a != pair and pair & b != pair for pair in PAIRS)


def fewest(tests: tuple[Test, ...]) -> int:
    """The least number of tubes, by trying every way of giving each test one of them."""
    for count in range(1, len(tests) + 1):
        for places in product(range(count), repeat=len(tests)):
            if all(p != q or may_share(a, b) for (a, p), (b, q) in combinations(zip(tests, places, strict=True), 2)):
                return count
    raise AssertionError("each in a tube of its own is always a way")


def test_tests_for_ice_share_a_tube_though_one_is_spun_cold_and_another_test_warm() -> None:
    ammonia, lactate = needs("a", 100, "k", handling=("ice", "cold_spin")), needs("l", 100, "k", handling=("ice",))
    renin = needs("r", 100, "k", handling=("no_chill", "room_temperature_spin"))
    plan = plan_of(site_of(TUBE, ammonia, lactate, renin, needs("p", 100, "k")))
    assert drawn(plan) == [("k", 1000, ("a", "l")), ("k", 1000, ("p", "r"))]


@pytest.mark.parametrize("fields", [{"bench": "other"}, {"own_tube": True}])
def test_what_shares_no_tube_anyway_keeps_nothing_off_the_ice(fields: dict[str, Any]) -> None:
    renin = needs("r", 100, "k", handling=("no_chill",), **fields)
    site = site_of(TUBE, needs("i", 100, "k", handling=("ice",)), renin, needs("p", 100, "k"))
    assert sorted(drawn(plan_of(site))) == [("k", 1000, ("i", "p")), ("k", 1000, ("r",))]


def test_what_is_kept_warm_goes_apart_from_the_ice_and_the_rest_from_both() -> None:
    iced, warm = needs("i", 100, "k", handling=("ice",)), needs("w", 100, "k", handling=("warm",))
    plan = plan_of(site_of(TUBE, iced, warm, needs("n", 100, "k", handling=("no_chill",)), needs("p", 100, "k")))
    assert sorted(drawn(plan)) == [("k", 1000, ("i",)), ("k", 1000, ("n", "p")), ("k", 1000, ("w",))]


@pytest.mark.parametrize("count", [2, 3, 4])
def test_no_plan_takes_a_tube_more_than_a_brute_force_and_none_holds_what_opposes(count: int) -> None:
    for chosen in combinations_with_replacement(HANDLINGS, count):
        tests = tuple(needs(f"t{n}", 10, "k", handling=one) for n, one in enumerate(chosen))
        plan = plan_of(site_of(TUBE, *tests))
        assert len(plan.tubes) == fewest(tests), chosen
        of = {test.key: test for test in tests}
        assert all(may_share(of[a], of[b]) for tube in plan.tubes for a, b in combinations(tube.tests, 2)), chosen

"""Tests whose handling opposes: never in one tube, and in no more tubes than a brute force needs."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement, product

import pytest

from cubital.app.wiring import open_site
from cubital.model import Ask, Order, Test
from cubital.planning import Planner
from cubital.planning.verify import verify
from tests.unit.planning.test_packing import drawn, kind, needs, plan_of, site_of

# Every handling of these terms that tests of the shipped directory have, no handling, and what a site might add.
HANDLINGS = (
    (), ("ice",), ("ice", "cold_spin"), ("cold_spin",), ("no_chill",), ("no_chill", "room_temperature_spin"),
    ("room_temperature_spin",), ("warm",), ("ice", "room_temperature_spin"),
)  # fmt: skip
TUBE = (kind("k", (1000, None)),)


def stand(test: Test) -> tuple[str, str]:
    """By hand and not of the facts: where a tube of this test is kept until the spin, and how it is spun."""
    asked = set(test.handling)
    kept = "ice" if "ice" in asked else "37 C" if "warm" in asked else "room"
    is_cold = "cold_spin" in asked or (kept == "ice" and "room_temperature_spin" not in asked)
    return kept, "cold" if is_cold else "room"


def may_share(one: Test, other: Test) -> bool:
    return stand(one) == stand(other)


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


@pytest.mark.parametrize("asked", [("ice",), ("warm",), ("cold_spin",)])
def test_a_test_that_says_nothing_stays_in_the_room_whatever_else_is_ordered(asked: tuple[str, ...]) -> None:
    one, other = needs("i", 100, "k", handling=asked), needs("j", 100, "k", handling=asked)
    site = site_of(TUBE, one, other, needs("p", 100, "k"))
    assert sorted(drawn(plan_of(site))) == [("k", 1000, ("i", "j")), ("k", 1000, ("p",))]
    renin = needs("r", 100, "k", handling=("no_chill",))
    assert sorted(drawn(plan_of(site_of(TUBE, one, renin, needs("p", 100, "k"))))) == [
        ("k", 1000, ("i",)), ("k", 1000, ("p", "r")),
    ]  # fmt: skip


def test_a_marker_of_tumours_is_not_put_on_the_ice_of_calcitonin_and_gastrin() -> None:
    site = open_site()
    order = Order(asks=tuple(Ask(test=key) for key in ("cancer-antigen-125", "calcitonin", "gastrin")))
    plan = Planner(site).plan(order)
    assert sorted(tube.tests for tube in plan.tubes) == [("calcitonin", "gastrin"), ("cancer-antigen-125",)]
    assert verify(plan, order, site) == ()


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

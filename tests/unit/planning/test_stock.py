"""Whether a counted stock can hold tests at all: proved early, and never claimed of a stock that can."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, product
from random import Random

from cubital.planning import Planner
from cubital.planning.budget import least_blood_ul
from cubital.planning.choices import Shelf, Wanted, lots_of
from cubital.planning.question import ENDLESS
from cubital.planning.stock import WHOLE, Shares, fails_in_parts, fails_whole, least_left_out
from tests.oracles.campaign import make_case


def can_hold(tests: list[Shares], stock: dict[int, int]) -> bool:
    """By trying every piece for every test."""
    pieces = [(item, n) for item, count in stock.items() for n in range(count)]
    ways = [[piece for piece in pieces if piece[0] in shares] for shares in tests]
    for chosen in product(*ways):
        load = dict.fromkeys(pieces, 0)
        for piece, shares in zip(chosen, tests, strict=True):
            load[piece] += shares[piece[0]]
        if all(value <= WHOLE for value in load.values()):
            return True
    return False


def test_a_stock_that_can_hold_the_tests_is_never_said_to_fail_and_small_failures_are_found() -> None:
    random, found, missed = Random(4), 0, 0
    for _ in range(400):
        stock = {item: random.randint(0, 2) for item in range(3)}
        tests: list[Shares] = [
            {item: random.randint(WHOLE // 8, WHOLE) for item in random.sample(range(3), random.randint(1, 3))}
            for _ in range(random.randint(1, 5))
        ]
        if can_hold(tests, stock):
            assert not fails_in_parts(tests, stock)
            assert not fails_whole(tests, stock)
        elif fails_whole(tests, stock):
            found += 1
        else:
            missed += 1
    assert found > 100
    assert missed == 0


def test_as_many_tests_are_said_to_be_left_out_as_must_be() -> None:
    random = Random(14)
    some = 0
    for _ in range(150):
        stock = {item: random.randint(0, 2) for item in range(3)}
        tests: list[Shares] = [
            {item: random.randint(WHOLE // 3, WHOLE) for item in random.sample(range(3), random.randint(1, 2))}
            for _ in range(random.randint(1, 5))
        ]
        most = max(
            len(kept)
            for count in range(len(tests) + 1)
            for kept in combinations(tests, count)
            if can_hold(list(kept), stock)
        )
        assert least_left_out(tests, stock) == len(tests) - most
        some += most < len(tests)
    assert some > 30


def test_tests_that_the_stock_has_no_room_for_are_left_out_in_few_steps() -> None:
    order, site = make_case("medium", 9160, budget=False)
    plan = Planner(site, node_limit=400).plan(order)
    assert len(plan.unplaced) == 2
    assert plan.optimal


def test_a_share_of_a_whole_piece_fits_it_and_two_such_need_two_pieces() -> None:
    two: list[Shares] = [{0: WHOLE}, {0: WHOLE}]
    assert fails_whole(two, {0: 1})
    assert fails_in_parts(two, {0: 1})
    assert not fails_whole(two, {0: 2})
    assert not fails_in_parts(two, {0: 2})


def test_an_order_that_the_stock_cannot_hold_at_typical_volumes_is_known_before_the_search_is_long() -> None:
    order, site = make_case("medium", 150, budget=False)
    plan = Planner(site, node_limit=400).plan(order)
    assert plan.volumes == "minimum"
    assert plan.optimal


def test_the_least_blood_that_all_tests_may_take_is_never_above_what_a_packing_takes() -> None:
    random = Random(8)
    for seed in range(60):
        order, site = make_case(random.choice(("small", "medium", "realistic")), seed, budget=False)
        planner = Planner(site)
        plan = planner.plan(order)
        if plan.unplaced:
            continue
        hematocrit = site.planning.hematocrit
        assert hematocrit is not None
        shelf = Shelf(site, access=order.access, on=order.on, hematocrit=hematocrit)
        lots = lots_of(site)
        wanted = [
            Wanted(ask.test, 0, 2, (0, lots.get(test.bench, test.bench)), test.own_tube, ways)
            for ask in order.asks
            for test in [site.tests[ask.test]]
            for ways in [shelf.ways_for(test, minimum=plan.volumes == "minimum")]
        ]
        floor_ul = least_blood_ul(shelf, wanted)
        assert 0 < floor_ul <= plan.totals.blood_ul


def test_a_test_that_no_tube_holds_makes_the_least_blood_endless() -> None:
    order, site = make_case("small", 1, budget=False)
    shelf = Shelf(site, access=order.access, on=order.on, hematocrit=site.planning.hematocrit or Fraction(1, 2))
    assert least_blood_ul(shelf, [Wanted("t", 0, 2, (0, "b"), False, {})]) >= ENDLESS

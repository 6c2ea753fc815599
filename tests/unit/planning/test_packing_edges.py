"""The packing where stock, blood and room are just enough or just too little."""

from __future__ import annotations

from fractions import Fraction
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.model import Site
from cubital.planning.budget import least_blood_ul
from cubital.planning.choices import Shelf, Wanted
from cubital.planning.cost import PackObjective
from cubital.planning.few_tubes import two_tubes
from cubital.planning.packing import pack
from cubital.planning.parts import Packing
from tests.unit.planning.test_packing import drawn, kind, needs, plan_of, site_of


def wanted_of(site: Site, *, ranks: tuple[int, ...] = ()) -> tuple[Shelf, list[Wanted]]:
    """The shelf of this site and its tests as they are packed, all in one draw."""
    shelf = Shelf(site, access="straight-needle", on=None, hematocrit=Fraction(9, 20))
    given = ranks or (2,) * len(site.tests)
    return shelf, [
        Wanted(test.key, 0, rank, (0, test.bench), test.own_tube, shelf.ways_for(test, minimum=True))
        for test, rank in zip(site.tests.values(), given, strict=True)
    ]


def packed(site: Site, **asked: object) -> Packing | None:
    shelf, wanted = wanted_of(site, ranks=asked.pop("ranks", ()))  # type: ignore[arg-type]
    return pack(shelf, wanted, **asked)  # type: ignore[arg-type]


THREE = tuple(needs(key, 300, "k") for key in "abc")


def test_least_blood_holds_where_stock_and_blood_are_both_short() -> None:
    # One small tube is left, so two tubes (2,800 uL) beat both three small ones and the one large tube (3,000 uL).
    site = site_of((kind("k", (900, 1), (1900, 1), (3000, 1)),), *(needs(key, 800, "k") for key in "abc"))
    for budget_ul in (None, 3500):
        least = packed(site, objective="least-blood", budget_ul=budget_ul)
        fewest = packed(site, objective="fewest-tubes", budget_ul=budget_ul)
        assert least is not None
        assert fewest is not None
        assert (least.cost[:2], fewest.cost[:2]) == ((2, 2800), (1, 3000))
    assert packed(site, objective="least-blood", budget_ul=2799) is None
    dropped = packed(site, objective="least-blood", budget_ul=2799, may_drop=True)
    assert dropped is not None
    assert (len(dropped.dropped), dropped.cost[:2]) == (1, (1, 1900))


@pytest.mark.parametrize(
    ("budget_ul", "kept"), [(-1, 0), (0, 0), (399, 0), (400, 1), (799, 1), (800, 2), (1199, 2), (1200, 3)]
)
def test_each_microlitre_of_blood_keeps_what_it_can(budget_ul: int, kept: int) -> None:
    site = site_of((kind("k", (400, None)),), *THREE)
    found = packed(site, objective="fewest-tubes", budget_ul=budget_ul, may_drop=True)
    assert found is not None
    assert (3 - len(found.dropped), found.cost) == (kept, (kept, 400 * kept, 0))
    assert found.finished
    assert found.bound == found.cost
    assert (packed(site, objective="fewest-tubes", budget_ul=budget_ul) is None) == (kept < 3)


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0), (2, 0, 1)])
def test_the_most_urgent_test_is_kept_wherever_it_stands(order: tuple[int, ...]) -> None:
    site = site_of((kind("k", (400, None)),), *THREE)
    found = packed(site, objective="fewest-tubes", budget_ul=400, may_drop=True, ranks=order)
    assert found is not None
    assert [tube.members for tube in found.tubes] == [(order.index(0),)]


def test_with_nothing_left_in_stock_every_test_is_left_out() -> None:
    site = site_of((kind("k", (400, 1)),), *THREE)
    found = packed(site, objective="least-blood", may_drop=True)
    assert found is not None
    assert (len(found.dropped), found.cost) == (2, (1, 400, 0))
    assert packed(site, objective="least-blood") is None


def test_three_small_tubes_are_taken_where_they_take_less_than_two_or_one() -> None:
    site = site_of((kind("k", (400, None), (1300, None), (1500, None)),), *(needs(k, 300, "k") for k in "abc"))
    assert drawn(plan_of(site, objective="least-blood")) == [("k", 400, (key,)) for key in "abc"]
    shelf, wanted = wanted_of(site)
    assert two_tubes(shelf, wanted, [0, 1, 2], "least-blood") is None
    few = two_tubes(shelf, wanted, [0, 1, 2], "fewest-tubes")
    assert few is not None
    assert few.cost[:2] == (2, 400 + 1300)


def test_a_tube_that_is_just_full_and_one_that_is_just_too_small() -> None:
    full = site_of((kind("k", (700, None), (800, None)),), needs("a", 300, "k"), needs("b", 300, "k"))
    assert drawn(plan_of(full)) == [("k", 700, ("a", "b"))]
    over = site_of((kind("k", (699, None), (800, None)),), needs("a", 300, "k"), needs("b", 300, "k"))
    assert drawn(plan_of(over)) == [("k", 800, ("a", "b"))]


sizes = st.lists(st.integers(2, 12).map(lambda n: 100 * n + 100), min_size=1, max_size=3, unique=True)
volumes = st.lists(st.integers(1, 9).map(lambda n: 100 * n), min_size=1, max_size=5)


@settings(max_examples=150, deadline=None)
@given(sizes, volumes, st.booleans())
def test_no_packing_takes_less_than_the_bound_on_blood(
    draws_ul: list[int], volumes_ul: list[int], apart: bool
) -> None:
    largest_ul = max(draws_ul) - 100
    tests = [
        needs(f"t{n}", min(volume_ul, largest_ul), "k", bench=f"bench-{n % 2 if apart else 0}")
        for n, volume_ul in enumerate(volumes_ul)
    ]
    site = site_of((kind("k", *((ul, None) for ul in draws_ul)),), *tests)
    shelf, wanted = wanted_of(site)
    for objective in get_args(PackObjective):
        found = pack(shelf, wanted, objective=objective)
        assert found is not None
        assert least_blood_ul(shelf, wanted) <= found.cost[1]
        exact = pack(shelf, wanted, objective=objective, budget_ul=found.cost[1])
        assert exact is not None
        assert exact.cost == found.cost
        assert len(wanted) > 1 or least_blood_ul(shelf, wanted) == found.cost[1]

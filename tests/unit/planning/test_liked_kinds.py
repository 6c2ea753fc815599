"""Fewest tubes, then the kinds that are liked, then blood: one tube, two, and more; counted stock; a cut search."""

from __future__ import annotations

import pytest

from cubital.model import Site
from cubital.planning.cost import PackObjective
from cubital.planning.liked import search_liked
from cubital.planning.places import Places
from cubital.planning.question import ENDLESS, Entry, Question
from tests.unit.planning.test_packing import drawn, kind, needs, plan_of, site_of
from tests.unit.planning.test_packing_edges import packed

LIKED: PackObjective = "liked-kinds"
# The kind that is liked comes in large tubes only.
LARGE_AND_SMALL = (kind("large", (5000, None), (3000, None)), kind("small", (1000, None)))


def site(*, apart: int = 1) -> Site:
    """So many tests that would rather have a large tube; a small tube holds one of them, a large one three or five."""
    return site_of(LARGE_AND_SMALL, *(needs(f"t{n}", 900, "large", "small") for n in range(apart)))


def test_one_tube_is_of_the_kind_that_is_liked_in_its_smallest_size() -> None:
    assert drawn(plan_of(site(), objective="liked-kinds")) == [("large", 3000, ("t0",))]
    assert drawn(plan_of(site(), objective="fewest-tubes")) == [("small", 1000, ("t0",))]


def test_fewer_tubes_come_before_the_kind_that_is_liked() -> None:
    tests = (needs("a", 900, "a-kind", "both"), needs("b", 900, "b-kind", "both"))
    kinds = (kind("a-kind", (1000, None)), kind("b-kind", (1000, None)), kind("both", (5000, None)))
    assert drawn(plan_of(site_of(kinds, *tests), objective="liked-kinds")) == [("both", 5000, ("a", "b"))]


@pytest.mark.parametrize(
    ("tests", "sizes"),
    [
        (3, [3000]), (4, [5000]), (5, [5000]), (6, [3000, 3000]), (7, [3000, 5000]), (9, [5000, 5000]),
        (11, [3000, 3000, 5000]), (12, [3000, 5000, 5000]), (15, [5000, 5000, 5000]),
    ],
)  # fmt: skip
def test_no_larger_size_is_taken_than_the_liked_kind_needs(tests: int, sizes: list[int]) -> None:
    found = plan_of(site(apart=tests), objective="liked-kinds")
    assert [(tube.kind, tube.draw_ul) for tube in sorted(found.tubes, key=lambda tube: tube.draw_ul)] == [
        ("large", size) for size in sizes
    ]
    assert found.totals.preference == 0


@pytest.mark.parametrize(("left", "preference"), [(0, 3), (1, 2), (2, 1), (3, 0), (None, 0)])
def test_a_liked_kind_is_taken_as_far_as_the_stock_goes(left: int | None, preference: int) -> None:
    kinds = (kind("large", (1000, left)), kind("small", (1000, None)))
    found = packed(site_of(kinds, *(needs(f"t{n}", 900, "large", "small") for n in range(3))), objective=LIKED)
    assert found is not None
    assert found.cost == found.bound == (3, 3000, preference)


@pytest.mark.parametrize(
    ("budget_ul", "cost"),
    [(10_000, (1, 3000, 0)), (3000, (1, 3000, 0)), (2999, (1, 1000, 1)), (1000, (1, 1000, 1))],
)
def test_within_a_budget_the_liked_kind_is_taken_where_there_is_blood_for_it(
    budget_ul: int, cost: tuple[int, int, int]
) -> None:
    found = packed(site(), objective=LIKED, budget_ul=budget_ul)
    assert found is not None
    assert found.cost == found.bound == cost


def test_below_every_tube_nothing_is_drawn() -> None:
    assert packed(site(), objective=LIKED, budget_ul=999) is None
    left = packed(site(), objective=LIKED, budget_ul=999, may_drop=True)
    assert left is not None
    assert (left.dropped, left.cost) == ((0,), (0, 0, 0))


# The search


def question(*needs_ul: int, stock: dict[int, int] | None = None) -> Question:
    """Tests that like lane 0 (sizes of 100 and 200) before lane 1 (size of 100); a size draws what it holds."""
    entries = (Entry(0, 100, 100, 0, ENDLESS), Entry(0, 200, 200, 1, ENDLESS), Entry(1, 100, 100, 2, ENDLESS))
    return Question(tuple({0: (need, 0), 1: (need, 1)} for need in needs_ul), entries, stock or {}, LIKED)


def test_the_search_takes_smaller_sizes_where_preference_and_tubes_stay_as_they_are() -> None:
    found = search_liked(question(90, 90, 90), node_limit=1000)
    assert found.finished
    assert found.cost == found.bound == (0, 2, 0, 300)
    assert sorted(found.taken) == [0, 1]


def test_a_counted_large_size_is_used_up_before_a_place_is_given_up() -> None:
    found = search_liked(question(90, 90, 90, 90, stock={0: 1, 1: 1}), node_limit=1000)
    assert found.cost == (0, 3, 1, 400)
    assert sorted(found.taken) == [0, 1, 2]


def test_a_search_that_is_cut_keeps_a_packing_and_a_bound_below_the_optimum() -> None:
    whole = search_liked(question(90, 90, 90, 60, 60), node_limit=1000)
    cut = search_liked(question(90, 90, 90, 60, 60), node_limit=0)
    assert cut.tube_of is not None
    assert not cut.finished
    assert cut.bound <= whole.cost <= cut.cost


def test_the_least_places_are_those_within_reach() -> None:
    asked = question(90, 150)
    places = Places(asked.tests, asked.entries)
    assert places.least(0, 0b111) == 0
    # Only the size of 200 holds the second test; the first goes into lane 1.
    assert places.least(0b10, 0b100) == 1
    assert places.least(0b01, 0b010) == 0
    assert places.without(0, 0b110, 0b11, 1) == 0

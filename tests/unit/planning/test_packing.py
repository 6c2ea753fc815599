"""Which tubes, and which test in which: single tubes, splits, shared stock, budgets, tests left out, a cut search."""

from __future__ import annotations

from fractions import Fraction
from random import Random
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.errors import NoTube, OrderError, PlanError
from cubital.model import Accept, Ask, Bound, Order, Plan, Planning, Site, Test, Totals, Tube, TubeKind
from cubital.model.vocabulary import ObjectiveKey, PriorityKey
from cubital.planning import Planner, plan_draw
from cubital.planning.verify import verify
from tests.generators import hard

EMPTY = 100  # the dead volume of every invented kind here


def kind(key: str, *sizes: tuple[int, int | None], additive: Any = "k2-edta") -> TubeKind:
    tubes = tuple(Tube(draw_ul=draw_ul, in_stock=in_stock) for draw_ul, in_stock in sizes)
    return TubeKind(key=key, name=key, additive=additive, sizes=tubes, dead_volume_ul={"whole-blood": EMPTY})


def needs(key: str, volume_ul: int, *kinds: str, minimum_ul: int | None = None, **fields: Any) -> Test:
    accept = Accept(matrix="whole-blood", tubes=kinds, volume_ul=volume_ul, minimum_ul=minimum_ul or volume_ul)
    return Test(**{"key": key, "name": key, "bench": "bench", "accepts": (accept,), **fields})


def site_of(kinds: tuple[TubeKind, ...], *tests: Test, **planning: Any) -> Site:
    return Site(
        name="invented",
        kinds={k.key: k for k in kinds},
        tests={t.key: t for t in tests},
        planning=Planning(blood_limit=None, hematocrit=Fraction("0.45"), **planning),
    )


def plan_of(site: Site, *keys: str, objective: ObjectiveKey = "fewest-tubes", **urgent: PriorityKey) -> Plan:
    asks = tuple(Ask(test=key, priority=urgent.get(key, "routine")) for key in keys or site.tests)
    order = Order(asks=asks, objective=objective)
    plan = plan_draw(order, site)
    assert verify(plan, order, site) == ()
    assert plan.optimal
    assert (plan.bound.tubes, plan.bound.blood_ul) == (plan.totals.tubes, plan.totals.blood_ul)
    return plan


def rank(value: Totals | Bound, objective: str) -> tuple[int, int, int]:
    first, second = value.tubes, value.blood_ul
    return (first, second, value.preference) if objective == "fewest-tubes" else (second, first, value.preference)


def drawn(plan: Plan) -> list[tuple[str, int, tuple[str, ...]]]:
    return sorted((tube.kind, tube.draw_ul, tuple(sorted(tube.tests))) for tube in plan.tubes)


def test_the_smallest_tube_that_holds_all_is_taken_to_the_last_microlitre() -> None:
    kinds = (kind("k", (1000, None), (2000, None)),)
    assert drawn(plan_of(site_of(kinds, needs("a", 500, "k"), needs("b", 400, "k")))) == [("k", 1000, ("a", "b"))]
    assert drawn(plan_of(site_of(kinds, needs("a", 500, "k"), needs("b", 401, "k")))) == [("k", 2000, ("a", "b"))]


def test_fewest_tubes_takes_one_large_tube_where_least_blood_takes_two_small_ones() -> None:
    site = site_of((kind("k", (1000, None), (3000, None)),), needs("a", 900, "k"), needs("b", 900, "k"))
    assert drawn(plan_of(site)) == [("k", 3000, ("a", "b"))]
    assert drawn(plan_of(site, objective="least-blood")) == [("k", 1000, ("a",)), ("k", 1000, ("b",))]


def test_least_blood_takes_minimum_volumes_and_fewest_tubes_the_typical_ones() -> None:
    site = site_of((kind("k", (500, None), (2000, None)),), needs("a", 1500, "k", minimum_ul=400))
    assert [(p.volumes, p.totals.blood_ul) for p in (plan_of(site), plan_of(site, objective="least-blood"))] == [
        ("typical", 2000), ("minimum", 500),
    ]  # fmt: skip


def test_of_equal_tubes_and_blood_the_preferred_kind_is_taken() -> None:
    kinds = (kind("k", (1000, None)), kind("l", (1000, None)))
    plan = plan_of(site_of(kinds, needs("a", 100, "l", "k"), needs("b", 100, "l", "k")))
    assert (drawn(plan), plan.totals.preference) == ([("l", 1000, ("a", "b"))], 0)
    mixed = plan_of(site_of(kinds, needs("a", 100, "l", "k"), needs("b", 100, "k")))
    assert (drawn(mixed), mixed.totals.preference) == ([("k", 1000, ("a", "b"))], 1)


def test_benches_share_a_tube_only_where_the_site_says_so() -> None:
    kinds = (kind("k", (1000, None)),)
    tests = needs("a", 100, "k", bench="one"), needs("b", 100, "k", bench="two"), needs("c", 100, "k", bench="three")
    assert len(plan_of(site_of(kinds, *tests)).tubes) == 3
    assert len(plan_of(site_of(kinds, *tests, share_benches=(("one", "two"),))).tubes) == 2
    assert len(plan_of(site_of(kinds, *tests, share_benches=(("one", "two", "three"),))).tubes) == 1
    with pytest.raises(PlanError, match=r"share_benches: found bench 'two' in two groups"):
        plan_of(site_of(kinds, *tests, share_benches=(("one", "two"), ("three", "two"))))


def test_a_test_with_a_tube_of_its_own_shares_with_nothing_and_takes_one_tube_only() -> None:
    alone = needs("b", 100, "k", own_tube=True)
    site = site_of((kind("k", (1000, None)),), needs("a", 100, "k"), alone, needs("c", 100, "k"))
    assert drawn(plan_of(site)) == [("k", 1000, ("a", "c")), ("k", 1000, ("b",))]


def test_iced_tests_share_no_tube_with_tests_that_must_not_be_chilled_and_others_stay_with_the_latter() -> None:
    iced, unchilled = needs("i", 100, "k", handling=("ice",)), needs("n", 100, "k", handling=("no_chill",))
    site = site_of((kind("k", (1000, None)),), iced, unchilled, needs("p", 100, "k"))
    assert drawn(plan_of(site)) == [("k", 1000, ("i",)), ("k", 1000, ("n", "p"))]
    assert drawn(plan_of(site, "i", "p")) == [("k", 1000, ("i",)), ("k", 1000, ("p",))]


def test_what_no_tube_holds_whole_is_split_over_several_and_never_a_test_itself() -> None:
    site = site_of((kind("k", (1000, None)),), needs("a", 600, "k"), needs("b", 600, "k"), needs("c", 300, "k"))
    assert len(plan_of(site).tubes) == 2
    with pytest.raises(NoTube, match=r"needs 0.901 mL; the largest usable tube of k yields 0.9 mL"):
        plan_of(site_of((kind("k", (1000, None)),), needs("a", 901, "k")))


def test_a_counted_size_is_shared_out_between_parts_that_would_each_take_it() -> None:
    kinds = (kind("k", (1000, 1), (2000, None)), kind("l", (3000, None)))
    tests = needs("a", 500, "k", bench="one"), needs("b", 500, "k", "l", bench="two")
    plan = plan_of(site_of(kinds, *tests))
    assert [(tube.kind, tube.draw_ul) for tube in plan.tubes] == [("k", 2000), ("k", 1000)]
    assert (plan.totals.blood_ul, plan.totals.preference) == (3000, 0)
    none = kind("k", (1000, 1)), kind("l", (3000, 1))
    assert drawn(plan_of(site_of(none, *tests))) == [("k", 1000, ("a",)), ("l", 3000, ("b",))]


def test_stock_that_cannot_hold_all_leaves_out_the_least_urgent_and_says_what_is_needed() -> None:
    site = site_of((kind("k", (1000, 1)),), needs("a", 600, "k"), needs("b", 600, "k"), needs("c", 200, "k"))
    plan = plan_of(site, b="stat")
    assert drawn(plan) == [("k", 1000, ("b", "c"))]
    assert [(u.test, u.priority) for u in plan.unplaced] == [("a", "routine")]
    assert "stock" in plan.unplaced[0].why
    assert plan.unplaced[0].needs.startswith("one more k of 1 mL")
    assert plan.volumes == "minimum"


def test_minimum_volumes_are_taken_before_a_test_is_left_out() -> None:
    tests = needs("a", 600, "k", minimum_ul=400), needs("b", 600, "k", minimum_ul=400)
    plan = plan_of(site_of((kind("k", (1000, 1)),), *tests))
    assert (plan.volumes, plan.unplaced) == ("minimum", ())
    assert any("minimum volumes: typical volumes do not fit" in caution.text for caution in plan.cautions)


def test_one_stat_test_is_kept_before_any_number_of_timed_and_routine_ones() -> None:
    tests = needs("s", 900, "k"), needs("t", 300, "k"), needs("r", 300, "k"), needs("q", 300, "k")
    plan = plan_of(site_of((kind("k", (1000, 1)),), *tests), s="stat", t="timed")
    assert [test for tube in plan.tubes for test in tube.tests] == ["s"]
    within_a_class = plan_of(site_of((kind("k", (1000, 1)),), *tests))
    assert [u.test for u in within_a_class.unplaced] == ["s"]


def test_a_cut_search_says_so_with_a_bound_that_no_solver_undercuts() -> None:
    cut, refused = 0, []
    for seed in range(12):
        case = hard(Random(seed))
        try:
            plan = Planner(case.site, node_limit=1).plan(case.order)
        except PlanError as error:
            refused.append(str(error))
            continue
        assert verify(plan, case.order, case.site) == ()
        whole = plan_draw(case.order, case.site)
        assert whole.optimal
        assert rank(plan.totals, plan.objective) >= rank(whole.totals, whole.objective)
        if not plan.optimal:
            cut += 1
            assert not plan.bound.finished
            assert rank(plan.bound, plan.objective) <= rank(whole.totals, whole.objective)
    assert cut
    assert all("cut off" in text for text in refused)


def test_an_order_of_more_tests_than_a_plan_takes_is_refused() -> None:
    tests = tuple(needs(f"t{n}", 10, "k") for n in range(251))
    site = site_of((kind("k", (3000, None)),), *tests)
    with pytest.raises(OrderError, match="at most 250"):
        plan_of(site)
    assert len(plan_of(site, *list(site.tests)[:250]).tubes) == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"accesses": ("skin-puncture",)}, "none of these can be filled by straight-needle"),
        ({"sizes": (Tube(draw_ul=1000, in_stock=0),)}, "every size of these is out of stock or expired"),
        ({"key": "other"}, "none of these is in the tube stock"),
    ],
)
def test_a_test_that_no_tube_serves_says_why(change: dict[str, Any], said: str) -> None:
    changed = replace(kind("k", (1000, None)), **change)
    with pytest.raises(NoTube, match=said) as caught:
        plan_of(site_of((changed,), needs("a", 100, "k")))
    assert caught.value.test == "a"


def test_a_kind_named_twice_counts_once_where_it_stands_first() -> None:
    accepts = (
        Accept(matrix="whole-blood", tubes=("l", "k"), volume_ul=100, minimum_ul=100),
        Accept(matrix="whole-blood", tubes=("l",), volume_ul=5000, minimum_ul=5000),
    )
    site = site_of((kind("k", (1000, None)), kind("l", (1000, None))), replace(needs("a", 1, "k"), accepts=accepts))
    assert drawn(plan_of(site)) == [("l", 1000, ("a",))]

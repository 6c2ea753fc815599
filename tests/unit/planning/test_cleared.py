"""What is thrown away before tubes, what is kept where it is short, and how far that is proved."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.model import Accept, Ask, Line, Order, Patient, Placing, Plan, Planning, Site, Test, Tube, TubeKind
from cubital.model.vocabulary import MatrixKey
from cubital.planning import plan_draw
from cubital.planning.verify import verify


def kind_of(key: str, additive: str, *draws_ul: int, **fields: object) -> TubeKind:
    liquid = {"citrate-9-1": 9, "citrate-4-1": 4}.get(additive)
    sizes = tuple(Tube(draw_ul=ul, liquid_additive_ul=ul // liquid if liquid else 0) for ul in draws_ul)
    return TubeKind(key=key, name=key, additive=additive, sizes=sizes, **fields)  # type: ignore[arg-type]


def a_test(key: str, matrix: MatrixKey, *kinds: str, **fields: object) -> Test:
    way = Accept(matrix=matrix, tubes=kinds, volume_ul=200, minimum_ul=100)
    return Test(key=key, name=key, bench=key, accepts=(way,), **fields)  # type: ignore[arg-type]


def a_site(*kinds: TubeKind, tests: tuple[Test, ...], **planning: object) -> Site:
    return Site(
        name="an invented site", kinds={kind.key: kind for kind in kinds}, tests={test.key: test for test in tests},
        planning=Planning(**{"blood_limit": None, **planning}),  # type: ignore[arg-type]
    )  # fmt: skip


def verified(order: Order, site: Site) -> Plan:
    plan = plan_draw(order, site)
    assert verify(plan, order, site) == ()
    return plan


def first_of(plan: Plan) -> tuple[str, int, int | None]:
    return plan.tubes[0].kind, plan.tubes[0].draw_ul, plan.tubes[0].size_ul


CITRATE = kind_of("citrate", "citrate-9-1", 1800)
INR = a_test("inr", "plasma", "citrate")


# The discard of a winged set


def test_a_tube_too_small_to_clear_the_air_is_thrown_away_only_where_there_is_no_larger_one() -> None:
    small, large = kind_of("small", "none", 300), kind_of("large", "none", 4000)
    order = Order(asks=(Ask(test="inr"),), access="winged-set")
    both = verified(order, a_site(small, large, CITRATE, tests=(INR,)))
    assert first_of(both) == ("large", 500, 4000)
    alone = replace(CITRATE, sizes=(Tube(draw_ul=300, liquid_additive_ul=33),))
    neither = verified(order, a_site(small, alone, tests=(INR,)))
    assert first_of(neither) == ("small", 300, None)
    assert neither.totals.discard_ul == 300


@pytest.mark.parametrize(("placing", "discards"), [("before", 0), ("with_kind", 1), ("after", 1)])
def test_a_tube_that_the_site_places_before_citrate_spares_its_discard(placing: str, discards: int) -> None:
    """Trace elements stand nowhere in CLSI's order; placed with citrate they stand behind it, as in the stock."""
    trace = kind_of("trace", "none", 2000, use="trace-element")
    site = a_site(
        CITRATE, trace, tests=(INR, a_test("zinc", "serum", "trace")), order_of_draw="clsi-gp41",
        placings=(Placing(kind="trace", **{placing: "citrate"}),),
    )  # fmt: skip
    plan = verified(Order(asks=(Ask(test="inr"), Ask(test="zinc")), access="winged-set"), site)
    assert sum(tube.purpose == "discard" for tube in plan.tubes) == discards
    assert plan.totals.blood_ul == plan.bound.blood_ul == 3800 + 500 * discards


def test_a_kind_that_nobody_places_refuses_no_order_that_does_without_it() -> None:
    trace = kind_of("trace", "none", 2000, use="trace-element")
    zinc = Test(key="zinc", name="zinc", bench="trace", accepts=(
        Accept(matrix="serum", tubes=("gel", "trace"), volume_ul=200, minimum_ul=100),
    ))  # fmt: skip
    site = a_site(
        CITRATE, trace, kind_of("gel", "clot-activator", 2000, gel=True), tests=(INR, zinc), order_of_draw="clsi-gp41"
    )
    plan = verified(Order(asks=(Ask(test="inr"), Ask(test="zinc")), access="winged-set"), site)
    assert [tube.kind for tube in plan.tubes if tube.purpose == "collect"] == ["citrate", "gel"]


# What is kept


def test_what_the_collector_keeps_stays_where_the_stock_is_short_too() -> None:
    counted = replace(CITRATE, sizes=(Tube(draw_ul=1800, liquid_additive_ul=200, in_stock=1),))
    site = a_site(counted, tests=(INR, a_test("dimer", "plasma", "citrate", own_tube=True, rank="can-wait")))
    order = Order(asks=(Ask(test="inr", priority="stat"), Ask(test="dimer")))
    assert [entry.test for entry in verified(order, site).unplaced] == ["dimer"]
    kept = verified(replace(order, keep=("dimer",)), site)
    assert [entry.test for entry in kept.unplaced] == ["inr"]


def test_of_two_cultures_of_unlike_bottles_the_one_that_gives_more_blood_is_kept() -> None:
    """A set takes 11 mL in two bottles, an aerobic culture alone 10 mL in one: of one urgency, the set is kept.

    Adult of 70 kg, least 10 mL; sets of 20 mL, and what the limit leaves is 11 mL and a little.
    """
    bottles = (
        kind_of("aerobic", "culture-medium", 10_000, use="culture-aerobic"),
        kind_of("anaerobic", "culture-medium", 10_000, use="culture-anaerobic"),
    )
    tests = (
        Test(key="set", name="set", bench="microbiology", culture="set"),
        Test(key="air", name="air", bench="microbiology", culture="aerobic"),
    )
    site = a_site(*bottles, tests=tests, blood_limit="hospital-2-5-percent")
    asks = (Ask(test="air"), Ask(test="set", at_min=60))
    grown = Patient(age_h=8766 * 40, weight_g=70_000)
    room = plan_draw(Order(asks=(asks[0],), patient=grown), site).totals.limit_ul
    assert room is not None
    plan = plan_draw(Order(asks=asks, patient=replace(grown, drawn_ul=room - 11_500)), site)
    assert [(tube.kind, tube.draw_ul) for tube in plan.tubes] == [("aerobic", 5500), ("anaerobic", 5500)]
    assert [entry.test for entry in plan.unplaced] == ["air"]


# How far it is proved


def a_hungry_line(*, in_stock: int | None) -> tuple[Order, Site]:
    """Eight draws from a line that is cleared before each, and blood for three of them."""
    edta = TubeKind(key="edta", name="edta", additive="k2-edta", sizes=(Tube(draw_ul=1000, in_stock=in_stock),))
    site = a_site(
        edta, CITRATE, tests=(a_test("count", "whole-blood", "edta"), INR), blood_limit="hospital-2-5-percent"
    )
    asks = [Ask(test=test, at_min=at_min) for at_min in range(0, 480, 60) for test in ("count", "inr")]
    grown = Patient(age_h=8766 * 40, weight_g=70_000)
    order = Order(
        asks=tuple(asks), patient=grown, access="line", line=Line(dead_space_ul=500, carried_anticoagulant=True)
    )
    limit_ul = plan_draw(replace(order, patient=grown), site).totals.limit_ul
    assert limit_ul is not None
    return replace(order, patient=replace(grown, drawn_ul=limit_ul - 10_000)), site


@pytest.mark.parametrize("in_stock", [None, 9], ids=["uncounted", "nine in stock"])
def test_many_draws_from_a_line_are_proved_though_each_may_begin_in_several_ways(in_stock: int | None) -> None:
    """A count takes 2 mL with its discard, a coagulation test 4.8 mL: of 10 mL five counts are drawn."""
    order, site = a_hungry_line(in_stock=in_stock)
    plan = verified(order, site)
    assert plan.optimal
    assert [tube.kind for tube in plan.tubes if tube.purpose == "collect"] == ["edta"] * 5
    assert plan.totals.all_blood_ul == 10_000


def test_draws_that_share_a_short_stock_are_packed_together() -> None:
    order, site = a_hungry_line(in_stock=4)
    plan = verified(order, site)
    assert sum(tube.kind == "edta" for tube in plan.tubes) == 4
    assert plan.totals.all_blood_ul <= 10_000

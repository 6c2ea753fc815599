"""What is thrown away before tubes, what is kept where it is short, and how far that is proved."""

from __future__ import annotations

from msgspec.structs import replace

from cubital.model import Accept, Ask, Order, Patient, Plan, Planning, Site, Test, Tube, TubeKind
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


def test_a_tube_too_small_to_clear_the_air_is_thrown_away_only_where_there_is_no_larger_one() -> None:
    small, large = kind_of("small", "none", 300), kind_of("large", "none", 4000)
    order = Order(asks=(Ask(test="inr"),), access="winged-set")
    both = verified(order, a_site(small, large, CITRATE, tests=(INR,)))
    assert first_of(both) == ("large", 500, 4000)
    alone = replace(CITRATE, sizes=(Tube(draw_ul=300, liquid_additive_ul=33),))
    neither = verified(order, a_site(small, alone, tests=(INR,)))
    assert first_of(neither) == ("small", 300, None)
    assert neither.totals.discard_ul == 300


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

"""What is thrown away before tubes, what is kept where it is short, and how far that is proved."""

from __future__ import annotations

from msgspec.structs import replace

from cubital.model import Accept, Ask, Order, Plan, Planning, Site, Test, Tube, TubeKind
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

"""Planning as a use case: the day of the draw, one order and many."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import msgspec
import pytest

from cubital.app.draws import Failure, dated, plan_order, plan_orders, verify_plan
from cubital.app.wiring import open_site
from cubital.errors import ExchangeError, NoTube, UnknownTest
from cubital.model import Ask, Order, Plan, Tube

DEMO = open_site(demo=True)
DAY = datetime.date(2026, 11, 25)


def order_of(*names: str, on: datetime.date | None = None) -> Order:
    return Order(asks=tuple(Ask(test=name) for name in names), on=on)


def test_an_order_without_a_day_gets_the_day_given() -> None:
    assert dated(order_of("K"), DAY).on == DAY


def test_an_order_without_a_day_gets_the_clocks_where_none_is_given() -> None:
    before = datetime.date.today()
    found = dated(order_of("K"), None).on
    assert found is not None
    assert before <= found <= datetime.date.today()


def test_an_order_keeps_its_own_day() -> None:
    own = datetime.date(2027, 1, 1)
    assert dated(order_of("K", on=own), DAY).on == own


def test_a_lot_is_used_on_its_last_day_and_not_after() -> None:
    lot = Tube(draw_ul=1800, liquid_additive_ul=200, expires=DAY)
    kind = msgspec.structs.replace(DEMO.kinds["citrate"], sizes=(lot,))
    site = msgspec.structs.replace(DEMO, kinds={**DEMO.kinds, "citrate": kind})
    assert plan_order(order_of("PT"), site, today=DAY).tubes[0].draw_ul == 1800
    with pytest.raises(NoTube):
        plan_order(order_of("PT"), site, today=DAY + datetime.timedelta(days=1))


def test_many_orders_keep_their_order_and_a_bad_one_stops_nothing() -> None:
    broken = Failure(line=2, error=ExchangeError("found nothing", where="x"), id="b")
    found = list(plan_orders([order_of("K"), broken, order_of("kk"), order_of("CBC")], DEMO, today=DAY))
    assert [type(each) for each in found] == [Plan, Failure, Failure, Plan]
    assert found[1] is broken
    assert isinstance(found[2], Failure)
    assert isinstance(found[2].error, UnknownTest)
    assert found[2].line == 3


def test_many_orders_are_taken_one_at_a_time() -> None:
    taken = 0

    def endless() -> Iterator[Order]:
        nonlocal taken
        while True:
            taken += 1
            yield order_of("K")

    found = plan_orders(endless(), DEMO, today=DAY)
    next(found)
    next(found)
    assert taken == 2


def test_a_plan_of_an_undated_order_is_sound_to_the_verifier() -> None:
    order = order_of("K", "PT", "CBC")
    assert verify_plan(plan_order(order, DEMO), order, DEMO) == ()

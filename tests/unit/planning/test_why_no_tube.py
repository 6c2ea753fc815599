"""Why no tube serves a test: the message names what was asked for, what stands in the way and what to do."""

from __future__ import annotations

from datetime import date

import pytest

from cubital.errors import NoTube
from cubital.model import Accept, Order, Site, Test, Tube, TubeKind
from cubital.model import Ask as AskFor
from cubital.planning import plan_draw

EDTA = TubeKind(key="edta", name="EDTA", additive="k2-edta", sizes=(Tube(draw_ul=2000),))
OTHER = TubeKind(key="other", name="other EDTA", additive="k2-edta", sizes=(Tube(draw_ul=1000),))


def refusal(*kinds: TubeKind, tubes: tuple[str, ...] = ("edta", "other", "edta"), needs_ul: int = 100) -> NoTube:
    accepts = (Accept(matrix="whole-blood", tubes=tubes, volume_ul=needs_ul, minimum_ul=needs_ul),)
    test = Test(key="t", name="a test", bench="b", accepts=accepts)
    site = Site(name="s", kinds={kind.key: kind for kind in kinds}, tests={"t": test})
    with pytest.raises(NoTube) as told:
        plan_draw(Order(asks=(AskFor(test="t"),), on=date(2027, 1, 1)), site)
    assert (told.value.test, told.value.where) == ("t", "test t")
    return told.value


def test_no_kind_it_accepts_is_stocked() -> None:
    assert refusal(OTHER, tubes=("edta", "third")).message == (
        "it accepts edta, third; none of these is in the tube stock; stock one or change the directory"
    )


def test_it_accepts_nothing_at_all() -> None:
    assert refusal(OTHER, tubes=()).message.startswith("it accepts no tube at all; none of these is in the tube stock")


def test_no_kind_it_accepts_can_be_filled_this_way() -> None:
    closed = TubeKind(key="edta", name="E", additive="k2-edta", sizes=(Tube(draw_ul=2000),), accesses=("syringe",))
    assert refusal(closed).message == (
        "it accepts edta, other; none of these can be filled by straight-needle; "
        "use another access or stock a tube for this one"
    )


def test_every_size_is_gone_or_out_of_date() -> None:
    gone = TubeKind(key="edta", name="E", additive="k2-edta", sizes=(Tube(draw_ul=2000, in_stock=0),))
    past = TubeKind(
        key="other", name="O", additive="k2-edta", sizes=(Tube(draw_ul=2000, expires=date(2026, 12, 31)),)
    )
    assert refusal(gone, past).message == (
        "it accepts edta, other; every size of these is out of stock or expired; restock"
    )


def test_no_tube_is_large_enough() -> None:
    assert refusal(EDTA, OTHER, needs_ul=2001).message == (
        "it needs 2.001 mL; the largest usable tube of edta, other yields 2 mL at this hematocrit; "
        "stock a larger size or check the volume"
    )

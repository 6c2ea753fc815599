"""Kinds that would be too late for a test are not taken while another is in time, at whatever volume it is."""

from __future__ import annotations

from typing import Any

import pytest

from cubital.model import Accept, Ask, Order, Plan, Test, Tube, TubeKind
from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.unit.planning.test_packing import kind, needs, site_of

# At 45 min on the way glucose is late in heparin; in fluoride it keeps for days by the extended windows.
LATE_MIN = 45


def plasma(key: str, draw_ul: int, additive: Any) -> TubeKind:
    return TubeKind(key=key, name=key, additive=additive, sizes=(Tube(draw_ul=draw_ul),), dead_volume_ul={"plasma": 90})


HEPARIN, FLUORIDE = plasma("heparin", 8000, "lithium-heparin"), plasma("fluoride", 2000, "fluoride-oxalate")


def glucose(volume_ul: int, minimum_ul: int) -> Test:
    way = Accept(matrix="plasma", tubes=("heparin", "fluoride"), volume_ul=volume_ul, minimum_ul=minimum_ul)
    return Test(key="glucose", name="glucose", bench="chemistry", accepts=(way,))


def planned(test: Test, *others: Test, **planning: Any) -> Plan:
    site = site_of((HEPARIN, FLUORIDE, kind("k", (1000, None))), test, *others, windows="extended", **planning)
    order = Order(asks=tuple(Ask(test=key) for key in site.tests), objective="liked-kinds")
    plan = plan_draw(order, site)
    assert verify(plan, order, site) == ()
    return plan


def kind_of(plan: Plan, key: str) -> str:
    return next(tube.kind for tube in plan.tubes if key in tube.tests)


@pytest.mark.parametrize(("way_min", "kind_key"), [(20, "heparin"), (LATE_MIN, "fluoride")])
def test_a_late_kind_is_left_for_one_in_time_from_the_minute_it_is_late(way_min: int, kind_key: str) -> None:
    assert kind_of(planned(glucose(500, 400), usual_travel_min=way_min), "glucose") == kind_key


def test_minimum_volumes_are_taken_before_a_kind_that_would_be_late() -> None:
    """Fluoride yields floor(2000 x 0.55 x 0.9) - 90 = 900 uL: enough for the minimum, not for the typical volume."""
    plan = planned(glucose(901, 900), usual_travel_min=LATE_MIN)
    assert (plan.volumes, kind_of(plan, "glucose")) == ("minimum", "fluoride")
    assert not [caution for caution in plan.cautions if caution.level == "stop"]


def test_a_kind_in_time_that_holds_not_even_the_minimum_changes_nothing_but_the_stop() -> None:
    plan = planned(glucose(902, 901), needs("b", 100, "k"), usual_travel_min=LATE_MIN)
    assert (plan.volumes, kind_of(plan, "glucose")) == ("typical", "heparin")
    assert [caution.about for caution in plan.cautions if caution.level == "stop"] == ["glucose"]

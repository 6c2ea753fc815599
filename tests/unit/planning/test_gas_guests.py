"""Tests that a gas container holds for the gas analyzer: kept as the gases are, of one bench, and in time."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.app.wiring import open_site
from cubital.facts import Cap, SamplingLimit
from cubital.model import Accept, Ask, Order, Plan, Planning, Site, Test, Tube, TubeKind
from cubital.planning import plan_draw
from cubital.planning.verify import verify
from tests.generators.shipped_orders import DAY

DEMO = open_site(demo=True)


def drawn(*tests: str, site: Site = DEMO, **fields: Any) -> tuple[Plan, dict[str, set[str]]]:
    """The verified plan of these tests by syringe, and the tests of each kind of tube."""
    order = Order(asks=tuple(Ask(test=test) for test in tests), on=DAY, access="syringe", **fields)
    plan = plan_draw(order, site)
    assert verify(plan, order, site) == ()
    found: dict[str, set[str]] = {}
    for tube in plan.tubes:
        found.setdefault(tube.kind, set()).update(tube.tests)
    return plan, found


def stops(plan: Plan) -> set[str]:
    return {caution.about for caution in plan.cautions if caution.level == "stop"}


def site_with(**planning: Any) -> Site:
    return replace(DEMO, planning=replace(DEMO.planning, **planning))


def test_a_guest_joins_the_gases_that_are_kept_in_the_room() -> None:
    _, found = drawn("arterial-blood-gas", "potassium", "glucose")
    assert found == {"gas-syringe": {"arterial-blood-gas", "potassium", "glucose"}}


def test_an_iced_test_of_the_gas_bench_stays_apart_when_a_guest_is_there() -> None:
    _, found = drawn("arterial-blood-gas", "methemoglobin", "potassium")
    assert found["gas-syringe"] == {"arterial-blood-gas", "potassium"}
    assert {"methemoglobin"} in found.values()


def test_a_guest_never_joins_an_iced_container() -> None:
    _, found = drawn("methemoglobin", "potassium")
    assert {"methemoglobin"} in found.values()


def test_gases_of_two_benches_stay_apart_when_a_guest_is_there() -> None:
    plan, _ = drawn("arterial-blood-gas", "lactate-gas-syringe", "potassium")
    assert sum(tube.kind == "gas-syringe" for tube in plan.tubes) == 2


@pytest.mark.parametrize(("place", "in_gas"), [("emergency", True), ("outpatients", False)])
def test_a_guest_that_would_come_too_late_with_the_gases_keeps_a_tube_of_its_own(place: str, in_gas: bool) -> None:
    """Glucose keeps 30 min on its cells in heparin and 3 d in fluoride; the outpatients are 45 min from the bench."""
    _, found = drawn("arterial-blood-gas", "glucose", place=place)
    assert ("glucose" in found["gas-syringe"]) == in_gas
    assert ("glucose" in found.get("fluoride-oxalate", ())) != in_gas


def test_a_test_that_is_too_late_in_every_tube_of_its_own_goes_with_the_gases_and_stops_nothing() -> None:
    """Potassium: 120 min on the way and 10 of spin against 120 on its cells; whole blood waits for no spin."""
    site = site_with(windows="strict", travel_min={"far": 120})
    alone, _ = drawn("potassium", site=site, place="far")
    assert "potassium" in stops(alone)
    plan, found = drawn("arterial-blood-gas", "potassium", site=site, place="far")
    assert found == {"gas-syringe": {"arterial-blood-gas", "potassium"}}
    assert stops(plan) == {"arterial-blood-gas"}


def small_site(gas_ul: int) -> Site:
    """A gas syringe of this size and a heparin tube; the gases take 200 uL and glucose beside them 5 uL."""
    gas = TubeKind(key="gas", name="gas", additive="lithium-heparin", use="blood-gas", sizes=(Tube(draw_ul=gas_ul),))
    heparin = TubeKind(key="heparin", name="heparin", additive="lithium-heparin", sizes=(Tube(draw_ul=1000),))
    whole = Accept(matrix="whole-blood", tubes=("gas",), volume_ul=200, minimum_ul=200)
    plasma = Accept(matrix="plasma", tubes=("heparin",), volume_ul=100, minimum_ul=50)
    gases = Test(key="venous-blood-gas", name="gases", bench="blood gas", accepts=(whole,))
    glucose = Test(key="glucose", name="glucose", bench="chemistry", accepts=(plasma,))
    planning = Planning(blood_limit=None, hematocrit=Fraction(45, 100), whole_blood_tests=("glucose",))
    return Site(
        name="invented", kinds={"gas": gas, "heparin": heparin}, tests={t.key: t for t in (gases, glucose)},
        planning=planning,
    )  # fmt: skip


def test_a_guest_joins_gases_and_never_gets_a_gas_container_of_its_own() -> None:
    _, found = drawn("venous-blood-gas", "glucose", site=small_site(205))
    assert found == {"gas": {"venous-blood-gas", "glucose"}}
    plan, apart = drawn("venous-blood-gas", "glucose", site=small_site(204))
    assert apart == {"gas": {"venous-blood-gas"}, "heparin": {"glucose"}}
    assert (plan.optimal, plan.bound.blood_ul) == (False, 408)


def test_a_guest_goes_into_a_tube_of_its_own_where_the_gases_are_left_out() -> None:
    """Late in heparin and in time with the gases, for which the limit has no blood: late as all is, it has room."""
    base = small_site(205)
    (plasma,) = base.tests["glucose"].accepts
    salts = [Test(key=key, name=key, bench="chemistry", accepts=(plasma,)) for key in ("potassium", "creatinine")]
    limit = SamplingLimit(key="own", name="own", for_whom="all", caps=(Cap(period_h=24, cap_ul=1000),))
    policy = replace(
        base.planning, blood_limit="own", whole_blood_tests=("potassium",), usual_travel_min=120, windows="strict"
    )
    site = replace(
        base, tests={**base.tests, **{t.key: t for t in salts}}, limits={"own": limit}, planning=policy
    )
    asks = (Ask(test="venous-blood-gas"), Ask(test="potassium"), Ask(test="creatinine", priority="stat"))
    order = Order(asks=asks, access="syringe")
    plan = plan_draw(order, site)
    assert [(tube.kind, set(tube.tests)) for tube in plan.tubes] == [("heparin", {"potassium", "creatinine"})]
    assert [entry.test for entry in plan.unplaced] == ["venous-blood-gas"]
    assert verify(plan, order, site) == ()

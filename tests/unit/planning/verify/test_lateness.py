"""Tests in tubes that come too late for them, and stops that are missing or untrue, are found."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from cubital.model import Ask, Caution, Order, Plan, PlannedTube, Site, Test, Tube, TubeKind, Unplaced
from cubital.model.vocabulary import MatrixKey
from cubital.planning.verify import verify
from tests.unit.planning.verify.sound_plan import (
    DAY,
    SITE,
    accept,
    laboratory_test,
    plan_of,
    tube_of,
    with_planning,
)

# Glucose keeps 30 min on its cells; a spin takes 10 min and a clot 30. In fluoride a study found it to keep for 3 days.
IN_TIME_MIN, LATE_MIN = 20, 21
ORDER = Order(asks=(Ask(test="glucose"),), on=DAY)
PLAN = plan_of(tube_of(1, "heparin-gel", "glucose", "plasma"))
FLUORIDE = TubeKind(
    key="fluoride", name="fluoride", additive="fluoride-oxalate", sizes=(Tube(draw_ul=2000),),
    dead_volume_ul={"plasma": 100},
)  # fmt: skip
GAS = TubeKind(
    key="gas", name="gas syringe", additive="lithium-heparin", use="blood-gas", sizes=(Tube(draw_ul=1000),),
    dead_volume_ul={"whole-blood": 100},
)  # fmt: skip


def site_of(way_min: int | None, *kinds: TubeKind, tests: tuple[Test, ...] = (), **planning: Any) -> Site:
    site = with_planning(usual_travel_min=way_min, **planning)
    return replace(
        site,
        kinds={**site.kinds, **{kind.key: kind for kind in kinds}},
        tests={**site.tests, **{test.key: test for test in tests}},
    )


def either_way(way_min: int, fluoride: TubeKind = FLUORIDE, windows: str = "extended") -> Site:
    """A site where glucose goes into heparin or into fluoride."""
    glucose = laboratory_test("glucose", "chemistry", accept("plasma", "heparin-gel fluoride", 832, 200))
    return site_of(way_min, fluoride, tests=(glucose,), windows=windows)


def row(position: int, kind: TubeKind, tests: str, matrix: MatrixKey, **fields: Any) -> PlannedTube:
    """A row of a kind or with a test that the sound site does not have."""
    shown = {"venous-blood-gas": "blood gas", "glucose": "chemistry", "lactate": "chemistry"}
    keys = tuple(tests.split())
    return PlannedTube(
        position=position, draw=1, purpose="collect", kind=kind.key, name=kind.name, additive=kind.additive,
        gel=kind.gel, draw_ul=kind.sizes[0].draw_ul, matrix=matrix, tests=keys,
        benches=tuple(dict.fromkeys(shown[key] for key in keys)), **fields,
    )  # fmt: skip


def stopping(plan: Plan, about: str = "glucose") -> Plan:
    return replace(plan, cautions=(Caution(level="stop", text="too late", about=about),))


def finding(plan: Plan, site: Site, order: Order = ORDER) -> str:
    """The one thing that is wrong; nothing where it is sound."""
    found = verify(plan, order, site)
    assert len(found) < 2, found
    return "".join(found)


@pytest.mark.parametrize("windows", ["strict", "extended"])
def test_a_test_in_time_to_the_minute_is_sound_and_a_minute_later_wants_a_stop(windows: str) -> None:
    assert finding(PLAN, site_of(IN_TIME_MIN, windows=windows)) == ""
    late = site_of(LATE_MIN, windows=windows)
    assert "glucose comes too late, 21 min on the way, as in every other, and the plan says no stop" in finding(
        PLAN, late
    )
    assert finding(stopping(PLAN), late) == ""


def test_a_stop_for_a_test_that_is_in_time_is_found() -> None:
    words = "the plan stops for glucose as too late, and nothing says that it is"
    assert finding(stopping(PLAN), site_of(IN_TIME_MIN)) == words
    assert finding(stopping(PLAN), site_of(None)) == words


def test_a_late_kind_is_found_where_another_is_in_time_stop_or_no_stop() -> None:
    words = "glucose comes too late, 45 min on the way; plasma from fluoride is in time"
    assert words in finding(PLAN, either_way(45))
    assert words in finding(stopping(PLAN), either_way(45))


def test_the_kind_in_time_is_sound() -> None:
    plan = plan_of(row(1, FLUORIDE, "glucose", "plasma"), preference=1)
    assert finding(plan, either_way(45)) == ""


def test_what_the_longest_windows_allow_is_taken_before_what_none_allow() -> None:
    """Strict windows lose glucose after 20 min in fluoride too, but it is not too late there by all sources."""
    plan = plan_of(row(1, FLUORIDE, "glucose", "plasma"), preference=1)
    assert finding(plan, either_way(45, windows="strict")) == ""
    assert "plasma from fluoride is in time" in finding(PLAN, either_way(45, windows="strict"))


@pytest.mark.parametrize(
    "fields",
    [
        {"sizes": (Tube(draw_ul=2000, in_stock=0),)},
        {"sizes": (Tube(draw_ul=2000, expires=DAY - timedelta(days=1)),)},
        {"sizes": (Tube(draw_ul=500),)},
        {"accesses": ("skin-puncture",)},
    ],
    ids=["out of stock", "expired", "too small for the minimum", "not filled this way"],
)
def test_a_kind_that_cannot_be_drawn_is_no_way_out(fields: dict[str, Any]) -> None:
    """A draw of 500 uL yields floor(500 x 0.55 x 0.9) - 100 = 147 uL, and the minimum is 200."""
    site = either_way(45, replace(FLUORIDE, **fields))
    assert "as in every other" in finding(PLAN, site)
    assert finding(stopping(PLAN), site) == ""


def test_a_kind_that_holds_the_minimum_alone_is_a_way_out() -> None:
    site = either_way(45, replace(FLUORIDE, sizes=(Tube(draw_ul=1000),)))
    assert "plasma from fluoride is in time" in finding(PLAN, site)


def test_serum_is_late_by_its_clot_however_near_it_is_drawn() -> None:
    both = laboratory_test(
        "glucose", "chemistry", accept("serum", "serum-gel", 500, 200), accept("plasma", "heparin-gel", 500, 200)
    )
    site = site_of(0, tests=(both,))
    plan = plan_of(tube_of(1, "serum-gel", "glucose", "serum"))
    assert "0 min on the way; plasma from heparin-gel is in time" in finding(plan, site)


def test_the_way_is_that_of_the_place_and_a_place_nobody_knows_is_found() -> None:
    site = site_of(5, travel_min={"ward": LATE_MIN})
    assert finding(PLAN, site) == ""
    assert "21 min on the way" in finding(PLAN, site, replace(ORDER, place="ward"))
    assert "names the place 'attic'" in finding(PLAN, site, replace(ORDER, place="attic"))


# Guests of the gas analyzer

GASES = laboratory_test("venous-blood-gas", "blood gas", accept("whole-blood", "gas", 100, 65))
SUGAR = laboratory_test("glucose", "chemistry", accept("plasma", "heparin-gel fluoride", 832, 200))
GAS_ORDER = Order(asks=(Ask(test="venous-blood-gas"), Ask(test="glucose")), on=DAY)
TOGETHER = plan_of(row(1, GAS, "venous-blood-gas glucose", "whole-blood"))
APART = plan_of(
    row(1, GAS, "venous-blood-gas", "whole-blood", usable_ul=900, needed_ul=100),
    row(2, FLUORIDE, "glucose", "plasma"), preference=1,
)  # fmt: skip


def gas_site(way_min: int, gases: Test = GASES) -> Site:
    return site_of(way_min, GAS, FLUORIDE, tests=(gases, SUGAR), windows="extended", whole_blood_tests=("glucose",))


def test_a_guest_that_comes_too_late_with_the_gases_is_found() -> None:
    """Whole blood waits for no spin, so it is in time to 30 min."""
    assert finding(TOGETHER, gas_site(30), GAS_ORDER) == ""
    plan = stopping(TOGETHER, "venous-blood-gas")
    assert "glucose comes too late, 45 min on the way; plasma from fluoride is in time" in finding(
        plan, gas_site(45), GAS_ORDER
    )
    assert finding(stopping(APART, "venous-blood-gas"), gas_site(45), GAS_ORDER) == ""


def test_a_gas_container_in_time_is_a_way_out() -> None:
    late = plan_of(APART.tubes[0], tube_of(2, "heparin-gel", "glucose", "plasma"))
    site = gas_site(25)
    assert "25 min on the way" in finding(late, site, GAS_ORDER)
    bare = replace(site, kinds={key: kind for key, kind in site.kinds.items() if key != "fluoride"})
    assert "whole-blood from gas is in time" in finding(late, bare, GAS_ORDER)
    full = plan_of(replace(late.tubes[0], needed_ul=100, usable_ul=900, reserve_ul=800), late.tubes[1])
    assert "as in every other" in "".join(verify(full, GAS_ORDER, bare))


def test_a_guest_of_an_iced_container_is_found() -> None:
    site = gas_site(5, replace(GASES, handling=("ice",)))
    words = "glucose is a guest of venous-blood-gas, which is not kept in the room"
    assert words in finding(TOGETHER, site, GAS_ORDER)


def test_the_sound_site_knows_no_time_on_the_way() -> None:
    assert finding(PLAN, SITE) == ""


def test_a_guest_stands_as_the_gases_do_and_not_as_its_own_handling_says() -> None:
    """Lactate keeps 60 min in heparin on ice and 20 min there in the room; the gases are kept in the room."""
    lactate = laboratory_test("lactate", "chemistry", accept("plasma", "fluoride", 100, 50), handling=("ice",))
    site = site_of(30, GAS, FLUORIDE, tests=(GASES, lactate), windows="extended", whole_blood_tests=("lactate",))
    order = Order(asks=(Ask(test="venous-blood-gas"), Ask(test="lactate")), on=DAY)
    guest = plan_of(row(1, GAS, "venous-blood-gas lactate", "whole-blood"))
    assert "lactate comes too late, 30 min on the way; plasma from fluoride is in time" in finding(guest, site, order)
    own = plan_of(row(1, GAS, "venous-blood-gas", "whole-blood"), row(2, FLUORIDE, "lactate", "plasma"))
    assert finding(own, site, order) == ""


# What is left out

BOTH = Order(asks=(Ask(test="potassium"), Ask(test="glucose")), objective="least-blood")
LEFT = Unplaced(test="glucose", priority="routine", why="no room", needs="a tube")
WITHOUT = plan_of(
    tube_of(1, "heparin-gel", "potassium", "plasma"), objective="least-blood", volumes="minimum", unplaced=(LEFT,)
)


def test_room_in_a_tube_that_would_be_late_is_no_room() -> None:
    words = "glucose is left out and tube 1 has room for it"
    assert finding(WITHOUT, either_way(20), BOTH) == words
    assert finding(WITHOUT, either_way(45), BOTH) == ""
    # Where every tube would be late, room is room.
    assert finding(WITHOUT, site_of(45), BOTH) == words


def test_room_beside_a_test_whose_handling_opposes_is_no_room() -> None:
    iced = laboratory_test("glucose", "chemistry", accept("plasma", "heparin-gel", 832, 200), handling=("ice",))
    assert finding(WITHOUT, site_of(None, tests=(iced,)), BOTH) == ""


def test_a_tube_that_would_be_late_for_a_test_left_out_is_not_its_to_take() -> None:
    """Glucose, more urgent, is left out beside potassium; it may have its tube only where it is in time there."""
    asks = (Ask(test="potassium"), Ask(test="glucose", priority="stat"))
    order, left = replace(BOTH, asks=asks), replace(LEFT, priority="stat")
    plan = replace(WITHOUT, unplaced=(left,))
    near, far = either_way(20), either_way(45)
    assert any("which matters less" in words for words in verify(plan, order, near))
    assert verify(plan, order, far) == ()


# Edges of what is a way out


def test_the_minimum_to_the_microlitre_and_the_last_day_of_a_tube_are_a_way_out() -> None:
    """Draws of 607 and 606 uL yield floor(607 x 0.55 x 0.9) - 100 = 200 uL and 199 uL; the minimum is 200."""
    out, none = "plasma from fluoride is in time", "as in every other"
    for size, words in (
        (Tube(draw_ul=607), out), (Tube(draw_ul=606), none), (Tube(draw_ul=2000, expires=DAY), out),
    ):  # fmt: skip
        assert words in finding(PLAN, either_way(45, replace(FLUORIDE, sizes=(size,))))


def test_a_kind_that_the_order_of_draw_refuses_is_no_way_out() -> None:
    """A skin puncture fills fluoride, and none kept for trace elements."""
    order = replace(ORDER, access="skin-puncture")
    plan = replace(PLAN, access="skin-puncture", policy="skin-puncture")
    assert "plasma from fluoride is in time" in finding(plan, either_way(45), order)
    kept = either_way(45, replace(FLUORIDE, use="trace-element"))
    assert "as in every other" in finding(plan, kept, order)


def test_a_gas_container_is_a_way_out_while_it_has_room_for_the_guest() -> None:
    """Glucose adds 5 uL; of 900 uL the gases take 100."""
    site = gas_site(25)
    site = replace(site, kinds={key: kind for key, kind in site.kinds.items() if key != "fluoride"})
    for reserve_ul, words in ((795, "whole-blood from gas is in time"), (796, "as in every other")):
        gases = replace(APART.tubes[0], reserve_ul=reserve_ul)
        plan = plan_of(gases, tube_of(2, "heparin-gel", "glucose", "plasma"))
        assert words in "".join(verify(plan, GAS_ORDER, site))

"""Whether every asked test is found where it must be, once."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from cubital.model import (
    Ask,
    Draw,
    Order,
    Panel,
    Plan,
    Unplaced,
)
from cubital.planning.verify import verify
from tests.unit.planning.verify.sound_plan import (
    DAY,
    ORDER,
    SERIES,
    SERIES_ORDER,
    SITE,
    SOUND,
    accept,
    expect,
    plan_of,
    settled,
    tube_of,
    with_planning,
    with_test,
    with_tube,
)


def test_the_sound_plan_has_no_findings() -> None:
    assert verify(SOUND, ORDER, SITE) == ()


# Series


def test_a_series_draws_its_test_once_at_each_time() -> None:
    assert verify(SERIES, SERIES_ORDER, SITE) == ()


def test_a_series_test_in_the_wrong_draw_is_found() -> None:
    plan = settled(
        replace(SERIES, tubes=tuple(replace(t, draw=1, position=n + 1) for n, t in enumerate(SERIES.tubes)))
    )
    findings = verify(plan, SERIES_ORDER, SITE)
    assert findings == (
        "glucose is in 2 tubes of draw 1",
        "glucose at 120 min (routine) is in no tube and not named as unplaced",
    )


def test_draws_out_of_time_order_are_found() -> None:
    draws = (Draw(number=1, at_min=120, label="b"), Draw(number=2, at_min=0, label="a"))
    findings = verify(settled(replace(SERIES, draws=draws)), SERIES_ORDER, SITE)
    assert "the draws are not in the order of their minutes" in findings


def test_draws_that_skip_a_number_are_found() -> None:
    draws = (SERIES.draws[0], replace(SERIES.draws[1], number=3))
    plan = replace(SERIES, draws=draws, tubes=(SERIES.tubes[0], replace(SERIES.tubes[1], draw=3)))
    expect("draws are not numbered from 1", plan, SERIES_ORDER)


def test_a_tube_of_a_draw_the_plan_does_not_have_is_found() -> None:
    plan = replace(SERIES, draws=SERIES.draws[:1])
    findings = verify(plan, SERIES_ORDER, SITE)
    assert "a tube belongs to draw 2, which the plan does not have" in findings


def test_an_ask_placed_in_time_belongs_to_the_draw_of_that_minute() -> None:
    order = Order(asks=(Ask(test="glucose"), Ask(test="glucose", at_min=120)))
    assert verify(SERIES, order, SITE) == ()


# Placement


def test_a_test_in_no_tube_is_found() -> None:
    plan = with_tube(SOUND, 4, tests=("count",), needed_ul=500)
    expect("smear at 0 min (routine) is in no tube and not named as unplaced", plan)


def test_a_test_in_two_tubes_is_found() -> None:
    plan = with_tube(SOUND, 4, tests=("count", "smear", "count"), needed_ul=1100)
    expect("count is in 2 tubes of draw 1", plan)


def test_a_test_nobody_asked_for_is_found() -> None:
    order = replace(ORDER, asks=ORDER.asks[1:])
    expect("potassium is in a tube and was not asked for", SOUND, order)


def test_an_unplaced_test_with_its_reason_is_accepted() -> None:
    order = replace(ORDER, asks=(*ORDER.asks, Ask(test="zinc", priority="stat")))
    left = Unplaced(test="zinc", priority="stat", why="no tube", needs="a tube")
    assert verify(replace(SOUND, unplaced=(left,)), order, SITE) == ()


def test_an_unplaced_test_with_the_wrong_priority_is_found() -> None:
    order = replace(ORDER, asks=(*ORDER.asks, Ask(test="zinc", priority="stat")))
    left = Unplaced(test="zinc", priority="timed", why="no tube", needs="a tube")
    findings = verify(replace(SOUND, unplaced=(left,)), order, SITE)
    assert [f[:12] for f in findings] == ["zinc at 0 mi", "zinc (timed)"]


def test_a_test_both_placed_and_unplaced_is_found() -> None:
    left = Unplaced(test="group", priority="routine", why="no tube", needs="a tube")
    expect("group (routine) is named as unplaced and is placed", replace(SOUND, unplaced=(left,)))


def test_a_panel_and_its_member_ask_once_with_the_higher_priority() -> None:
    order = replace(ORDER, asks=(*ORDER.asks, Ask(test="count", priority="stat")))
    assert verify(SOUND, order, SITE) == ()
    plan = with_tube(SOUND, 4, tests=("smear",), needed_ul=100)
    expect("count at 0 min (stat) is in no tube", plan, order)


def test_an_order_for_nothing_known_is_found() -> None:
    order = replace(ORDER, asks=(*ORDER.asks, Ask(test="unheard of")))
    expect("'unheard of', which is nothing this site defines", SOUND, order)


def test_an_order_for_an_ambiguous_word_is_found() -> None:
    site = replace(SITE, ambiguous={"XY": ("zinc", "group")})
    expect(
        "'xy', which stands for group, zinc", SOUND, replace(ORDER, asks=(*ORDER.asks, Ask(test="xy"))), site
    )


def test_another_name_however_spelled_and_a_code_name_a_test() -> None:
    site = with_test("potassium", codes={"loinc": "2823-3"}, also=("serum-K+",))
    asks = (Ask(test="2823-3"), *ORDER.asks[1:])
    assert verify(SOUND, replace(ORDER, asks=asks), site) == ()
    asks = (Ask(test="Serum K"), *ORDER.asks[1:])
    assert verify(SOUND, replace(ORDER, asks=asks), site) == ()


def test_a_panel_member_that_nobody_defines_is_found() -> None:
    pair = replace(SITE.panels["pair"], tests=("count", "smear", "ghost"))
    expect("'ghost' through a panel", SOUND, ORDER, replace(SITE, panels={"pair": pair}))


def test_a_panel_that_holds_itself_is_found() -> None:
    pair = replace(SITE.panels["pair"], tests=("count", "smear", "pair"))
    expect("'pair' through a panel", SOUND, ORDER, replace(SITE, panels={"pair": pair}))


# Head


def test_another_objective_than_asked_is_found() -> None:
    expect("the plan aims at least-blood; fewest-tubes was asked", replace(SOUND, objective="least-blood"))


def test_least_blood_with_typical_volumes_is_found() -> None:
    order = replace(ORDER, objective="least-blood")
    expect("least-blood takes minimum volumes", replace(SOUND, objective="least-blood"), order)


def test_volumes_nobody_knows_are_found() -> None:
    expect("takes 'generous' volumes", replace(SOUND, volumes="generous"))


def test_another_access_than_ordered_is_found() -> None:
    expect("the plan is for syringe; the order is for straight-needle", replace(SOUND, access="syringe"))


# Room


def test_a_test_left_out_that_a_tube_has_room_for_is_found() -> None:
    order = Order(asks=(Ask(test="count"), Ask(test="smear")), objective="least-blood")
    left = Unplaced(test="smear", priority="routine", why="no room", needs="50 uL")
    plan = plan_of(
        tube_of(1, "edta", "count", "whole-blood"),
        objective="least-blood", volumes="minimum", unplaced=(left,),
    )  # fmt: skip
    expect("smear is left out and tube 1 has room for it", plan, order)
    full = with_test("count", accepts=(accept("whole-blood", "edta", 2900, 2851),))
    assert verify(plan, order, full) == ()
    alone = with_test("smear", own_tube=True)
    assert verify(plan, order, alone) == ()
    elsewhere = with_test("smear", bench="chemistry")
    assert verify(plan, order, elsewhere) == ()


def room_plan(left: str, *held: str, **fields: Any) -> Plan:
    entry = Unplaced(test=left, priority="routine", why="no room", needs="more")
    tube = tube_of(1, "heparin-gel", " ".join(held), "plasma")
    return plan_of(tube, **{"objective": "least-blood", "volumes": "minimum", "unplaced": (entry,), **fields})


ROOM_ORDER = Order(asks=(Ask(test="potassium"), Ask(test="glucose")), objective="least-blood")


def test_room_is_counted_to_the_microlitre() -> None:
    """The tube yields 1532 uL and glucose takes 200 of them."""
    plan = room_plan("potassium", "glucose")
    exact = with_test("potassium", accepts=(accept("plasma", "heparin-gel", 1400, 1332),))
    expect("potassium is left out and tube 1 has room for it", plan, ROOM_ORDER, exact)
    over = with_test("potassium", accepts=(accept("plasma", "heparin-gel", 1400, 1333),))
    assert verify(plan, ROOM_ORDER, over) == ()


def test_room_among_benches_that_share_is_room() -> None:
    order = replace(ROOM_ORDER, asks=(Ask(test="antibody"), Ask(test="glucose")))
    plan = room_plan("antibody", "glucose")
    assert verify(plan, order, SITE) == ()
    sharing = with_planning(share_benches=(("chemistry", "serology"),))
    expect("antibody is left out and tube 1 has room", plan, order, sharing)


def test_an_own_tube_test_leaves_no_room_beside_it() -> None:
    assert verify(room_plan("potassium", "glucose"), ROOM_ORDER, with_test("glucose", own_tube=True)) == ()


def test_room_in_the_second_tube_is_found_when_the_first_is_another_kind() -> None:
    order = replace(ROOM_ORDER, asks=(*ROOM_ORDER.asks, Ask(test="prothrombin")), on=DAY)
    entry = Unplaced(test="potassium", priority="routine", why="no room", needs="more")
    plan = plan_of(
        tube_of(1, "citrate", "prothrombin", "plasma"), tube_of(2, "heparin-gel", "glucose", "plasma"),
        objective="least-blood", volumes="minimum", unplaced=(entry,),
    )  # fmt: skip
    expect("potassium is left out and tube 2 has room for it", plan, order)


def test_a_second_unreadable_ask_is_found_too() -> None:
    order = replace(ORDER, asks=(Ask(test="ghost"), Ask(test="phantom"), *ORDER.asks))
    assert len(verify(SOUND, order, SITE)) == 2


def test_the_same_test_left_out_of_two_draws_is_named_twice() -> None:
    left = Unplaced(test="glucose", priority="routine", why="no tube", needs="a tube")
    plan = settled(replace(plan_of(), draws=SERIES.draws, unplaced=(left, left)))
    assert verify(plan, SERIES_ORDER, SITE) == ()
    once = replace(plan, unplaced=(left,))
    expect("glucose at 120 min (routine) is in no tube", once, SERIES_ORDER)


def test_a_lower_priority_asked_later_does_not_lower_the_higher_one() -> None:
    order = Order(asks=(Ask(test="count", priority="stat"), Ask(test="count")))
    left = Unplaced(test="count", priority="stat", why="no tube", needs="a tube")
    assert verify(plan_of(unplaced=(left,)), order, SITE) == ()


# What matters less


def test_a_test_asked_more_urgently_through_a_panel_keeps_its_tube() -> None:
    site = replace(SITE, panels={**SITE.panels, "solo": Panel(key="solo", name="solo", tests=("count",))})
    asks = (Ask(test="count"), Ask(test="solo", priority="stat"), Ask(test="group", priority="timed"))
    left = Unplaced(test="group", priority="timed", why="no room", needs="a tube")
    plan = plan_of(tube_of(1, "edta", "count", "whole-blood"), unplaced=(left,))
    assert verify(plan, Order(asks=asks), site) == ()
    expect("group is left out and count, which matters less, keeps its tube alone", plan, Order(asks=asks[::2]), site)

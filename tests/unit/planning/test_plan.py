"""From an order to a plan: what is shared between patients and what is not, days, limits and classes of urgency."""

from __future__ import annotations

import datetime
from fractions import Fraction

import pytest
from msgspec.structs import replace

from cubital.errors import OrderError, PlanError
from cubital.exchange.demo_folder import demo_folder
from cubital.exchange.site_folder import read_site
from cubital.model import Ask, Order, Patient, Site, Tube
from cubital.model.vocabulary import PriorityKey
from cubital.planning import Planner, plan_draw
from cubital.planning.verify import verify
from tests.published.shipped import SHIPPED, order_of, patient_of, site_of_kinds, verified

NEWBORN_H = 24 * 5
DAY = datetime.date(2027, 3, 1)
HIGH = "Hematocrit above 0.55"


def cautions_of(planner: Planner, order: Order, level: str) -> list[str]:
    plan = planner.plan(order)
    assert verify(plan, order, planner.site) == ()
    return [caution.text for caution in plan.cautions if caution.level == level]


def with_bottles(in_stock: int) -> Site:
    kinds = dict(SHIPPED.kinds)
    for key in ("culture-aerobic", "culture-anaerobic"):
        kinds[key] = replace(kinds[key], sizes=(Tube(draw_ul=10000, in_stock=in_stock),))
    return replace(SHIPPED, kinds=kinds)


def test_a_measured_hematocrit_is_not_answered_from_the_plan_of_an_unmeasured_one() -> None:
    planner = Planner(SHIPPED)
    unmeasured = order_of("prothrombin-time", patient=Patient(age_h=NEWBORN_H))
    measured = order_of("prothrombin-time", patient=Patient(age_h=NEWBORN_H, hematocrit=Fraction("0.67")))
    assert not any(HIGH in text for text in cautions_of(planner, unmeasured, "stop"))
    assert any(HIGH in text for text in cautions_of(planner, measured, "stop"))


def test_a_newborn_is_warned_of_after_a_grown_patient_where_the_site_sets_one_hematocrit() -> None:
    planner = Planner(replace(SHIPPED, planning=replace(SHIPPED.planning, hematocrit=Fraction("0.45"))))
    grown = order_of("prothrombin-time", patient=Patient(age_h=40 * 8766))
    newborn = order_of("prothrombin-time", patient=Patient(age_h=NEWBORN_H))
    assert not any("newborn" in text for text in cautions_of(planner, grown, "warn"))
    assert any("newborn" in text for text in cautions_of(planner, newborn, "warn"))
    assert not any("newborn" in text for text in cautions_of(planner, grown, "warn"))


@pytest.mark.parametrize(("age_h", "is_warned"), [(24 * 30 - 1, True), (24 * 30, False)])
def test_a_newborn_is_one_under_thirty_days(age_h: int, is_warned: bool) -> None:
    order = order_of("prothrombin-time", patient=Patient(age_h=age_h))
    assert any("newborn" in text for text in cautions_of(Planner(SHIPPED), order, "warn")) is is_warned


def test_the_reason_of_a_culture_never_names_the_weight_of_another_patient() -> None:
    planner = Planner(replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit=None)))
    light = planner.plan(order_of("blood-culture", patient=patient_of(3)))
    heavy = planner.plan(order_of("blood-culture", patient=patient_of(12)))
    said = [reason.text for reason in heavy.reasons if "blood culture" in reason.text]
    assert said == [reason.text for reason in light.reasons if "blood culture" in reason.text]
    assert said == ["blood culture at a weight over 2 kg and up to 12.7 kg: 6 mL in all, 2 sets, the low end"]


def test_dated_stock_without_the_day_of_the_draw_is_refused() -> None:
    kind = replace(SHIPPED.kinds["edta"], sizes=(Tube(draw_ul=2000, expires=DAY),))
    site = replace(SHIPPED, kinds={**SHIPPED.kinds, "edta": kind})
    with pytest.raises(OrderError, match=r"^on: .*the day"):
        plan_draw(order_of("cbc"), site)


@pytest.mark.parametrize(("late_d", "draw_ul"), [(0, 2000), (1, 3000)])
def test_a_size_is_used_on_its_last_day_and_not_after(late_d: int, draw_ul: int) -> None:
    kind = replace(SHIPPED.kinds["edta"], sizes=(Tube(draw_ul=2000, expires=DAY), Tube(draw_ul=3000)))
    site = replace(site_of_kinds("common-practice"), kinds={**SHIPPED.kinds, "edta": kind})
    plan = verified(order_of("edta", on=DAY + datetime.timedelta(days=late_d)), site)
    assert [tube.draw_ul for tube in plan.tubes] == [draw_ul]


def test_cultures_at_two_times_never_take_more_bottles_than_the_shelf_holds() -> None:
    twice = Order(asks=(Ask(test="blood-culture"), Ask(test="blood-culture", at_min=60)))
    with pytest.raises(PlanError, match="no bottle"):
        plan_draw(twice, with_bottles(2))
    assert len(verified(twice, with_bottles(4)).tubes) == 8


def test_a_routine_culture_gives_way_to_stat_tests_when_the_limit_holds_only_one() -> None:
    stat = tuple(Ask(test=test, priority="stat") for test in ("potassium", "cbc", "group-check"))
    order = Order(asks=(Ask(test="blood-culture"), *stat), patient=patient_of(2.5, 0.5, drawn_ul=300))
    plan = verified(order, SHIPPED)
    assert [entry.test for entry in plan.unplaced] == ["blood-culture"]


def test_a_routine_culture_steps_down_to_the_least_volume_before_it_gives_way_to_stat_tests() -> None:
    stat = tuple(Ask(test=test, priority="stat") for test in ("potassium", "cbc", "group-check"))
    plan = verified(Order(asks=(Ask(test="blood-culture"), *stat), patient=patient_of(2.5, 0.5)), SHIPPED)
    assert plan.unplaced == ()
    assert [tube.draw_ul for tube in plan.tubes if tube.purpose == "culture"] == [500]


def test_a_routine_culture_gives_its_second_set_for_stat_tests() -> None:
    stat = tuple(Ask(test=test, priority="stat") for test in ("potassium", "cbc", "group-check"))
    plan = verified(Order(asks=(Ask(test="blood-culture"), *stat), patient=patient_of(4, 0.5)), SHIPPED)
    assert plan.unplaced == ()
    assert [tube.draw_ul for tube in plan.tubes if tube.purpose == "culture"] == [3000]
    assert any("set 1 alone, 3 mL" in caution.text for caution in plan.cautions)


def test_a_stat_culture_keeps_its_place_before_routine_tests() -> None:
    routine = tuple(Ask(test=test) for test in ("potassium", "cbc", "group-check"))
    small = patient_of(4, 0.5, drawn_ul=6500)
    order = Order(asks=(Ask(test="blood-culture", priority="stat"), *routine), patient=small)
    plan = verified(order, SHIPPED)
    assert [tube.draw_ul for tube in plan.tubes if tube.purpose == "culture"] == [1000]
    assert {entry.test for entry in plan.unplaced} <= {"potassium", "complete-blood-count", "group-check"}
    assert plan.unplaced


@pytest.mark.parametrize("priority", ["stat", "timed", "routine"])
def test_a_culture_gives_its_second_set_for_a_routine_test_that_is_useful_today(priority: PriorityKey) -> None:
    """However urgent the culture: less of it is still a culture, and a test that is left out is none."""
    routine = tuple(Ask(test=test) for test in ("potassium", "cbc", "group-check"))
    order = Order(asks=(Ask(test="blood-culture", priority=priority), *routine), patient=patient_of(4, 0.5))
    plan = verified(order, SHIPPED)
    assert plan.unplaced == ()
    assert [tube.draw_ul for tube in plan.tubes if tube.purpose == "culture"] == [3000]


def test_a_culture_keeps_its_second_set_where_only_a_routine_test_that_can_wait_pays_for_it() -> None:
    waiting = SHIPPED.tests["ferritin"]
    assert waiting.rank == "can-wait"
    order = Order(asks=(Ask(test="blood-culture"), Ask(test="ferritin")), patient=patient_of(4, 0.5, drawn_ul=1500))
    plan = verified(order, SHIPPED)
    assert [entry.test for entry in plan.unplaced] == ["ferritin"]
    assert sum(tube.draw_ul for tube in plan.tubes if tube.purpose == "culture") == 6000


def test_of_two_cultures_the_more_urgent_is_kept_whichever_comes_first() -> None:
    asks = (Ask(test="blood-culture"), Ask(test="blood-culture", at_min=60, priority="stat"))
    plan = verified(Order(asks=asks, patient=patient_of(4, 0.5, drawn_ul=6000)), SHIPPED)
    assert [(entry.test, entry.priority) for entry in plan.unplaced] == [("blood-culture", "routine")]
    assert [draw.at_min for draw in plan.draws if any(t.draw == draw.number for t in plan.tubes)] == [60]


def test_two_cultures_are_both_kept_with_one_set_each_where_two_sets_do_not_fit() -> None:
    asks = (Ask(test="blood-culture"), Ask(test="blood-culture", at_min=60, priority="stat"))
    plan = verified(Order(asks=asks, patient=patient_of(4, 0.5)), SHIPPED)
    assert plan.unplaced == ()
    assert [(tube.draw, tube.draw_ul) for tube in plan.tubes] == [(1, 3000), (2, 3000)]


def test_a_limit_of_which_a_part_needs_the_weight_says_what_was_not_checked() -> None:
    site = replace(SHIPPED, planning=replace(SHIPPED.planning, blood_limit="cfr-46-110"))
    plan = verified(order_of("cbc"), site)
    assert plan.totals.limit_ul == 50_000
    assert any("checked in part: the weight" in caution.text for caution in plan.cautions)
    known = verified(order_of("cbc", patient=patient_of(60)), site)
    assert not any("checked in part" in caution.text for caution in known.cautions)


def test_a_discard_is_not_paid_for_where_its_tube_is_left_out() -> None:
    """The citrate tube and its discard do not fit beside the others; the others fit without both."""
    site = read_site(demo_folder())
    order = Order(
        asks=tuple(Ask(test=test) for test in ("K", "CBC", "PT", "CRP")),
        access="winged-set",
        on=DAY,
        patient=Patient(age_h=4383, weight_g=6000, drawn_ul=8000),
    )
    plan = plan_draw(order, site)
    assert [entry.test for entry in plan.unplaced] == ["prothrombin-time"]
    assert all(tube.purpose == "collect" for tube in plan.tubes)
    assert verify(plan, order, site) == ()

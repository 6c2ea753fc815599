"""A draw whose time is past is a stop, and an event that fixes no draw is said."""

from __future__ import annotations

import pytest

from cubital.model import Ask, Event, Order, Plan
from cubital.planning import Planner
from tests.published.shipped import SHIPPED
from tests.unit.planning.moment_cases import at, event

PLANNER = Planner(SHIPPED)


def planned(*words: str, now: str, events: tuple[Event, ...]) -> Plan:
    asks = tuple(Ask(test=word) for word in words)
    return PLANNER.plan(Order(asks=asks, now=at(now), events=events))


def texts(plan: Plan, level: str) -> list[str]:
    return [caution.text for caution in plan.cautions if caution.level == level]


@pytest.mark.parametrize(("now", "is_past"), [("08:30", False), ("10:00", False), ("10:01", True), ("14:00", True)])
def test_a_draw_is_stopped_from_the_minute_after_its_last(now: str, is_past: bool) -> None:
    plan = planned("vancomycin-peak", now=now, events=(event("infusion-end", "08:00", "vancomycin"),))
    said = [text for text in texts(plan, "stop") if "too late for its moment" in text]
    assert bool(said) == is_past
    if is_past:
        assert f"was due by 10:00 and it is {now}" in said[0]
        assert [c.about for c in plan.cautions if c.level == "stop"] == ["draw 1"]


def test_like_orders_at_another_time_share_no_stop() -> None:
    infused = (event("infusion-end", "08:00", "vancomycin"),)
    assert texts(planned("vancomycin-peak", now="14:00", events=infused), "stop")
    assert not texts(planned("vancomycin-peak", now="09:30", events=infused), "stop")


@pytest.mark.parametrize("words", [("cortisol",), ("potassium",), ("gentamicin-trough",)])
def test_an_event_that_fixes_no_draw_is_said(words: tuple[str, ...]) -> None:
    plan = planned(*words, now="10:00", events=(event("dose", "08:00", "vancomycin"),))
    assert any("no draw of this order depends on the dose of vancomycin" in text for text in texts(plan, "warn"))


def test_the_dose_before_the_next_dose_is_no_stranger_to_a_trough() -> None:
    plan = planned("vancomycin-trough", now="10:00", events=(event("dose", "08:00", "vancomycin"),))
    assert not any("no draw of this order depends" in text for text in texts(plan, "warn"))

"""Which doses and drinks an order is asked for: those that its plan asks for, and no other."""

from __future__ import annotations

import datetime

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.app.draws import plan_order
from cubital.app.moments_asked import moments_asked
from cubital.app.wiring import open_site
from cubital.errors import CubitalError, UnknownTest
from cubital.model import Ask, Event, Order
from cubital.model.vocabulary import AccessKey
from cubital.planning.directory import Directory

DEMO = open_site(demo=True)
DIRECTORY = Directory(DEMO)
DAY = datetime.date(2026, 11, 25)
MOMENTOUS = sorted(
    [key for key, test in DEMO.tests.items() if test.moment is not None]
    + [key for key, panel in DEMO.panels.items() if panel.series]
)


def access_of(name: str) -> AccessKey:
    is_from_syringe = "gas" in name or "dried" in name or name == "newborn-screening"
    return "syringe" if is_from_syringe else "straight-needle"
    return "syringe" if "gas" in name or "dried" in name or name == "newborn-screening" else "straight-needle"


@pytest.mark.parametrize("name", MOMENTOUS)
def test_the_events_that_are_offered_are_those_whose_times_the_plan_asks_for(name: str) -> None:
    order = Order(asks=(Ask(test=name),), on=DAY, access=access_of(name))
    asked = {ask for draw in plan_order(order, DEMO).draws for ask in draw.asks}
    offered = moments_asked(order.asks, DEMO, DIRECTORY)
    words = facts.moment_facts()
    said = {words.asks_words(one.what, one.of) for one in offered}
    times = {words.asks_words(anchor, of) for anchor in words.anchors for of in (None, *words.subjects)}
    first = words.asks_words("first-draw", None)
    assert {ask for ask in asked if ask in times} <= said
    assert all(one in asked or (one == first and any(ask.startswith(first) for ask in asked)) for one in said), said


def test_once_every_event_that_is_offered_is_said_no_time_is_asked_for() -> None:
    order = Order(asks=(Ask(test="vancomycin-trough"), Ask(test="vancomycin-peak")), on=DAY)
    offered = moments_asked(order.asks, DEMO, DIRECTORY)
    assert [one.what for one in offered] == ["next-dose", "infusion-end"]
    at = datetime.datetime(2026, 11, 25, 13, tzinfo=datetime.UTC)
    events = tuple(
        Event(what=one.what, of=one.of, at=at + datetime.timedelta(hours=place)) for place, one in enumerate(offered)
    )
    plan = plan_order(replace(order, events=events), DEMO)
    assert [draw.asks for draw in plan.draws] == [(), ()]


def test_tests_of_no_moment_offer_nothing_and_a_time_of_the_day_is_none_to_ask_for() -> None:
    assert moments_asked([Ask(test="CBC"), Ask(test="K")], DEMO, DIRECTORY) == ()
    assert moments_asked([Ask(test="cortisol")], DEMO, DIRECTORY) == ()


def test_a_name_that_is_no_test_is_refused() -> None:
    with pytest.raises(UnknownTest):
        moments_asked([Ask(test="potasium")], DEMO, DIRECTORY)
    with pytest.raises(CubitalError):
        moments_asked([], DEMO, DIRECTORY)

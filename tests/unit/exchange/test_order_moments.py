"""What an order says of its moments: clock times of the site's zone, whole instants, and the refusal of all else."""

from __future__ import annotations

import datetime
import json
from typing import Any

import pytest

from cubital.errors import CubitalError, LocalTimeError, OrderError
from cubital.exchange.order_file import read_order
from cubital.exchange.order_moments import MOST_EVENTS
from cubital.model import Event, Order

TODAY = datetime.date(2026, 11, 25)
BERLIN = "Europe/Berlin"


def order_of(zone: str | None = BERLIN, **fields: Any) -> Order:
    return read_order(json.dumps({"tests": ["K"], **fields}), today=TODAY, zone=zone)


def refusal(zone: str | None = BERLIN, **fields: Any) -> str:
    with pytest.raises(CubitalError) as caught:
        order_of(zone, **fields)
    return str(caught.value)


def utc(text: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(text).replace(tzinfo=datetime.UTC)


def test_an_order_that_says_nothing_of_its_moments_has_none() -> None:
    order = order_of()
    assert (order.now, order.events, order.keep, order.place) == (None, (), (), None)


def test_a_clock_time_is_of_the_day_of_the_draw_in_the_zone_of_the_site() -> None:
    event = {"what": "infusion-end", "of": "vancomycin", "at": "09:30"}
    order = order_of(now="07:40", events=[event])
    assert order.now == utc("2026-11-25T06:40")
    assert order.events == (Event(what="infusion-end", of="vancomycin", at=utc("2026-11-25T08:30")),)
    assert order_of(on="2026-07-01", now="07:40").now == utc("2026-07-01T05:40")


def test_a_whole_instant_may_be_of_another_day_and_of_another_zone() -> None:
    food, dose = {"what": "last-food", "at": "2026-11-24T20:00"}, {"what": "dose", "at": "2026-11-24T20:00+05:30"}
    order = order_of(events=[food, dose])
    assert [event.at for event in order.events] == [utc("2026-11-24T19:00"), utc("2026-11-24T14:30")]


def test_the_day_of_now_is_the_day_of_the_draw_where_the_order_says_no_other() -> None:
    assert order_of(now="2026-11-26T07:40").on == datetime.date(2026, 11, 26)
    assert order_of(now="2026-11-26T07:40", on="2026-11-26").on == datetime.date(2026, 11, 26)
    assert "now: found 2026-11-26 and 2026-11-25 in on" in refusal(now="2026-11-26T07:40", on="2026-11-25")


@pytest.mark.parametrize("text", ["07:40", "2026-11-25T07:40", "2026-11-25 07:40:30"])
def test_without_a_site_a_time_needs_its_offset(text: str) -> None:
    assert "without its offset from UTC, and no site that says its time zone" in refusal(None, now=text)
    assert order_of(None, now="2026-11-25T07:40+01:00").now == utc("2026-11-25T06:40")
    assert order_of(None, now="2026-11-25T07:40Z").now == utc("2026-11-25T07:40")


def test_a_clock_time_without_a_day_is_refused() -> None:
    with pytest.raises(OrderError, match="now: found 07:40 and no day of the draw"):
        read_order('{"tests": ["K"], "now": "07:40"}', zone=BERLIN)


@pytest.mark.parametrize(
    ("at", "said"),
    [("2026-03-29T02:30", "which the clocks of Europe/Berlin skipped"), ("2026-10-25T02:30", "showed twice")],
)
def test_a_time_that_the_clocks_skipped_or_showed_twice_is_refused(at: str, said: str) -> None:
    with pytest.raises(LocalTimeError, match=said):
        order_of(events=[{"what": "dose", "at": at}])
    order = order_of(events=[{"what": "dose", "at": f"{at}+01:00"}])
    assert order.events[0].at == utc(at) - datetime.timedelta(hours=1)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"events": [{"at": "09:30"}]}, "events[0].what: found nothing; expected what happened"),
        ({"events": [{"what": "dose"}]}, "events[0].at: found nothing; expected a clock time such as 09:30"),
        ({"events": [{"what": "doze", "at": "09:30"}]}, 'events[0].what: found "doze"; expected one of dose, next'),
        ({"events": [{"what": "dose", "at": "9.30"}]}, "events[0].at: found '9.30'; expected a local time"),
        ({"events": [{"what": "dose", "at": "25:30"}]}, "expected a local time"),
        ({"events": [{"what": "dose", "at": 930}]}, "events[0].at: found 930; expected printable text"),
        ({"events": [{"what": "dose", "wen": "09:30", "at": "09:30", "when": "x"}]}, "events[0]"),
        ({"events": {"what": "dose"}}, "events: found an object; expected a list of events"),
        ({"events": [{"what": "dose", "at": "09:30"}] * (MOST_EVENTS + 1)}, f"expected at most {MOST_EVENTS}"),
        ({"now": "noon"}, "now: found 'noon'"),
        ({"keep": ["PT", "PT"]}, "keep[1]: found 'PT' again"),
        ({"keep": [None]}, "keep[0]: found nothing"),
        ({"keep": "PT"}, "keep: found \"PT\"; expected a list of tests"),
        ({"place": 3}, "place: found 3"),
    ],
)  # fmt: skip
def test_what_is_no_event_time_or_name_is_refused_with_its_place(fields: dict[str, Any], said: str) -> None:
    if "wen" in str(fields):
        assert order_of(**fields).unread == ("events[0].wen", "events[0].when")
    else:
        assert said in refusal(**fields)


def test_as_many_events_as_may_be_are_read() -> None:
    assert len(order_of(events=[{"what": "dose", "at": "09:30"}] * MOST_EVENTS).events) == MOST_EVENTS


def test_what_is_kept_and_where_it_is_drawn_are_read_as_written() -> None:
    order = order_of(keep=["PT", "CBC"], place="ward 3")
    assert (order.keep, order.place) == (("PT", "CBC"), "ward 3")

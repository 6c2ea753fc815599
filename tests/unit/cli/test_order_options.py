"""The options of the prompt that say what fixes a moment, what is kept and where it is drawn."""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from cubital.cli.wording import read_options
from cubital.errors import CubitalError
from cubital.model import Event, Order

TODAY = datetime.date(2026, 11, 25)


def order_of(**options: Any) -> Order:
    return read_options(("K",), options, today=TODAY, zone="Europe/Berlin")


def utc(text: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(text).replace(tzinfo=datetime.UTC)


@pytest.mark.parametrize(
    ("words", "event"),
    [
        ("infusion-end vancomycin 09:30", Event(what="infusion-end", of="vancomycin", at=utc("2026-11-25T08:30"))),
        ("drink 08:05", Event(what="drink", at=utc("2026-11-25T07:05"))),
        ("drink 75 g of glucose 08:05", Event(what="drink", of="75 g of glucose", at=utc("2026-11-25T07:05"))),
        ("dose digoxin 2026-11-24T20:00", Event(what="dose", of="digoxin", at=utc("2026-11-24T19:00"))),
        ("dose digoxin 2026-11-24 20:00", Event(what="dose", of="digoxin", at=utc("2026-11-24T19:00"))),
        ("  dose  digoxin  2026-11-24T20:00Z ", Event(what="dose", of="digoxin", at=utc("2026-11-24T20:00"))),
    ],
)
def test_an_event_is_what_of_what_and_when(words: str, event: Event) -> None:
    assert order_of(events=(words,)).events == (event,)


@pytest.mark.parametrize("words", ["dose", "09:30", "dose digoxin", "dose digoxin at nine", ""])
def test_words_that_are_no_event_are_refused_by_the_option(words: str) -> None:
    with pytest.raises(CubitalError, match=r"^--event: found .*expected what happened, of what"):
        order_of(events=(words,))


def test_an_hour_of_one_digit_is_refused_and_not_guessed() -> None:
    with pytest.raises(CubitalError, match=r"events\[0\].at: found '9:30'"):
        order_of(events=("dose 9:30",))


def test_now_keep_and_place_are_read() -> None:
    order = order_of(now="07:40", keep=("PT", "CBC"), place="ward 3")
    assert (order.now, order.keep, order.place) == (utc("2026-11-25T06:40"), ("PT", "CBC"), "ward 3")
    plain = order_of()
    assert (plain.now, plain.events, plain.keep, plain.place) == (None, (), (), None)

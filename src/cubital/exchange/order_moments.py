"""What an order says of its moments: the instant it is planned for, and the doses and drinks that fix its draws.

A time is a clock time on the day of the draw, `09:30`, or a whole instant, `2026-11-25T09:30`. Both are read in the
time zone of the site; where the reader knows no site, only an instant with its offset from UTC says which one is meant.
"""

from __future__ import annotations

import datetime
import re

from cubital import facts
from cubital.exchange.form import Form
from cubital.exchange.local_time import read_local
from cubital.model import Event

EVENT_KEYS = ("what", "of", "at")
MOST_EVENTS = 50
MOST_KEPT = 250
_CLOCK = re.compile(r"\d{2}:\d{2}", re.ASCII)
_HAS_OFFSET = re.compile(r".*(Z|[+-]\d{2}:\d{2})", re.ASCII)
_DAY = re.compile(r"(\d{4}-\d{2}-\d{2})[T ].+", re.ASCII)
_EXPECTED = "a clock time such as 09:30, or an instant such as 2026-11-25T09:30"


def read_day(form: Form) -> datetime.date | None:
    """The day of the draw that an order says, by `on` or by an instant in `now`; refuses two days."""
    on = form.day("on")
    found = _DAY.fullmatch(form.text("now") or "")
    if found is None:
        return on
    try:
        day = datetime.date.fromisoformat(found[1])
    except ValueError:
        return on  # the instant itself is refused, with what was expected, where it is read
    if on is not None and on != day:
        form.refuse(
            "now", found=f"{day} and {on} in on", expected="the day of the draw in both", remedy="correct one of them"
        )
    return day


def read_now(form: Form, on: datetime.date | None, zone: str | None) -> datetime.datetime | None:
    """The instant that the order is planned for, None where it says none."""
    return _instant(form, "now", on, zone)


def read_events(
    form: Form, on: datetime.date | None, zone: str | None
) -> tuple[tuple[Event, ...], tuple[str, ...]]:
    """The events of an order, and the paths of what was not understood in them."""
    events: list[Event] = []
    unread: tuple[str, ...] = ()
    for place, item in enumerate(form.items("events", most=MOST_EVENTS, what="events")):
        row = Form(item, where=form.where, path=f"events[{place}]")
        unread += row.take_unknown(EVENT_KEYS)
        what = row.choice("what", tuple(facts.anchors()))
        if what is None:
            row.refuse("what", found="nothing", expected="what happened", remedy='write it, such as "dose"')
        at = _instant(row, "at", on, zone)
        if at is None:
            row.refuse("at", found="nothing", expected=_EXPECTED, remedy="write when it was or will be")
        events.append(Event(what=what, at=at, of=row.text("of")))
    return tuple(events), unread


def read_kept(form: Form) -> tuple[str, ...]:
    """The tests that are to be left out last, as they are written."""
    kept: list[str] = []
    for place, item in enumerate(form.items("keep", most=MOST_KEPT, what="tests")):
        name = Form({"keep": item}, where=form.where).text("keep")
        if name is None or name in kept:
            form.refuse(
                f"keep[{place}]", found="nothing" if name is None else f"{name!r} again", expected="each test once",
                remedy="take it out",
            )  # fmt: skip
        kept.append(name)
    return tuple(kept)


def _instant(form: Form, key: str, on: datetime.date | None, zone: str | None) -> datetime.datetime | None:
    text = form.text(key)
    if text is None:
        return None
    where = f"{form.where} {form.place(key)}".strip()
    if _CLOCK.fullmatch(text):
        if on is None:
            form.refuse(
                key, found=f"{text} and no day of the draw", expected="the day", remedy="write on, or a whole instant"
            )
        text = f"{on} {text}"
    if zone is None and not _HAS_OFFSET.fullmatch(text):
        form.refuse(
            key, found=f"{text[:40]} without its offset from UTC, and no site that says its time zone",
            expected="an offset", remedy="write it behind the time, such as 2026-11-25T09:30+01:00",
        )  # fmt: skip
    return read_local(text, zone or "UTC", where=where)

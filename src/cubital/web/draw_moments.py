"""When and where, on the Draw page: what the plan is made for, the events that fix its draws, the place, what is kept.

A time is typed as `7:40`, `0740` or a whole instant. A clock time is one of the day of the draw, of the day before it
or of the day after, as the row says.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import zip_longest
from typing import Any

import msgspec

from cubital import facts
from cubital.app.moments_asked import MomentAsked
from cubital.errors import OrderError
from cubital.model import Site
from cubital.web.visit import Visit

DAYS = (("0", "that day"), ("-1", "the day before"), ("1", "the day after"))
EVENT_FIELDS = ("event_what", "event_of", "event_day", "event_at")
MOST_ROWS = 60
_CLOCK = re.compile(r"(\d{1,2})[:.]?(\d{2})", re.ASCII)
_DATED = re.compile(r"(\d{4}-\d{2}-\d{2})\b.*", re.ASCII)


class EventRow(msgspec.Struct, frozen=True, kw_only=True):
    """One row of the form: what happened or will, about what, and when. `words` say both where the row was offered."""

    what: str = ""
    of: str = ""
    day: str = DAYS[0][0]
    at: str = ""
    words: str = ""


def read_moments(visit: Visit) -> dict[str, Any]:
    """The fields of the order that the form says of when and where, as an order file writes them."""
    fields: dict[str, Any] = {name: visit.said(name) for name in ("place",) if visit.said(name)}
    now = _clock(visit.said("now"))
    if now:
        fields["now"] = now
    day = _day_of(now) or visit.desk.today()
    events = [_event(row, day, place) for place, row in enumerate(said_rows(visit)) if row.at]
    if events:
        fields["events"] = events
    keep = dict.fromkeys([*visit.all_said("keep"), visit.said("keep_too")])
    fields["keep"] = [word for word in keep if word and word != visit.said("let_go")]
    return fields


def said_rows(visit: Visit) -> tuple[EventRow, ...]:
    """The rows of the form as they were sent, those that say nothing left out."""
    columns = [visit.all_said(name)[:MOST_ROWS] for name in EVENT_FIELDS]
    rows = (
        EventRow(what=what, of=" ".join(of.split()), day=day or DAYS[0][0], at=" ".join(at.split()))
        for what, of, day, at in zip_longest(*columns, fillvalue="")
    )
    return tuple(row for row in rows if row.what or row.at)


def rows_of(moments: Sequence[MomentAsked] | None, said: Sequence[EventRow]) -> tuple[EventRow, ...]:
    """The rows that the form shows: one for each event that the order is asked for, those that were said, an empty one.

    An event that the order is not asked for any more stays where its time was typed.
    """
    times = {(row.what, row.of): row for row in said}
    offered = [
        msgspec.structs.replace(
            times.pop((one.what, one.of or ""), EventRow(what=one.what, of=one.of or "")), words=one.words
        )
        for one in moments or ()
    ]
    return (*offered, *(row for row in times.values() if row.at), EventRow())


def signature(moments: Sequence[MomentAsked]) -> str:
    """What tells whether other rows are to be offered than a form shows."""
    return " ".join(f"{one.what}/{one.of or ''}" for one in moments)


def places_of(site: Site) -> tuple[tuple[str, str], ...]:
    """The places of collection with the time that tubes travel from each; none where the site gives no times."""
    planning = site.planning
    usual = "" if planning.usual_travel_min is None else f", {planning.usual_travel_min} min"
    known = tuple((key, f"{key}, {minutes} min") for key, minutes in planning.travel_min.items())
    return (("", f"the usual one{usual}"), *known) if known else ()


def anchors() -> tuple[tuple[str, str], ...]:
    """What an event may be, in words: all but the times of the day, which nothing fixes."""
    known = facts.anchors().items()
    return tuple((key, key.replace("-", " ")) for key, anchor in known if not anchor.is_time_of_day)


def subjects() -> tuple[str, ...]:
    """The drugs, drinks and procedures that an event may be about, by name."""
    return tuple(sorted({subject.name for subject in facts.subjects().values()}))


def sent_again(rows: Sequence[EventRow]) -> Iterator[tuple[str, str]]:
    """The rows that say a time as the form sends them."""
    for row in rows:
        if row.at:
            yield from zip(EVENT_FIELDS, (row.what, row.of, row.day, row.at), strict=True)


def _event(row: EventRow, day: date, place: int) -> dict[str, str]:
    if row.day not in dict(DAYS):
        raise OrderError(
            f"found the day {row.day[:20]!r}; expected one of {', '.join(key for key, _ in DAYS)}; choose one",
            where=f"events[{place}].at",
        )
    at = _clock(row.at)
    if row.day != DAYS[0][0] and _CLOCK.fullmatch(at):
        at = f"{day + timedelta(days=int(row.day))} {at}"
    event = {"what": row.what, "of": row.of, "at": at}
    return {key: text for key, text in event.items() if text}


def _clock(text: str) -> str:
    """A clock time as an order writes it, however it was typed; anything else as it stands."""
    text = " ".join(text.split())
    found = _CLOCK.fullmatch(text)
    return text if found is None else f"{found[1]:0>2}:{found[2]}"


def _day_of(now: str) -> date | None:
    """The day that a whole instant names."""
    found = _DATED.fullmatch(now)
    try:
        return None if found is None else date.fromisoformat(found[1])
    except ValueError:
        return None  # the reader of the order refuses it, and says what was expected

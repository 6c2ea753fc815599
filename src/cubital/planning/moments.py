"""Which draws an order's moments ask for: as few as can be, in order, with what is done and asked at each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import NamedTuple

import msgspec

from cubital.errors import OrderError
from cubital.model import Event, Site
from cubital.planning.asks import Asked
from cubital.planning.moment_events import Known, known_instants, unneeded_events
from cubital.planning.moment_search import Search, Span, Timed, due_of, is_empty, meeting
from cubital.planning.moment_windows import FIRST_DRAW, Axis, axis_of, beginning_of, demands_of, moment_of
from cubital.planning.moment_words import (
    acts_of,
    asks_of,
    before_words,
    clash_asks,
    label_parts,
    sentences_of,
    steps_of,
)

_OPEN: Span = (None, None)


class Slot(NamedTuple):
    """One draw that the moments ask for. It holds no clock time, so that like orders share it.

    `at_min` counts from the first draw where the order or a series says it. `moment` says when in words, `steps` what
    is done before it, in order, and `asks` what must be known and was not said.
    """

    at_min: int | None
    label: str
    moment: str = ""
    steps: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()


class Arrangement(NamedTuple):
    """The draws of an order, and which of them each asked test goes to.

    `slot_of` holds an index into `slots` for each asked test; `due` the instants between which each slot may be drawn,
    None where no event fixes them. `unneeded` are the events, in words, that fix no draw.
    """

    slots: tuple[Slot, ...]
    slot_of: tuple[int, ...]
    due: tuple[tuple[datetime | None, datetime | None], ...]
    unneeded: tuple[str, ...] = ()


class Timetable(msgspec.Struct, frozen=True, eq=False):
    """The draws of like orders, and the draw of each test; one object for equal ones, so that it is compared fast."""

    slots: tuple[Slot, ...]
    slot_of: tuple[int, ...]


def arrange(asked: Sequence[Asked], site: Site, *, now: datetime | None, events: Sequence[Event]) -> Arrangement:
    """The draws that the moments of these tests ask for, the least possible, each as early as it may be.

    Raises `OrderError` where an event is unknown or cannot be, where a peak would come before its trough, and where
    the times that are said contradict one another.
    """
    if not events and _is_ordinary(asked, site):
        return _ordinary(len(asked))
    demands = demands_of(asked, site)
    known = known_instants(events, asked, demands, site, now)
    _check_peaks(asked, site)
    timed = [Timed(demand, due_of(demand, known)) for demand in demands]
    for one in timed:
        if one.due is not None and is_empty(one.due):
            names = " and ".join(sorted({asked[place].test for place in one.demand.places}))
            raise OrderError(
                f"found times that contradict one another for {names}: no instant fits them all; expected times that "
                "agree; correct one, or leave it out",
                where="events",
            )
    for keeps_minutes in (False, True):
        search = Search(timed, known, now, keeps_minutes=keeps_minutes)
        draws = search.find()
        if draws is None:
            raise OrderError(
                "found times that contradict one another: each of two draws would have to come before the other; "
                "expected an order of drawing; correct the minutes or the events",
                where="events" if events else "tests",
            )
        for minutes in (_about(draws, site), _minutes(draws, site)):
            ordered = search.by_minute(draws, minutes)
            if search.may_follow(ordered) and _rise(_minutes(ordered, site)) and _keep_minutes(ordered, known):
                _check_beginnings(ordered)
                arranged = _arranged(search.as_early(ordered), asked, site, known)
                return arranged._replace(unneeded=unneeded_events(known, asked, demands, site))
    raise OrderError(
        "found times that contradict one another: by the events a draw would come sooner or later than the minute that "
        "is said for it; expected times that agree; correct the minutes or the events",
        where="events" if events else "tests",
    )


def _is_ordinary(asked: Sequence[Asked], site: Site) -> bool:
    """Whether every test goes with the first draw and no moment has anything to say."""
    tests = site.tests
    return not any(one.at_min or tests[one.test].moment is not None or one.series for one in asked)


@cache
def _ordinary(count: int) -> Arrangement:
    return Arrangement((Slot(0, "the draw"),), (0,) * count, (_OPEN,))


def _check_peaks(asked: Sequence[Asked], site: Site) -> None:
    """Refuse blood after a dose that the order or a series puts before, or beside, blood before that dose."""
    befores: list[tuple[Asked, str]] = []
    afters: list[tuple[Asked, str]] = []
    for one in asked:
        moment = moment_of(one, site)
        if moment is not None and moment.of is not None and not moment.is_stated:
            (befores if moment.is_before else afters).append((one, moment.of))
    for peak, of in afters:
        for trough, other in befores:
            if of == other and _stands_before(peak, trough, site):
                raise OrderError(
                    f"found {peak.test} at {peak.at_min} min and {trough.test} at {trough.at_min} min; expected the "
                    "blood before the dose first; exchange the minutes",
                    where="tests",
                )


def _rise(minutes: Sequence[int | None]) -> bool:
    known = [minute for minute in minutes if minute is not None]
    return known == sorted(known)


def _keep_minutes(draws: Sequence[Sequence[Timed]], known: Known) -> bool:
    """Whether every draw said for a minute can be so long after the first draw, by what the events say of both."""
    first = meeting([one.due for one in draws[0] if one.due is not None])
    if FIRST_DRAW in known:
        return True  # then the minute is an instant, and was held against the others
    for draw in draws[1:]:
        begin, end = meeting([one.due for one in draw if one.due is not None])
        for window in (w for one in draw for w in one.demand.windows if w.axis == FIRST_DRAW and w.lo):
            sooner, later = (timedelta(minutes=(window.lo or 0) + by) for by in (-window.slack[0], window.slack[1]))
            if begin is not None and first[1] is not None and begin - first[1] > later:
                return False
            if end is not None and first[0] is not None and end - first[0] < sooner:
                return False
    return True


def _check_beginnings(draws: Sequence[Sequence[Timed]]) -> None:
    """Refuse two tests of the first draw that the events put apart."""
    firsts = [one for draw in draws for one in draw if one.demand.is_first and one.due is not None]
    for one, other in pairwise(firsts):
        if one.due is not None and other.due is not None and is_empty(meeting([one.due, other.due])):
            names = " and ".join(sorted((min(one.demand.tests), min(other.demand.tests))))
            raise OrderError(
                f"found times that contradict one another: {names} are both said of the first draw, and by the events "
                "no instant fits both; expected times that agree; correct the minutes or the events",
                where="events",
            )


def _stands_before(peak: Asked, trough: Asked, site: Site) -> bool:
    """Whether the minutes put the peak before the trough or beside it; a peak at the first draw is before any."""
    if any(p.panel == t.panel and p.at_min <= t.at_min for p in peak.series for t in trough.series):
        return True
    if not _is_placed(peak, site):
        return False
    return peak.at_min == 0 or (_is_placed(trough, site) and peak.at_min <= trough.at_min)


def _is_placed(one: Asked, site: Site) -> bool:
    """Whether the order or a series counts this test's minute from the first draw."""
    return one.is_said or any(site.panels[place.panel].anchor in (None, FIRST_DRAW[0]) for place in one.series)


def _arranged(draws: list[list[Timed]], asked: Sequence[Asked], site: Site, known: Known) -> Arrangement:
    have = {name for draw in draws for one in draw for name in one.demand.names}
    has_first = any(w.is_first for draw in draws for one in draw for w in one.demand.windows) or FIRST_DRAW in known
    acts = acts_of([[one.demand for one in draw] for draw in draws])
    minutes = _minutes(draws, site)
    begun: set[str] = set()
    slots, due, slot_of = [], [], [0] * len(asked)
    for number, draw in enumerate(draws):
        demands = [one.demand for one in draw]
        places = sorted(place for demand in demands for place in demand.places)
        members = [asked[place] for place in places]
        sentences = dict.fromkeys(text for one in members for text in sentences_of(one, site, begun))
        parts = [part for one in members for part in label_parts(one, site)] + before_words(members, demands, site)
        asks = asks_of(members, demands, site, known, have, begun, has_first=has_first)
        asks += [] if number else clash_asks([one.demand for each in draws for one in each], site)
        steps = (*acts[number], *steps_of(members, site))
        slots.append(
            Slot(minutes[number], _label(parts, minutes, number), ". ".join(sentences), steps, tuple(asks))
        )
        due.append(meeting([one.due for one in draw if one.due is not None]))
        for place in places:
            slot_of[place] = number
        begun |= {panel for demand in demands for panel, _ in demand.steps}
    return Arrangement(tuple(slots), tuple(slot_of), tuple(due))


def _minutes(draws: list[list[Timed]], site: Site) -> list[int | None]:
    """The minute of each draw after the first, where the order or a series says it.

    A series that counts from an event begins with the first draw only where its minute 0 is drawn there, just before
    that event and not before some other, as an infusion begins before it ends; where series count from several events,
    none of their minutes counts from the first draw.
    """
    steps = [{step for one in draw for step in one.demand.steps} for draw in draws]
    events = {panel: axis_of(site.panels[panel]) for draw in steps for panel, _ in draw}
    counted = {axis for axis in events.values() if axis is not None}
    begins = any(
        minute == 0 and axis is not None and beginning_of(axis) == axis
        for axis, minute in [(events[panel], minute) for panel, minute in steps[0]]
    )
    found: list[int | None] = []
    for number, draw in enumerate(draws):
        placed = [w.lo for one in draw for w in one.demand.windows if w.axis == FIRST_DRAW and w.lo]
        of_event = [minute for panel, minute in steps[number] if events[panel] in counted]
        if placed:
            found.append(placed[0])
        elif number == 0:
            found.append(0)
        else:
            found.append(min(of_event) if of_event and begins and len(counted) == 1 else None)
    return found


def _about(draws: list[list[Timed]], site: Site) -> list[int | None]:
    """About which minute after the first each draw is, to put them in order: also of a series begun before."""
    found = _minutes(draws, site)
    steps = [{step for one in draw for step in one.demand.steps} for draw in draws]
    first: dict[Axis, int] = {}
    for panel, minute in steps[0]:
        axis = axis_of(site.panels[panel])
        if axis is not None and (minute or beginning_of(axis) == axis):
            first[axis] = minute
    for number, minutes in enumerate(found):
        for panel, minute in steps[number] if minutes is None else ():
            axis = axis_of(site.panels[panel])
            if axis in first:
                found[number] = minute - first[axis]
    return found


def _label(parts: Sequence[str], minutes: Sequence[int | None], number: int) -> str:
    if parts:
        return "; ".join(dict.fromkeys(parts))
    if len(minutes) == 1:
        return "the draw"
    return f"draw at {minutes[number]} min" if any(minutes) else "the first draw" if number == 0 else "another draw"

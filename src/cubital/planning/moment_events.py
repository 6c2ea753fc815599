"""What is known of the doses, drinks and the like that fix when blood is drawn; refuses what cannot be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from difflib import get_close_matches
from functools import cache

from cubital import facts
from cubital.errors import OrderError
from cubital.model import Event, Site
from cubital.planning.asks import Asked
from cubital.planning.moment_windows import FIRST_DRAW, Axis, Demand, beginning_of, is_governed, moment_of

Known = Mapping[Axis, datetime]
"""The instants of the axes that events fix."""


def known_instants(
    events: Sequence[Event], asked: Sequence[Asked], demands: Sequence[Demand], site: Site, now: datetime | None
) -> Known:
    """The instant of each anchor that an event fixes; raises `OrderError` where events cannot be, or not so."""
    if now is not None and now.tzinfo is None:
        raise OrderError("found an instant without its zone; expected one with it; write its offset", where="now")
    axes = _axes(asked, demands, site)
    known: dict[Axis, datetime] = {}
    places: dict[Axis, int] = {}
    for place, event in enumerate(events):
        where = f"events[{place}]"
        axis = _axis_of(event, axes, where)
        if axis in known and known[axis] != event.at:
            raise OrderError(
                f"found {event.what} at {_clock(event.at, site)}, and at {_clock(known[axis], site)} in "
                f"events[{places[axis]}]; "
                "expected one time; take one out",
                where=where,
            )
        known[axis] = event.at
        places.setdefault(axis, place)
    for axis, place in places.items():
        _check_order(axis, known, site, f"events[{place}]")
        if now is not None:
            _check_now(axis, known[axis], demands, now, site, f"events[{place}]")
    _check_first_draws(asked, demands, site, known, places)
    return known


def unneeded_events(known: Known, asked: Sequence[Asked], demands: Sequence[Demand], site: Site) -> tuple[str, ...]:
    """The events, in words, that fix no draw of this order: they may belong to another drug, or to another patient.

    The first draw is always about the order. So is what comes before an axis of it, as a dose before the next dose.
    """
    axes = _axes(asked, demands, site)
    needed = {FIRST_DRAW, *axes, *(beginning_of(axis) for axis in axes)}
    needed |= {(after, of) for anchor, of in axes if (after := facts.anchors()[anchor].after) is not None}
    return tuple([_said(axis) for axis in known if axis not in needed])


def _axes(asked: Sequence[Asked], demands: Sequence[Demand], site: Site) -> list[Axis]:
    """Every axis that the order is about, those of times that are only stated too."""
    found = {window.axis: None for demand in demands for window in demand.windows}
    for one in asked:
        moment = moment_of(one, site)
        if moment is not None and not is_governed(moment, one, site):
            found[moment.anchor, moment.of] = None
    return list(found)


def _axis_of(event: Event, axes: Iterable[Axis], where: str) -> Axis:
    known = facts.anchors()
    if event.what not in known:
        near = get_close_matches(event.what, known, n=3) or list(known)
        raise OrderError(
            f"found {event.what[:60]!r}; expected what happened, one of {', '.join(known)}; did you mean "
            f"{' or '.join(near[:3])}?",
            where=f"{where}.what",
        )
    if event.at.tzinfo is None:
        raise OrderError(
            "found an instant without its zone; expected one with it; write its offset", where=f"{where}.at"
        )
    subjects = [of for anchor, of in axes if anchor == event.what]
    if event.of is not None:
        return event.what, None if subjects == [None] else subject_of(event.of, where=f"{where}.of")
    if len(subjects) > 1:
        names = ", ".join(str(of) for of in subjects)
        raise OrderError(
            f"found {event.what} of nothing named, and the order has several: {names}; expected which one; name it",
            where=f"{where}.of",
        )
    return event.what, subjects[0] if subjects else None


def subject_of(name: str, *, where: str) -> str:
    """The key of the drug, drink or procedure of this name; raises `OrderError` for one that nobody defined.

    >>> subject_of("Paracetamol", where="events[0].of")
    'acetaminophen'
    """
    found = _subject_names().get(_folded(name))
    if found is None:
        near = get_close_matches(_folded(name), _subject_names(), n=3)
        hint = f"; did you mean {' or '.join(near)}?" if near else "; `docs/reference/facts.md` lists them"
        raise OrderError(
            f"found {name[:60]!r}; expected a drug, drink or procedure that a moment is about{hint}", where=where
        )
    return found


@cache
def _subject_names() -> Mapping[str, str]:
    names = {}
    for key, subject in facts.subjects().items():
        for name in (key, subject.name, *subject.also):
            names[_folded(name)] = key
    return names


def _folded(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace("_", " ").split())


def _check_order(axis: Axis, known: Known, site: Site, where: str) -> None:
    """Refuse an event before the one that it cannot come before, such as a next dose before the last."""
    earlier = facts.anchors()[axis[0]].after
    if earlier is None or (earlier, axis[1]) not in known or known[axis] >= known[earlier, axis[1]]:
        return
    raise OrderError(
        f"found {_said(axis)} at {_clock(known[axis], site)}, before {_said((earlier, axis[1]))} at "
        f"{_clock(known[earlier, axis[1]], site)}; expected it after; correct one of the two",
        where=where,
    )


def _check_now(
    axis: Axis, at: datetime, demands: Sequence[Demand], now: datetime, site: Site, where: str
) -> None:
    ahead = facts.anchors()[axis[0]].ahead
    if ahead == "always":
        if at < now:
            raise OrderError(
                f"found {_said(axis)} at {_clock(at, site)}, which is past at {_clock(now, site)}; "
                "expected one ahead; give the "
                "next one, or leave it out",
                where=where,
            )
        return
    draws_before = any(_draws_before(demand, axis) for demand in demands)
    if at > now and not (ahead == "planned" and draws_before):
        raise OrderError(
            f"found {_said(axis)} at {_clock(at, site)}, after now, {_clock(now, site)}; "
            "expected one that has happened; correct "
            "one of the two times, or leave it out until it has",
            where=where,
        )
    if at < now and any(_draws_at(demand, axis) for demand in demands):
        asked = "that of the first draw asked" if axis == FIRST_DRAW else "blood asked that is drawn before it"
        raise OrderError(
            f"found {_said(axis)} at {_clock(at, site)}, which is past at {_clock(now, site)}, and {asked}; "
            "expected it ahead; "
            "take that blood out, or begin anew another day",
            where=where,
        )


def _draws_before(demand: Demand, axis: Axis) -> bool:
    """Whether this is drawn before what the axis is about: before the axis itself, or before that dose."""
    return any(w.is_before and (w.axis == axis or (w.axis[1] is not None and w.axis[1] == axis[1]))
               for w in demand.windows)  # fmt: skip


def _draws_at(demand: Demand, axis: Axis) -> bool:
    """Whether this must be drawn before the very event of the axis, or be the first draw itself."""
    if axis == FIRST_DRAW:
        return demand.is_first
    return any(window.is_before and window.axis in (axis, beginning_of(axis)) for window in demand.windows)


def _check_first_draws(
    asked: Sequence[Asked], demands: Sequence[Demand], site: Site, known: Known, places: Mapping[Axis, int]
) -> None:
    """Refuse a drink said where the blood before it is neither asked nor said to be drawn."""
    have = {name for demand in demands for name in demand.names}
    for one in asked:
        moment = moment_of(one, site)
        if moment is None or moment.needs is None or is_governed(moment, one, site):
            continue
        axis = (moment.anchor, moment.of)
        if axis not in known:
            continue
        first = known.get(FIRST_DRAW)
        needed = facts.moments()[moment.needs]
        if moment.needs not in have and first is None:
            raise OrderError(
                f"found {_said(axis)} and no first draw: {needed.name} is neither asked nor said to be drawn; "
                'expected blood before it; ask that too, or say when it was drawn with an event "first-draw"',
                where=f"events[{places[axis]}]",
            )
        if first is not None and first > known[axis]:
            raise OrderError(
                f"found the first draw at {_clock(first, site)}, after {_said(axis)} at {_clock(known[axis], site)}; "
                "expected it "
                "before; correct one of the two",
                where=f"events[{places[FIRST_DRAW]}]",
            )


def _said(axis: Axis) -> str:
    return facts.moment_facts().anchor_words(*axis)


def _clock(at: datetime, site: Site) -> str:
    """The instant as the clocks of the site show it, with its offset."""
    from zoneinfo import ZoneInfo  # only a refusal needs it

    return at.astimezone(ZoneInfo(site.time_zone)).isoformat(sep=" ", timespec="minutes")

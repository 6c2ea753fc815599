"""When each asked test may be drawn: windows in minutes about what they count from, and the instants of events."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cache
from typing import NamedTuple

from cubital.facts import Moment, anchors, moment_facts, moments, series_moments, subjects
from cubital.model import Order, Panel, Site
from cubital.planning.verify.asked import Asked

# What minutes count from: an anchor and its subject. The first draw is one of them.
Clock = tuple[str, str | None]
FIRST_DRAW: Clock = ("first-draw", None)
Known = Mapping[Clock, datetime]
Span = tuple[datetime | None, datetime | None]


class Window(NamedTuple):
    """Minutes from a clock between which blood is drawn, None where it is open.

    `is_narrow` is met only by a draw made for it while its time is not known. `sooner` and `later` are how far a minute
    counted from the first draw may be missed.
    """

    clock: Clock
    opens: int | None
    closes: int | None
    is_narrow: bool = False
    sooner: int = 0
    later: int = 0

    @property
    def is_any_time(self) -> bool:
        """Whether it says no more than: with the first draw."""
        return self.clock == FIRST_DRAW and self.closes == 0

    @property
    def is_before(self) -> bool:
        """Whether blood is drawn before what the minutes count from."""
        return self.clock != FIRST_DRAW and self.closes is not None and self.closes <= 0

    @property
    def is_after(self) -> bool:
        """Whether blood is drawn after what the minutes count from."""
        return self.clock != FIRST_DRAW and self.opens is not None and self.opens >= 0


class Wanted(NamedTuple):
    """One asked test and when its blood is wanted.

    `moment` is that which rules its draw, None where it has none or a series rules instead. `excludes` names tests,
    panels and moments that never share its draw; `names` are its own. `minute` counts from the first draw, None where
    neither the order nor a series counts so; `said_of_series` is what a label says of its series.
    """

    asked: Asked
    windows: tuple[Window, ...]
    moment: Moment | None
    names: frozenset[str]
    excludes: frozenset[str]
    minute: int | None
    said_of_series: tuple[str, ...]

    @property
    def key(self) -> str:
        """The test."""
        return self.asked.key

    @property
    def real(self) -> tuple[Window, ...]:
        """The windows that say more than: with the first draw."""
        return tuple(window for window in self.windows if not window.is_any_time)

    @property
    def is_plain(self) -> bool:
        """Whether it goes with any draw."""
        return not self.real and not self.excludes and not self.asked.steps


def read_times(asked: Sequence[Asked], site: Site) -> list[Wanted]:
    """When the blood of every asked test is wanted."""
    ruled = [_ruling_moment(one, site) for one in asked]
    first_for: dict[str, list[Clock]] = {}
    for moment in ruled:
        if moment is not None and moment.needs is not None:
            first_for.setdefault(moment.needs, []).append((moment.anchor, moment.of))
    of_minute = _windows_by_minute(asked, site)
    return [
        _wanted(one, moment, site, first_for.get(site.tests[one.key].moment or "", []), of_minute)
        for one, moment in zip(asked, ruled, strict=True)
    ]


def _ruling_moment(one: Asked, site: Site) -> Moment | None:
    """The moment of this test, unless a series says when it is drawn: any time once stated, or from the same anchor."""
    moment = moments().get(site.tests[one.key].moment or "")
    if moment is None:
        return None
    panels = [site.panels[panel] for panel, _ in one.steps]
    return None if panels and (moment.is_stated or any(p.anchor == moment.anchor for p in panels)) else moment


def _wanted(
    one: Asked, moment: Moment | None, site: Site, first_for: Iterable[Clock], of_minute: Mapping[int, Window]
) -> Wanted:
    windows: dict[Clock, Window] = {}
    key = site.tests[one.key].moment
    if moment is not None and moment.has_window:
        windows[moment.anchor, moment.of] = _window((moment.anchor, moment.of), moment.from_min, moment.to_min)
    for panel, minute in sorted(one.steps):
        if not _counts_from_first_draw(site.panels[panel]):
            window = _step_window(site.panels[panel], minute)
            windows[window.clock] = window
    minute_of: int | None = None
    if one.is_said and not one.steps and one.at_min in of_minute:
        windows[of_minute[one.at_min].clock] = of_minute[one.at_min]
    elif one.is_said or any(_counts_from_first_draw(site.panels[panel]) for panel, _ in one.steps):
        minute_of = one.at_min
    for clock in first_for:
        windows.setdefault(clock, _window(clock, -moment_facts().house["before-within"].minutes, 0))
    listed = moments().get(key or "")
    excludes = frozenset(listed.excludes if listed is not None else ())
    if minute_of:
        sooner, later = _missed_by(one, minute_of, site)
        windows[FIRST_DRAW] = Window(FIRST_DRAW, minute_of, minute_of, True, sooner, later)
    elif minute_of == 0 or not (windows or excludes):
        windows[FIRST_DRAW] = Window(FIRST_DRAW, 0, 0)
    names = {one.key, *(panel for panel, _ in one.steps), *((key,) if key is not None else ())}
    said = tuple(
        words for panel, minute in sorted(one.steps) for words in _said_of(site.panels[panel], minute, one.at_min)
    )
    return Wanted(one, tuple(windows.values()), moment, frozenset(names), excludes, minute_of, said)


def _said_of(panel: Panel, minute: int, at_min: int) -> tuple[str, ...]:
    """The minute of a draw of a series, and what it counts from where that is not the first draw."""
    if panel.anchor is None or _counts_from_first_draw(panel):
        return (f"at {at_min} min",)
    clock = (panel.anchor, panel.of)
    return f"at {minute} min", moment_facts().anchor_words(*(clock if minute else beginning_of(clock)))


def _counts_from_first_draw(panel: Panel) -> bool:
    return panel.anchor in (None, FIRST_DRAW[0])


def _windows_by_minute(asked: Sequence[Asked], site: Site) -> Mapping[int, Window]:
    """By minute the draws of the one event that series of an order count from; empty where there is none or several."""
    found: dict[int, Window] = {}
    clocks: set[Clock] = set()
    for one in asked:
        for key, minute in one.steps:
            panel = site.panels[key]
            if panel.anchor is None or _counts_from_first_draw(panel):
                continue
            if one.is_said:
                return {}
            clocks.add((panel.anchor, panel.of))
            found[minute] = _step_window(panel, minute)
    return found if len(clocks) == 1 else {}


def _step_window(panel: Panel, minute: int) -> Window:
    """The window of one draw of a series about its event; that at 0 is before all of the event, an infusion's start."""
    assert panel.anchor is not None
    if minute == 0:
        clock = beginning_of((panel.anchor, panel.of))
        return _window(clock, -moment_facts().house["before-within"].minutes, 0)
    sooner, later = _tolerance(minute, panel.key)
    return Window((panel.anchor, panel.of), minute - sooner, minute + later, True)


def beginning_of(clock: Clock) -> Clock:
    """What blood before an event is drawn before: the event's own beginning where it has one that can be planned."""
    anchor = anchors()[clock[0]]
    return (anchor.after, clock[1]) if anchor.after is not None and anchor.ahead == "planned" else clock


def _tolerance(minute: int, panel: str | None) -> tuple[int, int]:
    moment = series_moments().get(panel or "")
    for opens, closes in moment.draws if moment is not None else ():
        if opens <= minute <= closes:
            return minute - opens, closes - minute
    house = moment_facts().house["series-tolerance"].minutes
    return house, house


def _missed_by(one: Asked, minute: int, site: Site) -> tuple[int, int]:
    """How much sooner and later than its minute a draw may be that counts from the first."""
    for panel, step in sorted(one.steps):
        if step == minute and _counts_from_first_draw(site.panels[panel]):
            return _tolerance(minute, panel)
    return _tolerance(minute, None)


def _window(clock: Clock, opens: int | None, closes: int | None) -> Window:
    """A window; it is narrow where it is shorter than the house's, ends after its event, and is no time of day."""
    is_short = (
        opens is not None and closes is not None and closes - opens < moment_facts().house["loose-from"].minutes
    )
    is_narrow = is_short and (closes or 0) > 0 and not anchors()[clock[0]].is_time_of_day
    return Window(clock, opens, closes, is_narrow)


def read_events(order: Order, wanted: Sequence[Wanted], site: Site) -> tuple[dict[Clock, datetime], list[str]]:
    """The instants that the order's events fix, and what of them cannot be read."""
    clocks = {window.clock for one in wanted for window in one.windows}
    clocks |= {(one.moment.anchor, one.moment.of) for one in wanted if one.moment is not None}
    known: dict[Clock, datetime] = {}
    findings = []
    for event in order.events:
        if event.what not in anchors():
            findings.append(f"the order tells of {event.what!r}, which is nothing that a time counts from")
            continue
        of = [clock[1] for clock in clocks if clock[0] == event.what]
        if event.of is None:
            subject = of[0] if len(of) == 1 else None
        else:
            subject = None if of == [None] else _subjects().get(_plain(event.of))
        if (known.setdefault((event.what, subject), event.at)) != event.at:
            findings.append(f"the order gives two times of {event.what}")
    return known, findings


@cache
def _subjects() -> Mapping[str, str]:
    return {
        _plain(name): key for key, subject in subjects().items() for name in (key, subject.name, *subject.also)
    }


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace("_", " ").split())


def span_of(one: Wanted, known: Known) -> Span | None:
    """The instants between which this test may be drawn; None where no event fixes them."""
    spans = [
        (
            None if w.opens is None else known[w.clock] + timedelta(minutes=w.opens - w.sooner),
            None if w.closes is None else known[w.clock] + timedelta(minutes=w.closes + w.later),
        )
        for w in one.real
        if w.clock in known
    ]
    return common(spans) if spans else None


def common(spans: Iterable[Span]) -> Span:
    """What these spans have in common; it ends before it begins where that is nothing."""
    spans = tuple(spans)
    begins = [begin for begin, _ in spans if begin is not None]
    ends = [end for _, end in spans if end is not None]
    return max(begins, default=None), min(ends, default=None)


def is_nothing(span: Span) -> bool:
    """Whether no instant is in this span."""
    return span[0] is not None and span[1] is not None and span[1] < span[0]

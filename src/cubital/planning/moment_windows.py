"""What the moments of asked tests come to: windows in minutes about anchors, and what may not share a draw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from cubital import facts
from cubital.model import Panel, Site
from cubital.planning.asks import Asked

Axis = tuple[str, str | None]
"""What minutes count from: an anchor, and the subject it is about."""
FIRST_DRAW: Axis = ("first-draw", None)


class Window(NamedTuple):
    """Minutes from an axis between which blood is drawn, None where it is open.

    A window that is fixed is met only by a draw made for it, as long as its time is not known. `slack` is how much
    sooner and later a minute counted from the first draw may be; draws are told apart by the minute itself.
    """

    axis: Axis
    lo: int | None
    hi: int | None
    is_fixed: bool
    slack: tuple[int, int] = (0, 0)

    @property
    def is_before(self) -> bool:
        """Whether the blood is drawn before what the minutes count from."""
        return self.axis != FIRST_DRAW and self.hi is not None and self.hi <= 0

    @property
    def is_first(self) -> bool:
        """Whether it says no more than: with the first draw."""
        return self.axis == FIRST_DRAW and self.hi == 0


class Demand(NamedTuple):
    """Asked tests whose blood is wanted at the same time; `places` are their positions among all that is asked.

    `steps` are places in series, `names` what others may exclude, `excludes` what these exclude. `is_anywhen` marks
    tests of no moment, and `is_first` those that the order or a series puts at minute 0.
    """

    windows: tuple[Window, ...]
    steps: frozenset[tuple[str, int]]
    tests: frozenset[str]
    names: frozenset[str]
    excludes: frozenset[str]
    places: tuple[int, ...]
    is_anywhen: bool
    is_first: bool

    @property
    def real(self) -> tuple[Window, ...]:
        """The windows that say more than: with the first draw."""
        return tuple(window for window in self.windows if not window.is_first)


def moment_of(asked: Asked, site: Site) -> facts.Moment | None:
    """The moment that the directory gives this test."""
    key = site.tests[asked.test].moment
    return None if key is None else facts.moments()[key]


def series_of(asked: Asked, site: Site) -> list[tuple[Panel, int]]:
    """The series this test came through, each with the minute of its step."""
    return [(site.panels[place.panel], place.at_min) for place in asked.series]


def axis_of(panel: Panel) -> Axis | None:
    """What the minutes of a series count from; None where they count from the first draw."""
    is_event = panel.anchor is not None and (panel.anchor, panel.of) != FIRST_DRAW
    return (panel.anchor or "", panel.of) if is_event else None


def is_governed(moment: facts.Moment, asked: Asked, site: Site) -> bool:
    """Whether a series says when this test is drawn, and not the moment.

    It does of a moment that is only stated, and of one that counts from what the series counts from.
    """
    return any(moment.is_stated or panel.anchor == moment.anchor for panel, _ in series_of(asked, site))


def beginning_of(axis: Axis) -> Axis:
    """What blood before an anchor is drawn before: its own beginning, so the start of an infusion and not its end."""
    anchor = facts.anchors()[axis[0]]
    return (anchor.after, axis[1]) if anchor.after is not None and anchor.ahead == "planned" else axis


def demands_of(asked: Sequence[Asked], site: Site) -> list[Demand]:
    """What is wanted when, those of one time together, in the order first met."""
    needed = _needed(asked, site)
    counted = _counted_minutes(asked, site)
    grouped: dict[object, list[Demand]] = {}
    for place, one in enumerate(asked):
        demand = _demand(one, place, site, needed, counted)
        like: object = True if demand.is_anywhen else (demand.windows, demand.steps, demand.excludes)
        grouped.setdefault(like, []).append(demand)
    return [_together(alike) for alike in grouped.values()]


def _needed(asked: Sequence[Asked], site: Site) -> Mapping[str, tuple[Axis, ...]]:
    """By moment, the axes whose later draws need its blood first."""
    found: dict[str, dict[Axis, None]] = {}
    for one in asked:
        moment = moment_of(one, site)
        if moment is not None and moment.needs is not None and not is_governed(moment, one, site):
            found.setdefault(moment.needs, {})[moment.anchor, moment.of] = None
    return {key: tuple(axes) for key, axes in found.items()}


def _counted_minutes(asked: Sequence[Asked], site: Site) -> Mapping[int, Window]:
    """The windows of the one series of an order by the minutes at which it draws: another test said for such a minute
    is drawn with it. Empty where series count from different things, and where the order says when the series begins:
    then its minutes count from the first draw, as those of other tests do.
    """
    found: dict[int, Window] = {}
    axes = set()
    for one in asked:
        for panel, minute in series_of(one, site):
            axis = axis_of(panel)
            if axis is not None:
                axes.add(axis if not one.is_said else None)
                found[minute] = _series_window(axis, minute, panel.key)
    return found if len(axes) == 1 and None not in axes else {}


def _series_window(axis: Axis, minute: int, panel: str) -> Window:
    """The window of one draw of a series about what it counts from; the first is drawn before all of that begins."""
    return _step_window(axis if minute else beginning_of(axis), minute, panel)


def _demand(
    one: Asked, place: int, site: Site, needed: Mapping[str, tuple[Axis, ...]],
    counted: Mapping[int, Window],
) -> Demand:  # fmt: skip
    windows: dict[Axis, Window] = {}
    key = site.tests[one.test].moment
    moment = moment_of(one, site)
    series = series_of(one, site)
    if moment is not None and moment.has_window and not is_governed(moment, one, site):
        axis: Axis = (moment.anchor, moment.of)
        windows[axis] = _window(axis, moment.from_min, moment.to_min)
    for panel, minute in series:
        about = axis_of(panel)
        if about is not None:
            window = _series_window(about, minute, panel.key)
            windows[window.axis] = window
    is_with_series = one.is_said and not series and one.at_min in counted
    if is_with_series:
        windows[counted[one.at_min].axis] = counted[one.at_min]
    if key is not None:
        for axis in needed.get(key, ()):
            windows.setdefault(axis, _step_window(axis, 0, None))
    is_counted = any(panel.anchor in (None, FIRST_DRAW[0]) for panel, _ in series)
    is_placed = (one.is_said and not is_with_series) or is_counted
    at_min = one.at_min if is_placed else 0
    excludes = frozenset(moment.excludes if moment is not None else ())
    is_anywhen = not windows and not excludes and at_min == 0
    if is_placed or is_anywhen:
        slack = _slack(at_min, series) if at_min else (0, 0)
        windows[FIRST_DRAW] = Window(FIRST_DRAW, at_min, at_min, at_min > 0, slack)
    names = {one.test, *(panel.key for panel, _ in series), *(() if key is None else (key,))}
    return Demand(
        tuple(sorted(windows.values(), key=str)), frozenset((panel.key, minute) for panel, minute in series),
        frozenset((one.test,)), frozenset(names), excludes, (place,), is_anywhen, is_placed and at_min == 0,
    )  # fmt: skip


def _together(alike: list[Demand]) -> Demand:
    if len(alike) == 1:
        return alike[0]
    return alike[0]._replace(
        steps=frozenset().union(*(one.steps for one in alike)),
        tests=frozenset().union(*(one.tests for one in alike)),
        names=frozenset().union(*(one.names for one in alike)),
        places=tuple(place for one in alike for place in one.places),
        is_first=any(one.is_first for one in alike),
    )


def _window(axis: Axis, lo: int | None, hi: int | None) -> Window:
    is_narrow = lo is not None and hi is not None and hi - lo < facts.moment_facts().house["loose-from"].minutes
    is_after = hi is None or hi > 0
    return Window(axis, lo, hi, is_narrow and is_after and not facts.anchors()[axis[0]].is_time_of_day)


def _step_window(axis: Axis, minute: int, panel: str | None) -> Window:
    """The window of one draw of a series, which is made for it; that at 0 comes before what the minutes count from."""
    house = facts.moment_facts().house
    if minute == 0:
        return _window(axis, -house["before-within"].minutes, 0)
    early, late = _tolerance(minute, panel)
    return Window(axis, minute - early, minute + late, True)


def _tolerance(minute: int, panel: str | None) -> tuple[int, int]:
    """How many minutes sooner and later than this one the draw of the panel may be."""
    moment = None if panel is None else facts.series_moments().get(panel)
    for lo, hi in moment.draws if moment is not None else ():
        if lo <= minute <= hi:
            return minute - lo, hi - minute
    minutes = facts.moment_facts().house["series-tolerance"].minutes
    return minutes, minutes


def _slack(at_min: int, series: list[tuple[Panel, int]]) -> tuple[int, int]:
    for panel, minute in series:
        if panel.anchor in (None, FIRST_DRAW[0]) and minute == at_min:
            return _tolerance(minute, panel.key)
    return _tolerance(at_min, None)

"""A moment in words: its label, when it is, what is done before it, and what must be asked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cubital import facts
from cubital.model import Site
from cubital.planning.asks import Asked
from cubital.planning.moment_events import Known
from cubital.planning.moment_windows import (
    FIRST_DRAW,
    Axis,
    Demand,
    beginning_of,
    is_governed,
    moment_of,
    series_of,
)

_GIVES = ("drink", "meal", "stimulus")


def minutes_text(minutes: int) -> str:
    """A length of time as it is said at the chair.

    >>> minutes_text(90), minutes_text(360), minutes_text(2880)
    ('90 min', '6 h', '48 h')
    """
    return f"{minutes // 60} h" if minutes % 60 == 0 and minutes else f"{minutes} min"


def window_words(moment: facts.Moment) -> str:
    """When the blood of a moment is drawn, in words.

    >>> window_words(facts.moments()["vancomycin-trough"])
    'at most 30 min before the next dose of vancomycin'
    """
    lo, hi = moment.from_min, moment.to_min
    if moment.is_stated or (lo is None and hi is None):
        return moment.label
    known = facts.moment_facts()
    if known.anchors[moment.anchor].is_time_of_day:
        return " to ".join(f"{m // 60:02d}:{m % 60:02d}" for m in (lo, hi) if m is not None)
    about = known.anchor_words(moment.anchor, moment.of)
    if moment.is_before:
        return f"before {about}" if lo is None else f"at most {minutes_text(-lo)} before {about}"
    if hi is None:
        return f"at least {minutes_text(lo or 0)} after {about}"
    if lo is None:
        return f"at most {minutes_text(hi)} after {about}"
    return f"{minutes_text(lo)} to {minutes_text(hi)} after {about}"


def label_parts(asked: Asked, site: Site) -> list[str]:
    """What the label of this test's draw says of its time: the minute of a series first."""
    found = []
    words = facts.moment_facts()
    for panel, minute in series_of(asked, site):
        if panel.anchor in (None, FIRST_DRAW[0]):
            found.append(f"draw at {asked.at_min} min")
        elif minute == 0:
            found.append(f"draw at 0 min, before {words.anchor_words(*beginning_of((panel.anchor, panel.of)))}")
        else:
            found.append(f"draw at {minute} min after {words.anchor_words(panel.anchor, panel.of)}")
    if asked.is_said:
        found.append(f"draw at {asked.at_min} min")
    moment = moment_of(asked, site)
    if moment is not None and not moment.is_stated and not is_governed(moment, asked, site):
        found.append(moment.label)
    return list(dict.fromkeys(found))


def before_words(members: Iterable[Asked], demands: Iterable[Demand], site: Site) -> list[str]:
    """What this draw comes before for the sake of a later one, where no moment or series of its own says it."""
    own: set[Axis] = set()
    for one in members:
        moment = moment_of(one, site)
        own |= {(moment.anchor, moment.of)} if moment is not None else set()
        own |= {beginning_of((panel.anchor, panel.of)) for panel, _ in series_of(one, site) if panel.anchor is not None}
    axes = dict.fromkeys(w.axis for demand in demands for w in demand.real if w.is_before and w.axis not in own)
    return [f"before {facts.moment_facts().anchor_words(*axis)}" for axis in axes]


def sentences_of(asked: Asked, site: Site, begun: Iterable[str]) -> list[str]:
    """When this test's blood is drawn and what goes wrong otherwise; `begun` are the series of an earlier draw."""
    moment = moment_of(asked, site)
    found = []
    if moment is not None and not is_governed(moment, asked, site):
        found.append(_sentence(f"{moment.name}: {window_words(moment)}", moment, has_caution=True))
    for panel, minute in series_of(asked, site):
        series = facts.series_moments().get(panel.key)
        if series is None:
            continue
        text = f"{series.name}: {minute} min"
        for lo, hi in series.draws if minute else ():
            if lo <= minute <= hi and lo < hi:
                text += f", from {lo} to {hi}"
        found.append(_sentence(text, series, can_miss=minute > 0, has_caution=panel.key not in begun))
    return found


def _sentence(text: str, moment: facts.Moment, *, can_miss: bool = True, has_caution: bool) -> str:
    for what, says in (("too early", moment.early), ("too late", moment.late)):
        text += f"; {what}: {says}" if says and can_miss else ""
    return text + (f"; {moment.caution}" if moment.caution and has_caution else "")


def clash_asks(demands: Iterable[Demand], site: Site) -> list[str]:
    """That two tests which give the patient something are asked, and each may move what the other measures."""
    panels = [site.panels[key] for demand in demands for key, _ in sorted(demand.steps)]
    given = dict.fromkeys((p.anchor, p.of) for p in panels if p.anchor in _GIVES)
    if len(given) < 2:
        return []
    names = " and ".join(facts.moment_facts().anchor_words(anchor, of) for anchor, of in given if anchor is not None)
    return [f"whether {names} may be on one day: each may move what the other measures"]


def steps_of(members: Iterable[Asked], site: Site) -> list[str]:
    """What the moments of these tests want done before their draw, in order, each once."""
    found: dict[str, None] = {}
    for one in members:
        moment = moment_of(one, site)
        if moment is not None and not is_governed(moment, one, site):
            found.update(dict.fromkeys(moment.steps))
    return list(found)


def acts_of(draws: Sequence[Sequence[Demand]]) -> list[list[str]]:
    """What is done to the patient before each draw: the drink, the dose, as soon as blood before it has been drawn.

    It is a step of the next draw, whatever that is of, where a later one has blood after it: what waits for the draw
    that counts from it comes too late.
    """
    found: list[list[str]] = [[] for _ in draws]
    last_before: dict[str, int] = {}
    for number, draw in enumerate(draws):
        windows = [window for demand in draw for window in demand.real if window.axis[1] is not None]
        for window in windows:
            of = window.axis[1]
            if of in last_before and not window.is_before and of is not None:
                act = facts.subjects()[of].act
                found[last_before.pop(of) + 1] += [act] if act is not None else []
        last_before |= {w.axis[1]: number for w in windows if w.is_before and w.axis[1] is not None}
    return found


def asks_of(
    members: Iterable[Asked], demands: Iterable[Demand], site: Site, known: Known, have: Iterable[str],
    begun: Iterable[str], *, has_first: bool,
) -> list[str]:  # fmt: skip
    """What must be known for this draw and was not said.

    `have` names the tests and moments that are asked, `begun` the series of an earlier draw, which asked already;
    `has_first` tells whether the first draw is in this plan or its time known.
    """
    words = facts.moment_facts()
    axes: dict[Axis, None] = {}
    more: dict[str, None] = {}
    for demand in demands:
        for window in demand.real:
            if window.axis != FIRST_DRAW or not has_first:
                axes[window.axis] = None
    for one in members:
        for panel, _ in series_of(one, site):
            series = facts.series_moments().get(panel.key)
            if series is not None and panel.key not in begun:
                more.update(dict.fromkeys(series.ask))
        moment = moment_of(one, site)
        if moment is None or is_governed(moment, one, site):
            continue
        if not words.anchors[moment.anchor].is_time_of_day:
            axes[moment.anchor, moment.of] = None
        more.update(dict.fromkeys(moment.ask))
        if moment.needs is not None and moment.needs not in have and FIRST_DRAW not in known:
            more[f"time of the first draw, before {words.anchor_words(moment.anchor, moment.of)}"] = None
    asked = [words.asks_words(*axis) for axis in axes if axis not in known]
    return list(dict.fromkeys([*asked, *more]))

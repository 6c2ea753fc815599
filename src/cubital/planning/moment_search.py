"""Which demands share a draw, so that the draws are as few as they can be and each may follow the one before it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from cubital import facts
from cubital.planning.moment_events import Known
from cubital.planning.moment_windows import FIRST_DRAW, Axis, Demand, Window

Span = tuple[datetime | None, datetime | None]


class Timed(NamedTuple):
    """A demand, and the instants it may be drawn between: None where no event fixes them."""

    demand: Demand
    due: Span | None


def due_of(demand: Demand, known: Known) -> Span | None:
    """The instants that every window of a known axis allows, None where no axis is known; may be empty."""
    spans = [
        (_shifted(known[w.axis], w.lo, -w.slack[0]), _shifted(known[w.axis], w.hi, w.slack[1]))
        for w in demand.real
        if w.axis in known
    ]
    return meeting(spans) if spans else None


def meeting(spans: Sequence[Span]) -> Span:
    """The instants that all spans have in common; ends before it begins where there are none."""
    begins = [begin for begin, _ in spans if begin is not None]
    ends = [end for _, end in spans if end is not None]
    return max(begins, default=None), min(ends, default=None)


def is_empty(span: Span) -> bool:
    """Whether no instant is in this span."""
    return span[0] is not None and span[1] is not None and span[1] < span[0]


def may_share(one: Timed, other: Timed) -> bool:
    """Whether the blood of the two may be taken in one draw.

    Two draws of one series never are, nor the same test twice, nor what excludes each other. Windows about one axis
    must meet, and so must instants. Otherwise a fixed window shares with nothing whose time is not known as well.
    """
    a, b = one.demand, other.demand
    if a.names & b.excludes or b.names & a.excludes or _are_of_one_series(a, b) or a.tests & b.tests:
        return False
    pairs = [(v, w) for v in a.windows for w in b.windows if v.axis == w.axis]
    if any(_is_apart(v, w) or _is_apart(w, v) for v, w in pairs):
        return False
    if one.due is not None and other.due is not None:
        return not is_empty(meeting([one.due, other.due]))
    if any(not v.is_first for v, _ in pairs) or not a.real or not b.real:
        return True
    return not any(window.is_fixed for window in (*a.real, *b.real))


def _are_of_one_series(a: Demand, b: Demand) -> bool:
    return any(panel == other and minute != at for panel, minute in a.steps for other, at in b.steps)


def _is_apart(earlier: Window, later: Window) -> bool:
    """Whether the first window has closed when the second opens."""
    return earlier.hi is not None and later.lo is not None and earlier.hi < later.lo


class Search:
    """The least number of draws for some demands, by trying every way to put them together.

    Demands come in the order in which their windows close. For windows about one axis, putting each into the first
    draw that takes it is then the least; the search goes on from there where other rules forbid it. It begins at the
    number of demands of which no two may share, below which there is nothing.
    """

    def __init__(self, timed: Sequence[Timed], known: Known, now: datetime | None) -> None:
        self._known = known
        self._now = now
        axes = list(dict.fromkeys(w.axis for t in timed for w in t.demand.windows))
        self.timed = sorted(timed, key=lambda t: _closing(t, axes))
        count = len(self.timed)
        self._share = [[may_share(a, b) for b in self.timed] for a in self.timed]
        self._before = [[a is not b and self._must_precede(a, b) for b in self.timed] for a in self.timed]
        self._count = count

    def find(self) -> list[list[Timed]] | None:
        """The draws in their order, each with its demands; None where no order of drawing is possible."""
        if self._is_contradictory():
            return None
        apart: list[int] = []
        for i in range(self._count):
            if not any(self._share[i][j] for j in apart):
                apart.append(i)
        for count in range(max(1, len(apart)), self._count + 1):
            found = self._place(0, [], count)
            if found is not None:
                return [[self.timed[i] for i in draw] for draw in found]
        return None

    def _is_contradictory(self) -> bool:
        """Whether demands that can never share must each precede the next around a circle: no draws undo that."""
        left = set(range(self._count))
        while left:
            free = {
                i for i in left if not any(self._before[j][i] and not self._share[j][i] for j in left)
            }  # fmt: skip
            if not free:
                return True
            left -= free
        return False

    def _place(self, i: int, draws: list[list[int]], count: int) -> list[list[int]] | None:
        if i == self._count:
            return self._in_order(draws)
        for draw in draws:
            if all(self._share[i][j] for j in draw):
                draw.append(i)
                found = self._place(i + 1, draws, count)
                if found is not None:
                    return found
                draw.pop()
        if len(draws) < count:
            draws.append([i])
            found = self._place(i + 1, draws, count)
            if found is not None:
                return found
            draws.pop()
        return None

    def _in_order(self, draws: list[list[int]]) -> list[list[int]] | None:
        """The draws so that each comes after all that must precede it; None where two must precede each other."""
        left = list(range(len(draws)))
        waits = [
            {e for e in left if e != d and any(self._before[i][j] for i in draws[e] for j in draws[d])} for d in left
        ]
        ordered: list[list[int]] = []
        while left:
            free = next((d for d in left if waits[d].isdisjoint(left)), None)
            if free is None:
                return None
            left.remove(free)
            ordered.append(list(draws[free]))
        return ordered

    def _must_precede(self, one: Timed, other: Timed) -> bool:
        a, b = one.demand, other.demand
        if a.is_first and a.real and not b.is_first:
            return True  # a moment that the order or a series puts at minute 0 is of the first draw, or the order errs
        if any(panel == of and minute < at for panel, minute in a.steps for of, at in b.steps):
            return True
        if any(v.axis == w.axis and _is_apart(v, w) for v in a.windows for w in b.windows):
            return True
        if one.due is not None and other.due is not None:
            return one.due[1] is not None and other.due[0] is not None and one.due[1] < other.due[0]
        return any(
            (v.is_before and _is_after(w) and self._comes_before(v.axis, w.axis))
            or (_is_after(v) and w.is_before and self._is_over(w.axis, v.axis))
            for v in a.real
            for w in b.real
        )

    def _comes_before(self, before: Axis, after: Axis) -> bool:
        """Whether blood before the one, a trough, is drawn before blood after the other, its peak."""
        return before[1] is not None and before[1] == after[1] and not self._is_over(before, after)

    def _is_over(self, before: Axis, after: Axis) -> bool:
        """Whether the dose that blood is drawn after has been given, so that the next one is another dose."""
        if before[1] is None or before[1] != after[1] or facts.anchors()[before[0]].ahead != "always":
            return False
        at = self._known.get(after)
        return at is not None and self._now is not None and at <= self._now


def _is_after(window: Window) -> bool:
    return window.axis != FIRST_DRAW and window.lo is not None and window.lo >= 0


def _shifted(at: datetime, minutes: int | None, slack: int) -> datetime | None:
    return None if minutes is None else at + timedelta(minutes=minutes + slack)


def _closing(timed: Timed, axes: Sequence[Axis]) -> tuple[object, ...]:
    """Where a demand stands among the others: at any time, before something, known, loose, fixed, then whenever."""
    demand = timed.demand
    if demand.is_anywhen or demand.is_first:
        return (0, 0.0, 0, demand.places)
    if timed.due is not None:
        return (2, _seconds(timed.due[1]), _seconds(timed.due[0]), demand.places)
    if not demand.real:
        return (5, 0.0, 0, demand.places)
    first = min(demand.real, key=lambda w: axes.index(w.axis))
    rank = 1 if any(w.is_before for w in demand.real) else 4 if any(w.is_fixed for w in demand.real) else 3
    return (rank, float(axes.index(first.axis)), first.hi if first.hi is not None else 10**9, demand.places)


def _seconds(at: datetime | None) -> float:
    return float("inf") if at is None else at.timestamp()

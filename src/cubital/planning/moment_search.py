"""Which demands share a draw, so that the draws are as few as they can be and each may follow the one before it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import combinations
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


def _are_of_two_minutes(a: Demand, b: Demand) -> bool:
    """Whether the one is said for a minute after the first draw, and a series draws the other at another minute."""
    said, series = ({w.lo for w in one.windows if w.axis == FIRST_DRAW and w.lo} for one in (a, b)), (b.steps, a.steps)
    return any(
        minutes and steps and minutes.isdisjoint(minute for _, minute in steps)
        for minutes, steps in zip(said, series, strict=True)
    )


def _is_apart(earlier: Window, later: Window) -> bool:
    """Whether the first window has closed when the second opens."""
    return earlier.hi is not None and later.lo is not None and earlier.hi < later.lo


class Search:
    """The least number of draws for some demands, by trying every way to put them together.

    Whatever one demand may share a draw with, another may share it with too, and nothing more must precede or follow
    the other: then the other can go with the one in any draws there are, so it is left out of the search and put back
    where it fits first. The rest is searched in the order in which windows close. For windows about one axis, putting
    each into the first draw that takes it is then the least; the search goes on from there where other rules forbid
    it. It begins at a number of demands of which no two may share, below which there is nothing. With `keeps_minutes`
    no test said for one minute goes with a draw of a series at another, whatever the events leave open.
    """

    def __init__(
        self, timed: Sequence[Timed], known: Known, now: datetime | None, *, keeps_minutes: bool = False
    ) -> None:
        self._known = known
        self._now = now
        axes = list(dict.fromkeys(w.axis for t in timed for w in t.demand.windows))
        self.timed = sorted(timed, key=lambda t: _closing(t, axes))
        self._all = range(len(self.timed))
        self._keeps_minutes = keeps_minutes
        self._share = [_mask(a is b or self._may_share(a, b) for b in self.timed) for a in self.timed]
        self._after = [_mask(a is not b and self.must_precede(a, b) for b in self.timed) for a in self.timed]
        self._before = [_mask(self._after[j] >> i & 1 for j in self._all) for i in self._all]

    def _may_share(self, a: Timed, b: Timed) -> bool:
        is_kept = not self._keeps_minutes or not _are_of_two_minutes(a.demand, b.demand)
        return is_kept and may_share(a, b)

    def find(self) -> list[list[Timed]] | None:
        """The draws in their order, each with its demands; None where no order of drawing is possible."""
        if self._is_contradictory():
            return None
        core, out = self._reduced()
        for count in range(self._least(core), len(core) + 1):
            found = self._place(core, [], count)
            if found is not None:
                for i in reversed(out):
                    found = self._put_back(i, found)
                return [[self.timed[i] for i in sorted(draw)] for draw in found]
        return None

    def _reduced(self) -> tuple[list[int], list[int]]:
        """The demands to search for, in order, and those that can go with one of them, in the order left out."""
        core = set(self._all)
        out: list[int] = []
        alive = _mask(True for _ in self._all)
        while True:
            found = next((i for i in sorted(core) if self._goes_along(i, core, alive)), None)
            if found is None:
                return sorted(core), out
            core.remove(found)
            out.append(found)
            alive &= ~(1 << found)

    def _goes_along(self, i: int, core: set[int], alive: int) -> bool:
        both = alive & ~(1 << i)
        return any(
            self._share[i] >> j & 1
            and not self._share[j] & both & ~self._share[i]
            and not self._after[i] & both & ~self._after[j] & ~(1 << j)
            and not self._before[i] & both & ~self._before[j] & ~(1 << j)
            for j in core
            if j != i
        )

    def _put_back(self, i: int, draws: list[list[int]]) -> list[list[int]]:
        """The draws with this demand in the first of them that takes it."""
        for place, draw in enumerate(draws):
            if all(self._share[i] >> j & 1 for j in draw):
                tried = self._in_order([[*one, i] if n == place else one for n, one in enumerate(draws)])
                if tried is not None:
                    return tried
        raise AssertionError("a demand left out of the search goes with one of it")

    def _least(self, core: Sequence[int]) -> int:
        """A number of demands of which no two may share, found greedily: fewer draws than these there cannot be.

        Taken in the order of closing it is exact for windows about one axis; taken from those that share with the
        fewest others it is large where most are fixed.
        """
        lonely = sorted(core, key=lambda i: self._share[i].bit_count())
        most = 1
        for order in (core, lonely):
            apart = 0
            for i in order:
                if not self._share[i] & apart:
                    apart |= 1 << i
            most = max(most, apart.bit_count())
        return most

    def _is_contradictory(self) -> bool:
        """Whether demands that can never share must each precede the next around a circle: no draws undo that."""
        left = _mask(True for _ in self._all)
        while left:
            free = _mask(left >> i & 1 and not self._before[i] & left & ~self._share[i] for i in self._all)
            if not free:
                return True
            left &= ~free
        return False

    def _place(self, core: Sequence[int], draws: list[list[int]], count: int) -> list[list[int]] | None:
        """The draws with the first of `core` put into each of them in turn, then into one of its own, and so on."""
        if not core:
            return self._in_order(draws)
        # A draw takes no more than what shares with all in it: what no draw can take needs draws of its own.
        takes = 0
        for draw in draws:
            takes |= _all_of(self._share[j] for j in draw)
        alone = [i for i in core if not takes >> i & 1]
        if alone and len(draws) + self._least(alone) > count:
            return None
        i, rest = core[0], core[1:]
        for draw in draws:
            if all(self._share[i] >> j & 1 for j in draw):
                draw.append(i)
                found = self._place(rest, draws, count)
                if found is not None:
                    return found
                draw.pop()
        if len(draws) < count:
            draws.append([i])
            found = self._place(rest, draws, count)
            if found is not None:
                return found
            draws.pop()
        return None

    def _in_order(self, draws: Sequence[Sequence[int]]) -> list[list[int]] | None:
        """The draws so that each comes after all that must precede it; None where two must precede each other."""
        left = sorted(([*draw] for draw in draws), key=min)
        ordered: list[list[int]] = []
        while left:
            masks = [_bits(draw) for draw in left]
            free = next(
                (n for n, draw in enumerate(left)
                 if not any(self._before[i] & mask for i in draw for m, mask in enumerate(masks) if m != n)),
                None,
            )  # fmt: skip
            if free is None:
                return None
            ordered.append(left.pop(free))
        return ordered

    def by_minute(self, draws: list[list[Timed]], minutes: Sequence[int | None]) -> list[list[Timed]]:
        """The same draws with those of a known minute in its order, or as they are."""
        left, ordered = list(range(len(draws))), []
        while left:
            free = next((n for n in left if not any(self._waits(n, m, draws, minutes) for m in left if m != n)), None)
            if free is None:
                return draws
            left.remove(free)
            ordered.append(draws[free])
        return ordered

    def as_early(self, draws: Sequence[Sequence[Timed]]) -> list[list[Timed]]:
        """The same draws with what may be drawn at any time in the first that takes it."""
        moved = [list(draw) for draw in draws]
        for number, draw in enumerate(draws):
            for one in (one for one in draw if one.demand.is_anywhen and len(draw) > 1):
                takes = [earlier for earlier in moved[:number] if all(self._may_share(one, other) for other in earlier)]
                if takes:
                    moved[number].remove(one)
                    takes[0].append(one)
        return moved

    def may_follow(self, draws: list[list[Timed]]) -> bool:
        """Whether in this order nothing comes before what must precede it."""
        return not any(
            self.must_precede(b, a) for one, other in combinations(draws, 2) for a in one for b in other
        )

    def _waits(self, n: int, m: int, draws: list[list[Timed]], minutes: Sequence[int | None]) -> bool:
        """Whether draw `n` comes after draw `m`: by its minute, or by what is drawn in both."""
        mine, theirs = minutes[n], minutes[m]
        if mine is not None and theirs is not None and mine != theirs:
            return theirs < mine
        return any(self.must_precede(b, a) for a in draws[n] for b in draws[m])

    def must_precede(self, one: Timed, other: Timed) -> bool:
        """Whether the blood of the one is drawn before that of the other wherever they are not drawn together."""
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


def _mask(claims: Iterable[object]) -> int:
    """One bit for each claim that is true."""
    return sum(1 << i for i, claim in enumerate(claims) if claim)


def _all_of(masks: Iterable[int]) -> int:
    """The bits that every mask has."""
    found = -1
    for mask in masks:
        found &= mask
    return found


def _bits(places: Iterable[int]) -> int:
    return sum(1 << i for i in places)


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

"""What is due at the bench at an instant, most urgent first, for thousands of specimens at once.

What a specimen needs next follows from its record, so it is worked out when the record changes, not when
somebody looks. An instant only cuts the sorted list; what is late by then is looked at again, for what of
it is not lost.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Literal, NamedTuple

import msgspec
from msgspec.structs import replace

from cubital.handling.clock import Clock
from cubital.handling.clock_steps import Step, StepKey
from cubital.handling.keeping import PolicyKey
from cubital.model.plan import Reason
from cubital.model.site import Site
from cubital.model.specimen import Specimen, StorageKey

UrgencyKey = Literal["late", "due", "waiting", "unknown"]
# The bench does these; mixing and darkness are the collector's, and no record shows them.
_BENCH: tuple[StepKey, ...] = ("ice", "warm", "deliver", "spin", "separate", "freeze", "test")


class Line(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One thing to do next with a specimen: by when, for which tests, and why.

    `begin_by` is when it must begin to be over at `due_at`; both None where no source gives a time.
    `opens_at` is before when it must not begin. `lost` are tests that it is too late for already.
    """

    specimen: str
    urgency: UrgencyKey
    step: StepKey
    text: str
    tests: tuple[str, ...]
    storage: StorageKey
    opens_at: datetime
    begin_by: datetime | None
    due_at: datetime | None
    lost: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()
    unknown: tuple[str, ...] = ()


class Page(msgspec.Struct, frozen=True, kw_only=True):
    """The board at an instant: its lines, what is lost and to be drawn again, and how many there are of each."""

    at: datetime
    lines: tuple[Line, ...]
    lost: tuple[tuple[str, tuple[str, ...]], ...]
    late: int
    due: int
    waiting: int
    unknown: int


class _Next(NamedTuple):
    """The next step of a specimen, by the instant at which it must begin, in seconds of the epoch."""

    begin_s: int
    specimen: str


class Board:
    """The specimens of a bench and what each needs next; put a specimen again when its record changed."""

    def __init__(self, site: Site, *, policy: PolicyKey = "strict") -> None:
        self.clock = Clock(site, policy=policy)
        self._specimens: dict[str, tuple[Specimen, datetime | None]] = {}
        self._steps: dict[str, Step] = {}
        self._sorted: list[_Next] = []
        self._timeless: dict[str, None] = {}
        self._prospects: dict[str, tuple[int, int, tuple[str, ...], Line | None]] = {}

    def __len__(self) -> int:
        return len(self._specimens)

    def put(self, specimen: Specimen, *, poured_at: datetime | None = None) -> None:
        """Take this state of a specimen in; one with nothing waiting leaves the board."""
        self.drop(specimen.id)
        step = self._next_step(specimen, poured_at)
        if step is None:
            return
        self._specimens[specimen.id] = (specimen, poured_at)
        self._steps[specimen.id] = step
        begin_s = step.start_s
        if begin_s is None:
            self._timeless[specimen.id] = None
        else:
            insort(self._sorted, _Next(_epoch(specimen) + begin_s, specimen.id))

    def put_all(self, specimens: Iterable[Specimen]) -> None:
        """Take many in at once, which is quicker than one after another."""
        for specimen in specimens:
            self.drop(specimen.id)
            step = self._next_step(specimen, None)
            if step is None:
                continue
            self._specimens[specimen.id] = (specimen, None)
            self._steps[specimen.id] = step
            if step.start_s is None:
                self._timeless[specimen.id] = None
            else:
                self._sorted.append(_Next(_epoch(specimen) + step.start_s, specimen.id))
        self._sorted.sort()

    def drop(self, id: str) -> None:
        """Forget a specimen."""
        if id not in self._specimens:
            return
        specimen, _ = self._specimens.pop(id)
        step = self._steps.pop(id)
        self._prospects.pop(id, None)
        if step.start_s is None:
            del self._timeless[id]
        else:
            del self._sorted[bisect_left(self._sorted, _Next(_epoch(specimen) + step.start_s, id))]

    def at(self, now: datetime, *, most: int | None = None) -> Page:
        """What is due at this instant: late first, then by when it must begin; at most `most` lines."""
        now_s = int(now.timestamp())
        cut = bisect_left(self._sorted, _Next(now_s, ""))
        lost: list[tuple[str, tuple[str, ...]]] = []
        late: list[Line] = []
        # What has no time can be too late all the same, however it was kept.
        for id in [*(entry.specimen for entry in self._sorted[:cut]), *self._timeless]:
            gone, line = self._look_again(id, now, now_s)
            if gone:
                lost.append((id, gone))
            if line is not None:
                late.append(line)
        looked = sorted(late, key=lambda line: (line.begin_by or now, line.specimen))
        later = list(self._later(cut, now))
        if again := [line for line in looked if line.urgency in ("due", "waiting")]:
            # What is still in time for the tests that are left stands among the others.
            later = sorted([*again, *later], key=_place)
        timeless = sorted((line for line in looked if line.urgency == "unknown"), key=self._when_drawn)
        lines = [*(line for line in looked if line.urgency == "late"), *later, *timeless]
        counts = dict.fromkeys(("late", "due", "waiting", "unknown"), 0)
        for line in lines:
            counts[line.urgency] += 1
        return Page(at=now, lines=tuple(lines[:most]), lost=tuple(lost), **counts)

    def _later(self, cut: int, now: datetime) -> Iterator[Line]:
        for entry in self._sorted[cut:]:
            specimen, _ = self._specimens[entry.specimen]
            yield _line(specimen, self._steps[entry.specimen], now)

    def _when_drawn(self, line: Line) -> tuple[datetime, str]:
        return self._specimens[line.specimen][0].collected_at, line.specimen

    def _look_again(self, id: str, now: datetime, now_s: int) -> tuple[tuple[str, ...], Line | None]:
        """The tests of a late specimen that are lost, and what comes next for the others; None where none is left."""
        known = self._prospects.get(id)
        if known is not None and known[0] <= now_s < known[1]:
            gone, line = known[2], known[3]
            return gone, None if line is None else replace(line, urgency=_urgency_at(line, now))
        specimen, poured_at = self._specimens[id]
        drawn_s = _epoch(specimen)
        ends = self.clock.ends(specimen, poured_at=poured_at)
        lost = tuple(key for key, kept in ends if kept.standing(now_s - drawn_s) == "past")
        step: Step | None = self._steps[id]
        if lost:
            step = self._next_step(replace(specimen, tests=_without(specimen.waiting, lost)), poured_at)
        line = None if step is None else replace(_line(specimen, step, now), lost=lost)
        # Until the next test is lost, nothing changes but the hour.
        later = [kept.ends_s for key, kept in ends if kept.ends_s is not None and key not in lost]
        until_s = drawn_s + min(later) + 1 if later else now_s + 10**9
        self._prospects[id] = (now_s, until_s, lost, line)
        return lost, line

    def _next_step(self, specimen: Specimen, poured_at: datetime | None) -> Step | None:
        for step in self.clock.steps(specimen, poured_at=poured_at):
            if step.step in _BENCH and step.done_s is None:
                is_past = step.step in ("ice", "warm") and (specimen.received_at is not None or bool(specimen.spins))
                is_past = is_past or (step.step == "deliver" and bool(specimen.spins))
                if not is_past:
                    return step
        return None


def _place(line: Line) -> tuple[bool, datetime, str]:
    """Where a line stands: by when it must begin; what has no time, at the end in the order of the draw."""
    return line.begin_by is None, line.begin_by or line.opens_at, line.specimen


def _without(tests: tuple[str, ...], gone: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(test for test in tests if test not in gone)


def _epoch(specimen: Specimen) -> int:
    return int(specimen.collected_at.timestamp())


def _line(specimen: Specimen, step: Step, now: datetime) -> Line:
    drawn = specimen.collected_at
    begin_by = None if step.start_s is None else drawn + timedelta(seconds=step.start_s)
    opens_at = drawn + timedelta(seconds=step.opens_s)
    return Line(
        specimen=specimen.id, urgency=_urgency(begin_by, opens_at, now), step=step.step, text=step.text,
        tests=step.tests, storage=specimen.storage, opens_at=opens_at, begin_by=begin_by,
        due_at=None if step.due_s is None else drawn + timedelta(seconds=step.due_s),
        reasons=tuple(Reason(about=step.step, text=x.text, basis=x.basis, sources=x.sources) for x in step.limits),
        unknown=step.unknown,
    )  # fmt: skip


def _urgency_at(line: Line, now: datetime) -> UrgencyKey:
    return _urgency(line.begin_by, line.opens_at, now)


def _urgency(begin_by: datetime | None, opens_at: datetime, now: datetime) -> UrgencyKey:
    if begin_by is None:
        return "unknown"
    if now > begin_by:
        return "late"
    return "due" if now >= opens_at else "waiting"

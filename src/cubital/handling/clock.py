"""What each specimen needs and by when: the windows that the strictest of its waiting tests set.

Windows follow from the record of a specimen alone; an instant only says how they stand. So a window that
was late stays late: nothing that happens later undoes it. A tube that belongs on ice or at 37 C, and has been
nowhere else yet, has the windows of one that gets there at once, and is not called lost for want of a record;
whether it did is a window of its own, which says so. Spun in the cold it may have been there or not: that is said, and
it is lost once it is too late either way.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Literal, NamedTuple

import msgspec

from cubital.handling.clock_steps import Bench, Step, StepKey, kept_by_any, supposed
from cubital.handling.keeping import PolicyKey
from cubital.handling.stability import Kept, Life, life_of, seconds_between
from cubital.model.plan import Reason
from cubital.model.site import Site
from cubital.model.specimen import Specimen
from cubital.model.test import Test

StatusKey = Literal["waiting", "open", "late", "done", "done early", "done late", "not recorded"]
_MOST_KEPT = 2_000


class Window(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One thing to do with a specimen, from when to when, for which tests and why.

    `due_at` None is no limit that any source gives. It must have begun by `start_by`. `done_at` is when
    it was done; where the record cannot show it, `is_recorded` is false. `unknown` names what is not known.
    """

    specimen: str
    step: StepKey
    text: str
    tests: tuple[str, ...]
    opens_at: datetime
    due_at: datetime | None
    start_by: datetime | None
    done_at: datetime | None = None
    is_recorded: bool = True
    reasons: tuple[Reason, ...] = ()
    unknown: tuple[str, ...] = ()

    def status(self, now: datetime) -> StatusKey:
        """How it stands at this instant; late is late for good."""
        if self.step == "clot":
            return "open" if now < self.opens_at else "done"
        if self.done_at is not None and self.done_at <= now:
            if self.due_at is not None and self.done_at > self.due_at:
                return "done late"
            return "done early" if self.done_at < self.opens_at else "done"
        if self.due_at is not None and now > self.due_at:
            return "late" if self.is_recorded else "not recorded"
        return "open" if now >= self.opens_at else "waiting"


class _Likeness(NamedTuple):
    """What is worked out once for all specimens that are alike."""

    steps: tuple[Step, ...]
    ends: tuple[tuple[str, Kept], ...]


class Clock:
    """Works out the windows of specimens at one site under one policy; like specimens are worked out once."""

    def __init__(self, site: Site, *, policy: PolicyKey = "strict") -> None:
        self.site = site
        self.policy = policy
        self._likenesses: dict[object, _Likeness] = {}

    def windows(self, specimen: Specimen, *, poured_at: datetime | None = None) -> tuple[Window, ...]:
        """Every window of this specimen, in the order of the bench; empty where nothing waits.

        `poured_at` is when an aliquot was taken off its tube, which its own state does not say.
        """
        return tuple(
            _window(specimen, step, specimen.collected_at) for step in self.steps(specimen, poured_at=poured_at)
        )

    def steps(self, specimen: Specimen, *, poured_at: datetime | None = None) -> tuple[Step, ...]:
        """The same windows in seconds after the draw."""
        return self._known(specimen, poured_at).steps

    def ends(self, specimen: Specimen, *, poured_at: datetime | None = None) -> tuple[tuple[str, Kept], ...]:
        """Until when each waiting test may be measured, in seconds after the draw."""
        return self._known(specimen, poured_at).ends

    def _known(self, specimen: Specimen, poured_at: datetime | None) -> _Likeness:
        life = life_of(specimen, poured_at=poured_at)
        received_s = None if specimen.received_at is None else _since(specimen, specimen.received_at)
        spun_s = _since(specimen, specimen.spins[0].at) if specimen.spins else None
        key = (
            specimen.kind, specimen.additive, specimen.gel, specimen.matrix, specimen.waiting, life,
            specimen.anticoagulated, specimen.parent is None, bool(specimen.stays), received_s, spun_s,
            tuple(spin.temperature_c for spin in specimen.spins),
        )  # fmt: skip
        found = self._likenesses.get(key)
        if found is None:
            if len(self._likenesses) >= _MOST_KEPT:
                self._likenesses.clear()
            tests = self.known_tests(specimen)
            bench = Bench(self.site, self.policy, specimen, tests, life, received_s, spun_s)
            ends = tuple(
                (test.key, self.kept(test, specimen, *supposed(test, specimen, life))) for test in tests
            )  # fmt: skip
            found = self._likenesses[key] = _Likeness(tuple(bench.steps()) if tests else (), ends)
        return found

    def known_tests(self, specimen: Specimen) -> tuple[Test, ...]:
        """Its waiting tests as the directory has them; one that the site does not know needs nothing known."""
        unknown = (Test(key=key, name=key, bench="") for key in specimen.waiting if key not in self.site.tests)
        return (*(self.site.tests[key] for key in specimen.waiting if key in self.site.tests), *unknown)

    def kept(self, test: Test, specimen: Specimen, *lives: Life) -> Kept:
        """Until when this test may be measured in this specimen, which has had one of these lives."""
        return kept_by_any(test, specimen, lives, self.policy)


def _since(specimen: Specimen, instant: datetime) -> int:
    return max(0, seconds_between(specimen.collected_at, instant))


def _window(specimen: Specimen, step: Step, drawn: datetime) -> Window:
    def instant(seconds: int | None) -> datetime | None:
        return None if seconds is None else drawn + timedelta(seconds=seconds)

    return Window(
        specimen=specimen.id, step=step.step, text=step.text, tests=step.tests,
        opens_at=drawn + timedelta(seconds=step.opens_s), due_at=instant(step.due_s), start_by=instant(step.start_s),
        done_at=instant(step.done_s), is_recorded=step.is_recorded, unknown=step.unknown,
        reasons=tuple(Reason(about=step.step, text=x.text, basis=x.basis, sources=x.sources) for x in step.limits),
    )  # fmt: skip

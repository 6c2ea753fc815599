"""No sequence of commands brings a record into a state that cannot be.

Commands of all kinds, sensible or not, are thrown at a real record in SQLite by two stations, one of
which may act on what it saw earlier. Beside it stands a plain account of volumes and verdicts that
shares no code with the record; after every command both must agree, and nothing impossible may be
there: a test reported from a refused tube, a volume below zero, anything after a discard.
"""

from __future__ import annotations

import functools
import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from cubital.app.record import SpecimenRecord
from cubital.app.record_care import check_record
from cubital.app.wiring import open_record, open_store, upgrade_store
from cubital.errors import ClockSetBack, ImpossibleEvent, KeyReused, LostRace
from cubital.model.plan import Reason
from cubital.model.record import Step
from cubital.model.specimen import (
    Added,
    Aliquoted,
    AnyEvent,
    Collected,
    Discarded,
    Judged,
    Received,
    Reported,
    Spun,
    Stored,
    Verdict,
)
from tests.contract.events import Clock, collected

NAMES = ("s1", "a1", "a2")
TESTS = ("potassium", "sodium")
names = st.sampled_from(NAMES)
tests = st.sampled_from(TESTS)
volumes_ul = st.sampled_from((-1, 0, 1, 40, 40, 300, 1001))
some_tests = st.sampled_from((("potassium",), ("sodium",), ("potassium", "sodium"), ()))
outcomes = st.sampled_from(("accept", "refuse", "comment"))


@functools.cache
def empty_file() -> bytes:
    """An empty record, to copy."""
    with tempfile.TemporaryDirectory(prefix="record-") as folder:
        path = Path(folder) / "record.db"
        upgrade_store(str(path))
        return path.read_bytes()


class RecordMachine(RuleBasedStateMachine):
    """Two stations at one record, and an account of what may be true of it."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory(prefix="record-")
        self.address = str(Path(self.folder.name) / "record.db")
        Path(self.address).write_bytes(empty_file())
        self.clock = Clock()
        self.record: SpecimenRecord = open_record(self.address, now=self.clock)
        self.seen: dict[str, int] = dict.fromkeys(NAMES, 0)
        self.left_ul: dict[str, int] = {}
        self.parents: dict[str, str] = {}
        self.refused: set[tuple[str, str]] = set()
        self.accepted: set[tuple[str, str]] = set()
        self.reported: set[tuple[str, str]] = set()
        self.strange: set[str] = set()
        self.discarded: set[str] = set()
        self.count = 0
        self.keys = 0
        self.last: list[Step] = []

    def teardown(self) -> None:
        self.record.close()
        store = open_store(self.address)
        assert check_record(store).faults == ()
        store.close()
        self.folder.cleanup()

    @initialize()
    def begin(self) -> None:
        self.send(collected("s1", key="begin"))
        self.send(Received(**self.said("s1")))

    def said(self, specimen: str) -> dict[str, Any]:
        self.keys += 1
        return {"key": f"k{self.keys}", "specimen": specimen, "at": self.clock.at, "by": "b", "station": "c"}

    def send(self, event: AnyEvent, *, stale: bool = False) -> None:
        """One request; where it is taken, the account is brought forward."""
        now = self.record.specimen(event.specimen)
        expected = self.seen[event.specimen] if stale else (0 if now is None else now.events)
        steps = [Step(event=event, expected=expected)]
        said, told = None, None
        try:
            said = self.record.append(*steps)
        except LostRace as lost:
            told = lost
        except ImpossibleEvent:
            return
        if told is not None:
            assert stale or (isinstance(event, Aliquoted) and told.specimen == event.child)
            return
        assert said is not None
        assert not said.is_repeat
        self.last = steps
        self.count += len(said.entries)
        for state in said.specimens:
            self.seen[state.id] = state.events
        self.account(event)

    def account(self, event: AnyEvent) -> None:
        name = event.specimen
        assert name not in self.discarded
        if isinstance(event, Reported | Added) or (
            isinstance(event, Judged) and any(verdict.outcome != "refuse" for verdict in event.verdicts)
        ):
            assert not self.strange & {name, *self.above(name)}
        if isinstance(event, Judged) and any(verdict.reasons for verdict in event.verdicts):
            self.strange.add(name)
        if isinstance(event, Collected):
            assert name not in self.left_ul
            self.left_ul[name] = event.usable_ul
        if isinstance(event, Received) and event.usable_ul is not None:
            self.left_ul[name] = event.usable_ul
        if isinstance(event, Aliquoted):
            self.left_ul[name] -= event.volume_ul
            assert event.child not in self.left_ul
            self.left_ul[event.child] = event.volume_ul
            self.parents[event.child] = name
            if any((name, test) in self.refused for test in event.tests) and name in self.strange:
                self.strange.add(event.child)
            for held in (self.refused, self.accepted):
                held |= {(event.child, test) for test in event.tests if (name, test) in held}
        if isinstance(event, Judged):
            for verdict in event.verdicts:
                pair = (name, verdict.test)
                (self.accepted if verdict.outcome == "refuse" else self.refused).discard(pair)
                (self.refused if verdict.outcome == "refuse" else self.accepted).add(pair)
                assert verdict.outcome == "refuse" or not self.is_refused_above(*pair)
        if isinstance(event, Reported):
            pair = (name, event.test)
            assert pair in self.accepted
            assert not self.is_refused_above(*pair)
            assert pair not in self.reported
            self.reported.add(pair)
            self.left_ul[name] -= event.volume_ul
        if isinstance(event, Discarded):
            self.discarded.add(name)
            self.left_ul[name] = 0

    def above(self, name: str) -> list[str]:
        found = []
        while name in self.parents:
            name = self.parents[name]
            found.append(name)
        return found

    def is_refused_above(self, name: str, test: str) -> bool:
        return any((parent, test) in self.refused for parent in self.above(name))

    @rule(name=names, usable_ul=volumes_ul, stale=st.booleans())
    def collect(self, name: str, usable_ul: int, stale: bool) -> None:
        self.send(collected(**{**self.said(name), "usable_ul": usable_ul}), stale=stale)

    @rule(name=names, usable_ul=st.none() | volumes_ul, stale=st.booleans())
    def receive(self, name: str, usable_ul: int | None, stale: bool) -> None:
        self.send(Received(usable_ul=usable_ul, **self.said(name)), stale=stale)

    @rule(name=names, outcome=outcomes, some=some_tests, stale=st.booleans())
    def judge(self, name: str, outcome: Any, some: tuple[str, ...], stale: bool) -> None:
        verdicts = tuple(Verdict(test=test, outcome=outcome) for test in some)
        self.send(Judged(verdicts=verdicts, **self.said(name)), stale=stale)

    @rule(name=names, test=tests)
    def doubt_whose_it_is(self, name: str, test: str) -> None:
        reason = Reason(about="label-mismatch", text="1 differs", basis="common-practice", sources=("common-practice",))
        verdict = Verdict(test=test, outcome="refuse", reasons=(reason,))
        self.send(Judged(verdicts=(verdict,), **self.said(name)))

    @rule(name=names, child=st.sampled_from(NAMES[1:]), volume_ul=volumes_ul, some=some_tests)
    def pour(self, name: str, child: str, volume_ul: int, some: tuple[str, ...]) -> None:
        self.send(Aliquoted(child=child, volume_ul=volume_ul, tests=some, **self.said(name)))

    @rule(name=names, child=st.sampled_from(NAMES[1:]), test=tests)
    def find_a_fault_after_pouring(self, name: str, child: str, test: str) -> None:
        self.judge(name=name, outcome="accept", some=(test,), stale=False)
        self.pour(name=name, child=child, volume_ul=40, some=(test,))
        self.judge(name=name, outcome="refuse", some=(test,), stale=False)

    @rule(name=names, test=tests, volume_ul=volumes_ul, stale=st.booleans())
    def report(self, name: str, test: str, volume_ul: int, stale: bool) -> None:
        self.send(Reported(test=test, volume_ul=volume_ul, **self.said(name)), stale=stale)

    @rule(name=names, what=st.sampled_from(("spin", "store", "add")))
    def handle(self, name: str, what: str) -> None:
        if what == "spin":
            self.send(Spun(rcf_g=1300, spin_s=600, temperature_c=20, **self.said(name)))
        elif what == "store":
            self.send(Stored(storage="cold", **self.said(name)))
        else:
            self.send(Added(tests=("iron",), **self.said(name)))

    @rule(name=names)
    def discard(self, name: str) -> None:
        self.send(Discarded(why="invented", **self.said(name)))

    @rule()
    def send_the_last_request_again(self) -> None:
        if self.last:
            assert self.record.append(*self.last).is_repeat

    @rule(usable_ul=volumes_ul)
    def use_an_old_key_for_something_else(self, usable_ul: int) -> None:
        event = Received(**{**self.said("a1"), "key": "begin"}, usable_ul=usable_ul)
        # What is no volume is refused before anything is looked up.
        with pytest.raises(ImpossibleEvent if usable_ul < 0 else KeyReused):
            self.record.append(Step(event=event, expected=self.seen["a1"]))

    @rule(seconds=st.integers(min_value=0, max_value=600))
    def let_time_pass(self, seconds: int) -> None:
        self.clock.pass_s(seconds)

    @rule(seconds=st.integers(min_value=61, max_value=7200))
    def set_the_clock_back(self, seconds: int) -> None:
        right, last = self.clock.at, self.record.head().recorded_at
        assert last is not None
        self.clock.at = last - timedelta(seconds=seconds)
        with pytest.raises(ClockSetBack):
            self.record.append(Step(event=Discarded(why="invented", **self.said("s1")), expected=self.seen["s1"]))
        self.clock.at = right

    @invariant()
    def the_record_and_the_account_agree(self) -> None:
        assert self.record.head().sequence == self.count
        for name in NAMES:
            state = self.record.specimen(name)
            assert (state is None) == (name not in self.left_ul)
            if state is None:
                continue
            assert state.left_ul == self.left_ul[name] >= 0
            assert {(name, test) for test in state.reported} == {pair for pair in self.reported if pair[0] == name}
            assert (state.discarded_at is not None) == (name in self.discarded)
            assert len(set(state.tests)) == len(state.tests)
            assert not (state.discarded_at and state.waiting)


RecordMachine.TestCase.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
TestRecordStates = RecordMachine.TestCase

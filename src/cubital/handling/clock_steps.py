"""What one specimen needs and by when, in seconds after its draw: the steps of the bench, in their order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from cubital import facts
from cubital.facts.keeping import StorageKey, house_rules
from cubital.handling.keeping import CLOTS, Limit, PolicyKey, span_text
from cubital.handling.stability import Kept, Life, Phase, is_spun_for, keep
from cubital.model.site import Site
from cubital.model.specimen import Specimen
from cubital.model.test import Test
from cubital.planning.spins import spin_for, spin_text

StepKey = Literal["mix", "dark", "ice", "warm", "clot", "deliver", "spin", "separate", "freeze", "test"]
# In the order in which they come at the bench.
STEPS: tuple[StepKey, ...] = (
    "mix", "dark", "ice", "warm", "clot", "deliver", "spin", "separate", "freeze", "test",
)  # fmt: skip
_HOUR_S = 3600
_AT_ONCE = Limit(0, True, "at once", "common-practice", ("common-practice",))


class Step(NamedTuple):
    """One window in seconds after the draw. It is over at `due_s`; to be over then it must begin by `start_s`."""

    step: StepKey
    text: str
    tests: tuple[str, ...]
    limits: tuple[Limit, ...] = ()
    opens_s: int = 0
    due_s: int | None = None
    start_s: int | None = None
    done_s: int | None = None
    is_recorded: bool = True
    unknown: tuple[str, ...] = ()


class Bench:
    """One specimen on the bench, while its steps are worked out."""

    def __init__(
        self, site: Site, policy: PolicyKey, specimen: Specimen, tests: tuple[Test, ...], life: Life,
        received_s: int | None, spun_s: int | None,
    ) -> None:  # fmt: skip
        self.site = site
        self.policy = policy
        self.specimen = specimen
        self.tests = tests
        self.life = life
        self.received_s = received_s
        self.spun_s = spun_s
        self.is_tube = specimen.parent is None
        self.spun_for = tuple(test for test in tests if is_spun_for(test, specimen.matrix))
        self.at_once_s = house_rules()["at_once"].at_most_s or 0
        self.lives = _lives(specimen, {term for test in tests for term in test.handling}, life)
        self.ahead = self.lives[0]

    def steps(self) -> Iterator[Step]:
        """Every step, in the order of the bench."""
        spin = self._spin()
        last = list(self._test())
        if self.is_tube:
            yield from self._at_the_chair()
            if spin is not None and (clot := self._clot(spin)) is not None:
                yield clot
            yield self._deliver(spin, last)
        if spin is not None and (self.is_tube or self.spun_s is None):
            yield spin
            if not self.specimen.holds_gel:
                yield self._separate(spin)
        yield from self._freeze()
        yield from last

    def _at_the_chair(self) -> Iterator[Step]:
        kind = self.site.kinds.get(self.specimen.kind)
        inversions = facts.inversions(self.specimen.additive, self.specimen.gel)
        count = kind.inversions if kind is not None and kind.inversions is not None else None
        if count is None and inversions is not None:
            count = inversions.chosen
        keys = tuple(test.key for test in self.tests)
        if count:
            yield Step("mix", f"invert {count} times", keys, (_AT_ONCE,), 0, self.at_once_s, None, None, False)
        dark = self._with_term("protect_from_light")
        if dark:
            yield Step("dark", "keep from light", dark, (_AT_ONCE,), 0, self.at_once_s, None, None, False)
        for step, term, text in (("ice", "ice", "put on ice"), ("warm", "warm", "keep at 37 C")):
            named = self._with_term(term)
            if named:
                done_s = next((phase.start_s for phase in self.life.phases if phase.storage == step), None)
                due_s = self.at_once_s
                key: StepKey = "ice" if step == "ice" else "warm"
                unsaid = () if self.specimen.stays else ("where it is is not recorded; if it was not there, refuse it",)
                yield Step(key, text, named, (_AT_ONCE,), 0, due_s, due_s, done_s, True, unsaid)

    def _with_term(self, term: str) -> tuple[str, ...]:
        return tuple(test.key for test in self.tests if term in test.handling)

    def _spin(self) -> Step | None:
        """The spin: from when the clot is firm until the run must be over; None where nothing is spun."""
        if not self.spun_for:
            return None
        limits: list[tuple[int, Limit, tuple[str, ...]]] = []
        unknown = []
        for test in self.spun_for:
            kept = self._fresh(test)
            if kept.until_s is not None and kept.limit is not None:
                limits.append((kept.until_s, kept.limit, (test.key,)))
            if kept.unknown_s is not None or kept.until_s is None:
                unknown.append(test.key)
            if "spin_soon" in test.handling:
                mark = facts.handling_terms()["spin_soon"].marks[0]
                soon = Limit(_HOUR_S, True, "spin within 1 h", mark.basis, (mark.source,))
                limits.append((_HOUR_S, soon, (test.key,)))
        clot = self._clotting()
        opens_s = 0
        if clot is not None:
            opens_s = clot.min_s
            text = f"serum stands {span_text(clot.min_s)} to {span_text(clot.max_s)}"
            most = Limit(clot.max_s, True, text, clot.marks[0].basis, (clot.marks[0].source,))
            limits.append((clot.max_s, most, tuple(test.key for test in self.spun_for)))
        due_s, limit, keys = _strictest(limits)
        spin = spin_of(self.specimen, self.spun_for)
        run_s = 60 * spin.minutes if spin is not None else 0
        words = f"spin {spin_text(spin)}" if spin is not None else "spin; no source says how"
        start_s = None if due_s is None else due_s - run_s
        if start_s is not None and start_s < opens_s:
            begin = span_text(opens_s) if opens_s else "the draw"
            unknown.append(f"a run of {run_s // 60} min after {begin} is not over by {span_text(due_s or 0)}")
        return Step(
            "spin", words, keys or tuple(test.key for test in self.spun_for), limit, opens_s, due_s, start_s,
            self.spun_s, True, tuple(unknown),
        )  # fmt: skip

    def _clotting(self) -> facts.Clotting | None:
        if facts.additives()[self.specimen.additive].family not in CLOTS:
            return None
        is_warm = any("warm" in test.handling for test in self.spun_for)
        return facts.clotting(self.specimen.additive, self.specimen.gel, is_warm)

    def _clot(self, spin: Step) -> Step | None:
        clot = self._clotting()
        if clot is None:
            return None
        limit = Limit(clot.min_s, True, f"stand {span_text(clot.min_s)}", clot.marks[0].basis, (clot.marks[0].source,))
        unknown = []
        if self.specimen.anticoagulated:
            unknown.append("on an anticoagulant or bleeding easily: it may take longer; wait for a firm clot")
        if any(phase.storage in ("ice", "cold") for phase in self.life.phases):
            unknown.append("a chilled tube clots late; wait for a firm clot")
        text = f"stand upright, closed, {span_text(clot.min_s)}"
        return Step("clot", text, spin.tests, (limit,), clot.min_s, None, None, None, True, tuple(unknown))

    def _fresh(self, test: Test) -> Kept:
        """Until when this test bears its cells, whatever came after."""
        split_s = self.life.separated_s
        phases = self.ahead.phases
        if split_s is not None:
            phases = tuple(phase for phase in phases if phase.start_s < split_s) or (Phase("ambient", 0, None),)
            phases = (*phases[:-1], phases[-1]._replace(end_s=None))
        return self._kept(test, Life(phases))

    def _kept(self, test: Test, life: Life) -> Kept:
        return keep(test, self.specimen.additive, self.specimen.matrix, life, policy=self.policy)

    def _separate(self, spin: Step) -> Step:
        """Plasma or serum off the cells, where no gel does it."""
        return spin._replace(
            step="separate", text="take plasma or serum off the cells", opens_s=spin.done_s or spin.opens_s,
            start_s=spin.due_s, done_s=self.life.separated_s,
        )  # fmt: skip

    def _deliver(self, spin: Step | None, last: list[Step]) -> Step:
        """To the laboratory in time for what comes next."""
        next_steps = [step for step in (spin, *last) if step is not None and step.start_s is not None]
        now = self._with_term("deliver_at_once")
        first = min(next_steps, key=lambda step: step.start_s or 0, default=None)
        text = "deliver at once" if now else "deliver"
        if first is None:
            tests = now or tuple(test.key for test in self.tests)
            return Step("deliver", text, tests, done_s=self.received_s, unknown=("no source gives it a time",))
        return Step(
            "deliver", text, first.tests, first.limits, 0, first.start_s, first.start_s, self.received_s,
        )  # fmt: skip

    def _test(self) -> Iterator[Step]:
        """When each test must be measured, soonest first; tests of one instant together."""
        ends: dict[int | None, list[tuple[Test, Kept]]] = {}
        for test in self.tests:
            kept = kept_by_any(test, self.specimen, self.lives, self.policy)
            end_s = kept.ends_s
            if kept.unknown_s is not None and (end_s is None or kept.unknown_s <= end_s):
                end_s = None
            ends.setdefault(end_s, []).append((test, kept))
        for end_s, some in sorted(ends.items(), key=lambda end: (end[0] is None, end[0] or 0)):
            keys = tuple(test.key for test, _ in some)
            limits = tuple(dict.fromkeys(kept.limit for _, kept in some if kept.limit is not None))
            unknown = tuple(dict.fromkeys(kept.unknown for _, kept in some if kept.unknown)) if end_s is None else ()
            if end_s is None and not unknown and self.ahead.phases[-1].storage != "frozen":
                unknown = ("how long it keeps is not known",)
            yield Step("test", "test", keys, () if end_s is None else limits, 0, end_s, end_s, None, True, unknown)

    def _freeze(self) -> Iterator[Step]:
        """The freezing of what must not wait otherwise."""
        keys = self._with_term("freeze_fast")
        if not keys or (self.spun_for and self.life.separated_s is None):
            return
        mark = facts.handling_terms()["freeze_fast"].marks[0]
        limit = Limit(self.at_once_s, False, "freeze at once when it is off the cells", mark.basis, (mark.source,))
        from_s = self.life.separated_s or 0
        done_s = next((phase.start_s for phase in self.life.phases if phase.storage == "frozen"), None)
        due_s = from_s + self.at_once_s
        yield Step("freeze", "freeze", keys, (limit,), from_s, due_s, due_s, done_s)


def supposed(test: Test, specimen: Specimen, life: Life) -> tuple[Life, ...]:
    """Where this test's specimen has been, as far as it is known: each life that it may have had, the best first.

    One that is fresh is supposed where the test wants it as long as nothing says otherwise.
    """
    return _lives(specimen, set(test.handling), life)


def kept_by_any(test: Test, specimen: Specimen, lives: tuple[Life, ...], policy: PolicyKey) -> Kept:
    """Until when the test may be measured in one of these lives.

    Where they differ it is not known from when the first of them fails it, and too late only once it is in each.
    """
    found = [keep(test, specimen.additive, specimen.matrix, life, policy=policy) for life in lives]
    if len(set(found)) == 1:
        return found[0]
    ends = [kept.ends_s for kept in found]
    first_s, first = min(
        ((min(s for s in (kept.until_s, kept.ends_s, kept.unknown_s) if s is not None), kept)
         for kept in found if (kept.until_s, kept.ends_s, kept.unknown_s) != (None, None, None)),
        key=lambda one: one[0],
    )  # fmt: skip
    where = "at 37 C" if "warm" in test.handling else "on ice"
    return Kept(
        first_s, None if None in ends else max(s for s in ends if s is not None), first.limit, first_s,
        f"whether it was {where} until its cells came off is not recorded; if it was not, refuse it",
    )  # fmt: skip


def _lives(specimen: Specimen, terms: set[str], life: Life) -> tuple[Life, ...]:
    """The lives of a tube that goes on ice, or to 37 C, at once where these terms ask for it.

    A fresh one is supposed there. Of one whose cells are off nothing says whether it was: there until now, or until
    its cells came off, or never. Known is what the record says of where it was, the room too, and a run in another
    temperature.
    """
    place: StorageKey | None = "warm" if "warm" in terms else "ice" if "ice" in terms else None
    if place is None or specimen.stays:
        return (life,)
    if not all(facts.handling_terms()[place].keeps(spin.temperature_c) for spin in specimen.spins):
        return (life,)
    at_once_s = house_rules()["at_once"].at_most_s or 0
    there = life._replace(phases=(Phase("ambient", 0, at_once_s), Phase(place, at_once_s, None)))
    if life.separated_s is None or not life.is_separation_known:
        return (there,) if life.is_separation_known else (life,)
    if life.separated_s <= at_once_s:
        return (there, life)
    until = (Phase("ambient", 0, at_once_s), Phase(place, at_once_s, life.separated_s))
    then = life._replace(phases=(*until, Phase("ambient", life.separated_s, None)))
    return (there, then, life)


def spin_of(specimen: Specimen, tests: tuple[Test, ...]) -> facts.Spin | None:
    """The setting that suits this tube and these tests; None where no source gives one."""
    terms = {term for test in tests for term in test.handling}
    return spin_for(facts.additives()[specimen.additive].family, specimen.holds_gel, terms)


def _strictest(
    limits: list[tuple[int, Limit, tuple[str, ...]]],
) -> tuple[int | None, tuple[Limit, ...], tuple[str, ...]]:
    """The earliest end, every limit that sets it, and their tests."""
    if not limits:
        return None, (), ()
    due_s = min(end for end, _, _ in limits)
    first = [(limit, keys) for end, limit, keys in limits if end == due_s]
    return (
        due_s,
        tuple(dict.fromkeys(limit for limit, _ in first)),
        tuple(dict.fromkeys(key for _, keys in first for key in keys)),
    )

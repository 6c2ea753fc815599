"""The checks of a specimen at receipt, one after another, for one test."""

from __future__ import annotations

from collections.abc import Iterator

from cubital import facts
from cubital.errors import ReceiptError
from cubital.facts.keeping import checks, timings
from cubital.handling.faults import Fault, FaultKey, age_faults, belongs, fault, fill_faults, least_ul
from cubital.handling.indices import index_faults
from cubital.handling.keeping import CLOTS, PLACES, PolicyKey, span_text
from cubital.handling.receipt import FEWEST_IDENTIFIERS, Arrival, Judgement, LabelSeen, is_of_identity, worded
from cubital.handling.stability import Life, Phase, life_of, seconds_between
from cubital.model.plan import Reason
from cubital.model.site import Site
from cubital.model.specimen import Specimen
from cubital.model.test import Test

_CLOSED = ("keep_closed", "sterile", "first_use")
# What somebody at reception can see or ask: left out, the specimen is not plainly accepted.
_VISIBLE = (
    "collection-time", "collector", "expired", "clotted", "fill", "leaked", "opened", "light", "timing",
)  # fmt: skip


def judge(
    specimen: Specimen, site: Site, arrival: Arrival, *, policy: PolicyKey = "strict", life: Life | None = None,
    is_again: bool = False,
) -> tuple[Judgement, ...]:  # fmt: skip
    """The judgement of each waiting test of this specimen, in their order; `is_again`, of each refused one too.

    A refusal for its identity stands, so then nothing is judged again.
    `life` is where it has been, where that is known better than its own state says. Raises `ReceiptError`
    where it arrived before it was collected: then one of the two times is wrong, and its age is not known.
    """
    if arrival.at < specimen.collected_at:
        raise ReceiptError(
            "found an arrival before the collection; expected it after; correct the time that is wrong",
            where=f"specimen {specimen.id}",
        )
    look = _Look(specimen, site, arrival, policy, life or life_of(specimen))
    return tuple(look.judge(test) for test in (reopened(specimen) if is_again else specimen.waiting))


def reopened(specimen: Specimen) -> tuple[str, ...]:
    """Its tests that a second judgement may look at: those that wait, and those refused but not for identity."""
    if specimen.discarded_at is not None or any(is_of_identity(verdict) for verdict in specimen.verdicts.values()):
        return specimen.waiting
    gone = {*specimen.reported, *specimen.poured}
    return tuple(test for test in specimen.tests if test not in gone)


class _Look:
    """One specimen as it lies on the counter."""

    def __init__(self, specimen: Specimen, site: Site, arrival: Arrival, policy: PolicyKey, life: Life) -> None:
        self.specimen = specimen
        self.site = site
        self.arrival = arrival
        self.policy = policy
        self.life = _as_it_came(life, arrival)
        self.fill_percent = specimen.fill_percent if arrival.fill_percent is None else arrival.fill_percent
        self.indices = {**specimen.indices, **arrival.indices}
        self.left_ul = specimen.left_ul if arrival.usable_ul is None else arrival.usable_ul

    def judge(self, key: str) -> Judgement:
        test = self.site.tests.get(key)
        faults = list(self._faults(key, test))
        known = checks()
        refused = [f for f in faults if f.outcome == "refuse"]
        shown = refused or [f for f in faults if f.outcome == "comment"]
        unseen = [f for f in faults if f.outcome == "untold"]
        visible = [f for f in unseen if f.check in _VISIBLE]
        words = [worded(f.check, f.text) for f in shown]
        if not refused and visible:
            words.append(f"Not stated at receipt: {', '.join(f.text for f in visible)}.")
        return Judgement(
            test=key,
            outcome="refuse" if refused else "comment" if words else "accept",
            wording=" ".join(words),
            reasons=tuple(
                Reason(about=f.check, text=f.text, basis=f.basis, sources=f.sources)
                for f in faults
                if f.outcome != "untold"
            ),
            untold=tuple(f.text for f in unseen),
            is_identity=any(known[f.check].is_identity for f in refused),
        )

    def _faults(self, key: str, test: Test | None) -> Iterator[Fault]:
        yield from self._identity(test)
        if test is None:
            yield fault("wrong-tube", "comment", "this site's directory does not know the test")
            test = Test(key=key, name=key, bench="")
        else:
            yield from self._tube(test)
        yield from self._condition(test)
        yield from fill_faults(test, self.specimen, self.site, self.fill_percent, self.policy)
        yield from self._timing(test)
        yield from self._age(test)
        yield from self._volume(test)
        yield from index_faults(test, self.specimen, self.site, self.indices)

    def _identity(self, test: Test | None) -> Iterator[Fault]:
        label = self.arrival.label
        if label is None:
            yield fault("identifiers", "refuse", "nobody compared the label with the order")
            return
        if label.agree < FEWEST_IDENTIFIERS:
            yield fault("identifiers", "refuse", f"{label.agree} of 2 identifiers agree with the order")
        if label.differ:
            yield fault("label-mismatch", "refuse", f"identifiers that differ from the order: {label.differ}")
        # Whoever says that labels agree or differ has seen two.
        if label.labels > 1 or label.labels_agree is not None:
            if label.labels_agree:
                yield fault("second-label", "comment", f"{max(2, label.labels)} labels that agree")
            else:
                seen = "differ" if label.labels_agree is False else "were not compared"
                yield fault("two-labels", "refuse", f"{max(2, label.labels)} labels, which {seen}")
        yield from _label_lines(label, test)

    def _tube(self, test: Test) -> Iterator[Fault]:
        if test.culture is not None:
            return
        kinds = [accept for accept in test.accepts if self.specimen.kind in accept.tubes]
        if not kinds:
            yield fault("wrong-tube", "refuse", f"it came in {self.specimen.kind}, which the test does not accept")
        elif not any(accept.matrix == self.specimen.matrix for accept in kinds):
            wanted = " or ".join(dict.fromkeys(accept.matrix for accept in kinds))
            yield fault("wrong-tube", "refuse", f"{self.specimen.matrix} of {self.specimen.kind}; it needs {wanted}")

    def _condition(self, test: Test) -> Iterator[Fault]:
        came = self.arrival
        yield from _seen("expired", came.is_expired, "past its date", "whether the tube was in date")
        if facts.additives()[self.specimen.additive].family not in CLOTS:
            yield from _seen("clotted", came.is_clotted, "a clot was found", "whether it has clotted")
        is_closed = any(term in test.handling for term in _CLOSED)
        leak: FaultKey = "refuse" if is_closed else "comment"
        yield from _seen("leaked", came.has_leaked, "it had leaked", "whether it leaks", leak)
        if is_closed:
            yield from _seen("opened", came.was_open, "it came open", "whether it was opened")
        if "protect_from_light" in test.handling:
            bright = None if came.was_dark is None else not came.was_dark
            outcome: FaultKey = "refuse" if self.policy == "strict" else "comment"
            yield from _seen("light", bright, "it stood in the light", "whether it was kept from light", outcome)

    def _timing(self, test: Test) -> Iterator[Fault]:
        timing = timings().get(test.key)
        if timing is None:
            return
        after = timing.after.replace("infusion-end", "end of the infusion")
        if self.arrival.after_min is None:
            yield fault("timing", "untold", f"how long after the {after} it was drawn")
            return
        found = self.arrival.after_min
        is_early = timing.from_min is not None and found < timing.from_min
        is_late = timing.to_min is not None and found > timing.to_min
        if is_early or is_late:
            span = " to ".join(span_text(60 * m) for m in (timing.from_min, timing.to_min) if m is not None)
            least = "at least " if timing.to_min is None else ""
            text = f"drawn {span_text(60 * found)} after the {after}; {least}{span} is asked"
            yield Fault("timing", timing.outcome, text, timing.mark.basis, (timing.mark.source,))

    def _age(self, test: Test) -> Iterator[Fault]:
        age_s = max(0, seconds_between(self.specimen.collected_at, self.arrival.at))
        found = list(age_faults(test, self.specimen, self.life, age_s, self.policy))
        place = belongs(test)
        is_unsaid = self.arrival.came is None and not self.specimen.stays and self.specimen.separated_at is None
        if place is not None and is_unsaid and any(f.outcome == "refuse" for f in found):
            # Too old even where it belongs, or lost only if it was elsewhere: which of the two is said.
            found = list(age_faults(test, self.specimen, Life((Phase(place, 0, None),)), age_s, self.policy))
            if not any(f.outcome == "refuse" for f in found):
                found = [fault("carried", "refuse", f"nobody said that it came {PLACES[place]}, where it belongs")]
        yield from found

    def _volume(self, test: Test) -> Iterator[Fault]:
        if test.culture is not None or not test.accepts:
            return
        need_ul = least_ul(test, self.specimen)
        if need_ul is None:
            return
        if self.left_ul < need_ul:
            yield fault("volume", "refuse", f"{self.left_ul} uL of the {need_ul} uL that it needs")
            return
        needs = [
            least_ul(self.site.tests[key], self.specimen) or 0
            for key in self.specimen.waiting
            if key in self.site.tests
        ]
        if sum(needs) > self.left_ul:
            text = f"{self.left_ul} uL of {sum(needs)} uL for all tests; ask which come first"
            yield fault("volume", "comment", text)


def _as_it_came(life: Life, arrival: Arrival) -> Life:
    """The life with the storage in which it came, since when is not known, taken for the whole last stay."""
    last = life.phases[-1]
    if arrival.came is None or arrival.came == last.storage:
        return life
    return life._replace(phases=(*life.phases[:-1], Phase(arrival.came, last.start_s, None)))


def _label_lines(label: LabelSeen, test: Test | None) -> Iterator[Fault]:
    if label.has_time is None:
        yield fault("collection-time", "untold", "the time of collection on the label")
    elif not label.has_time:
        yield fault("collection-time", "comment", "no time of collection on the label")
    by_hand = test is not None and "label_by_hand" in test.handling
    if label.has_collector is None:
        yield fault("collector", "untold", "the collector on the label")
    elif not label.has_collector:
        yield fault("collector", "refuse" if by_hand else "comment", "no collector on the label")


def _seen(check: str, is_fault: bool | None, found: str, asked: str, outcome: FaultKey = "refuse") -> Iterator[Fault]:
    if is_fault is None:
        yield fault(check, "untold", asked)
    elif is_fault:
        yield fault(check, outcome, found)

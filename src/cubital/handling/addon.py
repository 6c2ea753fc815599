"""Whether a test can be added to a specimen that is there already, at what cost, and why not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

import msgspec

from cubital import facts
from cubital.facts.keeping import IndexKey, StorageKey
from cubital.handling.faults import Fault, age_faults, belongs, fault, fill_faults, least_ul
from cubital.handling.indices import index_faults
from cubital.handling.keeping import PLACES, PolicyKey
from cubital.handling.receipt import holds_for_whole
from cubital.handling.stability import Life, life_of, seconds_between
from cubital.model.plan import Reason
from cubital.model.site import Site
from cubital.model.specimen import OutcomeKey, Specimen
from cubital.model.test import Test
from cubital.units import ceil_div

_CLOSED = ("keep_closed", "sterile", "first_use", "no_bubbles")
# What only the chair knows: nobody can see it of a tube.
_AT_THE_CHAIR = (
    "fasting", "no_tourniquet", "no_fist", "posture", "supine", "rested", "no_alcohol_prep", "not_from_infusion_line",
)  # fmt: skip


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """One specimen of the patient as it lies on the shelf: what it is, where it has been, its indices.

    `life` None is worked out from the state of the specimen, which is not enough for an aliquot of a
    tube without gel.
    """

    specimen: Specimen
    life: Life | None = None
    indices: Mapping[IndexKey, Decimal] = {}


class Offer(msgspec.Struct, frozen=True, kw_only=True):
    """What one specimen offers one test: accept is yes, comment is yes with a comment, refuse is no.

    `takes_ul` is what it would take of the specimen as it is, so whole blood where it must be spun
    first; `left_ul` what would be left beyond what other tests of it still need.
    """

    test: str
    specimen: str
    outcome: OutcomeKey
    takes_ul: int
    left_ul: int
    reasons: tuple[Reason, ...] = ()

    @property
    def is_possible(self) -> bool:
        """Whether the test can be measured in it at all."""
        return self.outcome != "refuse"


def free_ul(specimen: Specimen, site: Site) -> int:
    """What is left of a specimen beyond the least that its waiting tests still need; never below zero."""
    waiting = [site.tests[key] for key in specimen.waiting if key in site.tests]
    return max(0, specimen.left_ul - sum(least_ul(test, specimen) or 0 for test in waiting))


def where_waits(
    test: Test, shelf: Sequence[Held], *, now: datetime, policy: PolicyKey = "strict"
) -> str | None:  # fmt: skip
    """The specimen in which this test waits already and is not too old; None where it waits in none."""
    for held in shelf:
        one = held.specimen
        if test.key in one.waiting:
            age_s = max(0, seconds_between(one.collected_at, now))
            found = age_faults(test, one, held.life or life_of(one), age_s, policy)
            if not any(f.outcome == "refuse" for f in found):
                return one.id
    return None


def offers_of(
    test: Test, shelf: Sequence[Held], site: Site, *, now: datetime, policy: PolicyKey = "strict"
) -> tuple[Offer, ...]:
    """What each specimen that is still there offers this test, the best first.

    First what needs no comment, then the earlier choice of the directory, then what leaves most.
    """
    by_id = {held.specimen.id: held.specimen for held in shelf}
    found = [
        _Asking(test, held, by_id, site, now, policy).offer() for held in shelf if held.specimen.discarded_at is None
    ]
    outcomes = ("accept", "comment", "refuse")
    places = {kind: place for place, kind in enumerate(k for accept in test.accepts for k in accept.tubes)}
    return tuple(
        sorted(
            found,
            key=lambda offer: (
                outcomes.index(offer.outcome), places.get(by_id[offer.specimen].kind, len(places)), -offer.left_ul,
                offer.specimen,
            ),
        )
    )  # fmt: skip


class _Asking:
    """One test asked of one specimen."""

    def __init__(
        self, test: Test, held: Held, by_id: Mapping[str, Specimen], site: Site, now: datetime, policy: PolicyKey
    ) -> None:
        self.test = test
        self.specimen = held.specimen
        self.life = held.life or life_of(held.specimen)
        self.indices = held.indices
        self.by_id = by_id
        self.site = site
        self.now = now
        self.policy = policy
        self.is_to_spin = False

    def offer(self) -> Offer:
        faults = [*self._record(), *self._tube()]
        takes_ul = 0
        if not any(f.outcome == "refuse" for f in faults):
            takes_ul = self._takes_ul()
            faults += [
                *self._handling(), *self._age(), *self._fill(), *self._volume(takes_ul), *self._indices(),
            ]  # fmt: skip
        outcome: OutcomeKey = (
            "refuse"
            if any(f.outcome == "refuse" for f in faults)
            else "comment" if any(f.outcome == "comment" for f in faults) else "accept"
        )  # fmt: skip
        shown = [f for f in faults if f.outcome == outcome]
        return Offer(
            test=self.test.key, specimen=self.specimen.id, outcome=outcome, takes_ul=takes_ul,
            left_ul=free_ul(self.specimen, self.site) - (takes_ul if outcome != "refuse" else 0),
            reasons=tuple(Reason(about=f.check, text=f.text, basis=f.basis, sources=f.sources) for f in shown),
        )  # fmt: skip

    def _record(self) -> Iterator[Fault]:
        """What the record holds against it: a refusal of the whole tube, of this test, or of the tube it came from."""
        specimen: Specimen | None = self.specimen
        found: dict[Fault, None] = {}
        own = self.specimen.verdicts.get(self.test.key)
        if self.test.key in self.specimen.tests and (own is None or own.outcome != "refuse"):
            yield fault("add-on", "refuse", "it is asked of this specimen already")
        elif own is not None:
            yield fault("add-on", "refuse", "it was refused of this specimen")
        while specimen is not None:
            for verdict in specimen.verdicts.values():
                for reason in verdict.reasons:
                    if holds_for_whole(reason) and verdict.outcome != "accept":
                        found[Fault(reason.about, verdict.outcome, reason.text, reason.basis, reason.sources)] = None
            if specimen.received_at is None and specimen.parent is None:
                found[fault("add-on", "comment", "it has not been received: nobody has looked at it")] = None
            specimen = self.by_id.get(specimen.parent) if specimen.parent is not None else None
        # One fault of the whole tube stands in the verdict of each of its tests: it is said once.
        yield from found

    def _tube(self) -> Iterator[Fault]:
        """Whether the tube, its matrix and its additive serve the test."""
        test, specimen = self.test, self.specimen
        known = facts.stability().get(test.key)
        if known is not None and known.no_add_on:
            mark = next((mark for mark in known.marks if mark.basis == "published"), known.marks[0])
            text = "no age and no storage of a kept specimen is known to serve it"
            yield Fault("add-on", "refuse", text, mark.basis, (mark.source,))
        if test.culture is not None or test.own_tube:
            yield fault("own-tube", "refuse", "it shares a tube with no other test")
        accepts = [accept for accept in test.accepts if specimen.kind in accept.tubes]
        matrices = {accept.matrix for accept in accepts}
        if not accepts:
            yield fault("wrong-tube", "refuse", f"{specimen.kind}, which the test does not accept")
        elif specimen.matrix not in matrices:
            if specimen.matrix == "whole-blood" and "plasma" in matrices and not specimen.spins:
                yield from self._spin_first()
            else:
                text = f"{specimen.matrix} of {specimen.kind}; it needs {' or '.join(sorted(matrices))}"
                yield fault("wrong-tube", "refuse", text)
        elif specimen.spins and (specimen.matrix == "whole-blood" or "do_not_spin" in test.handling):
            yield fault("wrong-tube", "refuse", "the tube has been spun; the test needs whole blood")

    def _spin_first(self) -> Iterator[Fault]:
        """Plasma can be made of it, once its tests on whole blood are done."""
        if self.specimen.hematocrit is None:
            yield fault(
                "volume", "refuse", "the hematocrit is not recorded, so it is not known how much plasma it gives"
            )
            return
        self.is_to_spin = True
        waiting = ", ".join(self.specimen.waiting)
        after = f", after {waiting} on whole blood" if waiting else ""
        yield fault("add-on", "comment", f"spin it first{after}")

    def _takes_ul(self) -> int:
        """What the test would take of the specimen as it is."""
        if not self.is_to_spin:
            return least_ul(self.test, self.specimen) or 0
        need_ul = min(a.minimum_ul for a in self.test.accepts if self.specimen.kind in a.tubes and a.matrix == "plasma")
        share = (1 - (self.specimen.hematocrit or Fraction(0))) * self.site.planning.recovery
        return ceil_div(need_ul * share.denominator, share.numerator)

    def _handling(self) -> Iterator[Fault]:
        """Whether what the test asks of the chair and the bench was kept, as far as anybody knows."""
        terms = self.test.handling
        was_open = bool(self.specimen.reported or self.specimen.children or self.specimen.parent is not None)
        if was_open and any(term in terms for term in _CLOSED):
            yield fault("opened", "refuse", "it was opened for other tests")
        elif "first_use" in terms and (others := self._opens_first()):
            term = facts.handling_terms()["first_use"]
            text = f"{others[0]} opens it first, or has: whether is not recorded; {term.why}"
            yield Fault("opened", "refuse", text, term.marks[0].basis, (term.marks[0].source,))
        if "label_by_hand" in terms and not any(
            "label_by_hand" in self.site.tests[key].handling for key in self.specimen.tests if key in self.site.tests
        ):
            yield fault("collector", "refuse", "it was not labelled by hand at the bedside")
        if "protect_from_light" in terms:
            yield fault("light", "comment", "whether it was kept from light is not recorded")
        known = facts.handling_terms()
        asked = [known[term].instruction.rstrip(".") for term in terms if term in _AT_THE_CHAIR]
        if asked:
            yield fault("add-on", "comment", f"not known of this draw: {'; '.join(asked)}")
        if self.test.timed is not None:
            basis, source = self.test.basis.get("timed", ("common-practice", "common-practice"))
            text = f"its time counts: {self.test.timed}; this is of another request"
            yield Fault("timing", "comment", text, basis, (source,))

    def _opens_first(self) -> list[str]:
        """The tests of this tube that may open it before one that must be the first: all that need not be so."""
        known = {key: self.site.tests[key].handling if key in self.site.tests else () for key in self.specimen.tests}
        return [key for key, terms in known.items() if "first_use" not in terms]

    def _age(self) -> Iterator[Fault]:
        age_s = max(0, seconds_between(self.specimen.collected_at, self.now))
        specimen = msgspec.structs.replace(self.specimen, matrix="plasma") if self.is_to_spin else self.specimen
        for found in age_faults(self.test, specimen, self.life, age_s, self.policy):
            # What is not known of a specimen that was kept is no ground to use it.
            yield self._as_kept(found)
        if (place := self._unsaid_place()) is not None:
            text = f"it belonged {PLACES[place]} for another test, and where it was is not recorded"
            yield self._as_kept(fault("keeping", "comment", text))

    def _as_kept(self, found: Fault) -> Fault:
        return found._replace(outcome="refuse") if found.check == "keeping" and self.policy == "strict" else found

    def _unsaid_place(self) -> StorageKey | None:
        """Where a test that it was drawn for wants it and this one does not, and nothing says whether it was there."""
        if self.specimen.stays:
            return None
        asked = [self.site.tests[key] for key in self.specimen.tests if key in self.site.tests]
        places = [belongs(test) for test in asked]
        return next((place for place in places if place is not None and place != belongs(self.test)), None)

    def _fill(self) -> Iterator[Fault]:
        """How full its tube was: what nobody wrote down is said."""
        percent = self.specimen.fill_percent
        for found in fill_faults(self.test, self.specimen, self.site, percent, self.policy):
            is_untold = found.outcome == "untold"
            yield found._replace(outcome="comment", text=f"{found.text} is not recorded") if is_untold else found

    def _volume(self, takes_ul: int) -> Iterator[Fault]:
        there_ul = free_ul(self.specimen, self.site)
        if takes_ul > there_ul:
            waiting = " beyond what its waiting tests need" if self.specimen.waiting else ""
            yield fault("volume", "refuse", f"{there_ul} uL left{waiting}; it takes {takes_ul} uL")

    def _indices(self) -> Iterator[Fault]:
        for found in index_faults(self.test, self.specimen, self.site, self.indices):
            if found.outcome != "untold":
                yield found

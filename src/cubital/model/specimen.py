"""A filled tube, or an aliquot of one, and what can happen to it: one frozen record an event.

Events are kept and never changed; a specimen is computed from them. Instants are aware and in UTC;
volumes are whole microlitres; `by` and `station` are the site's own handles. `key` makes an event
idempotent: the same key is the same event, however often it is sent.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Literal

import msgspec

from cubital.model.plan import Reason
from cubital.model.vocabulary import AccessKey, MatrixKey

StorageKey = Literal["ambient", "cold", "frozen", "warm", "ice"]
OutcomeKey = Literal["accept", "comment", "refuse"]
IndexKey = Literal["hemolysis", "lipemia", "icterus"]


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """Accepted, accepted with a comment or refused, for one test, with the wording for the report."""

    test: str
    outcome: OutcomeKey
    wording: str = ""
    reasons: tuple[Reason, ...] = ()


class Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="event"):
    """What every event says: which specimen, when it happened, who did it and where."""

    key: str
    specimen: str
    at: datetime
    by: str
    station: str


class Collected(Event, frozen=True, kw_only=True, tag="collected"):
    """The tube was filled at the patient, where it is labelled at once: the first event of every specimen.

    `patient` and `order` are opaque keys of the site; `usable_ul` is what can be pipetted of
    `matrix` by the plan; `irreplaceable` says why it cannot be drawn again, None when it can; `access` is by what it
    was collected, None where nobody said so.
    """

    patient: str
    kind: str
    additive: str
    gel: bool
    matrix: MatrixKey
    draw_ul: int
    usable_ul: int
    tests: tuple[str, ...]
    order: str | None = None
    hematocrit: Fraction | None = None
    anticoagulated: bool = False
    irreplaceable: str | None = None
    access: AccessKey | None = None


class Received(Event, frozen=True, kw_only=True, tag="received"):
    """The laboratory took the tube in; `usable_ul` is set where the fill was not as planned."""

    usable_ul: int | None = None


class Judged(Event, frozen=True, kw_only=True, tag="judged"):
    """The verdict of each test named; `second` is the other person where two must agree.

    `indices` and `fill_percent` of the nominal draw are what was measured then: a test that is added later
    is judged by them too.
    """

    verdicts: tuple[Verdict, ...]
    second: str | None = None
    indices: Mapping[IndexKey, Decimal] = {}
    fill_percent: int | None = None


class Spun(Event, frozen=True, kw_only=True, tag="spun"):
    """The tube was centrifuged: force in multiples of g, time in seconds, temperature in Celsius."""

    rcf_g: int
    spin_s: int
    temperature_c: int


class Aliquoted(Event, frozen=True, kw_only=True, tag="aliquoted"):
    """`volume_ul` went from this specimen into a new one, `child`, for these tests."""

    child: str
    volume_ul: int
    tests: tuple[str, ...] = ()


class Stored(Event, frozen=True, kw_only=True, tag="stored"):
    """The specimen went into this storage."""

    storage: StorageKey


class Reported(Event, frozen=True, kw_only=True, tag="reported"):
    """A result of `test` was released; it used `volume_ul`."""

    test: str
    volume_ul: int


class Added(Event, frozen=True, kw_only=True, tag="added"):
    """More tests were asked of this specimen after it was drawn."""

    tests: tuple[str, ...]


class Discarded(Event, frozen=True, kw_only=True, tag="discarded"):
    """The specimen was thrown away, and why."""

    why: str


class Stay(msgspec.Struct, frozen=True, kw_only=True):
    """In this storage since then."""

    storage: StorageKey
    since: datetime


class Specimen(msgspec.Struct, frozen=True, kw_only=True):
    """The state of one specimen, always computed from its events.

    `left_ul` is what can still be pipetted; `events` counts the events it was computed from, which
    is the version that a writer must name. `parent` is the tube an aliquot came from; `poured`
    are the tests that went with an aliquot of this one. `gel` of an aliquot is its tube's. `separated_at` is when
    plasma or serum came off the cells: a gel does it when it is spun, else the first pouring after a spin; None while
    they are together.
    `indices` and `fill_percent` are the last that were measured; absent is not measured. `access` is None where the
    record does not know it, as in one that was begun before it was kept.
    """

    id: str
    patient: str
    kind: str
    additive: str
    gel: bool
    matrix: MatrixKey
    draw_ul: int
    left_ul: int
    tests: tuple[str, ...]
    collected_at: datetime
    order: str | None = None
    hematocrit: Fraction | None = None
    anticoagulated: bool = False
    irreplaceable: str | None = None
    access: AccessKey | None = None
    parent: str | None = None
    children: tuple[str, ...] = ()
    poured: tuple[str, ...] = ()
    received_at: datetime | None = None
    spins: tuple[Spun, ...] = ()
    stays: tuple[Stay, ...] = ()
    verdicts: Mapping[str, Verdict] = {}
    reported: tuple[str, ...] = ()
    discarded_at: datetime | None = None
    separated_at: datetime | None = None
    indices: Mapping[IndexKey, Decimal] = {}
    fill_percent: int | None = None
    events: int = 1

    @property
    def holds_gel(self) -> bool:
        """Whether a gel lies in it: what was poured off a gel tube has none, though `gel` says what it came off."""
        return self.gel and self.parent is None

    @property
    def is_separated(self) -> bool:
        """Whether plasma or serum is off the cells."""
        return self.separated_at is not None

    @property
    def waiting(self) -> tuple[str, ...]:
        """Its tests that nothing has settled: not reported, not refused, not gone with an aliquot."""
        gone = {*self.reported, *self.poured}
        refused = {test for test, verdict in self.verdicts.items() if verdict.outcome == "refuse"}
        return () if self.discarded_at else tuple(t for t in self.tests if t not in gone and t not in refused)

    @property
    def storage(self) -> StorageKey:
        """Where it is now; ambient until an event says otherwise."""
        return self.stays[-1].storage if self.stays else "ambient"


class Poured(Event, frozen=True, kw_only=True, tag="poured"):
    """The first event of an aliquot: what it was when it was poured off its parent."""

    aliquot: Specimen


AnyEvent = Collected | Poured | Received | Judged | Spun | Aliquoted | Stored | Reported | Added | Discarded

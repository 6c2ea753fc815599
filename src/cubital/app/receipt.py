"""Receiving a specimen as a use case: judged test by test and, where there is a record, written into it once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from cubital.app.bench_board import reasons_document
from cubital.app.known import Known, instant_text
from cubital.app.record import SpecimenRecord
from cubital.errors import RecordError
from cubital.handling.keeping import PolicyKey
from cubital.handling.receipt import Arrival, Judgement, excuse
from cubital.handling.receipt_checks import judge
from cubital.model import Site
from cubital.model.record import Step
from cubital.model.specimen import Judged, Received, Specimen

FORMAT = "cubital.receipt/1"


class Person(msgspec.Struct, frozen=True, kw_only=True):
    """Who receives it and where; `second` and `why` where an exception is made."""

    by: str = "unknown"
    station: str = "prompt"
    second: str | None = None
    why: str = ""


class Receipt(msgspec.Struct, frozen=True, kw_only=True):
    """What was decided of a specimen; `is_repeat` says that it had been decided so before, under the same key."""

    specimen: Specimen
    arrival: Arrival
    policy: PolicyKey
    judgements: tuple[Judgement, ...]
    is_repeat: bool = False
    is_recorded: bool = False

    @property
    def is_refused(self) -> bool:
        """Whether any test was refused."""
        return any(one.outcome == "refuse" for one in self.judgements)


def compare_label(read: Mapping[str, str], ordered: Mapping[str, str]) -> tuple[int, int]:
    """How many identifiers of a label agree with those of the order, and how many differ.

    Compared as written, but for case and space; one that only one side has counts as neither.

    >>> compare_label({"name": "ROE  Ann", "number": "17"}, {"name": "Roe Ann", "number": "71", "born": "1990"})
    (1, 1)
    """
    pairs = [(_plain(value), _plain(ordered[key])) for key, value in read.items() if key in ordered]
    agree = sum(one == other and one != "" for one, other in pairs)
    return agree, sum(one != other for one, other in pairs)


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()


def receive(
    known: Known, site: Site, arrival: Arrival, *, policy: PolicyKey = "strict", person: Person | None = None
) -> Receipt:
    """The judgements of this specimen; nothing is written. With a second person exceptions are made.

    An exception is made for every refused test that allows one, and refused where any of them is of identity.
    """
    judgements = judge(known.specimen, site, arrival, policy=policy, life=known.life)
    if person is not None and person.second is not None:
        judgements = tuple(
            excuse(one, irreplaceable=known.specimen.irreplaceable, by=person.by, second=person.second, why=person.why)
            for one in judgements
        )
    return Receipt(specimen=known.specimen, arrival=arrival, policy=policy, judgements=judgements)


def record_receipt(
    record: SpecimenRecord, known: Known, site: Site, arrival: Arrival, person: Person, *,
    policy: PolicyKey = "strict", key: str | None = None,
) -> Receipt:  # fmt: skip
    """The same, written into the record in one transaction, once a key.

    A specimen that was received before is only judged again, which asks for a key of its own: without one
    the first answer comes back. Raises `LostRace` where another station was first.
    """
    specimen = known.specimen
    key = key or f"receive/{specimen.id}"
    if (entry := record.find(f"{key}/verdicts")) is not None:
        return _repeat(known, arrival, policy, entry.content)
    found = receive(known, site, arrival, policy=policy, person=person)
    if not found.judgements:
        raise RecordError("found no test that waits; expected one at least", where=f"specimen {specimen.id}")
    told: dict[str, Any] = {"specimen": specimen.id, "at": arrival.at, "by": person.by, "station": person.station}
    steps = []
    expected = specimen.events
    if specimen.received_at is None:
        steps.append(Step(event=Received(key=key, usable_ul=arrival.usable_ul, **told), expected=expected))
        expected += 1
    verdicts = tuple(one.verdict for one in found.judgements)
    judged = Judged(key=f"{key}/verdicts", verdicts=verdicts, second=person.second, **told)
    recorded = record.append(*steps, Step(event=judged, expected=expected))
    return msgspec.structs.replace(found, specimen=recorded.specimens[-1], is_recorded=True)


def _repeat(known: Known, arrival: Arrival, policy: PolicyKey, content: object) -> Receipt:
    if not isinstance(content, Judged) or content.specimen != known.specimen.id:
        raise RecordError("found this key on another event; expected one of this receipt", where="key")
    judgements = tuple(
        Judgement(test=v.test, outcome=v.outcome, wording=v.wording, reasons=v.reasons) for v in content.verdicts
    )
    when = msgspec.structs.replace(arrival, at=content.at)
    return Receipt(
        specimen=known.specimen, arrival=when, policy=policy, judgements=judgements, is_repeat=True, is_recorded=True
    )


def receipt_document(receipt: Receipt) -> dict[str, Any]:
    """The receipt as one JSON object; no patient in it."""
    return {
        "format": FORMAT,
        "specimen": receipt.specimen.id,
        "at": instant_text(receipt.arrival.at),
        "collected": instant_text(receipt.specimen.collected_at),
        "policy": receipt.policy,
        "repeat": receipt.is_repeat,
        "recorded": receipt.is_recorded,
        "tests": [
            {
                "test": one.test, "outcome": one.outcome, "wording": one.wording, "identity": one.is_identity,
                "untold": list(one.untold), "reasons": reasons_document(one.reasons),
            }
            for one in receipt.judgements
        ],
    }  # fmt: skip

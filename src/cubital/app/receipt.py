"""Receiving a specimen as a use case: judged test by test and, where there is a record, written into it once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from cubital.app.bench_board import reasons_document
from cubital.app.known import Known, instant_text
from cubital.app.record import SpecimenRecord
from cubital.errors import ReceiptError, RecordError
from cubital.handling.keeping import PolicyKey
from cubital.handling.receipt import Arrival, Judgement, excuse, is_of_identity, need_two, shared_wording
from cubital.handling.receipt_checks import judge, reopened
from cubital.model import Reason, Site
from cubital.model.record import Step
from cubital.model.specimen import Judged, Received, Specimen, Stored

FORMAT = "cubital.receipt/1"


class Person(msgspec.Struct, frozen=True, kw_only=True):
    """Who receives it and where; `second` and `why` where an exception is made, or a refusal is judged again."""

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
    known: Known, site: Site, arrival: Arrival, *, policy: PolicyKey = "strict", person: Person | None = None,
    is_again: bool = False,
) -> Receipt:  # fmt: skip
    """The judgements of this specimen; nothing is written. With a second person exceptions are made.

    An exception is made for every refused test that allows one, and refused where any of them is of identity.
    `is_again` looks at tests that were refused before as well: because what was seen was written down wrongly, or
    because an exception is now made. It takes two people and a reason, and never a refusal for identity.
    """
    if is_again:
        who = person or Person()
        need_two(by=who.by, second=who.second or "", why=who.why)
    judgements = judge(known.specimen, site, arrival, policy=policy, life=known.life, is_again=is_again)
    is_excused = person is not None and (known.specimen.irreplaceable is not None or not is_again)
    if person is not None and person.second is not None and is_excused:
        judgements = tuple(
            excuse(one, irreplaceable=known.specimen.irreplaceable, by=person.by, second=person.second, why=person.why)
            for one in judgements
        )
    if is_again and person is not None:
        judgements = tuple(_said_again(one, person) for one in judgements)
    return Receipt(specimen=known.specimen, arrival=arrival, policy=policy, judgements=judgements)


def _said_again(judgement: Judgement, person: Person) -> Judgement:
    """The same with who judged it again and why among its reasons."""
    text = f"judged again by {person.by.strip()} and {(person.second or '').strip()}: {person.why.strip()}"
    reason = Reason(about="again", text=text, basis="common-practice", sources=("common-practice",))
    return msgspec.structs.replace(judgement, reasons=(*judgement.reasons, reason))


def record_receipt(
    record: SpecimenRecord, known: Known, site: Site, arrival: Arrival, person: Person, *,
    policy: PolicyKey = "strict", key: str | None = None, is_again: bool = False,
) -> Receipt:  # fmt: skip
    """The same, written into the record in one transaction, once a key.

    A specimen that was received before is only judged again, which asks for a key of its own: without one
    the first answer comes back. Raises `LostRace` where another station was first, and `ReceiptError` where
    nobody compared the label: what is refused for identity stays refused, so that is never written by an omission.
    How it came, where that was said, is written as where it was since it was last seen elsewhere.
    """
    specimen = known.specimen
    if is_again and key is None:
        raise RecordError("found no key; expected one of its own to judge a specimen again", where="key")
    key = key or f"receive/{specimen.id}"
    if (entry := record.find(f"{key}/verdicts")) is not None:
        return _repeat(known, arrival, policy, entry.content)
    _need_looked(arrival, specimen)
    found = receive(known, site, arrival, policy=policy, person=person, is_again=is_again)
    if not found.judgements:
        raise RecordError(_why_nothing_waits(specimen), where=f"specimen {specimen.id}")
    told: dict[str, Any] = {"specimen": specimen.id, "at": arrival.at, "by": person.by, "station": person.station}
    steps = []
    expected = specimen.events
    if specimen.received_at is None:
        steps.append(Step(event=Received(key=key, usable_ul=arrival.usable_ul, **told), expected=expected))
        expected += 1
    if arrival.came is not None and not (specimen.stays and specimen.storage == arrival.came):
        # It is judged as if it had been there since it was last seen elsewhere, so it is kept so.
        since = specimen.stays[-1].since if specimen.stays else specimen.collected_at
        carried = Stored(key=f"{key}/came", storage=arrival.came, **{**told, "at": since})
        steps.append(Step(event=carried, expected=expected))
        expected += 1
    verdicts = tuple(one.verdict for one in found.judgements)
    judged = Judged(
        key=f"{key}/verdicts", verdicts=verdicts, second=person.second, indices=arrival.indices,
        fill_percent=arrival.fill_percent, **told,
    )  # fmt: skip
    recorded = record.append(*steps, Step(event=judged, expected=expected))
    return msgspec.structs.replace(found, specimen=recorded.specimens[-1], is_recorded=True)


def _need_looked(arrival: Arrival, specimen: Specimen) -> None:
    """Raise `ReceiptError` where nobody looked at what would refuse the tube for good."""
    label = arrival.label
    asked = None
    if label is None:
        asked = "nobody who compared the label with the order; expected how many identifiers agree"
    elif label.labels > 1 and label.labels_agree is None:
        asked = f"{label.labels} labels that nobody compared; expected whether they agree"
    if asked is not None:
        raise ReceiptError(f"found {asked}; look; nothing was recorded", where=f"specimen {specimen.id}")


def _why_nothing_waits(specimen: Specimen) -> str:
    if any(is_of_identity(verdict) for verdict in specimen.verdicts.values()):
        return "found it refused for its identity, which stands; expected a test that waits; draw again"
    if set(reopened(specimen)) - set(specimen.waiting):
        return (
            "found no test that waits; expected one at least; two people may judge a refused one again: --again, "
            "--second, --why"
        )
    return "found no test that waits; expected one at least"


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
        "unknown": [{"wording": text, "tests": list(tests)} for text, tests in shared_wording(receipt.judgements)],
    }  # fmt: skip

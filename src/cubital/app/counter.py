"""The counter of the bench: a tube is opened, looked at, and received once, though two stations may have it open."""

from __future__ import annotations

from cubital.app.accounts import Accounts
from cubital.app.known import Known, Shelf
from cubital.app.receipt import Person, Receipt, record_receipt
from cubital.app.record import SpecimenRecord
from cubital.errors import AccountError, KeyReused, RecordError, RecordUnavailable
from cubital.handling.keeping import PolicyKey
from cubital.handling.receipt import Arrival
from cubital.handling.receipt_checks import reopened
from cubital.handling.record import state_of
from cubital.model import Site
from cubital.model.specimen import AnyEvent, Specimen


def open_tube(record: SpecimenRecord, id: str) -> Known:
    """The specimen of this name; raises `RecordError` where there is none."""
    return Shelf(record=record).find(id)


def tube_on_record(record: SpecimenRecord, id: str) -> Known | None:
    """The specimen of this name; None where there is none, and what was named may be anything, a patient too."""
    try:
        return open_tube(record, id)
    except RecordUnavailable:
        raise
    except RecordError:
        return None


def may_judge_again(specimen: Specimen) -> bool:
    """Whether two people may judge tests again that were refused, whatever still waits."""
    return bool(set(reopened(specimen)) - set(specimen.waiting))


def receive_seen(
    record: SpecimenRecord, id: str, site: Site, arrival: Arrival, person: Person, *, seen: int, key: str,
    policy: PolicyKey = "strict", is_again: bool = False,
) -> Receipt:  # fmt: skip
    """Receive this specimen as it was when `seen` of its events were there; sent twice, it is received once.

    Raises `LostRace`, which says who was first, where anything was recorded of it since it was seen so, and what
    `record_receipt` raises.
    """
    known = _as_seen(record, open_tube(record, id), seen, key)
    try:
        return record_receipt(record, known, site, arrival, person, policy=policy, key=key, is_again=is_again)
    except KeyReused:
        # The same form, sent twice at the same moment: the other one was written while this one was judged.
        if record.find(f"{key}/verdicts") is None:
            raise
        return record_receipt(record, known, site, arrival, person, policy=policy, key=key, is_again=is_again)


def _as_seen(record: SpecimenRecord, known: Known, seen: int, key: str) -> Known:
    """The specimen with no more events than were seen, so that the record itself says who was first."""
    if known.specimen.events == seen or record.find(f"{key}/verdicts") is not None:
        return known
    events: list[AnyEvent] = []
    for entry in record.history(known.specimen.id)[:seen]:
        if isinstance(entry.content, AnyEvent):
            events.append(entry.content)
    return Known(state_of(events))


def confirm_second(accounts: Accounts, name: str, password: str, *, address: str, roles: frozenset[str]) -> str:
    """The account of the other person, who shows by a password of their own that they are there.

    Raises `AccountError` where it is nobody's, where signing in must wait, or where the role may not decide so.
    """
    visitor = accounts.visitor(accounts.sign_in(name, password, address=address))
    if visitor is None:
        raise AccountError("found nobody by this name; expected another person of the bench", where="second person")
    accounts.sign_out(visitor)
    if visitor.account.role not in roles or visitor.account.must_change:
        raise AccountError(
            "found an account that may not decide this; expected a processor, supervisor or administrator with a "
            "password of their own",
            where="second person",
        )
    return visitor.account.name

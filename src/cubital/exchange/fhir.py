"""FHIR R4 (4.0.1): ServiceRequests, alone or in a Bundle, to orders. Names and numbers are dropped."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import msgspec

from cubital.errors import AmbiguousTest, NotBloodTest, OrderError
from cubital.exchange.fhir_medication import RESOURCE, Given, instant_of, last_events, read_administration
from cubital.exchange.fhir_patient import Found, read_measure, read_patient
from cubital.exchange.fhir_records import Bundle, Concept, Measured, Person, Reference, Request, day_of, shape
from cubital.exchange.form import show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.order_file import MOST_TESTS
from cubital.exchange.table import is_text, show
from cubital.model import Ask, Order, Unsettled
from cubital.model.vocabulary import PriorityKey
from cubital.planning.directory import LOINC_SYSTEMS, MOST_TEXT, Directory, Entry, is_site_system
from cubital.planning.settling import WORD_ERRORS, error_of, unsettled_of

# FHIR R4, request-intent: the kinds that authorise an action; proposal, plan, directive and option do not.
ORDER_INTENTS = ("order", "original-order", "reflex-order", "filler-order", "instance-order")
# FHIR R4, request-status: why a request that is not active is not drawn.
NOT_DRAWN = {
    "draft": "it is not yet ordered",
    "on-hold": "it is held and may be resumed later",
    "revoked": "it was withdrawn",
    "completed": "it has been done",
    "entered-in-error": "it was entered in error",
    "unknown": "its state is not known",
}
# FHIR R4, request-priority: urgent and asap are both above routine and below stat. This house has no class
# between stat and routine, so both are taken as stat, which drops neither behind a routine test.
PRIORITIES: Mapping[str, PriorityKey] = {
    "routine": "routine", "urgent": "stat", "asap": "stat", "stat": "stat",
}  # fmt: skip
_READ = frozenset(
    {"resourceType", "status", "intent", "subject", "code", "id", "priority", "doNotPerform",
     "occurrenceDateTime", "occurrencePeriod", "meta", "text", "identifier", "encounter", "requester",
     "authoredOn", "category", "language"}
)  # fmt: skip


class _Asked(msgspec.Struct, frozen=True, kw_only=True):
    """One request: whose it is, what it asks, on which day, and at which instant where it says one."""

    subject: str
    day: datetime.date | None
    at: datetime.datetime | None
    ask: Ask
    entry: Entry | None
    id: str | None
    where: str
    unread: tuple[str, ...]


def read_fhir(
    data: bytes | str, *, directory: Directory, where: str = "FHIR", on: datetime.date | None = None
) -> list[Order]:
    """The orders in a ServiceRequest or a Bundle, one for each patient and day, in the order they stand.

    `directory` says which codes are tests of the site; `on` is the day of the draw, and where it is
    not given the day of the request is taken. Raises `ExchangeError` where the bytes are not JSON,
    `OrderError` for a request that is not active, not an order, not to be performed, or not of FHIR's shape.

    A request whose code is no blood test's, or of LOINC or of a site and not one test here, is an ask that is
    `unsettled`; where no request of a patient and day settles, the first is refused with its `NotBloodTest`,
    `UnknownTest` or `AmbiguousTest`.
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    if not isinstance(value, dict) or value.get("resourceType") not in ("ServiceRequest", "Bundle"):
        found = show_json(value.get("resourceType")) if isinstance(value, dict) else show_json(value)
        raise OrderError(
            f"found {found}; expected a ServiceRequest or a Bundle; send one of them", where=where
        )
    resources = _resources(value, where)
    people, measures, given = _People(resources), _measures(resources), _given(resources)
    requests = [(r, u, w) for r, u, w in resources if r.get("resourceType") == "ServiceRequest"]
    if not requests:
        raise OrderError("found no ServiceRequest; expected one at least; add it", where=where)
    asked = [_read_request(resource, url, place, directory) for resource, url, place in requests]
    groups: dict[tuple[str, datetime.date | None], list[_Asked]] = {}
    for one in asked:
        groups.setdefault((people.key(one.subject), on or one.day), []).append(one)
    return [_join(group, day, people, measures, given) for (_, day), group in groups.items()]


_Resource = tuple[dict[str, Any], str, str]


def _resources(value: dict[str, Any], where: str) -> list[_Resource]:
    """Every resource with the address it is known by and its place; contained ones after their owner."""
    tops: list[_Resource] = [(value, "", where)]
    if value["resourceType"] == "Bundle":
        bundle = shape(value, Bundle, where=where)
        tops = [
            (entry.resource, entry.full_url or "", f"{where} entry[{i}].resource")
            for i, entry in enumerate(bundle.entry)
            if entry.resource is not None
        ]
    resources = []
    for i, (resource, url, place) in enumerate(tops):
        resources.append((resource, url or f"#{i}", place))
        contained = resource.get("contained")
        for j, inner in enumerate(contained if isinstance(contained, list) else ()):
            if isinstance(inner, dict) and inner.get("resourceType") != "ServiceRequest":
                local = f"{url or f'#{i}'}#{inner.get('id')}"
                resources.append((inner, local, f"{place} contained[{j}]"))
    return resources


class _People:
    """The Patient resources of the input, found by the references that mean them."""

    def __init__(self, resources: list[_Resource]) -> None:
        self._by_url: dict[str, tuple[Person, str]] = {}
        self._by_id: dict[str, list[tuple[Person, str]]] = {}
        for resource, url, where in resources:
            if resource.get("resourceType") == "Patient":
                found = (shape(resource, Person, where=where), where)
                self._by_url[url] = found
                if found[0].id is not None and "#" not in url.removeprefix("#"):
                    self._by_id.setdefault(f"Patient/{found[0].id}", []).append(found)

    def find(self, subject: str) -> tuple[Person, str] | None:
        """The patient at this address, or the one of this type and id; None where none is sent along."""
        if subject in self._by_url:
            return self._by_url[subject]
        found = self._by_id.get(subject, [])
        if len(found) > 1:
            raise OrderError(
                "found two Patients of one id; expected each id once; refer to them by fullUrl",
                where=found[1][1],
            )
        return found[0] if found else None

    def key(self, subject: str) -> str:
        """One spelling for every reference that means the same patient."""
        found = self.find(subject)
        return subject if found is None else f"at {found[1]}"


def _measures(resources: list[_Resource]) -> list[tuple[str, Found]]:
    """Every measure that a plan uses, with the patient it is of."""
    measures = []
    for resource, url, where in resources:
        if resource.get("resourceType") == "Observation" and "valueQuantity" in resource:
            measured = shape(resource, Measured, where=where)
            found = read_measure(measured, where=where)
            if found is not None and measured.subject is not None:
                measures.append((_subject(measured.subject, url, where), found))
    return measures


def _given(resources: list[_Resource]) -> list[tuple[str, Given]]:
    """What was given, with the patient it was given to."""
    found = []
    for resource, url, where in resources:
        if resource.get("resourceType") == RESOURCE:
            reference, one = read_administration(resource, where=where)
            if reference is not None:
                found.append((_subject(reference, url, where), one))
    return found


def _subject(reference: Reference, owner: str, where: str) -> str:
    """The patient of a reference, in one spelling whatever the form it is written in."""
    if reference.reference:
        written = reference.reference.split("/_history/")[0]
        if written.startswith("#"):
            return owner.rsplit("#", 1)[0] + written if "#" in owner.removeprefix("#") else owner + written
        parts = written.split("/")
        if len(parts) >= 2 and parts[-2] != "Patient":
            raise OrderError(
                f"found a request on a {parts[-2][:30]!r}; expected one on a Patient; send it elsewhere",
                where=f"{where} subject",
            )
        return written
    if reference.identifier is not None and reference.identifier.value:
        return f"identifier|{reference.identifier.system}|{reference.identifier.value}"
    raise OrderError(
        "found no patient; expected a reference; write subject.reference", where=f"{where} subject"
    )


def _read_request(resource: dict[str, Any], url: str, where: str, directory: Directory) -> _Asked:
    request = shape(resource, Request, where=where)
    code, system, entry, unsettled = _settle_code(request, directory, where)
    if request.subject is None:
        raise OrderError("found no subject; expected the patient; write subject", where=where)
    unread = [f"ServiceRequest.{show(key)[1:-1]}" for key in resource if key not in _READ]
    priority = PRIORITIES.get(request.priority or "routine")
    if priority is None:
        raise OrderError(
            f"found {show_json(request.priority)}; expected one of {', '.join(PRIORITIES)}; write one",
            where=f"{where} priority",
        )
    if request.priority in ("urgent", "asap"):
        unread.append(f"ServiceRequest.priority: {request.priority} is taken as stat")
    period = request.occurrence_period
    written = request.occurrence_date_time or (period.start if period is not None else None)
    return _Asked(
        subject=_subject(request.subject, url, where),
        day=day_of(written, where=f"{where} occurrence"),
        at=None if written is None else instant_of(written, where=f"{where} occurrence"),
        ask=Ask(test=code, system=system, priority=priority, unsettled=unsettled),
        entry=entry,
        id=request.id if request.id is not None and is_text(request.id) else None,
        where=where,
        unread=tuple(unread),
    )


def _settle_code(
    request: Request, directory: Directory, where: str
) -> tuple[str, str | None, Entry | None, Unsettled | None]:
    """The code of a request that may be drawn, its system and what it names; or what keeps it from naming a test."""
    try:
        code, system, entry = _read_code(request.code, directory, where)
    except WORD_ERRORS as error:
        try:
            _refuse_undrawn(request, where)
        except OrderError:
            raise error from None
        word = _word_of(request.code)
        return word, None, None, unsettled_of(error, word)
    _refuse_undrawn(request, where)
    return code, system, entry, None


def _word_of(concept: Concept | None) -> str:
    """What a request that settles nothing is called by: its first code, else its text."""
    words = [*(c.code for c in (concept.coding if concept else ())), concept.text if concept else None]
    return next((word[:MOST_TEXT] for word in words if word and is_text(word)), "no code")


def _refuse_undrawn(request: Request, where: str) -> None:
    """Refuse what must not be drawn, saying why."""
    if request.modifier_extension or request.implicit_rules is not None:
        raise OrderError(
            "found a modifierExtension or implicitRules, which may change what the rest means; "
            "expected none; send the request without it",
            where=where,
        )
    if request.do_not_perform:
        raise OrderError("found doNotPerform: it must not be drawn; take the request out", where=where)
    if request.status != "active":
        why = NOT_DRAWN.get(request.status or "", "FHIR R4 has no such status")
        raise OrderError(
            f"found status {show_json(request.status)}: {why}; expected active; take the request out",
            where=f"{where} status",
        )
    if request.intent not in ORDER_INTENTS:
        raise OrderError(
            f"found intent {show_json(request.intent)}; expected one of {', '.join(ORDER_INTENTS)}; "
            "only an order is drawn",
            where=f"{where} intent",
        )


def _read_code(concept: Concept | None, directory: Directory, where: str) -> tuple[str, str | None, Entry]:
    """The code that names a test of the directory, LOINC before site codes, and what it names."""
    place = f"{where} code"
    codings = [(c.code, c.system) for c in (concept.coding if concept else ()) if c.code and is_text(c.code)]
    for _, system in codings:
        if system is not None and not is_text(system):
            raise OrderError(
                f"found the code system {show(system)}; expected an address of printable letters; correct the coding",
                where=place,
            )
    text = concept.text if concept else None
    if not codings and text and is_text(text):
        return text, None, directory.resolve(text, where=place)
    codings.sort(key=lambda c: c[1] not in LOINC_SYSTEMS)
    found: list[tuple[str, str | None, Entry]] = []
    for code, system in codings:
        found.extend((code, system, entry) for entry in directory.look_up(code, system=system))
    entries = dict.fromkeys(entry for _, _, entry in found)
    if len(entries) == 1:
        return found[0]
    if len(entries) > 1:
        raise AmbiguousTest(
            f"found codes of {len(entries)} tests in one request: {', '.join(k for _, k in entries)}; "
            "expected one; correct the codings",
            where=place, asked=codings[0][0], choices=[k for _, k in entries],
        )  # fmt: skip
    for code, system in codings:
        if system is None or system in LOINC_SYSTEMS or is_site_system(system):
            directory.resolve(code, system=system, where=place)
    said = ", ".join(f"{code[:40]} of {(system or '')[:60]}" for code, system in codings[:3]) or "no code"
    raise NotBloodTest(
        f"found {said}; expected a blood test by LOINC or by a code of the site; "
        "this is not a blood test of this site, send it elsewhere",
        where=place,
    )


def _join(
    group: list[_Asked],
    day: datetime.date | None,
    people: _People,
    measures: list[tuple[str, Found]],
    given: list[tuple[str, Given]],
) -> Order:
    """One order of the requests of one patient on one day."""
    if len(group) > MOST_TESTS:
        raise OrderError(f"found {len(group)} requests; expected at most {MOST_TESTS}; split the order",
                         where=group[0].where)  # fmt: skip
    unsettled = [one.ask.unsettled for one in group if one.ask.unsettled is not None]
    if len(unsettled) == len(group):
        raise error_of(unsettled[0])
    seen: dict[Entry, str] = {}
    for one in group:
        if one.entry is not None and seen.setdefault(one.entry, one.where) != one.where:
            raise OrderError(
                f"found {one.entry[1]} again, as at {seen[one.entry]}; expected each test once; remove one",
                where=one.where,
            )
    subject = group[0].subject
    person, where = people.find(subject) or (None, group[0].where)
    own = [found for of, found in measures if people.key(of) == people.key(subject)]
    patient, unread = read_patient(person, own, on=day, where=where)
    # A day that the person said is another than the requests' own: then their times are not of this draw.
    times = sorted({one.at for one in group if one.at is not None and one.day == day})
    now = times[0] if times else None
    events, unused = last_events([one for of, one in given if people.key(of) == people.key(subject)], now)
    if len(times) > 1:
        unused = (f"ServiceRequest.occurrence: {len(times)} times of one day, planned for the first", *unused)
    ids = [one.id for one in group if one.id is not None]
    return Order(
        asks=tuple(one.ask for one in group),
        patient=patient,
        on=day,
        id="+".join(ids)[:100] if ids else None,
        unread=tuple(dict.fromkeys((*(u for one in group for u in one.unread), *unread, *unused))),
        now=now,
        events=events,
    )

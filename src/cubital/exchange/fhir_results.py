"""FHIR R4 (4.0.1): DiagnosticReports with their Observations, contained or in a Bundle, to samples."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import msgspec

from cubital.errors import OrderError
from cubital.exchange.fhir_patient import USABLE_STATUS
from cubital.exchange.fhir_records import Bundle, Concept, Person, Quantity, Reference, day_of, shape
from cubital.exchange.form import show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.result_names import meaning_of
from cubital.exchange.results_file import MOST_SAMPLES, AdditiveOf, sample_from_rows
from cubital.model.results import Earlier, ResultSet
from cubital.planning.directory import LOINC_SYSTEMS

UCUM = "http://unitsofmeasure.org"
# Every report of a subject is held against every earlier one: more than these in one Bundle are refused.
MOST_OF_SUBJECT = 200
MOST_NAMED = 3


class _Range(msgspec.Struct, frozen=True):
    low: Quantity | None = None
    high: Quantity | None = None


class _Observation(msgspec.Struct, frozen=True, rename="camel"):
    status: str | None = None
    code: Concept = Concept()
    value_quantity: Quantity | None = None
    reference_range: tuple[_Range, ...] = ()
    modifier_extension: tuple[Any, ...] = ()


class _Report(msgspec.Struct, frozen=True, rename="camel"):
    status: str | None = None
    id: str | None = None
    subject: Reference | None = None
    effective_date_time: str | None = None
    result: tuple[Reference, ...] = ()
    modifier_extension: tuple[Any, ...] = ()


class _Read(msgspec.Struct, frozen=True, kw_only=True):
    sample: ResultSet
    subject: str | None
    at: datetime.datetime | None


_Found = tuple[dict[str, Any], str]


def read_fhir_results(data: bytes | str, *, additive_of: AdditiveOf, where: str = "FHIR") -> list[ResultSet]:
    """One sample for each DiagnosticReport, in the order they stand.

    Reports of one subject with instants are earlier results of the later ones. An Observation without a quantity, one
    that was withdrawn, with a comparator or of an analyte not known here takes no part and is kept in `unread`. Raises
    `ExchangeError`, `UnitError` and `OrderError` as `read_results` does, by the resource.
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    if not isinstance(value, dict) or value.get("resourceType") not in ("DiagnosticReport", "Bundle"):
        found = show_json(value.get("resourceType") if isinstance(value, dict) else value)
        raise OrderError(f"found {found}; expected a DiagnosticReport or a Bundle; send one of them", where=where)
    known = _resources(value, where)
    reports = [(r, w) for r, w in known.values() if r.get("resourceType") == "DiagnosticReport"]
    if not reports:
        raise OrderError("found no DiagnosticReport; expected one at least; add it", where=where)
    if len(reports) > MOST_SAMPLES:
        raise OrderError(
            f"found {len(reports)} reports; expected at most {MOST_SAMPLES}; split the Bundle", where=where
        )
    return _with_earlier([_read_report(report, place, known, additive_of) for report, place in reports], where)


def _resources(value: dict[str, Any], where: str) -> dict[str, _Found]:
    """Every resource by each address it is known by; contained ones by their owner's place and their own id."""
    tops: list[tuple[dict[str, Any], str, str]] = [(value, "", where)]
    if value["resourceType"] == "Bundle":
        tops = [
            (entry.resource, entry.full_url or "", f"{where} entry[{place}].resource")
            for place, entry in enumerate(shape(value, Bundle, where=where).entry)
            if entry.resource is not None
        ]
    found: dict[str, _Found] = {}
    for resource, url, place in tops:
        found[place] = (resource, place)
        if url:
            found[url] = (resource, place)
        if isinstance(resource.get("id"), str):
            found.setdefault(f"{resource.get('resourceType')}/{resource['id']}", (resource, place))
        contained = resource.get("contained")
        for number, inner in enumerate(contained if isinstance(contained, list) else ()):
            if isinstance(inner, dict):
                found[f"{place}#{inner.get('id')}"] = (inner, f"{place} contained[{number}]")
    unique: dict[str, _Found] = {}
    reports: set[int] = set()
    for address, (resource, place) in found.items():
        if resource.get("resourceType") == "DiagnosticReport":
            if id(resource) in reports:
                continue
            reports.add(id(resource))
        unique[address] = (resource, place)
    return unique


def _read_report(raw: dict[str, Any], where: str, known: dict[str, _Found], additive_of: AdditiveOf) -> _Read:
    report = shape(raw, _Report, where=where)
    if report.modifier_extension:
        raise OrderError(
            "found a modifierExtension, which may change what the rest means; send it without", where=where
        )
    if report.status not in USABLE_STATUS:
        raise OrderError(
            f"found status {show_json(report.status)}; expected one of {', '.join(USABLE_STATUS)}",
            where=f"{where} status",
        )
    rows: list[dict[str, object]] = []
    places: dict[str, str] = {}
    unread: list[str] = []
    for number, reference in enumerate(report.result):
        address = reference.reference or ""
        found = known.get(f"{where}{address}") if address.startswith("#") else known.get(address)
        if found is None or found[0].get("resourceType") != "Observation":
            raise OrderError(
                "found no Observation there; expected it sent along; put it into the Bundle or contained in it",
                where=f"{where} result[{number}]",
            )
        row = _read_observation(*found, unread)
        if row is not None:
            places[f"results[{len(rows)}]"] = found[1]
            rows.append(row)
    if not rows:
        found_ones = "; ".join(unread[:MOST_NAMED]) or "no Observation"
        raise OrderError(f"found {found_ones}; expected an Observation with a quantity at least", where=where)
    at = _instant(report.effective_date_time, where)
    value: dict[str, object] = {"results": rows}
    age = _age_hours(report, known, at)
    if age is not None:
        value["patient"] = {"age": f"{age} h"}
    if report.id:
        value["id"] = report.id
    inside = {key: place.removeprefix(where).strip() or place for key, place in places.items()}
    sample = sample_from_rows(value, where=where, places=inside, additive_of=additive_of)
    subject = report.subject.reference if report.subject is not None else None
    return _Read(sample=msgspec.structs.replace(sample, unread=(*sample.unread, *unread)), subject=subject, at=at)


def _read_observation(raw: dict[str, Any], where: str, unread: list[str]) -> dict[str, object] | None:
    """The row of an Observation; None, with a line in `unread`, where it takes no part."""
    found = shape(raw, _Observation, where=where)
    if found.modifier_extension:
        raise OrderError(
            "found a modifierExtension, which may change what the rest means; send it without", where=where
        )
    quantity = found.value_quantity
    if found.status not in USABLE_STATUS:
        unread.append(f"{where}: status {show_json(found.status)} takes no part")
        return None
    if quantity is None or quantity.value is None or quantity.comparator is not None:
        has_value = quantity is not None and quantity.value is not None
        why = f"a quantity that is a bound ({quantity.comparator})" if quantity and has_value else "no quantity"
        unread.append(f"{where}: {why} takes no part")
        return None
    row: dict[str, object] = {"code": _code(found.code, where), "value": quantity.value, "unit": _unit(quantity, where)}
    return row | _interval(found.reference_range, row["unit"], where)


def _interval(ranges: tuple[_Range, ...], unit: object, where: str) -> dict[str, object]:
    """The one interval of an Observation, where it has both ends in the unit of the value; nothing else is used."""
    if len(ranges) != 1 or ranges[0].low is None or ranges[0].high is None:
        return {}
    ends = (ranges[0].low, ranges[0].high)
    is_usable = all(_unit(end, where) == unit and isinstance(end.value, int | Decimal) for end in ends)
    if not is_usable or not 0 < ends[0].value < ends[1].value:
        return {}
    return {"low": ends[0].value, "high": ends[1].value}


def _code(concept: Concept, where: str) -> str:
    """The first coding that means an analyte here, LOINC first; else what is there, which takes no part."""
    codings = sorted((c for c in concept.coding if c.code), key=lambda c: c.system not in LOINC_SYSTEMS)
    names = [coding.code for coding in codings if coding.system in LOINC_SYSTEMS and coding.code]
    meanings = {m.measurand.key: name for name in names if (m := meaning_of(name)) is not None}
    if len(meanings) > 1:
        raise OrderError(
            f"found codes of {' and '.join(meanings)} in one Observation; expected one", where=f"{where} code"
        )
    if meanings:
        return next(iter(meanings.values()))
    if names:
        return names[0]
    if concept.text:
        return concept.text
    if codings and codings[0].code:
        return codings[0].code
    raise OrderError("found no code; expected LOINC", where=f"{where} code")


def _unit(quantity: Quantity, where: str) -> str | None:
    if quantity.system is not None and quantity.system != UCUM:
        raise OrderError(
            f"found units of {quantity.system[:60]!r}; expected UCUM ({UCUM})", where=f"{where} valueQuantity"
        )
    return quantity.code if quantity.code is not None else quantity.unit


def _instant(text: str | None, where: str) -> datetime.datetime | None:
    """The instant of a report, None where it names none with a zone."""
    if text is None or day_of(text, where=f"{where} effectiveDateTime") is None:
        return None
    try:
        found = datetime.datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


def _age_hours(report: _Report, known: dict[str, _Found], at: datetime.datetime | None) -> int | None:
    found = known.get((report.subject.reference or "") if report.subject is not None else "")
    if found is None or found[0].get("resourceType") != "Patient" or at is None:
        return None
    born = day_of(shape(found[0], Person, where=found[1]).birth_date, where=f"{found[1]} birthDate")
    return None if born is None or born > at.date() else 24 * (at.date() - born).days


def _with_earlier(read: list[_Read], where: str) -> list[ResultSet]:
    """Each sample with what earlier reports of its subject hold."""
    of_subject: dict[str, list[tuple[datetime.datetime, ResultSet]]] = {}
    for one in read:
        if one.subject is not None and one.at is not None:
            of_subject.setdefault(one.subject, []).append((one.at, one.sample))
    most = max(map(len, of_subject.values()), default=0)
    if most > MOST_OF_SUBJECT:
        raise OrderError(
            f"found {most} reports of one subject; expected at most {MOST_OF_SUBJECT}; split the Bundle", where=where
        )
    found = []
    for one in read:
        mates = [] if one.subject is None else of_subject.get(one.subject, [])
        earlier = [
            Earlier(analyte=result.analyte, value=result.value, hours_before=(one.at - at).total_seconds() / 3600)
            for at, sample in mates
            if one.at is not None and at < one.at
            for result in sample.results
        ]
        found.append(msgspec.structs.replace(one.sample, previous=tuple(earlier)))
    return found

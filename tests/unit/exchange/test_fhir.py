"""FHIR R4 requests to orders: published examples first, then our own for every rule."""

from __future__ import annotations

import datetime
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from cubital.errors import AmbiguousTest, ExchangeError, NotBloodTest, OrderError, UnknownTest
from cubital.exchange.fhir import read_fhir
from cubital.exchange.site_folder import read_site
from cubital.model import Order
from cubital.planning.directory import Directory

# HL7 FHIR R4 (4.0.1), examples as published, CC0.
PUBLISHED = Path(__file__).parents[2] / "data" / "fhir-r4"
DIRECTORY = Directory(read_site())
ON = datetime.date(2026, 11, 25)
LOINC = "http://loinc.org"


def request_of(asked: str = "2823-3", system: str = LOINC, **fields: Any) -> dict[str, Any]:
    return {
        "resourceType": "ServiceRequest",
        "status": "active",
        "intent": "order",
        "code": {"coding": [{"system": system, "code": asked}]},
        "subject": {"reference": "Patient/1"},
        **fields,
    }


def patient_of(**fields: Any) -> dict[str, Any]:
    return {"resourceType": "Patient", "id": "1", "birthDate": "1986-11-25", "gender": "female", **fields}


def measure_of(code: str, value: object, unit: str, **fields: Any) -> dict[str, Any]:
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": LOINC, "code": code}]},
        "subject": {"reference": "Patient/1"},
        "valueQuantity": {"value": value, "system": "http://unitsofmeasure.org", "code": unit},
        **fields,
    }


def bundle_of(*resources: dict[str, Any], urls: tuple[str, ...] = ()) -> dict[str, Any]:
    entries: list[dict[str, Any]] = [{"resource": resource} for resource in resources]
    for entry, url in zip(entries, urls, strict=False):
        entry["fullUrl"] = url
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


def read(value: object, on: datetime.date | None = ON) -> list[Order]:
    return read_fhir(json.dumps(value), directory=DIRECTORY, on=on)


def test_the_published_free_t4_request_is_read() -> None:
    (order,) = read_fhir((PUBLISHED / "servicerequest-example-ft4.json").read_bytes(), directory=DIRECTORY)
    (ask,) = order.asks
    assert DIRECTORY.resolve(ask.test, system=ask.system) == ("test", "free-thyroxine")
    assert order.on == datetime.date(2015, 8, 27)
    assert order.id == "ft4"
    assert order.patient.age_h is None


def test_the_published_lipid_request_is_read_by_its_local_code() -> None:
    (order,) = read_fhir((PUBLISHED / "servicerequest-example-lipid.json").read_bytes(), directory=DIRECTORY)
    (ask,) = order.asks
    assert (ask.test, ask.system) == ("LIPID", "http://acme.org/tests")
    assert DIRECTORY.resolve(ask.test, system=ask.system) == ("panel", "lipid-panel")
    assert {"ServiceRequest.note", "ServiceRequest.specimen"} <= set(order.unread)
    assert "needles" not in repr(order)


def test_the_published_ct_request_is_refused_as_not_a_blood_test() -> None:
    with pytest.raises(NotBloodTest, match="303653007") as caught:
        read_fhir((PUBLISHED / "servicerequest-example.json").read_bytes(), directory=DIRECTORY)
    assert "code" in caught.value.where


@pytest.mark.parametrize("text", ["chest CT", "Urinalysis", "X-ray of the chest"])
def test_a_request_in_words_that_ask_for_something_else_is_refused_as_not_a_blood_test(text: str) -> None:
    with pytest.raises(NotBloodTest, match="send it elsewhere") as caught:
        read(request_of(code={"text": text}))
    assert caught.value.where.endswith("code")


def test_a_request_in_words_that_nobody_knows_is_not_said_to_be_no_blood_test() -> None:
    with pytest.raises(UnknownTest):
        read(request_of(code={"text": "frobnication"}))


def test_a_bundle_gives_one_order_a_patient_with_age_sex_weight_and_hematocrit() -> None:
    value = bundle_of(
        patient_of(),
        request_of(id="a", priority="stat"),
        request_of("3016-3", id="b"),
        request_of("2951-2", id="c", subject={"reference": "Patient/2"}),
        measure_of("29463-7", 61.5, "kg"),
        measure_of("4544-3", 38, "%"),
        measure_of("8302-2", 1.64, "m"),
    )
    first, second = read(value)
    assert [(a.test, a.priority) for a in first.asks] == [("2823-3", "stat"), ("3016-3", "routine")]
    assert first.id == "a+b"
    patient = first.patient
    assert (patient.age_h, patient.sex) == ((ON - datetime.date(1986, 11, 25)).days * 24, "female")
    assert (patient.weight_g, patient.height_mm) == (61500, 1640)
    assert patient.hematocrit == Fraction(38, 100)
    assert [a.test for a in second.asks] == ["2951-2"]
    assert second.patient.weight_g is None


@pytest.mark.parametrize(
    ("value", "unit", "weight_g"), [(70, "kg", 70000), (3250, "g", 3250), (154.5, "[lb_av]", 70080)]
)
def test_a_weight_is_read_in_each_ucum_unit_and_rounded_down(value: float, unit: str, weight_g: int) -> None:
    young = patient_of(birthDate="2026-11-20") if unit == "g" else patient_of()
    (order,) = read(bundle_of(young, request_of(), measure_of("29463-7", value, unit)))
    assert order.patient.weight_g == weight_g


@pytest.mark.parametrize(("value", "unit"), [(45, "%"), (0.45, "{fraction}"), (0.45, "L/L")])
def test_a_hematocrit_is_read_in_percent_or_as_a_share(value: float, unit: str) -> None:
    (order,) = read(bundle_of(request_of(), measure_of("20570-8", value, unit)))
    assert order.patient.hematocrit == Fraction(45, 100)


@pytest.mark.parametrize(
    "measure",
    [
        measure_of("20570-8", 0.45, "%"),
        measure_of("20570-8", 45, "{fraction}"),
        measure_of("29463-7", 70, "stone"),
        measure_of("29463-7", 70000, "kg"),
        measure_of("29463-7", -1, "kg"),
        measure_of("29463-7", "70", "kg"),
    ],
)
def test_a_measure_in_a_wrong_unit_or_absurd_is_refused_with_its_path(measure: dict[str, Any]) -> None:
    with pytest.raises(OrderError) as caught:
        read(bundle_of(request_of(), measure))
    assert "entry[1].resource valueQuantity" in caught.value.where


def test_the_latest_measure_up_to_the_draw_counts_and_a_withdrawn_one_does_not() -> None:
    (order,) = read(
        bundle_of(
            request_of(),
            measure_of("29463-7", 60, "kg", effectiveDateTime="2026-01-01"),
            measure_of("29463-7", 62, "kg", effectiveDateTime="2026-06-01T08:00:00Z"),
            measure_of("29463-7", 80, "kg", effectiveDateTime="2026-12-01"),
            measure_of("29463-7", 90, "kg", effectiveDateTime="2026-06-02", status="entered-in-error"),
            measure_of("29463-7", 99, "kg", subject={"reference": "Patient/2"}),
        )
    )
    assert order.patient.weight_g == 62000


def test_two_different_measures_of_one_day_leave_the_weight_unknown_and_say_so() -> None:
    (order,) = read(bundle_of(request_of(), measure_of("29463-7", 60, "kg"), measure_of("29463-7", 70, "kg")))
    assert order.patient.weight_g is None
    assert any("different values of weight" in u for u in order.unread)


def test_references_by_address_and_by_id_mean_the_same_patient() -> None:
    url = "urn:uuid:61ebe359-bfdc-4613-8bf2-c5e300945f0a"
    (order,) = read(bundle_of(patient_of(), request_of(subject={"reference": url}), request_of("2951-2"), urls=(url,)))
    assert len(order.asks) == 2
    assert order.patient.sex == "female"


def test_a_contained_patient_belongs_to_its_request_only() -> None:
    mother = request_of(contained=[patient_of(id="p")], subject={"reference": "#p"})
    child = request_of("2951-2", contained=[patient_of(id="p", gender="male")], subject={"reference": "#p"})
    first, second = read(bundle_of(mother, child))
    assert (first.patient.sex, second.patient.sex) == ("female", "male")


def test_two_patients_of_one_id_are_never_mixed() -> None:
    urls = ("http://a.example/Patient/1", "http://b.example/Patient/1")
    people = (patient_of(), patient_of(gender="male"))
    with pytest.raises(OrderError, match="two Patients of one id"):
        read(bundle_of(*people, request_of(), urls=urls))
    (order,) = read(bundle_of(*people, request_of(subject={"reference": urls[1]}), urls=urls))
    assert order.patient.sex == "male"
    (order,) = read(bundle_of(people[0], request_of(subject={"reference": "http://c.example/Patient/1"}), urls=urls))
    assert order.patient.sex is None


def test_requests_for_different_days_are_different_orders() -> None:
    value = bundle_of(request_of(occurrenceDateTime="2026-11-25"), request_of(occurrencePeriod={"start": "2026-11-26"}))
    assert [order.on for order in read(value, on=None)] == [ON, datetime.date(2026, 11, 26)]


@pytest.mark.parametrize(
    ("priority", "ours"), [("routine", "routine"), ("urgent", "stat"), ("asap", "stat"), ("stat", "stat")]
)
def test_a_priority_is_mapped_and_what_was_raised_is_said(priority: str, ours: str) -> None:
    (order,) = read(request_of(priority=priority))
    assert order.asks[0].priority == ours
    assert any("is taken as stat" in u for u in order.unread) == (priority in ("urgent", "asap"))


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"status": "completed"}, "it has been done"),
        ({"status": "revoked"}, "it was withdrawn"),
        ({"status": "draft"}, "not yet ordered"),
        ({"status": "on-hold"}, "it is held"),
        ({"status": "entered-in-error"}, "entered in error"),
        ({"status": "Active"}, "no such status"),
        ({"status": None}, "no such status"),
        ({"intent": "proposal"}, "only an order is drawn"),
        ({"intent": None}, "only an order is drawn"),
        ({"doNotPerform": True}, "must not be drawn"),
        ({"modifierExtension": [{"url": "http://x.example"}]}, "may change what the rest means"),
        ({"implicitRules": "http://x.example"}, "may change what the rest means"),
        ({"priority": "soon"}, "expected one of routine"),
        ({"subject": None}, "found no subject"),
        ({"subject": {"display": "x"}}, "found no patient"),
        ({"subject": {"reference": "Device/1"}}, "expected one on a Patient"),
        ({"occurrenceDateTime": "25.11.2026"}, "expected a FHIR date"),
        ({"occurrenceDateTime": "2026-02-30"}, "expected a FHIR date"),
        ({"code": {"coding": "2823-3"}}, "another shape than FHIR R4"),
        ({"doNotPerform": "no"}, "another shape than FHIR R4"),
    ],
)
def test_a_request_that_must_not_be_drawn_is_refused_with_the_reason(fields: dict[str, Any], message: str) -> None:
    with pytest.raises(OrderError) as caught:
        read(request_of(**fields))
    assert message in str(caught.value)


def test_the_path_to_a_field_of_the_wrong_shape_is_given() -> None:
    with pytest.raises(OrderError) as caught:
        read(bundle_of(request_of(code={"coding": [{"code": 5}]})))
    assert caught.value.where == "FHIR entry[0].resource code.coding[0].code"


def test_a_code_nobody_defined_is_unknown_and_one_of_other_matters_is_no_blood_test() -> None:
    with pytest.raises(UnknownTest):
        read(request_of("99999-7"))
    with pytest.raises(UnknownTest) as caught:
        read(request_of("POTASIUM", "urn:example:site"))
    assert "potassium" in caught.value.near
    with pytest.raises(NotBloodTest):
        read(request_of("E2", "http://hl7.org/fhir/sid/icd-10"))
    with pytest.raises(NotBloodTest, match="no code"):
        read(request_of(code={}))


def test_a_request_that_settles_nothing_is_set_apart_from_those_that_do() -> None:
    (order,) = read(bundle_of(request_of(), request_of("99999-7"), request_of("E2", "http://hl7.org/fhir/sid/icd-10")))
    assert [(ask.test, ask.unsettled is None) for ask in order.asks] == [
        ("2823-3", True), ("99999-7", False), ("E2", False),
    ]  # fmt: skip
    found = [ask.unsettled for ask in order.asks if ask.unsettled is not None]
    assert [(one.trouble, one.where) for one in found] == [
        ("unknown", "FHIR entry[1].resource code"), ("not-blood", "FHIR entry[2].resource code"),
    ]  # fmt: skip


def test_a_request_that_must_not_be_drawn_refuses_the_rest_whatever_its_code() -> None:
    with pytest.raises(OrderError, match="withdrawn"):
        read(bundle_of(request_of(), request_of("3016-3", status="revoked")))
    with pytest.raises(UnknownTest):
        read(bundle_of(request_of(), request_of("99999-7", status="revoked")))


def test_codings_of_two_tests_in_one_request_are_asked_about() -> None:
    both = {"coding": [{"system": LOINC, "code": "2823-3"}, {"system": "urn:example:site", "code": "Na"}]}
    with pytest.raises(AmbiguousTest) as caught:
        read(request_of(code=both))
    assert caught.value.choices == ("potassium", "sodium")
    with pytest.raises(AmbiguousTest):
        read(request_of("troponin", "urn:example:site"))


def test_a_translation_beside_the_code_does_no_harm_and_loinc_goes_first() -> None:
    codings = [
        {"system": "http://snomed.info/sct", "code": "88480006"},
        {"system": "urn:x", "code": "K"},
        {"system": LOINC, "code": "2823-3"},
    ]
    (order,) = read(request_of(code={"coding": codings}))
    assert (order.asks[0].test, order.asks[0].system) == ("2823-3", LOINC)


def test_a_request_in_text_only_is_read_as_a_name() -> None:
    (order,) = read(request_of(code={"text": "Potassium"}))
    assert order.asks[0].test == "Potassium"


def test_one_test_requested_twice_is_refused() -> None:
    with pytest.raises(OrderError, match="potassium again"):
        read(bundle_of(request_of(), request_of("K", "urn:example:site")))


@pytest.mark.parametrize(("born", "unknown"), [("1986", "names no day"), ("1986-11", "names no day"), (None, None)])
def test_an_age_that_cannot_be_worked_out_is_unknown(born: str | None, unknown: str | None) -> None:
    (order,) = read(bundle_of(patient_of(birthDate=born), request_of()))
    assert order.patient.age_h is None
    assert any("birthDate" in u for u in order.unread) == (unknown is not None)


def test_a_birth_in_the_future_is_refused() -> None:
    with pytest.raises(OrderError, match="birth date in the future"):
        read(bundle_of(patient_of(birthDate="2026-11-26"), request_of()))


def test_names_and_numbers_of_a_patient_are_dropped_and_never_in_an_error() -> None:
    named = patient_of(name=[{"family": "Secretname"}], identifier=[{"value": "SECRET-42"}])
    (order,) = read(bundle_of(named, request_of(subject={"reference": "Patient/1", "display": "Secretname"})))
    assert "ecret" not in repr(order)
    with pytest.raises(OrderError) as caught:
        read(bundle_of({**named, "birthDate": "2027-01-01"}, request_of()))
    assert "ecret" not in str(caught.value).casefold()


@pytest.mark.parametrize(
    "value",
    [
        {"resourceType": "Patient"},
        [],
        5,
        {},
        {"resourceType": "Bundle"},
        bundle_of(patient_of()),
        {"resourceType": "Bundle", "entry": {}},
        {"resourceType": "Bundle", "entry": [1]},
    ],
)
def test_what_holds_no_request_is_refused(value: object) -> None:
    with pytest.raises(OrderError):
        read(value)


def test_bytes_that_are_not_json_are_refused_with_their_place() -> None:
    with pytest.raises(ExchangeError, match="end of the input at byte 26"):
        read_fhir(b'{"resourceType": "Bundle",', directory=DIRECTORY)
    with pytest.raises(ExchangeError, match="twice"):
        read_fhir(b'{"resourceType": "Bundle", "resourceType": "Bundle"}', directory=DIRECTORY)

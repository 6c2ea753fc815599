"""MedicationAdministrations to doses and infusions, and the time of a request to the instant of the plan."""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from cubital.errors import OrderError
from cubital.model import Event, Order
from tests.unit.exchange.test_fhir import bundle_of, read, request_of


def given(drug: str = "Vancomycin 1 g", **fields: Any) -> dict[str, Any]:
    return {
        "resourceType": "MedicationAdministration", "status": "completed", "subject": {"reference": "Patient/1"},
        "medicationCodeableConcept": {"text": drug}, **fields,
    }  # fmt: skip


def order_of(*resources: dict[str, Any], at: str | None = None) -> Order:
    request = request_of(**({} if at is None else {"occurrenceDateTime": at}))
    (order,) = read(bundle_of(request, *resources), on=None)
    return order


def utc(text: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(text).replace(tzinfo=datetime.UTC)


def test_the_time_of_a_request_is_the_instant_of_the_plan() -> None:
    order = order_of(at="2026-11-25T07:40:00+01:00")
    assert (order.now, order.on) == (utc("2026-11-25T06:40"), datetime.date(2026, 11, 25))
    assert order_of(at="2026-11-25").now is None


def test_a_day_that_the_person_says_leaves_the_time_of_a_request_of_another_day_out() -> None:
    request = request_of(occurrenceDateTime="2026-11-24T07:40:00Z")
    (order,) = read(bundle_of(request), on=datetime.date(2026, 11, 25))
    assert (order.now, order.on) == (None, datetime.date(2026, 11, 25))


def test_of_several_times_of_one_day_the_first_counts_and_the_plan_says_so() -> None:
    requests = [request_of(code, occurrenceDateTime=f"2026-11-25T{clock}:00Z")
                for code, clock in (("2823-3", "09:00"), ("2951-2", "08:00"))]  # fmt: skip
    (order,) = read(bundle_of(*requests), on=None)
    assert order.now == utc("2026-11-25T08:00")
    assert order.unread == ("ServiceRequest.occurrence: 2 times of one day, planned for the first",)


def test_a_dose_and_an_infusion_are_events_of_the_drug() -> None:
    infusion = {"start": "2026-11-25T08:00:00+01:00", "end": "2026-11-25T09:30:00+01:00"}
    order = order_of(
        given(effectivePeriod=infusion), given("digoxin", effectiveDateTime="2026-11-25T01:00:00Z"),
        at="2026-11-25T10:00:00Z",
    )  # fmt: skip
    assert order.events == (
        Event(what="infusion-start", of="vancomycin", at=utc("2026-11-25T07:00")),
        Event(what="infusion-end", of="vancomycin", at=utc("2026-11-25T08:30")),
        Event(what="dose", of="digoxin", at=utc("2026-11-25T01:00")),
    )
    assert order.unread == ()


def test_a_drug_is_known_by_the_name_of_a_coding_and_by_its_other_names() -> None:
    concept = {"coding": [{"system": "http://example.org", "code": "1", "display": "Paracetamol 500 mg tablet"}]}
    order = order_of(given(medicationCodeableConcept=concept, effectiveDateTime="2026-11-25T01:00:00Z"))
    assert [(event.what, event.of) for event in order.events] == [("dose", "acetaminophen")]


def test_a_longer_name_is_not_the_shorter_one_in_it() -> None:
    order = order_of(given("Low-molecular-weight heparin 40 mg", effectiveDateTime="2026-11-25T01:00:00Z"))
    assert [event.of for event in order.events] == ["low-molecular-weight-heparin"]
    assert order_of(given("Vancomycinol", effectiveDateTime="2026-11-25T01:00:00Z")).events == ()


def test_the_last_administration_before_the_draw_counts() -> None:
    doses = [given("digoxin", effectiveDateTime=f"2026-11-{day}T06:00:00Z") for day in (23, 25, 24)]
    order = order_of(*doses, at="2026-11-24T10:00:00Z")
    assert [event.at for event in order.events] == [utc("2026-11-24T06:00")]
    assert order.unread == (
        "MedicationAdministration of digoxin: it was given after the time of the draw",
        "MedicationAdministration of digoxin: one of several, and only the last before the draw counts",
    )
    assert [event.at for event in order_of(*doses).events] == [utc("2026-11-25T06:00")]


def test_an_infusion_to_come_is_used_where_there_is_none_before() -> None:
    later = given(effectivePeriod={"start": "2026-11-25T08:00:00Z", "end": "2026-11-25T09:00:00Z"})
    earlier = given(effectivePeriod={"start": "2026-11-24T20:00:00Z", "end": "2026-11-24T21:00:00Z"})
    assert order_of(later, at="2026-11-25T07:40:00Z").events[1].at == utc("2026-11-25T09:00")
    assert order_of(later, earlier, at="2026-11-25T07:40:00Z").events[1].at == utc("2026-11-24T21:00")


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"status": "not-done"}, "its status says that it was not given"),
        ({"status": "entered-in-error"}, "its status says that it was not given"),
        ({"medicationCodeableConcept": {"text": "Saline"}}, "no moment is about it"),
        ({"medicationCodeableConcept": {"text": "vancomycin and gentamicin"}}, "it may be gentamicin or vancomycin"),
        ({"medicationCodeableConcept": None}, "a drug not named here: no moment is about it"),
        ({"effectiveDateTime": "2026-11-25"}, "it says no time of day"),
        ({"effectiveDateTime": None}, "it says no time of day"),
    ],
)  # fmt: skip
def test_what_fixes_no_moment_is_kept_as_not_understood(fields: dict[str, Any], why: str) -> None:
    order = order_of(given(**{"effectiveDateTime": "2026-11-25T01:00:00Z", **fields}))
    assert order.events == ()
    assert len(order.unread) == 1
    assert order.unread[0].startswith("MedicationAdministration of ")
    assert order.unread[0].endswith(why)


def test_what_another_patient_was_given_is_not_of_this_order() -> None:
    other = given(subject={"reference": "Patient/2"}, effectiveDateTime="2026-11-25T01:00:00Z")
    assert (order_of(other).events, order_of(other).unread) == ((), ())


@pytest.mark.parametrize("text", ["2026-11-25T01:00:00", "2026-11-25T25:00:00Z", "2026-11-25T01"])
def test_a_time_without_its_offset_or_none_is_refused_with_its_place(text: str) -> None:
    with pytest.raises(OrderError, match=r"entry\[1\].resource effectiveDateTime: .*expected an instant with"):
        order_of(given(effectiveDateTime=text))
    with pytest.raises(OrderError, match="occurrence"):
        order_of(at=text)

"""JSON for programs: the published formats, who may, and schemathesis over every route that the document names."""

from __future__ import annotations

import json
from typing import Any

import jsonschema_rs
import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import Case
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from starlette.applications import Starlette

from cubital.model import Site
from cubital.web import api
from cubital.web.pages import MOST_BYTES, PAGES
from tests.web.conftest import HERE, TODAY, Browser

SCHEMA = schemathesis.openapi.from_dict(api.document())
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]


@pytest.fixture
def program(collector: Browser) -> Browser:
    """A program with a collector's session."""
    return collector


def test_a_plan_by_the_page_is_the_plan_of_the_prompt(program: Browser, demo: Site) -> None:
    from cubital.app.draws import plan_order
    from cubital.app.wiring import plan_document, read_order

    order = {"id": "a-1", "tests": ["PT", {"test": "K", "priority": "stat"}], "access": "winged-set"}
    answer = program.client.post("/api/plan", json=order)
    assert answer.status_code == 200
    expected = plan_document(plan_order(read_order(json.dumps(order), today=TODAY), demo, today=TODAY))
    assert answer.json() == json.loads(json.dumps(expected))


def test_an_order_that_cannot_be_planned_says_why_with_near_names(program: Browser) -> None:
    answer = program.client.post("/api/plan", json={"tests": ["potasium"]})
    assert answer.status_code == 422
    said = answer.json()
    assert (said["format"], said["error"]) == ("cubital.error/1", "UnknownTest")
    assert "potassium" in said["near"]
    assert program.client.post("/api/plan", content=b"{", headers={"content-type": "application/json"}).json()["error"]


def test_a_word_that_does_not_settle_is_said_and_the_rest_is_planned(program: Browser) -> None:
    answer = program.client.post("/api/plan", json={"tests": ["K", "potasium"]})
    assert answer.status_code == 200
    said = answer.json()
    assert [(one["word"], one["near"]) for one in said["unsettled"]] == [("potasium", ["potassium"])]
    assert said["cautions"][0]["level"] == "stop"


def test_a_tube_is_found_by_the_look_of_its_stopper(program: Browser) -> None:
    found = program.client.get("/api/tests", params={"text": "pale blue"}).json()
    assert found["found"] == []
    assert [tube["key"] for tube in found["tubes"]] == ["citrate"]


def test_tests_are_found_by_a_part_of_their_name(program: Browser) -> None:
    found = program.client.get("/api/tests", params={"text": "potas"}).json()["found"]
    assert found[0]["key"] == "potassium"
    assert program.client.get("/api/tests").status_code == 422


def test_nobody_plans_without_a_session_and_no_other_site_with_one(program: Browser, application: Starlette) -> None:
    stranger = Browser(application)
    refused = stranger.client.post("/api/plan", json={"tests": ["K"]})
    assert (refused.status_code, refused.json()["message"]) == (401, "Sign in first.")
    assert stranger.client.get("/api/tests", params={"text": "K"}).status_code == 401
    for headers in ({"origin": "http://elsewhere.example"}, {"sec-fetch-site": "cross-site"}):
        assert program.client.post("/api/plan", json={"tests": ["K"]}, headers=headers).status_code == 403
    answer = program.client.options("/api/plan", headers={"origin": "http://elsewhere.example"})
    assert not [name for name in answer.headers if name.startswith("access-control")]


def test_a_form_or_more_than_it_takes_is_refused(program: Browser) -> None:
    refused = program.client.post("/api/plan", data={"tests": "K"})
    assert (refused.status_code, refused.json()["message"]) == (415, "JSON was expected.")
    json_of = {"content-type": "application/json"}
    assert program.client.post("/api/plan", content=b" " * (MOST_BYTES + 1), headers=json_of).status_code == 413


def test_the_document_names_every_json_route(browser: Browser) -> None:
    said = browser.client.get("/api/openapi.json").json()
    assert said == api.document()
    assert {*said["paths"], "/api/openapi.json"} == {page.path for page in PAGES if page.is_json}


ADULT, CHILD = {"age": "45 a", "weight_kg": 70}, {"age": "6 mo", "weight_kg": 6, "drawn_ml": 8}
ORDERS: list[dict[str, Any]] = [
    {"tests": ["vancomycin-trough", "vancomycin-peak", "group check", "group and screen"], "patient": ADULT},
    {"tests": ["digoxin"], "now": "10:00", "events": [{"what": "dose", "at": "08:00"}], "place": "ward"},
    {"tests": ["K", "CBC", "PT", "CRP", "type and screen"], "patient": CHILD},
    {"tests": ["BMP", "PT"], "access": "line", "line": {"dead_space_ml": 1}, "objective": "least-blood"},
    {"tests": ["blood culture", "PT"], "access": "winged-set", "patient": ADULT, "keep": ["PT"]},
    {"tests": ["K", "xylophone"]},
]


@pytest.mark.parametrize("order", ORDERS, ids=lambda order: order["tests"][0])
def test_a_plan_has_every_key_that_the_document_names_and_no_other(program: Browser, order: dict[str, Any]) -> None:
    document = api.document()["components"]["schemas"]["plan"]
    answer = program.client.post("/api/plan", json=order)
    assert answer.status_code == 200, answer.text
    plan = answer.json()
    jsonschema_rs.validator_for(document).validate(plan)
    assert_same_keys(document, plan)


def assert_same_keys(schema: dict[str, Any], found: Any) -> None:
    """The keys of each object are those that its schema requires, and no other."""
    if isinstance(found, dict):
        assert set(found) == set(schema["properties"]) == set(schema["required"])
        for name, value in found.items():
            assert_same_keys(schema["properties"][name], value)
    elif isinstance(found, list):
        for value in found:
            assert_same_keys(schema["items"], value)


def test_a_plan_that_lacks_a_key_or_has_a_volume_below_nought_is_not_what_the_document_says(program: Browser) -> None:
    schema = jsonschema_rs.validator_for(api.document()["components"]["schemas"]["plan"])
    plan = program.client.post("/api/plan", json=ORDERS[2]).json()
    assert schema.is_valid(plan)
    assert plan["choices"]
    del plan["choices"][0]["left_out"]
    assert not schema.is_valid(plan)
    other = program.client.post("/api/plan", json=ORDERS[0]).json()
    other["draws"][0]["blood_ml"] = -1
    assert not schema.is_valid(other)


@SCHEMA.parametrize()
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_is_sent_is_answered_as_the_document_says(case: Case[Any], program: Browser) -> None:
    headers = {"Cookie": f"cubital={program.client.cookies.get('cubital')}", "Origin": HERE}
    case.call_and_validate(base_url=HERE, app=program.client.app, headers=headers, checks=CHECKS)


def test_a_nul_in_the_address_is_refused_as_the_document_says(program: Browser) -> None:
    answer = program.client.get("/api/tests?text=K%00")
    assert (answer.status_code, answer.json()["error"]) == (400, "Refused")
    document = program.client.get("/api/openapi.json").json()
    assert "400" in document["paths"]["/api/tests"]["get"]["responses"]


def test_the_document_names_every_key_that_an_order_may_have() -> None:
    from cubital.exchange.order_file import ORDER_KEYS
    from cubital.exchange.order_moments import EVENT_KEYS, MOST_EVENTS

    order = api.document()["components"]["schemas"]["order"]["properties"]
    assert set(order) == set(ORDER_KEYS)
    assert set(order["events"]["items"]["properties"]) == set(EVENT_KEYS)
    assert order["events"]["maxItems"] == MOST_EVENTS


def test_a_time_of_an_order_is_of_the_zone_of_the_site_and_a_wrong_event_is_refused(program: Browser) -> None:
    event = {"what": "infusion-end", "of": "vancomycin", "at": "2026-11-25T07:00"}
    order: dict[str, Any] = {"tests": ["vancomycin-peak"], "now": "2026-11-25T07:40", "events": [event]}
    assert program.client.post("/api/plan", json=order).status_code == 200
    answer = program.client.post("/api/plan", json={**order, "events": [{**event, "what": "infusion-over"}]})
    assert answer.status_code == 422
    assert 'found "infusion-over"; expected one of dose' in answer.json()["message"]

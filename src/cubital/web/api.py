"""JSON for programs: a plan of an order, tests by a name, and the document that describes both.

A program signs in as a browser does and sends the cookie of its session. It needs no token of a form: a page of another
site cannot send `application/json` without asking this server first, which no answer here allows, the cookie is
`SameSite=Strict`, and the gate believes no request that does not say that it comes from this server itself.
"""

from __future__ import annotations

from typing import Any

import msgspec
from starlette.responses import Response

from cubital.app.draws import plan_order
from cubital.app.search import find_kinds, find_tests
from cubital.app.wiring import error_document, plan_document, read_order
from cubital.errors import CubitalError
from cubital.facts import anchors
from cubital.model.vocabulary import ACCESSES, OBJECTIVES, PRIORITIES, SEXES
from cubital.web.plan_schema import plan_schema
from cubital.web.visit import Visit

MOST_FOUND, MOST_TEXT = 50, 100


def plan(visit: Visit) -> Response:
    """The plan of the order in the body, both as the reference pages order and plan say; else why there is none."""
    try:
        site = visit.desk.site
        order = read_order(visit.body, where="order", today=visit.desk.today(), zone=site.time_zone)
        return visit.json(plan_document(plan_order(order, site, today=visit.desk.today(), leave_unsettled=True)))
    except CubitalError as error:
        return visit.json(error_document(error), status=422)


def find(visit: Visit) -> Response:
    """The tests and panels that a text may mean, best first."""
    text = visit.query.get("text", "")
    if not 1 <= len(text) <= MOST_TEXT:
        said = f"text: found {len(text)} letters; expected 1 to {MOST_TEXT}"
        return visit.json({"format": "cubital.error/1", "error": "ExchangeError", "message": said}, status=422)
    found = find_tests(text, visit.desk.site, most=MOST_FOUND)
    kinds = find_kinds(text, visit.desk.site)
    document = {"format": "cubital.tests/1", "found": msgspec.to_builtins(found), "tubes": msgspec.to_builtins(kinds)}
    return visit.json(document)


def describe(visit: Visit) -> Response:
    """The OpenAPI document of these routes."""
    return visit.json(document())


def document() -> dict[str, Any]:
    """What the routes take and give, as OpenAPI 3.1 (spec.openapis.org/oas/v3.1.0)."""
    error = {"description": "Refused, and why", "content": {"application/json": {"schema": _ref("error")}}}
    refusals = dict.fromkeys(("400", "401", "403", "415", "422", "503"), error)
    refusals |= {"413": {"description": "More was sent than is taken"}, "421": {"description": "Another server's name"}}
    text = {"name": "text", "in": "query", "required": True,
            "schema": {"type": "string", "minLength": 1, "maxLength": MOST_TEXT}}  # fmt: skip
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "cubital", "version": "1",
            "description": "Decision support for trained staff: local procedure, tube instructions and licensed "
            "practice come first. Sign in at /sign-in as a browser does; send the cookie of the session, and Origin "
            "with the address of this server.",
        },
        "paths": {
            "/api/plan": {"post": {
                "operationId": "plan", "summary": "Plan the draw of an order",
                "requestBody": {"required": True, "content": {"application/json": {"schema": _ref("order")}}},
                "responses": {"200": _answer("The plan", "plan"), **refusals},
            }},
            "/api/tests": {"get": {
                "operationId": "find", "summary": "Tests and panels that a text may mean", "parameters": [text],
                "responses": {"200": _answer("The tests, best first", "tests"), **refusals},
            }},
        },
        "components": {
            "schemas": {"order": _order(), "plan": plan_schema(), "tests": _tests(), "error": _error()},
            "securitySchemes": {"session": {"type": "apiKey", "in": "cookie", "name": "cubital"}},
        },
        "security": [{"session": []}],
    }  # fmt: skip


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _answer(said: str, name: str) -> dict[str, Any]:
    return {"description": said, "content": {"application/json": {"schema": _ref(name)}}}


def _order() -> dict[str, Any]:
    """An order, as docs/reference/order.md says; other keys are kept and shown as cautions."""
    ask = {"type": "object", "required": ["test"], "properties": {
        "test": {"type": "string"}, "priority": {"enum": [*PRIORITIES]}, "at_min": {"type": "integer"},
        "system": {"type": "string"},
    }}  # fmt: skip
    patient = {"type": "object", "properties": {
        "age": {"type": "string"}, "birth_date": {"type": "string", "format": "date"}, "sex": {"enum": [*SEXES]},
        "weight_kg": {"type": "number"}, "height_cm": {"type": "number"}, "hematocrit": {"type": "number"},
        "drawn_ml": {"type": "number"}, "flags": {"type": "array", "items": {"type": "string"}},
    }}  # fmt: skip
    line = {"type": "object", "properties": {
        "dead_space_ml": {"type": "number"}, "carried_anticoagulant": {"type": "boolean"},
        "suspected_infection": {"type": "boolean"},
    }}  # fmt: skip
    event = {"type": "object", "required": ["what", "at"], "properties": {
        "what": {"enum": [*anchors()]}, "of": {"type": "string"}, "at": {"type": "string"},
    }}  # fmt: skip
    return {"type": "object", "required": ["tests"], "properties": {
        "id": {"type": "string"}, "patient": patient, "access": {"enum": [*ACCESSES]}, "line": line,
        "objective": {"enum": [*OBJECTIVES]}, "priority": {"enum": [*PRIORITIES]},
        "on": {"type": "string", "format": "date"}, "now": {"type": "string"}, "place": {"type": "string"},
        "events": {"type": "array", "maxItems": 50, "items": event},
        "keep": {"type": "array", "items": {"type": "string"}},
        "tests": {"type": "array", "minItems": 1, "maxItems": 250, "items": {"anyOf": [{"type": "string"}, ask]}},
    }}  # fmt: skip


def _tests() -> dict[str, Any]:
    one = {"type": "object", "required": ["kind", "key", "name"], "properties": {
        "kind": {"enum": ["test", "panel"]}, "key": {"type": "string"}, "name": {"type": "string"},
        "also": {"type": "array", "items": {"type": "string"}}, "codes": {"type": "object"},
    }}  # fmt: skip
    return {"type": "object", "required": ["format", "found"], "properties": {
        "format": {"const": "cubital.tests/1"}, "found": {"type": "array", "items": one},
        "tubes": {"type": "array", "items": {"type": "object"}},
    }}  # fmt: skip


def _error() -> dict[str, Any]:
    return {"type": "object", "required": ["format", "error", "message"], "properties": {
        "format": {"const": "cubital.error/1"}, "error": {"type": "string"}, "message": {"type": "string"},
    }}  # fmt: skip

"""Every route leaves its line in the trail, or stands in a table with the reason why it does not."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette

from cubital.app.accounts import Accounts
from cubital.model.account import TrailLine
from cubital.web.pages import PAGES
from cubital.web.trail_lines import DOOR, NO_PERSON, NOTED, OWN, TYPING, UNNOTED
from tests.web.conftest import FIRST_WORDS, WORDS, Browser
from tests.web.test_roles import MAY
from tests.web.test_take_page import begin

NUMBER = "X-000123"


def lines_of(accounts: Accounts) -> tuple[TrailLine, ...]:
    """Every line, newest first."""
    secret = accounts.sign_in("administrator", WORDS, address="")
    visitor = accounts.visitor(secret)
    assert visitor is not None
    found = accounts.trail(visitor)
    accounts.sign_out(visitor)
    return tuple(line for line in found if line.account != "administrator" or "sign" not in line.did)


def test_every_method_of_every_page_has_a_line_or_a_reason_and_not_both() -> None:
    routes = {(method, page.path) for page in PAGES for method in page.answers}
    assert set(NOTED) | set(UNNOTED) == routes
    assert not set(NOTED) & set(UNNOTED)
    assert set(UNNOTED.values()) <= {OWN, TYPING, NO_PERSON, DOOR}
    assert all(page.roles is not None for page in PAGES for method in page.answers if (method, page.path) in NOTED)


@pytest.mark.parametrize("route", NOTED, ids=" ".join)
def test_a_route_leaves_one_line_of_who_asked(
    application: Starlette, accounts: Accounts, route: tuple[str, str]
) -> None:
    method, path = route
    role = min(MAY[route] - {"administrator"}, default="administrator")
    browser = Browser(application).sign_in(role)
    before = len(lines_of(accounts))
    if path == "/api/plan":
        browser.client.post(path, json={"tests": ["K"]})
    elif method == "GET":
        browser.get(path)
    else:
        browser.post(path, {"do": "record", "specimen": NUMBER})
    fresh = lines_of(accounts)[: len(lines_of(accounts)) - before]
    assert [(line.account, line.did) for line in fresh if line.did == NOTED[route].did] == [(role, NOTED[route].did)]
    # What was typed may be a patient's number: where it is no tube on record, the line does not hold it.
    assert all(NUMBER not in line.about for line in fresh)


def test_a_refused_role_leaves_no_line_of_having_seen_the_page(application: Starlette, accounts: Accounts) -> None:
    Browser(application).sign_in("student").get("/bench/add")
    assert [line.did for line in lines_of(accounts)[:1]] == ["was refused"]


def test_the_draw_that_was_looked_at_is_named_and_what_is_no_draw_is_not(
    collector: Browser, accounts: Accounts
) -> None:
    chair = begin(collector)
    chair.view()
    collector.get(f"/take/draws?draw={NUMBER}")
    looked = [line.about for line in lines_of(accounts) if line.did == "looked at draws in hand"]
    assert looked[:2] == ["", chair.code]


@pytest.mark.parametrize(
    ("role", "path", "form", "did"),
    [
        ("administrator", "/accounts", {"do": "add", "name": "new", "role": "student", "password": FIRST_WORDS},
         "added a student"),
        ("administrator", "/accounts", {"do": "revoke", "name": "student"}, "ended the sessions of"),
        ("supervisor", "/trail", {"who": "student"}, "searched the trail"),
        ("collector", "/take", {"tests": "K", "key": "a-key-of-sixteen-letters"}, "took a draw in hand"),
        ("processor", "/password", {"present": WORDS, "new": "eight quiet otters", "again": "eight quiet otters"},
         "chose a new password"),
        ("processor", "/sign-out", {}, "signed out"),
    ],
)  # fmt: skip
def test_a_page_that_writes_its_own_line_writes_it(
    application: Starlette, accounts: Accounts, role: str, path: str, form: dict[str, str], did: str
) -> None:
    assert UNNOTED["POST", path] == OWN
    browser = Browser(application).sign_in(role).get("/draw")
    browser.post(path, form)
    assert did in [line.did for line in lines_of(accounts)]

"""Every route, tried by every role and by none, against a table written here by hand."""

from __future__ import annotations

import re

import pytest
from starlette.applications import Starlette
from starlette.routing import Route

from cubital.model.account import ROLES
from cubital.web.pages import PAGES
from tests.web.conftest import Browser

ALL = frozenset(ROLES)
NOBODY = "nobody"
BENCH = frozenset({"processor", "supervisor", "administrator"})
EDITORS = frozenset({"supervisor", "administrator"})
# Written apart from the program's own table: who may open or send what. `NOBODY` in a row: the door itself.
MAY: dict[tuple[str, str], frozenset[str]] = {
    ("GET", "/"): ALL,
    ("GET", "/draw"): ALL,
    ("POST", "/draw"): ALL,
    ("GET", "/bench"): BENCH,
    ("GET", "/bench/due"): BENCH,
    ("GET", "/bench/pulse"): BENCH,
    ("POST", "/bench/demo"): BENCH,
    ("GET", "/bench/add"): BENCH,
    ("POST", "/bench/add"): BENCH,
    ("POST", "/bench/did"): BENCH,
    ("POST", "/bench/scan"): BENCH,
    ("GET", "/bench/spin"): BENCH,
    ("POST", "/bench/spin"): BENCH,
    ("GET", "/bench/tube"): BENCH,
    ("POST", "/bench/tube"): BENCH,
    ("GET", "/morning"): frozenset({"teacher", "student"}),
    ("GET", "/results"): ALL - {"collector"},
    ("POST", "/results"): ALL - {"collector"},
    ("GET", "/take"): frozenset({"collector", "supervisor"}),
    ("POST", "/take"): frozenset({"collector", "supervisor"}),
    ("GET", "/take/draws"): frozenset({"collector", "supervisor"}),
    ("POST", "/take/tap"): frozenset({"collector", "supervisor"}),
    ("POST", "/take/labels"): frozenset({"collector", "supervisor"}),
    ("GET", "/take/shell"): ALL | {NOBODY},
    ("GET", "/take/worker.js"): ALL | {NOBODY},
    ("GET", "/explain"): ALL,
    ("GET", "/explain/order"): ALL,
    ("GET", "/explain/carry-over"): ALL,
    ("GET", "/explain/fill"): ALL,
    ("GET", "/explain/citrate"): ALL,
    ("GET", "/explain/why"): ALL,
    ("GET", "/site"): ALL,
    ("GET", "/site/stock"): ALL,
    ("GET", "/site/test"): ALL,
    ("POST", "/site/test/change"): EDITORS,
    ("GET", "/site/panel"): ALL,
    ("POST", "/site/panel/change"): EDITORS,
    ("GET", "/site/kind"): ALL,
    ("POST", "/site/kind/change"): EDITORS,
    ("GET", "/site/policy"): ALL,
    ("POST", "/site/policy/change"): EDITORS,
    ("GET", "/site/versions"): ALL,
    ("GET", "/site/version"): ALL,
    ("POST", "/site/restore"): EDITORS,
    ("GET", "/site/export"): ALL,
    ("GET", "/site/tables"): ALL,
    ("GET", "/site/table"): ALL,
    ("POST", "/site/tables/change"): EDITORS,
    ("GET", "/site/orders"): EDITORS,
    ("POST", "/site/orders"): EDITORS,
    ("GET", "/accounts"): frozenset({"administrator"}),
    ("POST", "/accounts"): frozenset({"administrator"}),
    ("GET", "/trail"): frozenset({"administrator", "supervisor"}),
    ("POST", "/trail"): frozenset({"administrator", "supervisor"}),
    ("GET", "/password"): ALL,
    ("POST", "/password"): ALL,
    ("POST", "/sign-out"): ALL,
    ("GET", "/sign-in"): ALL | {NOBODY},
    ("POST", "/sign-in"): ALL | {NOBODY},
    ("GET", "/set-up"): ALL | {NOBODY},
    ("POST", "/set-up"): ALL | {NOBODY},
    ("POST", "/look"): ALL | {NOBODY},
    ("POST", "/api/plan"): ALL,
    ("GET", "/api/tests"): ALL,
    ("GET", "/api/openapi.json"): ALL | {NOBODY},
}


def test_the_table_names_every_route_of_the_application(application: Starlette) -> None:
    routes = {
        (method, route.path)
        for route in application.routes
        if isinstance(route, Route) and route.path != "/static/{name}"
        for method in route.methods or ()
        if method != "HEAD"
    }
    assert routes == set(MAY)
    assert {(method, page.path) for page in PAGES for method in page.answers} == set(MAY)


@pytest.mark.parametrize("role", [*ROLES, NOBODY])
def test_every_route_opens_to_the_roles_of_the_table_and_to_nobody_else(browser: Browser, role: str) -> None:
    if role != NOBODY:
        assert browser.sign_in(role).path == "/draw"
    else:
        browser.get("/sign-in")
    for (method, path), may in sorted(MAY.items(), key=lambda row: row[0][1] == "/sign-out"):
        form = {"token": browser.token} if method == "POST" else None
        json: dict[str, str] | None = {} if path.startswith("/api/") and method == "POST" else None
        response = browser.client.request(
            method, path, data=form if json is None else None, json=json, follow_redirects=False
        )
        is_sent_away = response.headers.get("location") == "/sign-in" and path not in ("/set-up", "/sign-out")
        is_shut = response.status_code == 401 or "Your role does not open" in response.text or is_sent_away
        assert is_shut == (role not in may), (method, path, response.status_code)
        assert response.status_code < 500, (method, path)


@pytest.mark.parametrize("role", ROLES)
def test_the_menu_offers_only_pages_that_open(browser: Browser, role: str) -> None:
    browser.sign_in(role)
    menu = ("/draw", "/take", "/bench", "/results", "/morning", "/explain", "/accounts", "/trail")
    assert [path for path in menu if f'<li><a href="{path}"' in browser.text] == [
        path for path in menu if role in MAY["GET", path]
    ]


@pytest.mark.parametrize("role", ROLES)
def test_the_draw_page_offers_to_take_a_draw_only_to_whom_the_table_lets_take_it(browser: Browser, role: str) -> None:
    browser.sign_in(role).post("/draw", {"tests": "K"})
    key = re.search(r'name="key" value="([^"]+)"', browser.text)
    assert ("Take this draw" in browser.text) == (key is not None) == (role in MAY["POST", "/take"])
    browser.post("/take", {"tests": "K", "key": "a-key-of-sixteen-letters"})
    assert (browser.path == "/take" and browser.status == 200) == (role in MAY["POST", "/take"])


def test_a_refusal_is_written_in_the_trail(browser: Browser) -> None:
    browser.sign_in("student").get("/trail")
    assert browser.status == 403
    browser.client.cookies.clear()
    browser.sign_in("supervisor").get("/trail")
    assert "was refused" in browser.text
    assert "student" in browser.text

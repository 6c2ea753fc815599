"""The door as a browser sees it: redirects that name no scheme, and a device that keeps a way in."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette

from cubital.app.accounts import Accounts
from cubital.errors import SignInRefused
from cubital.web.pages import PAGES
from tests.web.conftest import WORDS, Browser


def test_no_redirect_names_a_scheme_or_a_host(tls_browser: Browser) -> None:
    tls_browser.get("/sign-in")
    for page in PAGES:
        for path in (page.path, page.path + "/", page.path + "//", "/" + page.path):
            for method in ("GET", "POST"):
                form = {"token": tls_browser.token} if method == "POST" else None
                answer = tls_browser.client.request(method, path, data=form, follow_redirects=False)
                place = answer.headers.get("location", "/")
                assert place.startswith("/"), (method, path, place)
                assert not place.startswith("//"), (method, path, place)


def test_a_slash_too_many_leads_to_the_page_and_keeps_what_was_asked(collector: Browser) -> None:
    answer = collector.client.get("/site/?q=K", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (307, "/site?q=K")
    assert collector.client.get("/nowhere/", follow_redirects=False).status_code == 404


def test_a_device_that_signed_in_before_gets_in_and_its_owner_is_told(
    application: Starlette, accounts: Accounts
) -> None:
    own, other = Browser(application), Browser(application)
    assert own.sign_in("collector").path == "/draw"
    cookie = next(one for one in own.client.cookies.jar if one.name == "cubital-device")
    assert cookie.expires is not None
    own.post("/sign-out")
    for number in range(36):
        with pytest.raises(SignInRefused):
            accounts.sign_in("collector", "wrong words here", address=f"192.0.2.{number}")
    assert other.sign_in("collector").status == 429
    own.sign_in("collector")
    assert (own.status, own.path) == (200, "/sign-in")
    assert "failed 30 times in the last day" in own.text
    assert own.get("/draw").status == 200


def test_behind_tls_the_mark_is_a_cookie_that_no_neighbour_can_set(tls_browser: Browser) -> None:
    tls_browser.sign_in("collector", WORDS)
    found = [line for line in tls_browser.client.cookies.jar if line.name == "__Host-cubital-device"]
    assert [(one.secure, one.path) for one in found] == [(True, "/")]

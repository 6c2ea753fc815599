"""What guards the pages: origin, token, cookies, headers, names, sizes, faults that keep their words to themselves."""

from __future__ import annotations

import logging

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse, Response

from cubital.app.accounts import Accounts
from cubital.app.record import SpecimenRecord
from cubital.model import Site
from cubital.web import application as application_module
from cubital.web import draw_page
from cubital.web.application import make_application
from cubital.web.desk import Desk
from cubital.web.pages import MOST_BYTES, PAGES, SIGNED_IN, Page
from cubital.web.visit import Visit
from tests.web.conftest import HERE, TODAY, Browser

SECRET_WORDS = "Invented, Ottoline X-000123"


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"origin": "https://localhost"},
        {"origin": "http://localhost:9"},
        {"origin": HERE, "sec-fetch-site": "cross-site"},
        {"origin": HERE, "sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none", "origin": HERE},
    ],
)
def test_a_form_of_another_page_is_refused(collector: Browser, headers: dict[str, str]) -> None:
    collector.post("/draw", {"tests": "K"}, **headers)
    assert collector.status == 403
    assert "another page" in collector.text


def test_a_form_without_a_word_of_where_it_is_from_is_refused(collector: Browser) -> None:
    del collector.client.headers["origin"]
    assert collector.post("/draw", {"tests": "K"}).status == 403
    assert collector.post("/draw", {"tests": "K"}, **{"sec-fetch-site": "same-origin"}).status == 200


@pytest.mark.parametrize("token", ["", "0" * 64, "ä" * 64])
def test_a_form_without_the_token_of_this_session_is_refused(collector: Browser, token: str) -> None:
    assert collector.post("/draw", {"tests": "K", "token": token}).status == 403


def test_a_token_of_another_session_is_refused(application: Starlette) -> None:
    one, other = Browser(application), Browser(application)
    one.sign_in("collector")
    other.sign_in("teacher")
    assert one.token != other.token
    assert one.post("/draw", {"tests": "K", "token": other.token}).status == 403


def test_signing_in_over_an_open_session_ends_it(application: Starlette) -> None:
    one, other = Browser(application), Browser(application)
    one.sign_in("collector")
    other.client.cookies.set("cubital", one.client.cookies["cubital"])
    assert other.get("/draw").path == "/draw"
    one.sign_in("teacher")
    assert one.get("/draw").path == "/draw"
    assert other.get("/draw").path == "/sign-in"


def test_signing_in_needs_a_token_too(browser: Browser) -> None:
    assert browser.post("/sign-in", {"name": "collector", "password": "seven quiet otters"}).status == 403


def test_cookies_are_shut_to_scripts_and_to_other_sites(browser: Browser, tls_browser: Browser) -> None:
    browser.sign_in("collector")
    plain = browser.client.cookies.get("cubital")
    assert plain
    response = browser.client.get("/draw")
    assert "set-cookie" not in response.headers
    tls_browser.get("/sign-in")
    answer = tls_browser.client.post(
        "/sign-in",
        data={"token": tls_browser.token, "name": "collector", "password": "seven quiet otters"},
        follow_redirects=False,
    )
    found = [line for line in answer.headers.get_list("set-cookie") if line.startswith("__Host-cubital=")]
    assert len(found) == 1
    for word in ("HttpOnly", "Secure", "SameSite=strict", "Path=/"):
        assert word in found[0]
    assert "Domain" not in found[0]


def test_every_answer_carries_the_guarding_headers(browser: Browser, tls_browser: Browser) -> None:
    for path in ("/sign-in", "/draw", "/nowhere", "/static/cubital.css", "/static/none.css"):
        headers = browser.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert "strict-transport-security" not in headers
        assert ("no-store" in headers["cache-control"]) == (not path.startswith("/static/c"))
    assert tls_browser.get("/sign-in").headers["strict-transport-security"].startswith("max-age=")


def test_pages_hold_no_inline_script_or_style(collector: Browser) -> None:
    collector.post("/draw", {"tests": "K\nCBC\nPT", "access": "winged-set"})
    assert "<style" not in collector.text
    assert " style=" not in collector.text
    assert "<script>" not in collector.text
    assert " onclick" not in collector.text


@pytest.mark.parametrize("name", ["elsewhere.example", "localhost.elsewhere.example", "", "127.0.0.2"])
def test_a_name_that_is_not_the_servers_is_not_answered(browser: Browser, name: str) -> None:
    assert browser.get("/sign-in", host=name).status == 421


@pytest.mark.parametrize(
    "path",
    ["/static/..%2fserver.py", "/static/../server.py", "/static/%2e%2e/server.py", "/static/htmx.LICENSE.txt",
     "/static/cubital.css%00", "/static//etc/passwd", "/static/"],
)  # fmt: skip
def test_no_path_leads_out_of_the_static_files(browser: Browser, path: str) -> None:
    browser.get(path)
    assert browser.status == 404
    assert "import" not in browser.text


def test_a_static_file_is_kept_only_under_the_address_of_what_is_in_it(browser: Browser) -> None:
    from cubital.web.static_files import StaticFiles

    address = StaticFiles().address("cubital.css")
    assert "immutable" in browser.get(address).headers["cache-control"]
    assert "immutable" not in browser.get("/static/cubital.css?v=0").headers["cache-control"]


def test_more_than_a_page_takes_is_refused(collector: Browser) -> None:
    collector.post("/draw", {"tests": "K\n" * (MOST_BYTES // 2)})
    assert collector.status == 413
    # In the words of a page and under its policy, though nothing of what was sent was read.
    assert "More was sent than this page takes: at most 256 kB" in collector.text
    assert collector.headers["content-security-policy"].startswith("default-src 'none'")


def test_more_than_a_page_takes_is_refused_where_its_length_is_not_said(collector: Browser) -> None:
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    parts = (b"tests=" + b"K" * 100_000 for _ in range(3))
    answer = collector.client.post("/draw", content=parts, headers=form)
    assert answer.status_code == 413
    assert "More was sent than this page takes" in answer.text


def test_a_form_of_very_many_fields_is_refused(collector: Browser) -> None:
    collector.post("/draw", {f"flag{number}": "1" for number in range(500)})
    assert collector.status == 400


def test_a_file_or_another_kind_of_content_is_refused(collector: Browser) -> None:
    answer = collector.client.post("/draw", files={"tests": b"K"}, data={"token": collector.token})
    assert answer.status_code == 415
    assert collector.client.post("/draw", json={"tests": "K"}).status_code == 415


def test_a_defect_is_confessed_without_what_was_typed(
    collector: Browser, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError(SECRET_WORDS)

    monkeypatch.setattr(draw_page, "answer_typed", fail)
    with caplog.at_level(logging.DEBUG):
        collector.post("/draw", {"tests": SECRET_WORDS})
    assert collector.status == 500
    assert SECRET_WORDS not in collector.text
    assert "defect" in collector.text
    ours = [record for record in caplog.records if record.name == "cubital.web"]
    assert [record.getMessage().split(" at ")[0] for record in ours] == ["RuntimeError"]
    assert not any(SECRET_WORDS in record.getMessage() or record.exc_info for record in caplog.records)


def test_what_was_typed_comes_back_as_text_and_not_as_markup(collector: Browser) -> None:
    collector.post("/draw", {"tests": "<script>alert(1)</script>\"'>", "age": '"><b>'})
    assert "<script>alert" not in collector.text
    assert '"><b>' not in collector.text


def test_a_form_sends_a_browser_back_to_our_own_pages_only(browser: Browser) -> None:
    browser.get("/sign-in")
    for back, goes in (("/explain", "/explain"), ("//elsewhere.example", "/draw"), ("https://e.example", "/draw")):
        answer = browser.client.post(
            "/look", data={"token": browser.token, "theme": "dark", "size": "normal", "back": back},
            follow_redirects=False,
        )  # fmt: skip
        assert answer.headers["location"] == goes


def test_there_is_no_account_before_the_first_set_up_and_every_page_leads_to_it(
    new_application: Starlette, new_accounts: Accounts
) -> None:
    browser = Browser(new_application)
    assert browser.get("/draw").path == "/set-up"
    form = {"name": "ada", "password": "seven quiet otters", "again": "seven quiet otters", "code": "guessed"}
    for wrong in ({**form}, {**form, "code": new_accounts.setup_code, "again": "other words altogether"}):
        assert browser.post("/set-up", dict(wrong)).status == 422
        assert new_accounts.is_new()
    assert browser.post("/set-up", {**form, "code": new_accounts.setup_code}).path == "/draw"
    assert Browser(new_application).get("/set-up").path == "/sign-in"


def test_a_first_password_opens_nothing_but_the_page_to_change_it(browser: Browser, application: Starlette) -> None:
    browser.sign_in("administrator").get("/accounts")
    browser.post("/accounts", {"do": "add", "name": "ben", "role": "collector", "password": "first words to change"})
    ben = Browser(application)
    assert ben.sign_in("ben", "first words to change").path == "/password"
    assert ben.get("/draw").path == "/password"
    assert ben.post("/draw", {"tests": "K"}).path == "/password"
    new = {"present": "first words to change", "new": "nine tall willows", "again": "nine tall willows"}
    assert ben.post("/password", dict(new)).path == "/draw"


def test_signing_in_too_often_is_told_to_wait(browser: Browser) -> None:
    for _ in range(5):
        assert browser.sign_in("collector", "wrong words again").status == 403
    assert browser.sign_in("collector").status == 429
    assert "wait" in browser.text


def test_a_revoked_session_is_shut_at_the_next_request(application: Starlette) -> None:
    collector, administrator = Browser(application), Browser(application)
    collector.sign_in("collector")
    administrator.sign_in("administrator").get("/accounts")
    administrator.post("/accounts", {"do": "revoke", "name": "collector"})
    assert collector.get("/draw").path == "/sign-in"
    assert collector.client.post("/draw", data={"token": collector.token}).status_code in (401, 403)


def test_signing_out_ends_the_session_and_not_only_its_cookie(application: Starlette) -> None:
    browser = Browser(application)
    browser.sign_in("collector")
    secret = browser.client.cookies.get("cubital")
    assert browser.post("/sign-out").path == "/sign-in"
    again = Browser(application)
    again.client.cookies.set("cubital", str(secret))
    assert again.get("/draw").path == "/sign-in"


def test_a_new_session_has_a_new_secret(application: Starlette) -> None:
    browser = Browser(application)
    browser.client.cookies.set("cubital", "chosen-by-another")
    browser.sign_in("collector")
    assert browser.client.cookies.get("cubital", domain="localhost.local") != "chosen-by-another"
    assert browser.get("/draw").path == "/draw"


def test_a_page_that_takes_files_reads_them_and_no_more_than_its_row_says(
    accounts: Accounts, record: SpecimenRecord, demo: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    def count(visit: Visit) -> Response:
        found = visit.file("panel")
        return PlainTextResponse("none" if found is None else f"{found[0]}: {len(found[1])} bytes")

    row = Page(path="/count", answers={"POST": count}, roles=SIGNED_IN, most_bytes=400_000, most_files=1)
    monkeypatch.setattr(application_module, "PAGES", (*PAGES, row))
    one = Browser(make_application(Desk(demo, accounts, record=record, today=lambda: TODAY))).sign_in("collector")

    def send(size: int) -> tuple[int, str]:
        form = {"token": one.token}
        answer = one.client.post("/count", files={"panel": ("panel.csv", b"x" * size)}, data=form)
        return answer.status_code, answer.text

    assert send(300_000) == (200, "panel.csv: 300000 bytes")
    assert send(500_000)[0] == 413
    assert one.post("/count").text == "none"


@pytest.mark.parametrize(("role", "status"), [("", 401), ("collector", 403), ("supervisor", 400)])
def test_much_is_read_only_from_those_who_may_send_it(application: Starlette, role: str, status: int) -> None:
    one = Browser(application).sign_in(role) if role else Browser(application)
    # Whoever reads this form finds that it cannot be read; whoever is refused at once never does.
    answer = one.client.post("/site/orders", content=b"x" * 300_000, headers={"content-type": "multipart/form-data"})
    assert answer.status_code == status

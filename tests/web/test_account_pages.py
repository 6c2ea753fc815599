"""The pages of accounts and the trail: an administrator's changes, and who may not make them."""

from __future__ import annotations

import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from starlette.applications import Starlette

from cubital.app.accounts import Accounts, Visitor
from cubital.model import Site
from tests.web.conftest import WORDS, Browser

FIRST = "first words to change"


@pytest.fixture
def administrator(browser: Browser) -> Browser:
    """An administrator's browser on the page of accounts."""
    return browser.sign_in("administrator").get("/accounts")


def test_an_account_is_added_given_a_role_and_shut(administrator: Browser, application: Starlette) -> None:
    administrator.post("/accounts", {"do": "add", "name": "Ben", "role": "collector", "password": FIRST})
    assert (administrator.status, administrator.path) == (200, "/accounts")
    assert "<b>ben</b>" in administrator.text
    administrator.post("/accounts", {"do": "role", "name": "ben", "role": "supervisor"})
    ben = Browser(application)
    assert ben.sign_in("ben", FIRST).path == "/password"
    assert "supervisor" in ben.text
    administrator.post("/accounts", {"do": "shut", "name": "ben"})
    assert ben.get("/password").path == "/sign-in"
    assert ben.sign_in("ben", FIRST).status == 403
    administrator.post("/accounts", {"do": "open", "name": "ben"})
    administrator.post("/accounts", {"do": "password", "name": "ben", "password": "other words to change"})
    assert ben.sign_in("ben", "other words to change").path == "/password"


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"do": "add", "name": "ben", "role": "collector", "password": "short"}, "found 5 letters"),
        ({"do": "add", "name": "student", "role": "collector", "password": FIRST}, "in use"),
        ({"do": "add", "name": "<b>", "role": "collector", "password": FIRST}, "2 to 60 letters"),
        ({"do": "add", "name": "ben", "role": "chief", "password": FIRST}, "expected one of collector"),
        ({"do": "role", "name": "administrator", "role": "student"}, "last administrator"),
        ({"do": "shut", "name": "administrator"}, "last administrator"),
        ({"do": "shut", "name": "nobody"}, "no account of this name"),
        ({"do": "burn", "name": "student"}, "no such change"),
        ({}, "no such change"),
    ],
)
def test_a_change_that_cannot_be_is_refused_in_words(administrator: Browser, form: dict[str, str], said: str) -> None:
    administrator.post("/accounts", dict(form))
    assert administrator.status == 422
    assert said in administrator.text
    assert "<b><b></b>" not in administrator.text


def test_no_page_ever_shows_a_password_or_its_hash(administrator: Browser) -> None:
    for path in ("/accounts", "/trail", "/password"):
        assert WORDS not in administrator.get(path).text
        assert "argon2" not in administrator.text


def test_the_trail_names_who_did_what_and_goes_on_to_older_lines(administrator: Browser) -> None:
    for _ in range(60):
        administrator.get("/draw").get("/accounts")
    administrator.get("/trail")
    assert "opened draw" in administrator.text
    assert "Older lines" in administrator.text
    oldest = administrator.text.rsplit("<tr><td>", 1)[1].split("<")[0]
    administrator.get(f"/trail?before={oldest}")
    assert f"<tr><td>{int(oldest) - 1}</td>" in administrator.text
    assert administrator.get("/trail?before=all").status == 200


def test_a_wrong_present_password_changes_nothing(browser: Browser, application: Starlette) -> None:
    browser.sign_in("collector").get("/password")
    new = "nine tall willows"
    assert browser.post("/password", {"present": FIRST, "new": new, "again": new}).status == 422
    assert browser.post("/password", {"present": WORDS, "new": new, "again": FIRST}).status == 422
    assert Browser(application).sign_in("collector").path == "/draw"
    assert browser.post("/password", {"present": WORDS, "new": new, "again": new}).path == "/draw"
    assert Browser(application).sign_in("collector").status == 403


def test_who_saw_a_tube_on_a_day_is_found_without_its_number_in_any_address(
    administrator: Browser, accounts: Accounts, demo: Site
) -> None:
    for account, about in (("collector", "S-7%_"), ("processor", "S-7%_"), ("processor", "S-70")):
        visitor = accounts.visitor(accounts.sign_in(account, WORDS, address=""))
        accounts.note(visitor, "opened a tube", about=about)
    line = accounts.trail(visitor_of(accounts), most=1)[0]
    day = line.at.astimezone(ZoneInfo(demo.time_zone)).date()
    administrator.get("/trail")
    found = administrator.post("/trail", {"who": "", "about": " S-7%_ ", "on": day.isoformat()}).text
    assert re.findall(r"<td>(\w+)</td><td>\w+</td><td>opened a tube</td><td>([^<]+)</td>", found) == [
        ("processor", "S-7%_"), ("collector", "S-7%_"),
    ]  # fmt: skip
    assert administrator.path == "/trail"
    for form in ({"about": "S-7%_", "on": (day - timedelta(days=1)).isoformat()}, {"about": "S-7%_", "who": "student"}):
        assert "No line is like that" in administrator.post("/trail", dict(form)).text
    assert administrator.post("/trail", {"on": "yesterday"}).status == 422
    assert administrator.post("/trail", {"on": "9999-12-31"}).status == 422
    administrator.get("/trail")
    assert "searched the trail" in administrator.text
    assert not re.search(r"searched the trail</td><td>[^<]", administrator.text)


def test_what_was_looked_for_goes_on_to_older_lines(administrator: Browser, accounts: Accounts) -> None:
    visitor = accounts.visitor(accounts.sign_in("processor", WORDS, address=""))
    for number in range(103):
        accounts.note(visitor, "opened a tube", about=f"S-{number}")
    text = administrator.get("/trail").post("/trail", {"who": "Processor", "about": "S-"}).text
    older = re.search(r'name="before" value="(\d+)"', text)
    assert older is not None
    assert text.count("opened a tube") == 100
    assert administrator.post("/trail", {"who": "processor", "about": "S-", "before": older[1]}).text.count(
        "opened a tube"
    ) == 3


def test_a_first_password_is_offered_and_what_was_done_is_said(administrator: Browser, application: Starlette) -> None:
    offered = re.findall(r'name="password" value="([a-z-]{14})"', administrator.text)
    assert len(set(offered)) == len(offered) == 7
    administrator.post("/accounts", {"do": "add", "name": "ben", "role": "collector", "password": offered[-1]})
    assert "The account was added" in administrator.text
    assert offered[-1] not in administrator.text
    assert Browser(application).sign_in("ben", offered[-1]).path == "/password"
    assert "End the session" in administrator.get("/accounts").text
    administrator.post("/accounts", {"do": "revoke", "name": "ben"})
    assert "a lost device is out" in administrator.text
    assert "<b>role" not in administrator.get("/accounts?did=<b>role").text


def test_what_a_role_opens_is_said_where_it_is_given(administrator: Browser) -> None:
    assert "<dt>student</dt><dd>Draw, " in administrator.text
    assert re.search(r"<dt>administrator</dt><dd>[^<]*Accounts, Trail</dd>", administrator.text)


def visitor_of(accounts: Accounts) -> Visitor:
    found = accounts.visitor(accounts.sign_in("administrator", WORDS, address=""))
    assert found is not None
    return found

"""An administrator in a real browser: set-up, new people, a forgotten password, a lost phone, who saw a tube."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser as RealBrowser
from playwright.sync_api import Page, expect
from starlette.applications import Starlette

from cubital.app.accounts import Accounts
from tests.web.chrome import BENCH, PHONE, WAIT_MS, Watched, serving

OWN = "seven quiet otters"
PEOPLE = ("collector", "collector", "processor", "teacher")


@pytest.fixture
def new_address(new_application: Starlette) -> Iterator[str]:
    """A server where nobody has an account yet."""
    with serving(new_application) as address:
        yield address


def _browser(chrome: RealBrowser, address: str, *, size: tuple[int, int] = BENCH, theme: str = "light") -> Watched:
    context = chrome.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme="dark" if theme == "dark" else "light"
    )
    context.set_default_timeout(WAIT_MS)
    return Watched(context.new_page(), address)


def _set_up(page: Page, code: str) -> None:
    """By keys alone: the first field has the cursor."""
    expect(page.get_by_role("textbox").first).to_be_focused()
    for words in (code, "ada", OWN, OWN):
        page.keyboard.type(words)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/draw")


def _add(page: Page, name: str, role: str) -> str:
    form = page.locator("form.stack")
    first = form.get_by_label("First password").input_value()
    form.get_by_label("Name").fill(name)
    form.get_by_label("Role").select_option(role)
    form.get_by_role("button", name="Add").click()
    expect(page.get_by_role("status")).to_contain_text("The account was added")
    expect(page.locator(".people")).to_contain_text(name)
    return first


def _begin_with(watched: Watched, name: str, first: str, own: str) -> None:
    page = watched.open("/sign-in").page
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(first)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/password")
    page.get_by_label("Present password").fill(first)
    page.get_by_label("New password").fill(own)
    page.get_by_label("The same again").fill(own)
    page.get_by_role("button", name="Set the password").click()
    page.wait_for_url("**/draw")


@pytest.mark.parametrize(("size", "theme"), [(PHONE, "dark"), (BENCH, "light")])
def test_the_first_days_of_an_administrator(
    chrome: RealBrowser, new_address: str, new_accounts: Accounts, size: tuple[int, int], theme: str
) -> None:
    chief, phone = _browser(chrome, new_address, size=size, theme=theme), _browser(chrome, new_address, size=PHONE)
    page = chief.open("/").page
    expect(page.get_by_role("heading", name="First set-up")).to_be_visible()
    assert chief.violations() == []
    _set_up(page, new_accounts.setup_code)
    chief.open("/accounts")
    firsts = {f"person{number}": _add(page, f"person{number}", role) for number, role in enumerate(PEOPLE)}
    assert len(set(firsts.values())) == len(PEOPLE)
    _begin_with(phone, "person0", firsts["person0"], "nine tall willows")

    # Someone forgot theirs.
    row = page.locator(".people li").filter(has_text="person1")
    row.locator("summary").click()
    assert chief.violations() == []
    row.get_by_role("button", name="Give this password").click()
    expect(page.get_by_role("status")).to_contain_text("Tell it to the person alone")

    # A phone is lost.
    row = page.locator(".people li").filter(has_text="person0")
    expect(row).to_contain_text("1 open session")
    row.locator("summary").click()
    row.get_by_role("button", name="End the session").click()
    expect(page.get_by_role("status")).to_contain_text("a lost device is out")
    expect(page.locator(".people li").filter(has_text="person0")).to_contain_text("not signed in")
    phone.page.goto(new_address + "/site")
    expect(phone.page.get_by_role("heading", name="Sign in")).to_be_visible()

    # Who was that?
    chief.open("/trail")
    page.get_by_label("Who").fill("person0")
    page.get_by_role("button", name="Find").click()
    expect(page.locator(".lines tbody tr").first).to_contain_text("opened draw")
    assert set(re.findall(r"person\d", page.locator(".lines").inner_text())) == {"person0"}
    assert page.url == new_address + "/trail"
    assert chief.violations() == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert chief.faults == []
    for one in (chief, phone):
        one.page.context.close()


def test_nothing_is_seen_again_by_going_back_after_signing_out(
    chrome: RealBrowser, new_address: str, new_accounts: Accounts
) -> None:
    watched = _browser(chrome, new_address)
    page = watched.open("/").page
    _set_up(page, new_accounts.setup_code)
    watched.open("/accounts").open("/trail")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
    for _ in range(2):
        page.go_back()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    assert watched.faults == []
    page.context.close()

"""The check of two identifiers on the Take page in a real browser: it holds for a while and is then asked again."""

from __future__ import annotations

import datetime

from playwright.sync_api import Page, expect

from tests.unit.app.identity_cases import REQUEST
from tests.web.chrome import Opener

NAME, NUMBER, BORN = REQUEST


def check(page: Page) -> None:
    for label, words in (
        ("Name", NAME), ("Number", NUMBER), ("Birth date", BORN), ("Name, as the patient says it", "Ottoline Invented"),
        ("Birth date as said, or number scanned from the wristband", NUMBER),
    ):  # fmt: skip
        page.get_by_label(label, exact=True).fill(words)
    page.get_by_role("button", name="Check both").click()


def test_a_check_that_is_old_is_asked_for_again_before_anything_more_is_taken(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("K\nCBC")
    page.get_by_role("button", name="Take this draw").click()
    asks = page.get_by_role("heading", name="Who is it?")
    expect(asks).to_be_visible()
    check(page)
    filled = page.get_by_role("button", name="Filled", exact=True)
    filled.click()
    expect(page.get_by_text("Everything is sent")).to_be_visible()
    page.get_by_role("button", name="Next").click()
    expect(filled).to_be_visible()
    page.clock.set_fixed_time(datetime.datetime.now(datetime.UTC) + datetime.timedelta(minutes=31))
    filled.click()
    expect(asks).to_be_visible()
    check(page)
    filled.click()
    expect(page.get_by_text("✓ Filled at")).to_be_visible()
    expect(page.get_by_role("alert").filter(has_text="STOP")).not_to_be_visible()

"""A draw in hand in a real browser while the site's version in force changes under it: said, and nothing else."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.web.chrome import PHONE, Opener
from tests.web.test_browser_take_check import check


def save_a_version(opener: Opener) -> None:
    """A supervisor saves other inversions of the EDTA tube by the pages."""
    page = opener("supervisor").open("/site/kind?key=edta").page
    page.get_by_label("Inversions").fill("9")
    page.get_by_label("Why is this saved").fill("nine turns, after the audit")
    page.get_by_role("button", name="Save as a version").click()
    expect(page.get_by_role("heading", name=re.compile("Version [0-9]+"))).to_be_visible()


def test_a_new_version_of_the_site_is_said_and_the_draw_goes_on_as_it_was_planned(opener: Opener) -> None:
    watched = opener("collector", size=PHONE)
    page: Page = watched.page
    page.get_by_label("Tests").fill("K\nCBC")
    page.get_by_role("button", name="Take this draw").click()
    moved = page.locator("#moved")
    expect(page.get_by_role("heading", name="Who is it?")).to_be_visible()
    expect(moved).to_be_hidden()
    check(page)
    filled = page.get_by_role("button", name="Filled", exact=True)
    expect(filled).to_be_visible()
    save_a_version(opener)
    filled.click()
    expect(moved).to_contain_text("▲ Watch This draw was planned on")
    expect(moved).to_contain_text(re.compile(r"version \d+ of the site is in force since \d{4}-"))
    page.get_by_role("button", name="Next").click()
    expect(filled).to_be_in_viewport(ratio=1)
    assert watched.violations() == []
    # The device keeps the caution with the draw, so that it stands there offline too.
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    page.reload()
    expect(moved).to_contain_text("is in force since")
    page.context.set_offline(False)
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    page.get_by_role("button", name="Filled", exact=True).click()
    expect(page.get_by_text("✓ Filled at")).to_be_visible()
    watched.faults[:] = [one for one in watched.faults if "ERR_" not in one]

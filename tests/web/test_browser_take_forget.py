"""Unsent taps in a real browser: what of a patient stays on the device, and that no tap is lost for it."""

from __future__ import annotations

from playwright.sync_api import Dialog, Page, expect

from tests.web.chrome import Opener, Watched, cut_off
from tests.web.test_browser_take_check import NAME, NUMBER, ORLA, OTTOLINE, check, forgive, later, plan

KEPT = "2 taps are waiting on this device, not yet sent"


def kept_of_patients(page: Page) -> list[str]:
    """The identifiers that the device keeps in its queue, read past the page's own scripts."""
    found: list[str] = page.evaluate(
        """async () => {
          const base = await new Promise((resolve) => {
            const asked = indexedDB.open("cubital-take");
            asked.onsuccess = () => resolve(asked.result);
          });
          const items = await new Promise((resolve) => {
            const asked = base.transaction("queue").objectStore("queue").getAll();
            asked.onsuccess = () => resolve(asked.result);
          });
          base.close();
          return items.map((item) => item.said?.number).filter(Boolean);
        }"""
    )
    return found


def unsent(opener: Opener) -> tuple[Watched, str]:
    """A check and a filled tube that the server does not hear of, and the code of their draw."""
    watched: Watched = opener("collector")
    page = plan(watched)
    page.context.route("**/take/tap", cut_off)
    check(page)
    page.get_by_role("button", name="Filled", exact=True).click()
    expect(page.locator("#wire")).to_have_text("▲ No connection. 2 kept here, not yet sent.")
    assert kept_of_patients(page) == [NUMBER]
    return watched, page.url.partition("draw=")[2]


def sign_out(page: Page) -> str:
    """Sign out there all the same; what was asked before."""
    said: list[str] = []

    def accept(dialog: Dialog) -> None:
        said.append(dialog.message)
        dialog.accept()

    page.once("dialog", accept)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
    return said[0]


def test_signing_out_on_any_page_says_what_waits_takes_identifiers_off_and_loses_no_tap(opener: Opener) -> None:
    watched, code = unsent(opener)
    page = watched.page
    for path in ("/draw", "/explain", "/site", "/password"):
        watched.open(path)
        expect(page.get_by_role("link", name=f"▲ {KEPT}")).to_be_visible()
    said = sign_out(page)
    assert said.startswith(f"{KEPT}. They stay here")
    expect(page.get_by_text(KEPT)).to_be_visible()
    assert kept_of_patients(page) == []
    watched.sign_in("collector").open("/take")
    wire = page.locator("#wire")
    expect(wire).to_contain_text(f"The identifiers of draw {code} were removed from this device.")
    assert watched.violations() == []
    page.get_by_role("button", name="Type them again").click()
    expect(page.get_by_role("heading", name="Send what is kept here")).to_be_visible()
    assert watched.violations() == []
    for who in (ORLA, OTTOLINE):
        for label, words in zip(("Name", "Number", "Birth date"), who[:3], strict=True):
            page.get_by_label(label, exact=True).fill(words)
        if who is OTTOLINE:
            page.context.unroute("**/take/tap")
        page.get_by_role("button", name="Send").click()
        if who is ORLA:
            expect(page.get_by_text("not the identifiers that were checked then")).to_be_visible()
    expect(wire).to_have_text("✓ Everything is sent.")
    assert kept_of_patients(page) == []
    ask = "async (code) => (await (await fetch('/take/draws?draw=' + code)).json()).draw.steps[0].settled.kind"
    assert page.evaluate(ask, code) == "filled"
    forgive(watched)


def test_the_next_person_to_sign_in_finds_no_identifiers_and_is_told_whose_taps_wait(opener: Opener) -> None:
    watched, _ = unsent(opener)
    page = watched.page
    # The session ends by itself: nobody signs out.
    page.context.clear_cookies()
    watched.sign_in("supervisor")
    expect(page.get_by_role("link", name=f"▲ {KEPT}")).to_be_visible()
    page.wait_for_function("cubitalForget.forget(() => false).then(() => true)")
    assert kept_of_patients(page) == []
    watched.open("/take")
    expect(page.locator("#wire")).to_contain_text("Tapped by collector, who must sign in to send it")
    assert NAME not in page.content()
    forgive(watched)


def test_identifiers_of_three_days_ago_are_gone_and_younger_ones_stay(opener: Opener) -> None:
    watched, _ = unsent(opener)
    page = watched.page
    for hours, left in ((71, [NUMBER]), (73, [])):
        later(page, 60 * hours)
        watched.open("/explain")
        page.wait_for_function("cubitalForget.forget(() => false).then(() => true)")
        assert kept_of_patients(page) == left
    forgive(watched)

"""The check of two identifiers on the Take page in a real browser: it holds for a while and is then asked again."""

from __future__ import annotations

import datetime

from playwright.sync_api import Page, expect

from tests.unit.app.identity_cases import REQUEST
from tests.web.chrome import Opener, Watched

NAME, NUMBER, BORN = REQUEST
OTTOLINE = (NAME, NUMBER, BORN, "Ottoline Invented", NUMBER)
ORLA = ("Invented, Orla", "X-000777", "1971-12-30", "Orla Invented", "1971-12-30")
_LABELS = (
    "Name", "Number", "Birth date", "Name, as the patient says it",
    "Birth date as said, or number scanned from the wristband",
)  # fmt: skip


def check(page: Page, who: tuple[str, ...] = OTTOLINE) -> None:
    for label, words in zip(_LABELS, who, strict=True):
        page.get_by_label(label, exact=True).fill(words)
    page.get_by_role("button", name="Check both").click()


def plan(watched: Watched, tests: str = "K\nCBC", page: Page | None = None) -> Page:
    """A draw in hand, at its check."""
    page = page or watched.page
    page.goto(f"{watched.address}/draw")
    page.get_by_label("Tests").fill(tests)
    page.get_by_role("button", name="Take this draw").click()
    expect(page.get_by_role("heading", name="Who is it?")).to_be_visible()
    return page


def forgive(watched: Watched) -> None:
    """End the page, and take out of its faults what the browser said of a lost connection."""
    watched.page.close()
    watched.faults[:] = [one for one in watched.faults if "ERR_" not in one]


def later(page: Page, minutes: float) -> None:
    """Let the device's clock show so many minutes more than it does."""
    page.clock.set_fixed_time(datetime.datetime.now(datetime.UTC) + datetime.timedelta(minutes=minutes))


def test_a_check_that_is_old_is_asked_for_again_before_anything_more_is_taken(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("K\nCBC")
    page.get_by_role("button", name="Take this draw").click()
    asks = page.get_by_role("heading", name="Who is it?")
    expect(asks).to_be_visible()
    check(page)
    filled = page.get_by_role("button", name="Filled", exact=True)
    filled.click()
    # It is offered once the server has the tube: a tap that still waits would be an hour old to the clock set below.
    expect(page.get_by_role("button", name="Print the label")).to_be_visible()
    page.get_by_role("button", name="Next").click()
    expect(filled).to_be_visible()
    page.clock.set_fixed_time(datetime.datetime.now(datetime.UTC) + datetime.timedelta(minutes=31))
    filled.click()
    expect(asks).to_be_visible()
    check(page)
    filled.click()
    expect(page.get_by_text("✓ Filled at")).to_be_visible()
    expect(page.get_by_role("alert").filter(has_text="STOP")).not_to_be_visible()


def test_a_double_click_takes_one_draw_in_hand(opener: Opener) -> None:
    watched = opener("collector")
    page = watched.page
    count = "async () => (await (await fetch('/take/draws')).json()).draws.length"
    before = page.evaluate(count)
    page.get_by_label("Tests").fill("K")
    page.get_by_role("button", name="Take this draw").dblclick()
    expect(page.get_by_role("heading", name="Who is it?")).to_be_visible()
    assert page.evaluate(count) == before + 1
    watched.faults[:] = [one for one in watched.faults if "ERR_ABORTED" not in one]


def test_another_patient_typed_at_a_later_check_stops_without_a_connection_and_after_a_reload(opener: Opener) -> None:
    watched = opener("collector")
    page = plan(watched)
    check(page)
    filled = page.get_by_role("button", name="Filled", exact=True)
    filled.click()
    expect(page.get_by_role("button", name="Print the label")).to_be_visible()
    page.get_by_role("button", name="Next").click()
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    later(page, 31)
    page.reload()
    asks = page.get_by_role("heading", name="Who is it?")
    expect(asks).to_be_visible()
    check(page, ORLA)
    stop = page.get_by_role("alert").filter(has_text="STOP")
    expect(stop).to_contain_text("This is another request than the one that this draw was begun with. Do not draw.")
    expect(filled).to_have_count(0)
    page.get_by_role("button", name="Ask the patient again").click()
    expect(asks).to_be_visible()
    kept = page.evaluate("JSON.stringify(localStorage)") + page.evaluate("cubitalKeep.queue().then(JSON.stringify)")
    assert not any(secret in kept for secret in (*ORLA, *OTTOLINE))
    check(page)
    expect(filled).to_be_visible()
    forgive(watched)


def test_a_check_that_fails_on_one_page_voids_that_of_the_device_on_every_other_at_once(opener: Opener) -> None:
    watched = opener("collector")
    first = plan(watched)
    check(first)
    filled = first.get_by_role("button", name="Filled", exact=True)
    filled.click()
    expect(first.get_by_role("button", name="Print the label")).to_be_visible()
    scan = first.get_by_label("Stick it on, then scan it")
    second = plan(watched, "PT", first.context.new_page())
    first.context.set_offline(True)
    check(second, (*ORLA[:3], "Orla Elsewhere", ORLA[4]))
    expect(second.get_by_role("alert").filter(has_text="STOP")).to_be_visible()
    scan.fill(f"{first.url.partition('draw=')[2]}-1")
    scan.press("Enter")
    expect(first.get_by_role("heading", name="Who is it?")).to_be_visible()
    check(first)
    scan.fill(f"{first.url.partition('draw=')[2]}-1")
    scan.press("Enter")
    expect(first.locator(".label-said")).to_contain_text("is on this tube")
    # A check of the other draw that agrees voids this one's too.
    second.get_by_role("button", name="Ask the patient again").click()
    check(second, ORLA)
    expect(second.get_by_role("button", name="Filled", exact=True)).to_be_visible()
    first.get_by_role("button", name="Next").click()
    expect(first.get_by_role("heading", name="Who is it?")).to_be_visible()
    forgive(watched)


def test_a_check_that_the_server_refuses_voids_the_seal_of_the_draw_and_is_asked_for_again(opener: Opener) -> None:
    watched = opener("collector")
    page = plan(watched)
    code = page.url.partition("draw=")[2]
    other = opener("collector").open(f"/take?draw={code}").page
    check(page)
    filled = page.get_by_role("button", name="Filled", exact=True)
    expect(filled).to_be_visible()
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    check(other, ORLA)
    expect(other.get_by_role("alert").filter(has_text="STOP")).to_contain_text("found another request")
    other.get_by_role("button", name="I have seen this").click()
    expect(other.get_by_role("heading", name="Who is it?")).to_be_visible()
    check(other)
    expect(other.get_by_role("button", name="Filled", exact=True)).to_be_visible()

"""What goes wrong at a chair, in a real browser: a connection lost among labels, a wrong clock, a label too many."""

from __future__ import annotations

import datetime

from playwright.sync_api import Page, expect

from tests.web.chrome import PHONE, Opener
from tests.web.test_browser_take_check import check, forgive, plan


def fill_all(page: Page) -> None:
    """Fill both tubes; at the labels then."""
    for number in (1, 2):
        expect(page.get_by_text(f"Tube {number} of 2")).to_be_visible()
        page.get_by_role("button", name="Filled", exact=True).click()
        page.get_by_role("button", name="Next").click()
    expect(page.get_by_role("heading", name="Labels, here at the patient")).to_be_visible()


def code_of(page: Page) -> str:
    return page.url.partition("draw=")[2]


def asks_of(page: Page) -> list[dict[str, object]]:
    """The tubes of the draw as the server has them."""
    ask = "async (code) => (await (await fetch('/take/draws?draw=' + code)).json()).draw.steps"
    found: list[dict[str, object]] = page.evaluate(ask, code_of(page))
    return found


def test_a_connection_that_drops_among_the_labels_stops_no_scan_and_brings_the_rest_back(opener: Opener) -> None:
    watched = opener("collector")
    page = plan(watched)
    check(page)
    fill_all(page)
    wire = page.locator("#wire")
    expect(wire).to_have_text("✓ Everything is sent.")
    page.get_by_role("button", name="Print all 2 labels").click()
    page.keyboard.type(f"{code_of(page)}-1\n")
    expect(page.get_by_text(f"✓ Label {code_of(page)}-1 is on this tube.")).to_be_visible()
    expect(wire).to_have_text("✓ Everything is sent.")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    expect(page.get_by_text("The label waits for the connection.")).to_be_visible()
    # The battery is swapped: the page comes back from the device, at the same place.
    page.reload()
    expect(page.get_by_text(f"✓ Label {code_of(page)}-1 is on this tube.")).to_be_visible()
    second = page.get_by_label("Stick it on, then scan it").last
    second.fill(f"{code_of(page)}-2")
    second.press("Enter")
    page.get_by_role("button", name="Finish the draw").click()
    expect(page.get_by_text("What is kept here is still to be sent")).to_be_visible()
    expect(wire).to_have_text("▲ No connection. 2 kept here, not yet sent.")
    page.context.set_offline(False)
    expect(page.get_by_text("Everything of it is with the server.")).to_be_visible()
    assert [step["labelled"] for step in asks_of(page)] == [True, True]
    forgive(watched)


def test_the_label_of_another_tube_of_the_draw_says_which_and_counts_for_neither(opener: Opener) -> None:
    watched = opener("collector")
    page = plan(watched)
    check(page)
    fill_all(page)
    stop = page.get_by_role("alert").filter(has_text="STOP")
    first, second = page.locator(".to-label li").first, page.locator(".to-label li").last
    for field, wrong, words in (
        (first, f"{code_of(page)}-2", "It is the one of tube 2, and this is tube 1. Take it off tube 1"),
        (second, f"{code_of(page)}-1", "It is the one of tube 1, and this is tube 2. Take it off tube 2"),
        (second, "QQQQQQ-1", "It is of no tube of this draw"),
    ):
        field.get_by_label("Stick it on, then scan it").fill(wrong)
        field.get_by_role("button", name="Confirm").click()
        expect(stop).to_contain_text(words)
        page.get_by_role("button", name="Scan again").click()
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    assert [step["labelled"] for step in asks_of(page)] == [False, False]


def test_a_clock_an_hour_fast_that_is_set_right_without_a_connection_loses_no_tap_and_no_time(opener: Opener) -> None:
    watched = opener("collector")
    page = watched.page
    began = datetime.datetime.now(datetime.UTC)
    page.clock.install(time=began + datetime.timedelta(hours=1))
    plan(watched)
    check(page)
    wire = page.locator("#wire")
    expect(wire).to_contain_text("▲ This device's clock is 60 min fast; the server's counts.")
    expect(page.get_by_text("Tube 1 of 2")).to_be_visible()
    page.context.set_offline(True)
    page.get_by_role("button", name="Filled", exact=True).click()
    expect(wire).to_contain_text("1 kept here, not yet sent.")
    page.clock.set_system_time(datetime.datetime.now(datetime.UTC))
    page.context.set_offline(False)
    expect(wire).to_have_text("✓ Everything is sent.")
    settled = asks_of(page)[0]["settled"]
    assert isinstance(settled, dict)
    at = datetime.datetime.fromtimestamp(settled["at"] / 1000, datetime.UTC)
    assert began - datetime.timedelta(seconds=60) < at <= datetime.datetime.now(datetime.UTC)
    forgive(watched)


def test_on_a_phone_the_next_button_is_in_sight_once_a_tube_is_filled(opener: Opener) -> None:
    watched = opener("collector", size=PHONE)
    page = plan(watched, "PT\nlactate")
    check(page)
    for number in (1, 2):
        expect(page.get_by_text(f"Tube {number} of 2")).to_be_visible()
        expect(page.get_by_role("button", name="Filled", exact=True)).to_be_in_viewport(ratio=1)
        page.get_by_role("button", name="Filled", exact=True).click()
        expect(page.locator(".done-words")).to_be_in_viewport(ratio=1)
        expect(page.get_by_role("button", name="Print the label")).to_be_in_viewport(ratio=1)
        expect(page.get_by_role("button", name="Next")).to_be_in_viewport(ratio=1)
        page.get_by_role("button", name="Next").click()

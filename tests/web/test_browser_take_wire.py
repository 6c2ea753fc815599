"""A draw in hand in a real browser while connections drop, answers are lost, two devices race and sessions end."""

from __future__ import annotations

import re
from typing import Any

from playwright.sync_api import Route, expect

from tests.web.chrome import WORDS, Opener
from tests.web.test_browser_take import (
    BORN,
    NUMBER,
    SECRETS,
    at_tube,
    check,
    code_of,
    fill,
    forgive_the_wire,
    in_hand,
    kept,
    view,
)


def test_the_connection_drops_and_everything_is_sent_later_once(opener: Opener) -> None:
    watched = in_hand(opener)
    page = watched.page
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    check(page)
    at_tube(page, 1)
    wire = page.locator("#wire")
    expect(wire).to_have_text("▲ No connection. 1 kept here, not yet sent.")
    fill(page)
    page.get_by_role("button", name="Next").click()
    at_tube(page, 2)
    fill(page)
    expect(wire).to_have_text("▲ No connection. 3 kept here, not yet sent.")
    expect(page.get_by_text("The label waits for the connection.")).to_be_visible()
    assert NUMBER in kept(page)
    page.reload()
    # The page comes from the device: nobody's name is in its head.
    expect(page.get_by_role("heading", name="Take", exact=True)).to_be_visible()
    expect(page.get_by_role("button", name="Sign out")).to_have_count(0)
    expect(wire).to_have_text("▲ No connection. 3 kept here, not yet sent.")
    expect(page.locator(".done-words")).to_contain_text("Filled at")
    page.get_by_role("button", name="Next").click()
    at_tube(page, 3)
    fill(page)
    expect(wire).to_have_text("▲ No connection. 4 kept here, not yet sent.")
    page.context.set_offline(False)
    expect(wire).to_have_text("✓ Everything is sent.")
    found = view(page)
    assert [step["settled"] is not None for step in found["steps"]] == [True, True, True, False]
    left = kept(page)
    assert not any(secret in left for secret in SECRETS)
    # The kept page has a birth date as its example, the stores none.
    assert BORN not in left.partition("http")[0]
    assert trail_of(opener, code_of(page)).count("filled a tube") == 3
    forgive_the_wire(watched)


def trail_of(opener: Opener, code: str) -> str:
    """The lines of the trail that are about this draw."""
    rows = opener("supervisor").open("/trail").page.locator("tr").filter(has_text=code)
    return "\n".join(rows.all_inner_texts())


def test_an_answer_that_is_lost_on_its_way_is_asked_for_again_and_nothing_is_doubled(opener: Opener) -> None:
    watched = in_hand(opener, "K", "straight needle and holder")
    page = watched.page
    check(page)
    at_tube(page, 1)
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    tries: list[str] = []

    def lose_answers(route: Route) -> None:
        tries.append(route.request.post_data or "")
        answer = route.fetch()
        if len(tries) < 3:
            route.abort("connectionfailed")
        else:
            route.fulfill(response=answer)

    page.route("**/take/tap", lose_answers)
    fill(page)
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    keys = {re.search(r"key=([^&]+)", one)[1] for one in tries}  # type: ignore[index]
    assert (len(tries), len(keys)) == (3, 1)
    assert trail_of(opener, code_of(page)).count("filled a tube") == 1
    forgive_the_wire(watched)


def test_of_two_browsers_that_take_the_same_draw_one_wins_a_tube_and_the_other_is_told(opener: Opener) -> None:
    first = in_hand(opener, "K", "straight needle and holder").page
    code = code_of(first)
    second = opener("collector").open("/take").page
    second.get_by_role("button", name=code).click()
    for page in (first, second):
        check(page)
        at_tube(page, 1)
        expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    for page in (first, second):
        page.evaluate("document.querySelector('.filled').click()")
    for page in (first, second):
        expect(page.locator("#stop:not([hidden]), #stage:not([hidden]) .print:not([hidden])").first).to_be_visible()
    told = [page for page in (first, second) if page.locator("#stop").is_visible()]
    assert len(told) == 1
    stop = told[0].get_by_role("alert").filter(has_text="STOP")
    expect(stop).to_contain_text("collector at take-")
    expect(stop).to_contain_text("do not label this tube")
    stop.get_by_role("button", name="I have seen this").click()
    expect(told[0].get_by_role("heading", name="Labels, here at the patient")).to_be_visible()
    expect(told[0].get_by_text("no other tube gets its label")).to_be_visible()
    assert trail_of(opener, code).count("filled a tube") == 1


def test_a_session_that_ended_keeps_the_taps_until_the_same_person_is_back(opener: Opener) -> None:
    watched = in_hand(opener, "K\nCBC", "straight needle and holder")
    page = watched.page
    check(page)
    at_tube(page, 1)
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    page.context.clear_cookies()
    fill(page)
    expect(page.locator("#wire")).to_contain_text("Your session has ended. 1 kept here, not yet sent.")
    page.get_by_role("link", name="Sign in again").click()
    page.get_by_label("Name").fill("supervisor")
    page.get_by_label("Password").fill(WORDS)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/draw")
    watched.open("/take")
    expect(page.locator("#wire")).to_contain_text("1 kept here, not yet sent. Tapped by collector, who must sign in")
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
    watched.sign_in("collector").open("/take")
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    forgive_the_wire(watched)


def test_signing_out_warns_of_what_is_not_sent_and_leaves_no_draw_behind(opener: Opener) -> None:
    watched = in_hand(opener, "K", "straight needle and holder")
    page = watched.page
    check(page)
    at_tube(page, 1)
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    page.route("**/take/tap", lambda route: route.abort("connectionfailed"))
    fill(page)
    expect(page.locator("#wire")).to_contain_text("1 kept here, not yet sent.")
    said: list[str] = []

    def stay(dialog: Any) -> None:
        said.append(dialog.message)
        dialog.dismiss()

    page.once("dialog", stay)
    page.get_by_role("button", name="Sign out").click()
    assert said == [
        "1 tap is waiting on this device, not yet sent. They stay here until you sign in again and open Take. The "
        "patient's identifiers among them are removed now; you type those of the request again then. "
        "Sign out all the same?"
    ]
    page.unroute("**/take/tap")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
    assert "specimen" not in kept(page).partition("http")[0]
    forgive_the_wire(watched)

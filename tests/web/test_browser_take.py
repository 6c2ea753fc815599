"""Taking a draw in a real browser: by mouse, by keys, by scanner, on a phone, offline, and two at one tube."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.unit.app.identity_cases import AGREE, DIFFER, REQUEST
from tests.web.chrome import BENCH, PHONE, SIZES, Opener, Watched

NAME, NUMBER, BORN = REQUEST
SECRETS = (NAME, NUMBER, "Ottoline")
# What a browser itself writes of a request that found nobody, or a session that had ended: wanted in these tests.
_WIRE = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "ERR_CONNECTION", "status of 403", "status of 401")


def in_hand(opener: Opener, tests: str = "PT\nK\nCBC", access: str = "winged set", **how: Any) -> Watched:
    """A collector who planned a draw and pressed Take."""
    watched: Watched = opener("collector", **how)
    page = watched.page
    page.get_by_label("Tests").fill(tests)
    page.get_by_text(access, exact=True).click()
    # What is shown is what is taken: the answer must be that of the last click.
    expect(page.get_by_role("region", name="The draw", exact=True)).to_contain_text(access)
    page.get_by_role("button", name="Take this draw").click()
    page.wait_for_url("**/take?draw=*")
    expect(page.get_by_role("heading", name="Who is it?")).to_be_visible()
    return watched


def code_of(page: Page) -> str:
    return page.url.partition("draw=")[2]


def check(page: Page, *, stated: str = "Ottoline Invented", second: str = BORN) -> None:
    """Type who it is by the request and by the patient."""
    for label, words in (("Name", NAME), ("Number", NUMBER), ("Birth date", BORN)):
        page.get_by_label(label, exact=True).fill(words)
    page.get_by_label("Name, as the patient says it").fill(stated)
    page.get_by_label("Birth date as said").fill(second)
    page.get_by_role("button", name="Check both").click()


def at_tube(page: Page, number: int) -> None:
    expect(page.locator(".count")).to_contain_text(f"Tube {number} of")


def fill(page: Page) -> None:
    page.get_by_role("button", name="Filled", exact=True).click()
    expect(page.locator(".done-words")).to_contain_text("Filled at")


def fill_all(page: Page) -> int:
    """Fill every tube; how many."""
    count = page.locator("#steps li").count()
    for number in range(1, count + 1):
        at_tube(page, number)
        fill(page)
        page.get_by_role("button", name="Next").click()
    expect(page.get_by_role("heading", name="Labels, here at the patient")).to_be_visible()
    return count


def view(page: Page) -> dict[str, Any]:
    """The draw as the server has it."""
    ask = "async (code) => (await (await fetch('/take/draws?draw=' + code)).json()).draw"
    found: dict[str, Any] = page.evaluate(ask, code_of(page))
    return found


def kept(page: Page) -> str:
    """Everything that the device keeps: both stores, both storages, every cached answer."""
    found: str = page.evaluate(
        """async () => {
          const base = await new Promise((resolve) => {
            const asked = indexedDB.open("cubital-take");
            asked.onsuccess = () => resolve(asked.result);
          });
          const all = (name) => new Promise((resolve) => {
            const asked = base.transaction(name).objectStore(name).getAll();
            asked.onsuccess = () => resolve(asked.result);
          });
          const stores = [await all("hand"), await all("queue"), { ...localStorage }, { ...sessionStorage }];
          base.close();
          const texts = [];
          for (const name of await caches.keys()) {
            const cache = await caches.open(name);
            for (const request of await cache.keys()) {
              texts.push(request.url, await (await cache.match(request)).text());
            }
          }
          return JSON.stringify(stores) + texts.join("");
        }"""
    )
    return found


def forgive_the_wire(watched: Watched) -> None:
    """Take out of the faults what the browser says of a lost connection."""
    watched.faults[:] = [fault for fault in watched.faults if not any(one in fault for one in _WIRE)]


def test_a_collector_takes_a_draw_tube_by_tube_and_labels_it_at_the_patient(opener: Opener) -> None:
    page = in_hand(opener).page
    code = code_of(page)
    check(page)
    at_tube(page, 1)
    expect(page.locator(".fill-words")).to_have_text("fill until blood flows into it, then throw away 0.5 mL")
    fill(page)
    expect(page.locator(".done-words")).to_contain_text("Throw it away")
    expect(page.get_by_role("button", name="Print the label")).to_have_count(0)
    page.get_by_role("button", name="Next").click()
    at_tube(page, 2)
    expect(page.get_by_role("heading", name="citrate 9:1, coagulation")).to_be_focused()
    expect(page.get_by_text("invert 5 times").first).to_be_visible()
    expect(page.get_by_text("accepted from 1.62 mL, 90 %; less is refused")).to_be_visible()
    expect(page.get_by_role("button", name="Print the label")).to_be_hidden()
    fill(page)
    with page.context.expect_event("request", lambda one: one.url.endswith("/take/labels")) as asked:
        page.get_by_role("button", name="Print the label").click()
    assert not any(secret in asked.value.url for secret in SECRETS)
    expect(page.get_by_label("Stick it on, then scan it")).to_be_focused()
    page.keyboard.type(f"{code}-2\n")
    expect(page.locator(".label-said")).to_have_text(f"✓ Label {code}-2 is on this tube.")
    for number in (3, 4):
        page.get_by_role("button", name="Next").click()
        at_tube(page, number)
        fill(page)
    page.get_by_role("button", name="Next").click()
    expect(page.get_by_role("button", name="Finish the draw")).to_be_hidden()
    page.get_by_role("button", name="Print all 2 labels").click()
    for number in (3, 4):
        page.keyboard.type(f"{code}-{number}\n")
        expect(page.get_by_text(f"✓ Label {code}-{number} is on this tube.")).to_be_visible()
    page.get_by_role("button", name="Finish the draw").click()
    expect(page.get_by_role("heading", name="This draw is done")).to_be_visible()
    expect(page.get_by_text("Everything of it is with the server")).to_be_visible()
    found = view(page)
    assert [step["settled"]["kind"] for step in found["steps"]] == ["filled"] * 4
    assert [step["labelled"] for step in found["steps"]] == [False, True, True, True]
    assert found["closed"]
    assert [step["prints"] for step in found["steps"]] == [0, 1, 1, 1]


def test_identifiers_that_differ_stop_large_and_cannot_be_overridden(opener: Opener) -> None:
    watched = in_hand(opener)
    page = watched.page
    check(page, stated="Ottoline Inventet")
    stop = page.get_by_role("alert").filter(has_text="STOP")
    expect(stop).to_contain_text("Do not draw")
    expect(stop).to_be_focused()
    expect(page.get_by_role("button", name="Filled", exact=True)).to_have_count(0)
    assert stop.get_by_role("button").all_inner_texts() == ["Ask the patient again", "Set this draw aside"]
    assert float(page.locator(".stop-word").evaluate("(one) => parseFloat(getComputedStyle(one).fontSize)")) >= 48
    assert watched.violations() == []
    page.get_by_role("button", name="Ask the patient again").click()
    expect(page.get_by_label("Name, as the patient says it")).to_have_value("")
    expect(page.get_by_label("Birth date as said")).to_have_value("")
    page.reload()
    expect(page.get_by_role("heading", name="Who is it?")).to_be_visible()
    assert not view(page)["checked"]


def test_a_label_of_another_tube_or_patient_stops_large(opener: Opener) -> None:
    page = in_hand(opener, "K\nCBC", "straight needle and holder").page
    check(page)
    at_tube(page, 1)
    fill(page)
    scan = page.get_by_label("Stick it on, then scan it")
    for wrong in (f"{code_of(page)}-2", "AAAAAA-1", NUMBER):
        scan.fill(wrong)
        scan.press("Enter")
        stop = page.get_by_role("alert").filter(has_text="STOP")
        expect(stop).to_contain_text("Wrong label")
        page.get_by_role("button", name="Scan again").click()
        expect(stop).to_be_hidden()
    assert not view(page)["steps"][0]["labelled"]
    scan.fill(f"{code_of(page)}-1".lower())
    scan.press("Enter")
    expect(page.locator(".label-said")).to_contain_text("is on this tube")


def test_a_tube_is_left_out_with_a_reason(opener: Opener) -> None:
    page = in_hand(opener).page
    check(page)
    at_tube(page, 1)
    page.get_by_text("Not drawn", exact=True).click()
    expect(page.get_by_text("The tubes after it count on this discard")).to_be_visible()
    page.get_by_role("button", name="no such tube at hand").click()
    at_tube(page, 2)
    page.get_by_text("Not drawn", exact=True).click()
    page.get_by_role("button", name="not filled far enough to be accepted").click()
    at_tube(page, 3)
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    assert [step["settled"] and step["settled"]["why"] for step in view(page)["steps"]] == [
        "no such tube at hand", "not filled far enough to be accepted", None, None,
    ]  # fmt: skip


def test_a_draw_is_set_aside_with_a_reason_and_no_more_is_taken_of_it(opener: Opener) -> None:
    page = in_hand(opener, "K").page
    page.get_by_role("button", name="Set this draw aside").click()
    expect(page.get_by_role("heading", name="Set this draw aside?")).to_be_visible()
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Set this draw aside").click()
    page.get_by_role("button", name="the patient declined").click()
    expect(page.get_by_role("heading", name="This draw is done")).to_be_visible()
    expect(page.locator("#wire")).to_have_text("✓ Everything is sent.")
    assert view(page)["closed"]


def test_everything_is_done_by_keyboard_alone(opener: Opener) -> None:
    page = in_hand(opener, "K", "straight needle and holder").page
    keys = page.keyboard

    def tab_to(selector: str) -> None:
        for _ in range(40):
            if page.evaluate("(selector) => document.activeElement.matches(selector)", selector):
                return
            keys.press("Tab")
        pytest.fail(f"{selector} was not reached with Tab")

    for name, words in (
        ("name", NAME), ("number", NUMBER), ("born", BORN), ("stated_name", "Ottoline Invented"),
        ("stated_second", BORN),
    ):  # fmt: skip
        tab_to(f"[name={name}]")
        keys.type(words)
    tab_to(".who-card .main")
    keys.press("Enter")
    at_tube(page, 1)
    # A stray Enter of a scanner must fill nothing.
    keys.press("Enter")
    expect(page.get_by_role("button", name="Filled", exact=True)).to_be_visible()
    tab_to(".filled")
    keys.press("Enter")
    expect(page.locator(".done-words")).to_contain_text("Filled at")
    tab_to(".scan input")
    keys.type(f"{code_of(page)}-1")
    keys.press("Enter")
    expect(page.locator(".label-said")).to_contain_text("is on this tube")
    tab_to(".next")
    keys.press("Enter")
    tab_to(".finish")
    keys.press("Enter")
    expect(page.get_by_role("heading", name="This draw is done")).to_be_visible()


def test_a_scanner_goes_from_field_to_field_with_its_enter(opener: Opener) -> None:
    page = in_hand(opener, "K", "straight needle and holder").page
    page.get_by_label("Name", exact=True).focus()
    for scanned in (NAME, NUMBER, BORN.replace("-", ""), NAME.upper(), NUMBER):
        page.keyboard.type(f"{scanned}\n")
    at_tube(page, 1)


def test_a_phone_shows_no_more_than_its_width_and_large_targets(opener: Opener) -> None:
    watched = in_hand(opener, "PT\nK\nlactate\nblood culture", size=PHONE)
    page = watched.page

    def look() -> None:
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        low: list[str] = page.evaluate(
            """() => [...document.querySelectorAll("#take button, #take input, #take select, #take summary")]
              .filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 44)
              .map((one) => one.outerHTML)"""
        )
        assert low == []

    look()
    check(page)
    count = page.locator("#steps li").count()
    for number in range(1, count + 1):
        at_tube(page, number)
        button = page.get_by_role("button", name="Filled", exact=True)
        expect(button).to_be_in_viewport(ratio=1)
        look()
        fill(page)
        look()
        page.get_by_role("button", name="Next").click()
    look()


def test_the_script_and_the_server_decide_alike_who_it_is(opener: Opener) -> None:
    page = in_hand(opener, "K").page
    for cases, agree in ((AGREE, True), (DIFFER, False)):
        for name, second in cases:
            said = {"name": NAME, "number": NUMBER, "born": BORN, "stated_name": name, "stated_second": second}
            assert page.evaluate("(said) => cubitalIdentity.agrees(said)", said) == agree, (name, second)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_on_any_screen(opener: Opener, theme: str) -> None:
    watched = in_hand(opener, "PT\nlactate", size=PHONE if theme == "dark" else BENCH, theme=theme)
    page = watched.page
    assert watched.violations() == []
    check(page)
    at_tube(page, 1)
    page.get_by_text("Not drawn", exact=True).click()
    assert watched.violations() == []
    fill_all(page)
    assert watched.violations() == []
    page.get_by_role("button", name="Leave it open").click()
    expect(page.get_by_role("heading", name="Draws to take")).to_be_visible()
    assert watched.violations() == []


@pytest.mark.parametrize("size", SIZES)
def test_the_tube_is_drawn_large_at_every_width(opener: Opener, size: tuple[int, int]) -> None:
    page = in_hand(opener, size=size).page
    check(page)
    at_tube(page, 1)
    box = page.locator(".upright svg").bounding_box()
    assert box is not None
    assert box["height"] >= 220
    words = page.locator(".line-words").bounding_box()
    assert words is not None
    assert words["height"] >= 30

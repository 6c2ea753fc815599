"""What a person does with the pages in a real browser: by mouse, by keyboard alone, by scanner, on a phone."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Route, expect

from tests.web.chrome import PHONE, SIZES, Opener, cut_off

MOST_FIRST_BYTES = 150_000
ORDER = "PT\naPTT\nCMP\nCBC\nlactat\ntype and screen"


def test_a_collector_types_an_order_and_reads_the_draw_as_a_picture(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill(ORDER)
    page.get_by_label("Age", exact=True).fill("61")
    page.get_by_label("Weight, kg").fill("70")
    page.get_by_text("winged set").click()
    tray = page.get_by_role("region", name="Tubes in order of draw")
    expect(tray.locator(".place")).to_have_text([f"Position {number}" for number in range(1, 6)])
    discard = tray.get_by_role("listitem").first
    expect(discard).to_contain_text("DISCARD: fill until blood flows into it, then throw away")
    drawn = "Tube, letters C9, stopper pale blue, ribbed, filled to its line, 1.8 mL"
    expect(tray.get_by_role("img", name=drawn)).to_be_visible()
    expect(tray.locator(".do").nth(1)).to_contain_text("invert 5x")
    doubts = page.get_by_role("region", name="Lines in doubt")
    expect(doubts).to_contain_text("Not in the plan: 1 line")
    doubts.get_by_role("button", name="lactate", exact=True).click()
    expect(doubts).to_have_count(0)
    expect(page.get_by_label("Tests")).to_have_value(ORDER.replace("lactat\n", "lactate\n"))
    expect(page.get_by_label("Tests")).to_be_focused()
    expect(tray.locator(".place")).to_have_count(6)
    tray.locator("summary").nth(1).click()
    expect(tray.locator(".why").nth(1)).to_contain_text("step 2 of CLSI GP41")
    expect(page.get_by_role("img", name="of the blood limit")).to_be_visible()


def test_a_stop_stands_on_top_in_a_word_and_not_in_colour_alone(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("K\nCBC\nPT\nCRP\ntype and screen")
    page.get_by_label("Age", exact=True).fill("6")
    page.get_by_label("Unit of the age").select_option("mo")
    page.get_by_label("Weight, kg").fill("6")
    page.get_by_label("Drawn before, mL").fill("8")
    cautions = page.get_by_role("region", name="Cautions")
    expect(cautions).to_contain_text("LEFT OUT")
    heading = page.get_by_role("region", name="The draw").get_by_role("heading")
    expect(heading).to_contain_text("NOT ALL")
    top, below = cautions.bounding_box(), heading.bounding_box()
    assert top is not None
    assert below is not None
    assert top["y"] < below["y"]


def test_a_number_that_is_none_is_refused_beside_the_form_and_keeps_what_was_typed(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("K")
    page.get_by_label("Weight, kg").fill("70 kg")
    refusal = page.get_by_role("region", name="Refusal")
    expect(refusal).to_contain_text("found '70 kg'; expected a number")
    page.get_by_label("Weight, kg").fill("70")
    expect(refusal).to_have_count(0)
    expect(page.get_by_label("Tests")).to_have_value("K")


def test_everything_is_done_by_keyboard_alone(opener: Opener) -> None:
    page = opener().open("/sign-in").page
    keys = page.keyboard
    expect(page.get_by_label("Name")).to_be_focused()
    keys.type("collector")
    keys.press("Tab")
    keys.type("seven quiet otters")
    keys.press("Enter")
    page.wait_for_url("**/draw")
    expect(page.get_by_label("Tests")).to_be_focused()
    keys.type("K")
    keys.press("Enter")
    keys.type("PT")
    keys.press("Tab")
    keys.press("ArrowRight")
    expect(page.get_by_label("winged set")).to_be_checked()
    expect(page.get_by_role("region", name="The draw")).to_contain_text("winged set")
    for _ in range(40):
        keys.press("Tab")
        if page.evaluate("document.activeElement.matches('.tray summary')"):
            break
    else:
        pytest.fail("no tube was reached with Tab")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    keys.press("Enter")
    expect(page.locator(".tray .why").first).to_be_visible()
    keys.press("Enter")
    expect(page.locator(".tray .why").first).to_be_hidden()


def test_an_answer_that_comes_late_leaves_the_keys_where_they_are(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("K")
    expect(page.locator(".tray .place")).to_have_count(1)
    held: list[Route] = []
    page.route("**/draw", lambda route: held.append(route))
    with page.expect_request("**/draw"):
        page.get_by_label("Tests").fill("K\nCBC")
    page.locator(".tray summary").first.focus()
    held[0].continue_()
    expect(page.locator(".tray .place")).to_have_count(2)
    expect(page.locator(".tray summary").first).to_be_focused()


def test_the_first_tab_leads_past_the_menu_to_the_page(opener: Opener) -> None:
    page = opener("collector").open("/explain").page
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_a_scanner_that_types_each_code_and_return_fills_the_order(opener: Opener) -> None:
    page = opener("collector").page
    for code in ("2823-3", "CBC", "2823-3", "PT"):
        page.keyboard.type(code)
        page.keyboard.press("Enter")
    expect(page.locator(".tray .place")).to_have_count(3)
    expect(page.get_by_text("Written twice, taken once: 2823-3.")).to_be_visible()
    expect(page.get_by_label("Tests")).to_be_focused()


def test_what_was_typed_last_is_what_is_shown_however_fast_one_types(opener: Opener) -> None:
    page = opener("collector").page
    box = page.get_by_label("Tests")
    for text in ("CBC", "PT", "blood culture", "K", "PT\nCBC", "lithium"):
        box.fill(text)
        page.wait_for_timeout(60)
    box.fill("K")
    expect(page.locator("#said")).to_contain_text("1 tube,")
    page.wait_for_load_state("networkidle")
    expect(page.locator(".tray .contents")).to_have_text(["potassium"])


def test_a_scan_while_no_field_has_the_keys_goes_into_the_tests(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_text("winged set").click()
    expect(page.get_by_label("Tests")).not_to_be_focused()
    # Sent at once, as a scanner does; one press after the other may be as slow as a hand on a busy machine.
    page.evaluate("""[..."2823-3", "Enter"].forEach((key) => document.activeElement.dispatchEvent(
        new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true })))""")
    expect(page.get_by_label("Tests")).to_have_value("2823-3\n")
    expect(page.get_by_label("Tests")).to_be_focused()
    expect(page.locator(".tray .contents")).to_have_text(["potassium"])


def test_every_tube_is_seen_at_a_glance_and_leads_to_its_own_row(opener: Opener) -> None:
    page = opener("collector", size=PHONE).page
    page.get_by_label("Tests").fill("PT\nK\nCBC")
    page.get_by_text("winged set").click()
    glance = page.get_by_role("list", name="At a glance").get_by_role("link")
    expect(glance).to_have_text(
        [
            re.compile(r"1\s*C9\s*0\.5 mL throw away"), re.compile(r"2\s*C9\s*1\.8 mL invert 5x"),
            re.compile(r"3\s*LG\s*1\.1 mL invert 8x"), re.compile(r"4\s*E2\s*2 mL invert 8x"),
        ]
    )  # fmt: skip
    glance.last.click()
    expect(page.locator(".tray summary").last).to_be_in_viewport()
    expect(page.get_by_role("link", name="3 tubes, 1 discard tube")).not_to_be_visible()


def test_on_a_phone_the_answer_is_one_tap_away(opener: Opener) -> None:
    page = opener("collector", size=PHONE).page
    page.get_by_label("Tests").fill("K\nCBC")
    peek = page.get_by_role("link", name="2 tubes")
    expect(peek).to_be_in_viewport()
    peek.click()
    expect(page.get_by_role("region", name="The draw")).to_be_in_viewport()


@pytest.mark.parametrize("size", [*SIZES, (320, 640)], ids=str)
def test_no_page_is_wider_than_the_screen(opener: Opener, size: tuple[int, int]) -> None:
    watched = opener("administrator", size=size)
    watched.page.get_by_label("Tests").fill(ORDER)
    expect(watched.page.locator(".tray")).to_be_visible()
    for path in ("", "/explain", "/accounts", "/trail", "/password", "/explain/why?about=edta"):
        if path:
            watched.open(path)
        wide = watched.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, path


def test_a_projector_gets_larger_letters_and_light_or_dark_as_it_is_asked(opener: Opener) -> None:
    page = opener("teacher").page
    before = page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")
    page.locator("[name=size]").select_option("projector")
    page.locator("[name=theme]").select_option("dark")
    page.get_by_role("button", name="Set").click()
    page.wait_for_url("**/draw")
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 1.3 * before
    assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "dark"


def test_without_scripts_the_same_form_gives_the_same_draw(opener: Opener) -> None:
    page = opener("collector", has_scripts=False).page
    page.get_by_label("Tests").fill(ORDER)
    page.get_by_role("button", name="Plan the draw").click()
    expect(page.locator(".tray .place")).to_have_count(4)
    page.get_by_role("button", name="lactate", exact=True).click()
    expect(page.locator(".tray .place")).to_have_count(5)
    expect(page.get_by_label("Tests")).to_have_value(ORDER.replace("lactat\n", "lactate\n"))


def test_a_dropped_connection_leaves_the_last_draw_and_what_was_typed(opener: Opener) -> None:
    watched = opener("collector")
    page = watched.page
    page.get_by_label("Tests").fill("K")
    expect(page.locator(".tray .place")).to_have_count(1)
    expect(page.get_by_text("Not up to date")).not_to_be_visible()
    page.route("**/draw", cut_off)
    page.get_by_label("Tests").fill("K\nCBC")
    expect(page.get_by_text("Not up to date")).to_be_visible()
    page.unroute("**/draw", cut_off)
    page.get_by_label("Tests").fill("K\nCBC\nPT")
    expect(page.locator(".tray .place")).to_have_count(3)
    expect(page.get_by_text("Not up to date")).not_to_be_visible()
    watched.faults = [
        fault for fault in watched.faults if "ERR_CONNECTION_FAILED" not in fault and "Failed to fetch" not in fault
    ]


def test_an_answer_to_what_was_typed_before_does_not_pass_for_one_to_what_is_typed_now(opener: Opener) -> None:
    watched = opener("collector")
    page = watched.page
    page.get_by_label("Tests").fill("K")
    expect(page.locator(".tray .place")).to_have_count(1)
    # More is typed at the moment when the answer arrives, and what is sent then never gets there.
    page.evaluate(
        """() => document.addEventListener("htmx:before:swap", () => {
          const box = document.getElementById("tests");
          box.value += "\\nPT";
          box.dispatchEvent(new Event("input", { bubbles: true }));
          window.fetch = () => new Promise(() => {});
        }, { once: true })"""
    )
    page.get_by_label("Tests").fill("K\nCBC")
    expect(page.get_by_label("Tests")).to_have_value("K\nCBC\nPT")
    expect(page.locator(".tray .place")).to_have_count(2)
    expect(page.get_by_text("Not up to date")).to_be_visible()


def test_the_plots_follow_their_knobs(opener: Opener) -> None:
    page = opener("student").open("/explain").page
    before = page.locator("#citrate .result").inner_text()
    page.locator("[name=hematocrit_percent]").fill("65")
    expect(page.locator("#citrate .result")).not_to_have_text(before)
    expect(page.locator("#citrate .result")).to_contain_text("Take out 125 uL")
    page.locator("[name=from]").select_option("heparin")
    expect(page.locator("#carry figure, #carry .unknown").first).to_be_visible()
    page.locator("[name=altitude_m]").fill("0")
    expect(page.locator("#fill .result")).to_contain_text("101.3 kPa")
    page.locator("[name=order_ul]").fill("100")
    expect(page.locator("#order .result")).to_contain_text("100 uL carried")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_no_page_hinders_anyone_by_the_rules_of_axe_core(opener: Opener, theme: str) -> None:
    watched = opener(theme=theme)
    found = {"/sign-in": watched.open("/sign-in").violations()}
    watched.sign_in("administrator")
    found["empty"] = watched.violations()
    watched.page.get_by_label("Tests").fill(ORDER + "\nblood culture")
    watched.page.get_by_label("Weight, kg").fill("70")
    watched.page.get_by_label("Age", exact=True).fill("61")
    expect(watched.page.locator(".tray").first).to_be_visible()
    watched.page.locator(".tray summary").first.click()
    watched.page.get_by_text("Why so many").click()
    watched.page.get_by_text("Flags, urgency, objective").click()
    found["draw"] = watched.violations()
    for path in ("/explain", "/explain/why?about=citrate", "/accounts", "/trail", "/password"):
        found[path] = watched.open(path).violations()
    assert {page: said for page, said in found.items() if said} == {}


def test_the_first_page_is_small(opener: Opener) -> None:
    watched = opener("collector")
    watched.page.wait_for_load_state("networkidle")
    whole = sum(size for url, size in watched.sizes.items() if not url.endswith("/sign-in"))
    assert 50_000 < whole < MOST_FIRST_BYTES

"""The Draw page in a real browser: times that are asked for as one types, and a test that is kept instead."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.web.chrome import PHONE, Opener


def test_the_times_of_a_level_are_asked_for_as_it_is_typed_and_the_keys_stay_in_them(opener: Opener) -> None:
    page = opener("collector").page
    times = page.locator("#times")
    page.get_by_label("Tests").fill("CBC")
    expect(page.locator(".tray .place")).to_have_count(1)
    expect(times).not_to_have_attribute("open", "")
    page.get_by_label("Tests").fill("CBC\nvancomycin-trough")
    field = page.get_by_label("the next dose of vancomycin", exact=True)
    expect(field).to_be_visible()
    expect(page.locator(".to-ask")).to_contain_text("time of the next dose of vancomycin")
    field.click()
    page.keyboard.type("1400", delay=90)
    expect(page.get_by_text("2026-11-25, 13:30 to 14:00").first).to_be_visible()
    expect(field).to_be_focused()
    expect(field).to_have_value("1400")
    expect(page.locator(".to-ask")).to_have_count(0)


def test_what_is_asked_leads_to_its_field(opener: Opener) -> None:
    page = opener("collector", size=PHONE).page
    page.get_by_label("Tests").fill("vancomycin-trough\nvancomycin-peak")
    page.get_by_role("link", name="time at which the infusion of vancomycin ends").click()
    expect(page.get_by_label("the end of the infusion of vancomycin", exact=True)).to_be_focused()


def test_a_row_that_is_begun_makes_room_for_the_next_and_both_reach_the_plan(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("digoxin\nlithium")
    expect(page.locator("#event-2")).to_be_visible()
    page.locator(".others summary").click()
    whats = page.get_by_label("What happened or will")
    for place, (of, at) in enumerate((("digoxin", "0200"), ("lithium", "2200"))):
        expect(whats).to_have_count(place + 1)
        whats.nth(place).select_option("dose")
        page.get_by_label("Of which drug, drink or procedure").nth(place).fill(of)
        page.get_by_label("When it was or will be").nth(place).fill(at)
    page.get_by_label("Its day", exact=True).nth(1).select_option("the day before")
    expect(whats).to_have_count(3)
    expect(page.locator(".due").first).to_contain_text("2026-11-25, 08:00 to 12:00")
    expect(page.locator(".to-ask")).to_have_count(0)


def test_a_test_is_kept_instead_by_a_button_stays_kept_and_is_let_go(opener: Opener) -> None:
    page = opener("collector").page
    page.get_by_label("Tests").fill("K\nCBC\nPT\nCRP\ntype and screen")
    page.get_by_label("Age", exact=True).fill("6")
    page.get_by_label("Unit of the age").select_option("mo")
    page.get_by_label("Weight, kg").fill("6")
    page.get_by_label("Drawn before, mL").fill("8")
    offer = page.locator(".instead p").first
    expect(offer).to_contain_text("leaves out")
    costs = re.search(r"([\d.]+) mL of blood", offer.inner_text())
    assert costs is not None
    name = offer.get_by_role("button").inner_text().removeprefix("Keep ").removesuffix(" instead")
    offer.get_by_role("button").click()
    kept = page.get_by_role("region", name="Kept")
    expect(kept).to_contain_text(f"Kept by you: {name}")
    expect(page.locator(".sum h2")).to_contain_text(f"{costs[1]} mL of blood")
    # Enter in a field asks again and presses none of these buttons.
    page.get_by_label("Weight, kg").press("Enter")
    page.get_by_label("Height, cm").fill("62")
    expect(page.locator(".sum .hint").first).to_contain_text("6 mo, 6 kg")
    expect(kept).to_contain_text(name)
    kept.get_by_role("button", name="Back to the order of rank").click()
    expect(kept).to_have_count(0)


def test_without_scripts_a_test_is_kept_and_a_time_is_said_all_the_same(opener: Opener) -> None:
    page = opener("collector", has_scripts=False).page
    page.get_by_label("Tests").fill("K\nCBC\nPT\nCRP\ntype and screen\nvancomycin-trough")
    page.get_by_label("Age", exact=True).fill("6")
    page.get_by_label("Unit of the age").select_option("mo")
    page.get_by_label("Weight, kg").fill("6")
    page.get_by_label("Drawn before, mL").fill("8")
    page.get_by_role("button", name="Plan the draw").click()
    page.get_by_label("the next dose of vancomycin", exact=True).fill("14:00")
    page.locator(".instead button").first.click()
    expect(page.get_by_role("region", name="Kept")).to_be_visible()
    expect(page.get_by_label("the next dose of vancomycin", exact=True)).to_have_value("14:00")
    page.get_by_label("Weight, kg").press("Enter")
    expect(page.get_by_role("region", name="Kept")).to_be_visible()


def test_axe_finds_nothing_in_times_steps_and_what_is_kept(opener: Opener) -> None:
    for theme in ("light", "dark"):
        watched = opener("collector", theme=theme)
        page = watched.page
        page.get_by_label("Tests").fill("vancomycin-trough\nvancomycin-peak\ngroup check\ngroup and screen")
        page.locator(".firsts").wait_for()
        page.locator(".others summary").click()
        assert watched.violations() == []
        page.get_by_label("Tests").fill("K\nCBC\nPT\nCRP\ntype and screen")
        page.get_by_label("Age", exact=True).fill("6")
        page.get_by_label("Unit of the age").select_option("mo")
        page.get_by_label("Weight, kg").fill("6")
        page.get_by_label("Drawn before, mL").fill("8")
        page.locator(".instead button").first.click()
        page.get_by_role("region", name="Kept").wait_for()
        assert watched.violations() == []

"""The Site page in a real browser: by mouse, by keyboard alone, on a phone, by scanner, and by two people at once."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.web.chrome import PHONE, SIZES, Opener

MOST_FIRST_BYTES = 150_000
LEAST_TARGET_PX = 44
PATHS = (
    "/site", "/site/stock", "/site/policy", "/site/versions", "/site/orders", "/site/test?key=potassium",
    "/site/kind?key=citrate", "/site/test?new=1", "/site/tables",
    "/site/panel?key=lipid-panel", "/site/panel?new=1",
)  # fmt: skip
# What a finger or a glove aims at inside the page, where it is lower than so many pixels.
SMALL = """least => [...document.querySelectorAll("main :is(button, .button, a.row, .tabs a, .kind-card, input, "
    + "select, textarea)")].filter(one => !["checkbox", "hidden", "file"].includes(one.type) && one.checkVisibility()
    && one.getBoundingClientRect().height < least).map(one => one.outerHTML.slice(0, 90))"""


def save(page: Page, note: str) -> None:
    page.get_by_label("Why is this saved").fill(note)
    page.get_by_role("button", name="Save as a version").click()
    expect(page.get_by_role("heading", name=re.compile("Version [0-9]+"))).to_be_visible()


def test_a_supervisor_finds_a_test_changes_it_sees_what_it_would_do_saves_and_undoes(opener: Opener) -> None:
    page = opener("supervisor").open("/site").page
    page.get_by_label("Find").fill("glucos")
    row = page.get_by_role("link", name=re.compile("^glucose "))
    expect(page.get_by_role("link", name=re.compile("^sodium"))).to_have_count(0)
    row.first.click()
    volume = page.get_by_label("Volume, µL").first
    before = volume.input_value()
    volume.fill("2.5")
    finding = page.locator("#lint-accepts-0-volume_ul")
    expect(finding).to_contain_text("stops found 2.5; expected whole microlitres")
    expect(volume).to_have_attribute("aria-invalid", "true")
    volume.fill(before)
    expect(finding).to_be_empty()
    expect(volume).not_to_have_attribute("aria-invalid", "true")
    page.get_by_label("In a tube of its own").check()
    page.get_by_role("button", name="What would it do?").click()
    expect(page.get_by_role("region", name="What it would do")).to_contain_text("No orders are kept")
    expect(page.get_by_label("In a tube of its own")).to_be_checked()
    save(page, "glucose alone")
    expect(page.get_by_role("table")).to_contain_text("own tube")
    page.get_by_label("Why").fill("not needed")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("brings back version")).to_be_visible()


def test_a_row_grows_below_the_last_one_and_a_kind_is_put_in_by_a_press(opener: Opener) -> None:
    page = opener("supervisor").open("/site/test?key=potassium").page
    expect(page.get_by_label("Tube kinds, preferred first")).to_have_count(3)
    page.get_by_label("Tube kinds, preferred first").nth(2).focus()
    page.get_by_text("Tube kinds of this site").click()
    page.get_by_role("button", name=re.compile("thrombin$")).click()
    expect(page.get_by_label("Tube kinds, preferred first").nth(2)).to_have_value("thrombin")
    expect(page.get_by_label("Tube kinds, preferred first")).to_have_count(4)
    expect(page.locator("#lint-accepts-2-volume_ul")).to_contain_text("found nothing")
    page.get_by_label("Tube kinds, preferred first").nth(3).fill("edta")
    expect(page.locator("#lint-accepts-3-volume_ul")).to_contain_text("found nothing")
    expect(page.get_by_label("Tube kinds, preferred first")).to_have_count(5)


def test_the_stock_is_counted_by_keyboard_alone(opener: Opener) -> None:
    page = opener("supervisor").open("/site/stock").page
    card = page.get_by_role("link", name=re.compile("citrate 4:1"))
    card.focus()
    page.keyboard.press("Enter")
    count = page.get_by_label("How many").first
    expect(count).to_be_visible()
    for _ in range(40):
        page.keyboard.press("Tab")
        if count.evaluate("one => one === document.activeElement"):
            break
    expect(count).to_be_focused()
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type("33")
    # Enter asks what it would do: it never saves.
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="What it would do")).to_be_visible()
    note = page.get_by_label("Why is this saved")
    note.focus()
    page.keyboard.type("counted on Monday")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Save as a version")).to_be_focused()
    page.keyboard.press("Space")
    expect(page.get_by_role("heading", name=re.compile("Version [0-9]+"))).to_be_visible()
    expect(page.get_by_role("table")).to_contain_text("in stock 33")


def test_a_test_is_put_into_a_panel_by_its_abbreviation_and_saved(opener: Opener) -> None:
    page = opener("supervisor").open("/site").page
    page.get_by_label("Find").fill("lipid profile")
    page.get_by_role("link", name=re.compile("^lipid panel LIPID")).click()
    members = page.get_by_label("Tests that it stands for")
    expect(members).to_have_value("total-cholesterol\ntriglycerides\nhdl-cholesterol")
    members.fill("total-cholesterol\ntriglicerides")
    expect(page.locator("#lint-tests")).to_contain_text("write triglycerides")
    expect(members).to_have_attribute("aria-invalid", "true")
    members.fill("total-cholesterol\ntriglycerides")
    expect(page.locator("#lint-tests")).to_be_empty()
    page.get_by_label("Find a test to add").press_sequentially("K")
    page.keyboard.press("Enter")
    expect(members).to_have_value("total-cholesterol\ntriglycerides\npotassium")
    save(page, "a panel of three")
    expect(page.get_by_role("table")).to_contain_text("total-cholesterol, triglycerides, potassium")


def test_a_scanned_code_finds_its_test(opener: Opener) -> None:
    page = opener("processor").open("/site").page
    expect(page.get_by_label("Find")).to_be_focused()
    page.keyboard.type("2823-3")
    page.keyboard.press("Enter")
    expect(page.locator(".rows a.row")).to_have_count(1)
    expect(page.locator(".rows a.row")).to_contain_text("potassium")


def test_of_two_supervisors_with_one_form_open_the_second_is_shown_what_changed(opener: Opener) -> None:
    one = opener("supervisor").open("/site/test?key=albumin").page
    second = opener("administrator").open("/site/test?key=albumin")
    other = second.page
    one.get_by_label("Bench", exact=True).fill("night lab")
    save(one, "albumin at night")
    other.get_by_label("Bench", exact=True).fill("day lab")
    other.get_by_label("Why is this saved").fill("albumin by day")
    other.get_by_role("button", name="Save as a version").click()
    told = other.get_by_role("alert")
    expect(told).to_contain_text("Someone saved while this form was open")
    expect(told).to_contain_text("Both of you changed bench. Theirs: night lab")
    expect(told.get_by_role("table")).to_contain_text("night lab")
    expect(other.get_by_label("Bench", exact=True)).to_have_value("day lab")
    other.get_by_role("button", name="Save as a version").click()
    expect(other.get_by_role("heading", name=re.compile("Version [0-9]+"))).to_be_visible()
    expect(other.get_by_role("table")).to_contain_text("day lab")
    # The browser itself notes an answer that is a refusal; it is the one that was looked for.
    assert len(second.faults) == 1
    assert "409" in second.faults.pop()


def test_without_scripts_the_form_still_tells_and_saves(opener: Opener) -> None:
    page = opener("supervisor", has_scripts=False).open("/site/test?key=lipase").page
    page.get_by_label("Volume, µL").first.fill("much")
    page.get_by_role("button", name="What would it do?").click()
    expect(page.locator("#lint-accepts-0-volume_ul")).to_contain_text('found "much"')
    page.get_by_label("Volume, µL").first.fill("30")
    save(page, "a larger volume")
    expect(page.get_by_role("table")).to_contain_text("volume 30 µL")


def test_one_who_may_not_edit_reads_every_value(opener: Opener) -> None:
    page = opener("student").open("/site/kind?key=citrate").page
    expect(page.get_by_text("15 left, until 2024-03-31")).to_contain_text("expired")
    expect(page.get_by_role("main").get_by_role("button")).to_have_count(0)
    page.get_by_role("link", name="Policy").click()
    expect(page.get_by_text("clsi-gp41")).to_be_visible()


@pytest.mark.parametrize("path", PATHS)
def test_nothing_runs_off_a_phone_and_every_target_is_large_enough_for_a_glove(opener: Opener, path: str) -> None:
    page = opener("supervisor", size=PHONE).open(path).page
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    small = page.evaluate(SMALL, LEAST_TARGET_PX)
    assert small == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PATHS)
def test_axe_finds_no_fault_in_either_theme(opener: Opener, path: str, theme: str) -> None:
    watched = opener("supervisor", theme=theme).open(path)
    if "test?key" in path:
        watched.page.get_by_label("Volume, µL").first.fill("0")
        expect(watched.page.locator("#lint-accepts-0-volume_ul")).to_contain_text("stops")
        watched.page.get_by_text("Handling, time, rank, cautions").click()
    assert watched.violations() == []


@pytest.mark.parametrize("size", SIZES)
def test_the_first_page_is_light_at_every_size(opener: Opener, size: tuple[int, int]) -> None:
    watched = opener("collector", size=size)
    watched.sizes.clear()
    watched.open("/site")
    expect(watched.page.get_by_label("Find")).to_be_visible()
    assert sum(watched.sizes.values()) < MOST_FIRST_BYTES

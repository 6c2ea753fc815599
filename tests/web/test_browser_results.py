"""The Results page in a real browser: by mouse, keyboard alone, scanner, on a phone, in both themes. All invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from cubital.web.results_page import EXAMPLE
from tests.web.chrome import PHONE, SIZES, Opener, cut_off

PANEL = EXAMPLE["results"]
USUAL = "K 4.2 mmol/L\nNa 140 mmol/L\nCa 2.3 mmol/L"


def verdict(page: Page) -> str:
    """The words of the verdict, once there is one."""
    found = page.get_by_role("region", name="Verdict")
    expect(found).to_be_visible()
    return found.inner_text()


def test_a_processor_types_a_panel_and_reads_the_verdict_first(opener: Opener) -> None:
    page = opener("processor").page
    page.get_by_role("link", name="Results").click()
    page.get_by_label("Results: test, value, unit").fill(PANEL)
    said = verdict(page)
    assert "Suspect: K2 EDTA" in said
    assert "Draw again before acting" in said
    bars = page.get_by_role("region", name="Likelihoods").get_by_role("listitem")
    expect(bars.first).to_contain_text("K2 EDTA")
    row = page.get_by_role("row").filter(has_text="potassium")
    expect(row).to_contain_text("not trusted")
    expect(row).to_contain_text("6.2 mmol/L")
    expect(page.get_by_role("row").filter(has_text="sodium")).to_contain_text("about the same")
    page.get_by_text("What this rests on").click()
    expect(page.get_by_text("taken as met in").first).to_be_visible()
    assert page.url.endswith("/results")


def test_the_answer_follows_what_is_typed(opener: Opener) -> None:
    page = opener("teacher").open("/results").page
    box = page.get_by_label("Results: test, value, unit")
    box.fill(USUAL)
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Nothing found")
    box.fill(PANEL)
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Suspect")
    page.get_by_label("Hemolysis index").fill("300")
    expect(page.get_by_role("region", name="Refusal")).to_contain_text("0 to 200")
    expect(page.get_by_role("region", name="Verdict")).to_have_count(0)
    page.get_by_label("Hemolysis index").fill("0.1")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Suspect")
    expect(box).to_have_value(PANEL)


def test_a_foreign_unit_is_refused_beside_its_line_until_it_is_corrected(opener: Opener) -> None:
    page = opener("supervisor").open("/results").page
    box = page.get_by_label("Results: test, value, unit")
    box.fill("K 4.2 mmol/L\nNa 140 mEq/L\nCa 2.3 mmol/L")
    wrong = page.get_by_role("region", name="Lines to correct").get_by_role("listitem").nth(1)
    expect(wrong).to_contain_text("Correct it: found the unit 'mEq/L'")
    expect(page.get_by_role("region", name="Verdict")).to_have_count(0)
    box.fill("K 4.2 mmol/L\nNa 140 meq/L\nCa 2.3 mmol/L")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Nothing found")


def test_the_invented_example_is_one_press_away_and_called_so(opener: Opener) -> None:
    page = opener("student").open("/results").page
    page.get_by_role("button", name="Fill in an invented example").click()
    expect(page.get_by_text("These results are no patient's")).to_be_visible()
    expect(page.get_by_label("Results: test, value, unit")).to_have_value(PANEL)
    page.get_by_role("link", name="Next sample").click()
    expect(page.get_by_label("Results: test, value, unit")).to_have_value("")


def test_everything_is_done_by_keyboard_alone(opener: Opener) -> None:
    page = opener("processor").open("/results").page
    keys = page.keyboard
    expect(page.get_by_label("Results: test, value, unit")).to_be_focused()
    for line in PANEL.splitlines():
        keys.type(line)
        keys.press("Enter")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Suspect: K2 EDTA")
    keys.press("Tab")
    expect(page.get_by_label("Tube")).to_be_focused()
    keys.press("Tab")
    keys.type("0.1")
    keys.press("Enter")
    for _ in range(30):
        keys.press("Tab")
        if page.evaluate("document.activeElement.matches('.reasons summary')"):
            break
    else:
        pytest.fail("what the causes rest on was not reached with Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    keys.press("Enter")
    expect(page.get_by_text("taken as met in").first).to_be_visible()


def test_a_scanner_that_ends_each_code_with_return_adds_a_line_that_asks_for_its_value(opener: Opener) -> None:
    page = opener("processor").open("/results").page
    page.keyboard.type("2823-3")
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="Lines to correct")).to_contain_text("no test with a number after it")
    assert page.url.endswith("/results")


def test_a_file_of_two_samples_is_answered_with_both(opener: Opener, tmp_path: Path) -> None:
    path = tmp_path / "panel.csv"
    rows = "".join(f"S1,{','.join(line.rsplit(' ', 2))}\n" for line in PANEL.splitlines())
    path.write_text(f"sample,code,value,unit\n{rows}S2,K,4.2,mmol/L\nS2,Na,140,mmol/L\n", encoding="utf-8")
    page = opener("processor").open("/results").page
    page.get_by_text("A file instead").click()
    page.get_by_label("CSV, JSON or FHIR").set_input_files(path)
    page.get_by_role("button", name="Weigh the file").click()
    samples = page.get_by_role("navigation", name="Samples")
    expect(samples).to_contain_text("2 samples")
    expect(page.get_by_role("article", name="S1")).to_contain_text("Suspect: K2 EDTA")
    samples.get_by_role("link", name="S2").click()
    expect(page.get_by_role("article", name="S2")).to_be_in_viewport()


def test_on_a_phone_the_verdict_is_one_tap_away(opener: Opener) -> None:
    page = opener("processor", size=PHONE).open("/results").page
    page.get_by_label("Results: test, value, unit").fill(PANEL)
    peek = page.get_by_role("link", name="Draw again before acting")
    expect(peek).to_be_in_viewport()
    peek.click()
    expect(page.get_by_role("region", name="Verdict")).to_be_in_viewport()


@pytest.mark.parametrize("size", [*SIZES, (320, 640)], ids=str)
def test_the_page_is_not_wider_than_the_screen_and_its_targets_are_large(
    opener: Opener, size: tuple[int, int]
) -> None:
    page = opener("processor", size=size).open("/results").page
    page.get_by_label("Results: test, value, unit").fill(PANEL)
    assert "Suspect" in verdict(page)
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0
    small = page.evaluate(
        "[...document.querySelectorAll('main :is(button, select, input:not([type=hidden]), summary)')]"
        ".filter(one => one.offsetParent && one.getBoundingClientRect().height < 44 && !one.closest('.sources'))"
        ".map(one => one.outerHTML.slice(0, 80))"
    )
    assert small == []


def test_without_scripts_the_same_form_gives_the_same_verdict(opener: Opener) -> None:
    page = opener("processor", has_scripts=False).open("/results").page
    page.get_by_label("Results: test, value, unit").fill(PANEL)
    page.get_by_role("button", name="Weigh the results").click()
    assert "Suspect: K2 EDTA" in verdict(page)
    expect(page.get_by_label("Results: test, value, unit")).to_have_value(PANEL)


def test_a_dropped_connection_marks_the_verdict_as_not_up_to_date(opener: Opener) -> None:
    watched = opener("processor").open("/results")
    page = watched.page
    box = page.get_by_label("Results: test, value, unit")
    box.fill(USUAL)
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Nothing found")
    expect(page.get_by_text("Not up to date")).not_to_be_visible()
    page.route("**/results", cut_off)
    box.fill(PANEL)
    expect(page.get_by_text("Not up to date")).to_be_visible()
    page.unroute("**/results", cut_off)
    box.fill(f"{PANEL}\n")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Suspect")
    expect(page.get_by_text("Not up to date")).not_to_be_visible()
    watched.faults = [
        fault for fault in watched.faults if "ERR_CONNECTION_FAILED" not in fault and "Failed to fetch" not in fault
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_page_hinders_nobody_by_the_rules_of_axe_core(opener: Opener, theme: str) -> None:
    watched = opener("administrator", theme=theme).open("/results")
    page = watched.page
    found = {"empty": watched.violations()}
    box = page.get_by_label("Results: test, value, unit")
    box.fill(f"{PANEL}\ntroponin 3 ng/L")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Suspect")
    page.get_by_text("What this rests on").click()
    page.get_by_text("A file instead").click()
    found["suspect"] = watched.violations()
    box.fill(USUAL)
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Nothing found")
    found["nothing"] = watched.violations()
    box.fill("K 6.8 mmol/L\nNa 140")
    expect(page.get_by_role("region", name="Lines to correct")).to_be_visible()
    found["refused"] = watched.violations()
    assert {state: said for state, said in found.items() if said} == {}

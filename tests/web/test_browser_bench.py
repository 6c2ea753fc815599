"""The Bench page in a real browser: by mouse, by keyboard alone, by scanner, on a phone, and two who race."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from cubital.app.deeds import Doer, record_discard
from cubital.app.demo_morning import invent_morning
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_accounts, open_record
from cubital.model import Site
from cubital.model.specimen import Received
from cubital.web.application import make_application
from cubital.web.desk import Desk, Settings
from tests.web.chrome import BENCH, PHONE, SIZES, Opener, cut_off, serving
from tests.web.conftest import TODAY

MOST_BYTES = 125_000


@pytest.fixture(scope="module")
def bench_record(peopled: bytes, demo: Site, tmp_path_factory: pytest.TempPathFactory) -> Iterator[SpecimenRecord]:
    """A record with the invented morning, one for all tests of this file; each takes tubes of its own."""
    path = tmp_path_factory.mktemp("bench") / "record.db"
    path.write_bytes(peopled)
    record = open_record(str(path))
    invent_morning(record, demo, now=datetime.datetime.now(datetime.UTC))
    yield record
    record.close()


@pytest.fixture(scope="module")
def address(bench_record: SpecimenRecord, demo: Site, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of the demo site on that record."""
    store = bench_record._store
    accounts = open_accounts(store.where)
    desk = Desk(demo, accounts, record=bench_record, today=lambda: TODAY, settings=Settings(is_demo=True))
    with serving(make_application(desk)) as found:
        yield found
    accounts.close()


def scan(page: Page, id: str) -> None:
    """What a scanner types, as fast as one, wherever the cursor stands."""
    page.keyboard.type(id)
    page.keyboard.press("Enter")


def receipts(record: SpecimenRecord, id: str) -> list[str]:
    """Who received this tube."""
    return [entry.content.by for entry in record.history(id) if isinstance(entry.content, Received)]


def test_a_processor_scans_a_tube_looks_at_it_and_reads_the_verdicts(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    page = opener("processor").open("/bench").page
    expect(page.locator("#row-INV01-1")).to_contain_text("deliver")
    expect(page.get_by_label("Scan a tube")).to_be_focused()
    scan(page, "INV01-1")
    expect(page.get_by_role("heading", name="INV01-1")).to_be_visible()
    page.get_by_text("two agree", exact=True).click()
    page.get_by_text("looked at: good").click()
    page.get_by_label("Hemolysis").fill("0.55")
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("If recorded now: 2 accepted, 1 with a comment")
    expect(verdict).to_contain_text("For the report: The specimen is hemolyzed")
    assert receipts(bench_record, "INV01-1") == []
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.get_by_label("What was decided").get_by_role("listitem").first).to_be_visible()
    assert receipts(bench_record, "INV01-1") == ["processor"]
    page.get_by_role("link", name="Due now", exact=True).click()
    expect(page.locator("#row-INV01-1")).to_contain_text("spin")


def test_a_good_tube_is_received_on_a_phone_by_keys_alone_and_a_double_enter_receives_once(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    page = opener("processor", size=PHONE).open("/bench").page
    scan(page, "INV01-2")
    expect(page.get_by_label("two agree")).to_be_focused()
    keys = page.keyboard
    keys.press("Space")
    keys.press("Tab")
    keys.press("Tab")
    keys.press("Space")
    expect(page.locator("#verdict")).to_contain_text("1 accepted")
    keys.press("Enter")
    keys.press("Enter")
    expect(page.get_by_label("What was decided")).to_contain_text("accepted complete blood count")
    assert receipts(bench_record, "INV01-2") == ["processor"]
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    expect(page.get_by_label("Scan a tube")).to_be_focused()


def test_a_scan_opens_the_next_tube_wherever_the_cursor_stands_and_says_what_was_left(opener: Opener) -> None:
    page = opener("processor").open("/bench/tube?specimen=INV02-1").page
    page.get_by_text("two agree", exact=True).click()
    scan(page, "INV02-2")
    expect(page.get_by_role("heading", name="INV02-2")).to_be_visible()
    expect(page.get_by_text("INV02-1 was left open: nothing of it was recorded")).to_be_visible()
    expect(page.get_by_label("Hemolysis")).to_have_count(0)
    page.get_by_role("link", name="One tube: it carries both labels").click()
    expect(page.get_by_role("alert").filter(has_text="Two labels on one tube")).to_contain_text("INV02-1 and INV02-2")
    page.get_by_text("two agree", exact=True).click()
    expect(page.locator("#verdict")).to_contain_text("nobody may accept it")
    scan(page, "INV02-1")
    page.get_by_role("link", name="Two tubes: go on with INV02-1").press("Enter")
    expect(page.get_by_label("two agree")).to_be_focused()
    page.get_by_label("Hemolysis").fill("0.1")
    scan(page, "INV02-2")
    page.get_by_role("link", name="Two tubes: go on with INV02-2").click()
    expect(page.get_by_label("two agree")).to_be_focused()
    scan(page, "INV02-1")
    page.get_by_role("link", name="Two tubes: go on with INV02-1").click()
    page.get_by_label("Hemolysis").press_sequentially("0.12", delay=120)
    expect(page.locator("#verdict")).to_be_attached()
    expect(page.get_by_label("Hemolysis")).to_have_value("0.12")


def test_two_labels_that_differ_refuse_all_and_are_recorded_only_once_they_were_shown(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    page = opener("processor", has_scripts=False).open("/bench/tube?specimen=INV07-1").page
    page.get_by_text("two agree", exact=True).click()
    page.get_by_text("looked at: good").click()
    page.get_by_text("two, and they differ").click()
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#verdict")).to_contain_text("1 refused")
    expect(page.locator("#verdict")).to_contain_text("nobody may accept it")
    assert receipts(bench_record, "INV07-1") == []
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.get_by_label("What was decided")).to_contain_text("refused")
    assert receipts(bench_record, "INV07-1") == ["processor"]


def test_of_two_browsers_with_one_tube_open_the_second_is_told_who_was_first(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    pages = [opener(role).open("/bench/tube?specimen=INV04-2") for role in ("processor", "supervisor")]
    for one in pages:
        one.page.get_by_text("two agree", exact=True).click()
        one.page.get_by_text("looked at: good").click()
        expect(one.page.locator("#verdict")).to_contain_text("1 accepted")
    for one in pages:
        one.page.get_by_role("button", name="Record", exact=True).click()
        expect(one.page.get_by_label("What was decided")).to_be_visible()
    expect(pages[1].page.get_by_role("alert").filter(has_text="was first")).to_contain_text(
        "processor at bench page was first: INV04-2 was received"
    )
    assert receipts(bench_record, "INV04-2") == ["processor"]
    pages[1].faults[:] = [fault for fault in pages[1].faults if "409" not in fault]


def test_the_board_renews_itself_and_leaves_the_keys_and_what_is_open_where_they_are(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    page = opener("processor").open("/bench").page
    row = page.locator("#row-INV15-1")
    row.locator("summary").press("Enter")
    expect(row.locator(".statements")).to_be_visible()
    expect(row.locator("summary")).to_be_focused()
    page.evaluate("scrollTo(0, 400)")
    record_discard(
        bench_record, ["INV14-1"], Doer("other", "other bench", datetime.datetime.now(datetime.UTC)), why="invented"
    )
    expect(page.locator("#row-INV14-1")).to_have_count(0)
    expect(row.locator(".statements")).to_be_visible()
    expect(row.locator("summary")).to_be_focused()
    assert page.evaluate("scrollY") > 0


def test_a_board_without_an_answer_says_that_it_is_behind(opener: Opener) -> None:
    one = opener("processor").open("/bench")
    behind = one.page.get_by_text("Not up to date.")
    expect(behind).to_be_hidden()
    one.page.route("**/bench/due*", cut_off)
    expect(behind).to_be_visible()
    one.page.unroute("**/bench/due*")
    expect(behind).to_be_hidden()
    one.faults.clear()

def test_a_verdict_that_no_newer_answer_follows_says_of_when_it_is(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    # A clot is a fault of blood that must not clot, so which tube is taken matters; and no other test received it.
    waiting = [found for found in bench_record.open_specimens() if found.received_at is None]
    tube = next(found.id for found in waiting if found.kind == "edta")
    one = opener("processor").open(f"/bench/tube?specimen={tube}")
    page = one.page
    page.get_by_text("two agree", exact=True).click()
    page.get_by_text("looked at: good").click()
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("If recorded now")
    expect(verdict.locator(".as-of")).to_have_text(re.compile(r"^As of \d\d:\d\d:\d\d$"))
    page.route("**/bench/tube", cut_off)
    page.get_by_text("a clot", exact=True).click()
    expect(verdict.locator(".as-of")).to_contain_text("not of what is in the form now")
    expect(verdict).to_contain_text("If recorded now")
    page.unroute("**/bench/tube")
    page.get_by_text("it leaked", exact=True).click()
    expect(verdict).to_contain_text("refused")
    expect(verdict.locator(".as-of")).to_have_text(re.compile(r"^As of \d\d:\d\d:\d\d$"))
    page.route("**/bench/tube", lambda route: route.fulfill(status=500, body="<p>no</p>", content_type="text/html"))
    page.get_by_text("it leaked", exact=True).click()
    expect(verdict).to_have_text("no")
    expect(page.locator("#tally")).to_be_empty()
    one.faults.clear()


def test_every_answer_on_the_bench_is_marked_while_the_server_does_not_answer(opener: Opener) -> None:
    one = opener("processor").open("/bench/tube?specimen=INV10-1")
    page = one.page
    decided = page.get_by_label("What was decided").locator(".as-of")
    expect(decided).to_have_text(re.compile(r"^As of"))
    page.context.set_offline(True)
    expect(decided).to_contain_text("not of now: no answer from the server since")
    page.context.set_offline(False)
    expect(decided).to_have_text(re.compile(r"^As of \d\d:\d\d:\d\d$"))
    page.route("**/bench/pulse", cut_off)
    expect(decided).to_contain_text("not of now: no answer from the server since")
    page.unroute("**/bench/pulse")
    one.open("/bench/add")
    page.get_by_label("Any specimen of the patient").fill("INV06-2")
    page.get_by_label("Tests to add").fill("CRP")
    page.get_by_role("button", name="Can they be added?").click()
    answered = page.locator("#answer .as-of")
    expect(answered).to_have_text(re.compile(r"^As of"))
    page.get_by_label("Tests to add").fill("CRP\nlactate")
    expect(answered).to_contain_text("not of what is in the form now")
    page.route("**/bench/pulse", cut_off)
    expect(answered).to_contain_text("no answer from the server")
    page.get_by_role("button", name="Record: add 1 test").click()
    expect(page.get_by_role("alert").filter(has_text="Not sent")).to_contain_text("Nothing was recorded")
    expect(page.get_by_label("Tests to add")).to_have_value("CRP\nlactate")
    page.unroute("**/bench/pulse")
    one.faults.clear()


def test_planned_runs_are_marked_once_what_they_were_planned_for_is_changed(opener: Opener) -> None:
    page = opener("processor").open("/bench/spin").page
    for width in page.get_by_label("Outer diameter").all():
        width.fill("13")
    for full in page.get_by_text("All are filled to their mark").all():
        full.click()
    page.get_by_role("button", name="Plan the runs").click()
    planned = page.get_by_label("The runs", exact=True).locator(".as-of")
    expect(planned).to_have_text(re.compile(r"^As of"))
    page.get_by_label("Run 1").get_by_label("Temperature").fill("20")
    expect(planned).to_have_text(re.compile(r"^As of \d\d:\d\d:\d\d$"))
    page.get_by_label("Outer diameter").first.fill("14")
    expect(planned).to_contain_text("not of what is in the form now")


def test_a_scan_without_an_answer_leaves_no_other_tube_s_verdict_in_sight(opener: Opener) -> None:
    one = opener("processor").open("/bench/tube?specimen=INV04-1")
    page = one.page
    page.get_by_text("two agree", exact=True).click()
    page.get_by_text("looked at: good").click()
    expect(page.locator("#verdict")).to_contain_text("accepted")
    page.route("**/bench/pulse", cut_off)
    scan(page, "INV02-2")
    said = page.get_by_role("alert").filter(has_text="The last scan has no answer")
    expect(said).to_contain_text("nothing was recorded")
    expect(page.locator("#verdict")).to_be_hidden()
    expect(page.get_by_role("heading", name="INV04-1")).to_be_hidden()
    expect(page.get_by_label("Scan a tube")).to_be_focused()
    expect(page.get_by_label("Scan a tube")).to_have_value("")
    page.get_by_role("button", name="Back to what was here before").click()
    expect(page.locator("#verdict .as-of")).to_contain_text("not of now")
    expect(page.get_by_label("two agree")).to_be_checked()
    page.unroute("**/bench/pulse")
    scan(page, "INV02-2")
    expect(page.get_by_role("heading", name="INV02-2")).to_be_visible()
    expect(page.get_by_text("INV04-1 was left open: nothing of it was recorded")).to_be_visible()
    one.faults.clear()


def test_a_deed_is_written_on_a_phone_by_keys_and_a_final_one_is_asked_once_more(
    opener: Opener, bench_record: SpecimenRecord
) -> None:
    one = opener("processor", size=PHONE).open("/bench/tube?specimen=INV13-1")
    page = one.page
    page.get_by_text("Put somewhere").press("Enter")
    page.get_by_role("button", name="at 2-8 C").press("Enter")
    expect(page.get_by_text("Recorded so far")).to_be_visible()
    page.get_by_text("Thrown away", exact=True).press("Enter")
    page.get_by_label("Why", exact=True).fill("invented: kept long enough")
    check(one.violations(), page, PHONE)
    page.keyboard.press("Enter")
    asked = page.get_by_role("alert").filter(has_text="It cannot be taken back")
    expect(asked).to_contain_text("INV13-1 thrown away: invented: kept long enough")
    check(one.violations(), page, PHONE)
    assert type(bench_record.history("INV13-1")[-1].content).__name__ == "Stored"
    asked.get_by_role("button", name="Yes, write it down").press("Enter")
    page.get_by_text("Recorded so far").press("Enter")
    expect(page.locator(".happened")).to_contain_text("thrown away: invented: kept long enough")
    assert bench_record.history("INV13-1")[-1].content.by == "processor"


def test_the_centrifuges_are_loaded_and_a_run_that_is_over_leaves_the_list(opener: Opener) -> None:
    page = opener("processor").open("/bench/spin").page
    for width in page.get_by_label("Outer diameter").all():
        width.fill("13")
    for full in page.get_by_text("All are filled to their mark").all():
        full.click()
    page.get_by_role("button", name="Plan the runs").click()
    run = page.get_by_label("Run 1")
    expect(run.get_by_role("img", name="from above")).to_be_visible()
    expect(page.get_by_text("no plan for these centrifuges has fewer tubes late")).to_be_visible()
    tubes = [tube.get_attribute("value") for tube in run.locator("input[name=tube]").all()]
    run.get_by_label("Temperature").fill("21")
    run.get_by_role("button", name="The run is over").click()
    expect(page.get_by_label("Run 1")).to_have_count(0)
    for tube in tubes:
        expect(page.get_by_role("checkbox", name=tube or "", exact=True)).to_have_count(0)
    kept = page.get_by_label("Outer diameter")
    if kept.count():
        expect(kept.first).to_have_value("13")


def test_what_can_be_added_is_asked_and_booked_by_keys_alone(opener: Opener) -> None:
    page = opener("processor").open("/bench/add").page
    keys = page.keyboard
    expect(page.get_by_label("Any specimen of the patient")).to_be_focused()
    keys.type("INV06-2")
    keys.press("Tab")
    keys.type("CRP")
    keys.press("Tab")
    keys.press("Enter")
    expect(page.locator(".verdicts")).to_contain_text("C-reactive protein")
    book = page.get_by_role("button", name="Record: add 1 test")
    book.press("Enter")
    expect(page.get_by_text("added to INV06-2")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_and_no_page_is_wider_than_its_screen(opener: Opener, theme: str) -> None:
    for size in SIZES if theme == "light" else (SIZES[-1],):
        one = opener("supervisor", size=size, theme=theme).open("/bench")
        page = one.page
        check(one.violations(), page, size)
        one.open("/bench/tube?specimen=INV09-2")
        page.get_by_text("two agree", exact=True).click()
        page.get_by_text("a clot", exact=True).click()
        expect(page.locator("#verdict")).to_contain_text("1 refused")
        check(one.violations(), page, size)
        one.open("/bench/spin")
        check(one.violations(), page, size)
        one.open("/bench/add")
        page.get_by_label("Any specimen of the patient").fill("INV12-1")
        page.get_by_role("button", name="What refused tests need now").click()
        expect(page.get_by_text("Draw again: complete blood count")).to_be_visible()
        check(one.violations(), page, size)


def test_a_teacher_moves_the_clock_of_the_invented_morning_and_opens_why(opener: Opener) -> None:
    one = opener("teacher", size=BENCH).open("/morning?min=150")
    page = one.page
    clock = page.locator("#clock-now")
    before = clock.inner_text()
    page.get_by_role("link", name="+15 min").click()
    expect(clock).not_to_have_text(before)
    assert page.url.endswith("?min=150")
    after = clock.inner_text()
    slider = page.get_by_label("Minute of the morning")
    expect(slider).to_have_value("165")
    slider.focus()
    page.keyboard.press("ArrowRight")
    expect(clock).not_to_have_text(after)
    expect(slider).to_have_value("170")
    why = page.locator(".because").first
    why.locator("summary").press("Enter")
    expect(why.locator(".statements")).to_be_visible()
    expect(page.get_by_text("INVENTED.", exact=True)).to_be_visible()
    for size, theme in ((BENCH, "light"), (PHONE, "dark")):
        other = opener("student", size=size, theme=theme).open("/morning")
        check(other.violations(), other.page, size)


def check(violations: list[str], page: Page, size: tuple[int, int]) -> None:
    """No violation, and nothing beyond the edge."""
    assert violations == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0], page.url


def test_the_first_look_at_the_board_is_small(opener: Opener) -> None:
    one = opener("processor")
    one.sizes.clear()
    one.open("/bench")
    assert 0 < sum(one.sizes.values()) < MOST_BYTES

"""The invented morning for a class: who sees it, that all of it says so, and that it shows nothing of the record."""

from __future__ import annotations

import datetime
import re

import pytest
from starlette.applications import Starlette

from cubital.app.demo_morning import invent_morning
from cubital.app.record import SpecimenRecord
from cubital.app.taught_morning import END_MIN, LAST_DEED_MIN, TaughtMorning
from cubital.model import Site
from tests.contract.events import collected, in_order
from tests.web.conftest import Browser
from tests.web.test_bench_page import PARTIAL, text_of


@pytest.fixture
def taught(application: Starlette) -> Browser:
    """A teacher's browser at a site that is no demo."""
    browser = Browser(application)
    browser.sign_in("teacher")
    return browser


def test_every_view_says_that_it_is_invented(taught: Browser) -> None:
    for path, more in (("/morning", {}), ("/morning?min=120", {}), ("/morning?min=60", PARTIAL)):
        taught.get(path, **more)
        assert taught.status == 200
        assert "INVENTED. No patient, no specimen and no time here is real" in text_of(taught)
        assert all(id.startswith("INV") for id in re.findall(r'<li id="row-([^"]+)"', taught.text))
    assert "<html" not in taught.text


def test_nothing_of_the_record_is_in_it_and_nothing_of_it_in_the_record(
    taught: Browser, record: SpecimenRecord, demo: Site
) -> None:
    at = datetime.datetime.now(datetime.UTC) - datetime.timedelta(minutes=5)
    record.append(*in_order(collected("REAL-77", patient="someone", at=at)))
    head = record.head()
    for minute in range(0, END_MIN + 1, 90):
        taught.get(f"/morning?min={minute}")
        assert "REAL-77" not in taught.text
        assert "/bench/" not in taught.text, "a link that a class may not open"
    assert record.head() == head
    assert taught.get("/bench").status == taught.get("/bench/tube?specimen=REAL-77").status == 403


def test_the_clock_is_moved_and_what_changed_is_said(taught: Browser) -> None:
    first, last = text_of(taught.get("/morning?min=0")), text_of(taught.get(f"/morning?min={END_MIN}"))
    assert first != last
    assert re.search(r"It is \d\d:\d\d", first)
    assert "After" in last
    assert "only time goes on" in last
    said = text_of(taught.get("/morning?min=150"))
    assert "In the last 15 minutes" in said
    assert re.search(r"INV\d\d-\d (not there|due) → [^:→]+: (due|late|not yet)", said)
    for odd in ("-5", "9999", "1e3", "x"):
        assert taught.get(f"/morning?min={odd}").status == 200


def test_every_line_says_why(taught: Browser) -> None:
    taught.get("/morning")
    rows = re.findall(r'<li id="row-', taught.text)
    assert len(rows) > 10
    assert len(re.findall('<details class="because">', taught.text)) == len(rows)
    assert "from memory of" in taught.text or "published:" in taught.text


def test_at_the_last_deed_it_is_the_board_of_the_invented_morning(record: SpecimenRecord, demo: Site) -> None:
    from cubital.app.bench_board import look_at_board
    from cubital.app.known import Shelf

    now = datetime.datetime(2026, 11, 25, 11, 0, tzinfo=datetime.UTC)
    record._now = lambda: now
    invent_morning(record, demo, now=now)
    view = look_at_board(Shelf(record=record).waiting(), demo, now=now)
    taught = TaughtMorning().look(LAST_DEED_MIN).view
    assert [(x.specimen, x.urgency, x.text) for x in taught.page.lines] == [
        (x.specimen, x.urgency, x.text) for x in view.page.lines
    ]
    assert taught.page.lost == view.page.lost


def test_what_was_late_never_becomes_early_again_while_nobody_does_anything() -> None:
    morning = TaughtMorning()
    gone: set[str] = set()
    for minute in range(LAST_DEED_MIN, END_MIN + 1, 15):
        lost = {f"{id} {test}" for id, tests in morning.look(minute).view.page.lost for test in tests}
        assert gone <= lost
        gone = lost
    assert gone

"""The Bench page without a browser: the board, receipt, spins, adding on; what it shows, takes and refuses."""

from __future__ import annotations

import datetime
import html
import re

import pytest
from starlette.applications import Starlette

from cubital.app.accounts import IDLE, Accounts
from cubital.app.demo_morning import invent_morning
from cubital.app.record import SpecimenRecord
from cubital.model import Site
from cubital.web.application import make_application
from cubital.web.desk import Desk, Settings
from tests.web.conftest import TODAY, Browser

PARTIAL = {"hx-request": "true"}


def text_of(browser: Browser) -> str:
    """The words of the page, one space between."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", browser.text)).split())


@pytest.fixture
def demo_application(accounts: Accounts, record: SpecimenRecord, demo: Site) -> Starlette:
    """The application of the demo site."""
    settings = Settings(is_demo=True)
    return make_application(Desk(demo, accounts, record=record, today=lambda: TODAY, settings=settings))


@pytest.fixture
def bench(demo_application: Starlette) -> Browser:
    """A processor's browser at the demo site, nothing recorded yet."""
    browser = Browser(demo_application)
    assert browser.sign_in("processor").path == "/draw"
    return browser.get("/bench")


@pytest.fixture
def morning(record: SpecimenRecord, demo: Site) -> SpecimenRecord:
    """The record with the invented morning, as of now."""
    invent_morning(record, demo, now=datetime.datetime.now(datetime.UTC))
    return record


def test_an_empty_board_of_the_demo_site_offers_an_invented_morning_once(bench: Browser) -> None:
    assert "Nothing is recorded yet" in bench.text
    bench.post("/bench/demo")
    assert bench.path == "/bench"
    assert "INV05-1" in bench.text
    assert "no patient, no specimen and no time here is real" in bench.text
    assert "Fill in an invented morning" not in bench.text
    bench.post("/bench/demo")
    assert bench.status == 409
    assert "Nothing was recorded" in bench.text


def test_no_other_site_offers_it_or_takes_it(application: Starlette, record: SpecimenRecord) -> None:
    browser = Browser(application)
    browser.sign_in("processor")
    browser.get("/bench")
    assert "invented morning" not in browser.text
    assert "Nothing waits" in browser.text
    assert browser.post("/bench/demo").status == 409
    assert record.head().sequence == 0


def test_the_board_says_what_is_late_what_can_be_saved_and_what_is_lost(
    bench: Browser, morning: SpecimenRecord
) -> None:
    said = text_of(bench.get("/bench"))
    assert re.search(r"■ \d+ min late", said)
    assert re.search(r"Can still be saved: glucose: take it off the cells by \d\d:\d\d", said)
    assert "Lost: refuse these tests and draw again" in said
    assert "INV07-1 ammonia" in said
    ids = re.findall(r'<li id="row-([^"]+)"', bench.text)
    assert ids[:2] == ["INV05-1", "INV11-1"]
    assert "invented-" not in bench.text


def test_only_the_board_is_sent_where_only_it_was_asked(bench: Browser, morning: SpecimenRecord) -> None:
    bench.get("/bench/due", **PARTIAL)
    assert "<html" not in bench.text
    assert 'id="scan"' not in bench.text
    assert "INV05-1" in bench.text


def test_more_lines_than_a_page_holds_are_counted_and_shown_on_request(
    bench: Browser, morning: SpecimenRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cubital.web import bench_page

    monkeypatch.setattr(bench_page, "STEP", 5)
    bench.get("/bench")
    total = sum(int(n) for n in re.findall(r'<li class="(?:late|due|waiting|unknown)[^"]*"><b>(\d+)</b>', bench.text))
    assert len(re.findall('<li id="row-', bench.text)) == 5
    assert f"{total - 5} more" in text_of(bench)
    bench.get("/bench?most=10")
    assert len(re.findall('<li id="row-', bench.text)) == 10
    assert bench.get("/bench?most=-1").status == bench.get("/bench?most=9e9").status == 200


def test_a_board_that_asks_by_itself_keeps_no_session_awake(accounts: Accounts, bench: Browser) -> None:
    begun = datetime.datetime.now(datetime.UTC)
    accounts._now = lambda: begun + IDLE - datetime.timedelta(minutes=1)
    assert bench.get("/bench/due", **PARTIAL).status == 200
    accounts._now = lambda: begun + IDLE + datetime.timedelta(minutes=1)
    answer = bench.client.get("/bench/due", headers=PARTIAL)
    assert (answer.status_code, answer.headers["hx-redirect"]) == (204, "/sign-in")

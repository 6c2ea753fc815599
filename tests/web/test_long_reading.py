"""A large log of orders is read apart from any request: with its progress, stopped when asked, kept only when whole."""

from __future__ import annotations

import io
import time

import pytest
from starlette.applications import Starlette

from cubital.app.accounts import Accounts
from cubital.app.long_reading import LogReadings, Step, Stopped
from cubital.app.order_log import MOST_BAD, ReadLog, read_log
from cubital.app.site_editing import SiteVersions
from cubital.app.wiring import open_site
from cubital.model.site_version import LoggedOrder
from cubital.web.site_page import MOST_AT_ONCE_BYTES
from tests.web.conftest import TODAY, Browser

LOG = ReadLog(orders=(LoggedOrder(body="{}", times=1),), read=1, left_out=0, bad=())
LINE = b'{"tests": ["K"], "patient": {"age": "4 a"}}\n'


def wait_for(is_so: object) -> None:
    ends = time.monotonic() + 60
    while not is_so():  # type: ignore[operator]
        assert time.monotonic() < ends
        time.sleep(0.01)


def test_what_is_read_whole_is_kept_and_what_is_stopped_is_not() -> None:
    readings, kept = LogReadings(), list[ReadLog]()

    def slowly(step: Step) -> ReadLog:
        for done in range(10_000):
            step(done)
            time.sleep(0.001)
        return LOG

    first = readings.start("ada", 10_000, slowly, keep=kept.append)
    wait_for(lambda: first.done > 5)
    assert 0 <= first.percent < 100
    assert not first.is_over
    second = readings.start("ada", 10, lambda step: LOG, keep=kept.append)
    wait_for(lambda: second.is_over)
    assert (first.is_stopped, second.is_stopped, kept, readings.of("ada")) == (True, False, [LOG], second)
    third = readings.start("ada", 10_000, slowly, keep=kept.append)
    readings.forget("ada")
    wait_for(lambda: third.is_over)
    assert (third.is_stopped, kept, readings.of("ada")) == (True, [LOG], None)


def test_one_file_is_read_at_a_time_and_a_defect_of_one_frees_the_next() -> None:
    readings, inside = LogReadings(), list[str]()

    def fail(step: Step) -> ReadLog:
        raise ZeroDivisionError

    def alone(step: Step) -> ReadLog:
        inside.append("x")
        assert len(inside) == 1
        time.sleep(0.05)
        inside.pop()
        return LOG

    broken = readings.start("eve", 1, fail, keep=lambda log: None)
    others = [readings.start(name, 1, alone, keep=lambda log: None) for name in ("ada", "zoe", "kim")]
    wait_for(lambda: all(one.is_over for one in (broken, *others)))
    assert broken.has_failed
    assert not any(one.has_failed for one in others)


def test_a_log_of_something_else_is_left_after_the_first_hundreds_of_lines() -> None:
    seen = 0

    def count() -> None:
        nonlocal seen
        seen += 1

    log = read_log(io.BytesIO(b"x\n" * 100_000), open_site(demo=True), where="log", today=TODAY, step=count)
    assert (log.orders, len(log.bad)) == ((), MOST_BAD)
    assert seen <= MOST_BAD + 1


def test_a_step_that_raises_stops_reading() -> None:
    def stop() -> None:
        raise Stopped

    with pytest.raises(Stopped):
        read_log(io.BytesIO(LINE * 10), open_site(demo=True), where="log", today=TODAY, step=stop)


def test_a_large_log_is_read_apart_from_the_page(
    application: Starlette, sites: SiteVersions, accounts: Accounts
) -> None:
    browser = Browser(application).sign_in("supervisor")
    token = browser.get("/site/orders").token
    data = LINE * (MOST_AT_ONCE_BYTES // len(LINE) + 1)
    browser.client.post("/site/orders", data={"token": token}, files={"log": ("month.jsonl", data)})
    browser.get("/site/orders")
    assert browser.status == 200
    wait_for(lambda: sites.orders())
    wait_for(lambda: "orders read" in browser.get("/site/orders").text)
    assert "1 different ones kept" in browser.text
    assert "being read" not in browser.get("/site/orders").text

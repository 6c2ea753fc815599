"""The board and receipt of a busy day through the pages: whole requests to the ASGI application, in this process.

Ten thousand tubes of an invented day in SQLite; at 14:00 the board is opened, looked at again, and tubes are received.
"""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from time import perf_counter, process_time

from starlette.testclient import TestClient

from bench.board import MORNING, invented_day
from bench.report import Line, show
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_accounts, open_record, open_site, upgrade_store
from cubital.model import Site
from cubital.model.record import Step
from cubital.model.specimen import Collected
from cubital.web.application import make_application
from cubital.web.desk import Desk

SPECIMENS, LOOK_S, RECEIPTS, LOOKS = 10_000, 8 * 3600, 100, 40
BOARD_MS, RECEIPT_MS = 100.0, 20.0
WORDS, HERE = "seven quiet otters", "http://localhost"


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether the board and a receipt answer soon enough."""
    count = SPECIMENS // 10 if is_quick else SPECIMENS
    site = open_site(demo=True)
    with TemporaryDirectory(prefix="bench-") as folder:
        address = str(Path(folder) / "record.db")
        upgrade_store(address)
        now = MORNING + timedelta(seconds=LOOK_S)
        record, accounts = open_record(address, now=lambda: now), open_accounts(address)
        waiting = fill(record, site, count)
        accounts.set_up(accounts.setup_code, "station", WORDS)
        application = make_application(
            Desk(site, accounts, record=record, today=lambda: now.date(), now=lambda: now)
        )
        client = TestClient(application, base_url=HERE, headers={"Origin": HERE})
        page = client.get("/sign-in").text
        client.post("/sign-in", data={"token": _token(page), "name": "station", "password": WORDS})
        lines = _measure(client, waiting)
        entries = record.head().sequence
        record.close()
        accounts.close()
    return show(f"Bench pages, a day of {count:,} specimens, {entries:,} entries by 14:00, whole requests", lines)


def fill(record: SpecimenRecord, site: Site, count: int) -> list[str]:
    """Everything of the day until the look, and which tubes were drawn and not received yet."""
    seen: dict[str, int] = {}
    steps: list[Step] = []
    for happening in invented_day(site, count):
        if happening.at_s > LOOK_S:
            break
        id = happening.event.specimen
        steps.append(Step(event=happening.event, expected=seen.get(id, 0)))
        seen[id] = seen.get(id, 0) + 1
    for start in range(0, len(steps), 500):
        record.append(*steps[start : start + 500])
    drawn = [step.event.specimen for step in steps if isinstance(step.event, Collected)]
    return [id for id in reversed(drawn) if seen[id] == 1]


def _measure(client: TestClient, waiting: list[str]) -> list[Line]:
    first = _timed(client, "/bench")
    looks = [_timed(client, "/bench/due") for _ in range(LOOKS)]
    receipts, after = [], []
    for id in waiting[:RECEIPTS]:
        text = client.get(f"/bench/tube?specimen={id}").text
        form = dict(re.findall(r'type="hidden" name="(token|specimen|key|seen)" value="([^"]*)"', _form(text)))
        form |= {"identifiers": "2", "looked": "1", "labels": "one", "do": "record"}
        begun, own = perf_counter(), process_time()
        answer = client.post("/bench/tube", data=form, follow_redirects=False)
        if answer.status_code == 303:
            receipts.append((1000 * (perf_counter() - begun), 1000 * (process_time() - own)))
        after.append(_timed(client, "/bench/due"))
    return [
        Line("first look of the server, every open specimen read",
             f"of the processor {first[1]:.0f} ms; by the clock {first[0]:.0f} ms"),
        _line("board again, nothing changed", looks, BOARD_MS),
        _line("board after each receipt", after, BOARD_MS),
        _line(f"receipt, {len(receipts)} of {RECEIPTS} recorded", receipts, RECEIPT_MS),
    ]  # fmt: skip


def _line(name: str, spent: list[tuple[float, float]], target_ms: float) -> Line:
    """By the clock and by the processor's own time, which other work on the machine lengthens less; judged by that."""
    clock, own = zip(*spent, strict=True)
    words = f"of the processor {median(own):.1f} ms, {quantiles(own, n=20)[-1]:.1f} ms"
    words += f"; by the clock {median(clock):.1f} ms"
    return Line(f"{name}: median, 95 of 100 within", words, f"{target_ms:g} ms", quantiles(own, n=20)[-1] <= target_ms)


def _timed(client: TestClient, path: str) -> tuple[float, float]:
    begun, own = perf_counter(), process_time()
    answer = client.get(path, headers={"HX-Request": "true"} if path.endswith("due") else {})
    assert answer.status_code == 200, answer.status_code
    return 1000 * (perf_counter() - begun), 1000 * (process_time() - own)


def _form(text: str) -> str:
    return text.partition('id="receive"')[2].partition("</form>")[0]


def _token(text: str) -> str:
    found = re.search(r'name="token" value="([0-9a-f]{64})"', text)
    assert found is not None
    return found[1]

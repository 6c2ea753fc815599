"""The record: one receipt, and a day of 5,000 specimens with the board looked at all the while."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter

from msgspec import structs
from tests.contract.cluster import Cluster
from tests.contract.events import MORNING, Clock, aliquoted, collected, discarded, in_order, judged, received, reported

from bench.report import Line, show
from cubital.app.record import SpecimenRecord
from cubital.app.wiring import open_record, upgrade_store
from cubital.model.record import Step
from cubital.model.specimen import AnyEvent

RECEIPT_MS, BOARD_MS, GROWTH_MB = 20, 100, 10
DAY = 5000
HOURS = 12


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether receipt and board are quick enough and memory stays flat."""
    count = DAY // 10 if is_quick else DAY
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        lines = _measure("SQLite", str(Path(folder) / "record.db"), count)
    cluster = Cluster(is_synced=True)
    try:
        cluster.ask("CREATE DATABASE bench")
        lines += _measure("PostgreSQL", cluster.address("bench"), count)
    finally:
        cluster.remove()
    return show(f"A record with every commit synced, and a day of {count:,} specimens", lines)


def _measure(name: str, address: str, count: int) -> list[Line]:
    upgrade_store(address)
    clock = Clock()
    record = open_record(address, now=clock)
    boards: list[float] = []
    megabytes: list[float] = []
    most_open = 0
    started = perf_counter()
    for number, (moment, steps) in enumerate(_day(count)):
        clock.at = max(clock.at, moment)
        record.append(*steps)
        if number % (count // 10) == 0:
            spent, found = _board(record)
            boards.append(spent)
            most_open = max(most_open, found)
            megabytes.append(_resident_mb())
    day_s = perf_counter() - started
    entries = record.head().sequence
    receipts = _receive_ms(record, clock, 200)
    _fill_the_board(record, clock, count)
    full = median(_board(record)[0] for _ in range(5))
    record.close()
    # The first looks load what is loaded once.
    growth_mb = max(megabytes) - megabytes[2]
    worst, slow = max(boards), quantiles(receipts, n=100)[98]
    return [
        Line(f"{name}: receipt of one tube, median", f"{median(receipts):.1f} ms", f"{RECEIPT_MS} ms",
             median(receipts) <= RECEIPT_MS),
        Line(f"{name}: receipt of one tube, 99 of 100", f"{slow:.1f} ms"),
        Line(f"{name}: {entries:,} entries replayed", f"{day_s:.0f} s"),
        Line(f"{name}: open specimens at any instant (up to {most_open:,})", f"{1000 * worst:.0f} ms at worst",
             f"{BOARD_MS} ms", 1000 * worst <= BOARD_MS),
        Line(f"{name}: open specimens with all {count:,} open at once", f"{1000 * full:.0f} ms", f"{BOARD_MS} ms",
             1000 * full <= BOARD_MS),
        Line(f"{name}: memory over the day", f"{growth_mb:+.1f} MB", f"{GROWTH_MB} MB", growth_mb <= GROWTH_MB),
    ]  # fmt: skip


def _day(count: int) -> Iterator[tuple[datetime, list[Step]]]:
    """Each request of a day in the order of its moments: a tube is open for about three hours."""
    requests = []
    for number in range(count):
        name = f"t{number}"
        at = MORNING + timedelta(seconds=number * HOURS * 3600 // count)
        parts: list[list[AnyEvent]] = [[collected(name, at=at)], [received(name)], [judged(name)]]
        if number % 5 == 0:
            parts.append([aliquoted(name, f"{name}-a", tests=())])
        parts += [[reported(name), reported(name, "sodium")]]
        if number % 2 == 0:
            parts.append([discarded(name)])
        seen = 0
        for minutes, events in zip((0, 20, 30, 60, 180, 300), parts, strict=False):
            moment = at + timedelta(minutes=minutes)
            dated = [structs.replace(event, at=moment) for event in events]
            requests.append((moment, number, in_order(*dated, after=seen)))
            seen += len(events)
    requests.sort(key=lambda request: request[:2])
    yield from ((moment, steps) for moment, _, steps in requests)


def _board(record: SpecimenRecord) -> tuple[float, int]:
    started = perf_counter()
    found = len(record.open_specimens())
    return perf_counter() - started, found


def _receive_ms(record: SpecimenRecord, clock: Clock, count: int) -> list[float]:
    spent = []
    for number in range(count):
        record.append(*in_order(collected(f"m{number}", at=clock.at)))
        started = perf_counter()
        record.append(*in_order(received(f"m{number}", at=clock.at), after=1))
        spent.append(1000 * (perf_counter() - started))
    return spent


def _fill_the_board(record: SpecimenRecord, clock: Clock, count: int) -> None:
    for start in range(0, count, 500):
        numbers = range(start, min(start + 500, count))
        record.append(*(step for n in numbers for step in in_order(collected(f"full{n}", at=clock.at))))


def _resident_mb() -> float:
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("found no VmRSS in /proc/self/status; memory is measured on Linux only")

"""The board of an invented day of 5,000 specimens, looked at through the day and in the worst case.

Times are of the processor, this thread alone, so that another program on the machine does not count.
"""

from __future__ import annotations

import gc
import random
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from time import thread_time
from typing import Any, NamedTuple

from bench.report import Line, show
from cubital.app.wiring import open_site
from cubital.handling.board import Board
from cubital.handling.record import follow, state_of
from cubital.model import Site
from cubital.model.specimen import (
    AnyEvent,
    Collected,
    Judged,
    Received,
    Reported,
    Specimen,
    Spun,
    Stored,
    Verdict,
)  # fmt: skip
from cubital.model.vocabulary import MatrixKey

SPECIMENS = 5_000
OPEN_S = 12 * 3600
MORNING = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
TARGET_MS = 100
# Invented: how often a tube is of which kind, and what is asked of it.
KINDS: tuple[tuple[str, MatrixKey, int, tuple[str, ...]], ...] = (
    ("heparin-gel", "plasma", 40, ("sodium", "potassium", "creatinine", "c-reactive-protein", "troponin-i", "calcium")),
    ("edta", "whole-blood", 30, ("complete-blood-count", "hemoglobin-a1c", "reticulocyte-count")),
    ("serum-gel", "serum", 15, ("thyrotropin", "ferritin", "vitamin-b12", "free-thyroxine", "prolactin")),
    ("citrate", "plasma", 10, ("prothrombin-time", "activated-partial-thromboplastin-time", "d-dimer", "factor-viii")),
    ("fluoride-oxalate", "plasma", 5, ("glucose", "lactate")),
)


class Happening(NamedTuple):
    """One event of the day, in the order of time."""

    at_s: int
    number: int
    event: AnyEvent


def invented_day(site: Site, count: int) -> list[Happening]:
    """Everything that happens to `count` tubes of an invented day: drawn, received, spun, stored, reported."""
    chance = random.Random(5)
    found: list[Happening] = []
    weights = [weight for _, _, weight, _ in KINDS]
    for number in range(count):
        kind, matrix, _, tests = chance.choices(KINDS, weights)[0]
        asked = tuple(chance.sample(tests, chance.randint(1, len(tests))))
        drawn_s = chance.randrange(OPEN_S)
        found += [Happening(s, number, e) for s, e in _one(site, number, kind, matrix, asked, drawn_s, chance)]
    return sorted(found, key=lambda h: (h.at_s, h.number))


def _one(
    site: Site, number: int, kind: str, matrix: MatrixKey, tests: tuple[str, ...], drawn_s: int, chance: random.Random
) -> Iterator[tuple[int, AnyEvent]]:
    of = site.kinds[kind]
    id = f"T{number:05d}"
    at_s = drawn_s

    def said(what: str) -> dict[str, Any]:
        at = MORNING + timedelta(seconds=at_s)
        return {"key": f"{id}/{what}", "specimen": id, "at": at, "by": "bench", "station": "bench"}

    yield at_s, Collected(
        patient=f"P{number // 2}", kind=kind, additive=of.additive, gel=of.gel, matrix=matrix, draw_ul=3000,
        usable_ul=1200, tests=tests, **said("drawn"),
    )  # fmt: skip
    if chance.random() < 0.02:
        return  # a tube that is forgotten on a ward
    at_s += chance.randrange(600, 3000)
    yield at_s, Received(**said("received"))
    verdicts = tuple(Verdict(test=test, outcome="accept") for test in tests)
    yield at_s, Judged(verdicts=verdicts, **said("judged"))
    if matrix != "whole-blood":
        at_s += chance.randrange(900, 3600)
        yield at_s, Spun(rcf_g=1500, spin_s=600, temperature_c=20, **said("spun"))
    if chance.random() < 0.2:
        at_s += chance.randrange(300, 1200)
        yield at_s, Stored(storage="cold", **said("stored"))
    for test in tests:
        at_s += chance.randrange(300, 3600)
        yield at_s, Reported(test=test, volume_ul=10, **said(f"reported {test}"))


def run(*, is_quick: bool) -> bool:
    """Replay the day and measure; whether every look was quick enough and the memory stayed flat."""
    site = open_site()
    count = SPECIMENS // 10 if is_quick else SPECIMENS
    day = invented_day(site, count)
    spent_ms, put_us, busiest = _replay(site, day)
    crowd = [state_of([h.event]) for h in day if isinstance(h.event, Collected)]
    built_ms, worst_ms = _crowd(site, crowd)
    first_kb, last_kb = _memory(site, day)
    worst = max(spent_ms)
    is_flat = last_kb < 1.2 * first_kb
    median = sorted(spent_ms)[len(spent_ms) // 2]
    lines = [
        Line("looks through the day, every 5 min", f"median {median:.1f} ms"),
        Line("  the slowest of them", f"{worst:.1f} ms", f"{TARGET_MS} ms", worst < TARGET_MS),
        Line("  most specimens on the board at once", f"{busiest:,}"),
        Line("taking in one event", f"median {put_us:.0f} us"),
        Line("all tubes waiting, none ever moved: built at once", f"{built_ms:.0f} ms"),
        Line("  slowest look, first or repeated", f"{worst_ms:.1f} ms", f"{TARGET_MS} ms", worst_ms < TARGET_MS),
        Line("memory after a day and after three", f"{first_kb:,} and {last_kb:,} kB", "flat", is_flat),
    ]
    return show(f"Board of a day of {count:,} specimens, {len(day):,} events, processor time", lines)


def _set_apart() -> None:
    """Keep the collector of cycles from walking the script of the day, which no bench holds in memory."""
    gc.collect()
    gc.freeze()


def _replay(site: Site, day: list[Happening]) -> tuple[list[float], float, int]:
    board = Board(site)
    states: dict[int, Specimen] = {}
    spent_ms, put_s, busiest = [], [], 0
    next_look_s = 0
    _set_apart()
    for happening in day:
        while happening.at_s >= next_look_s:
            started = thread_time()
            board.at(MORNING + timedelta(seconds=next_look_s))
            spent_ms.append(1000 * (thread_time() - started))
            busiest = max(busiest, len(board))
            next_look_s += 300
        state = states.get(happening.number)
        started = thread_time()
        states[happening.number] = state = (
            state_of([happening.event]) if state is None else follow(state, happening.event)
        )
        board.put(state)
        put_s.append(thread_time() - started)
    return spent_ms, 1e6 * sorted(put_s)[len(put_s) // 2], busiest


def _crowd(site: Site, specimens: list[Specimen]) -> tuple[float, float]:
    board = Board(site)
    _set_apart()
    started = thread_time()
    board.put_all(specimens)
    built_ms = 1000 * (thread_time() - started)
    looks = []
    for hour in range(49):
        started = thread_time()
        board.at(MORNING + timedelta(hours=hour))
        looks.append(1000 * (thread_time() - started))
    return built_ms, max(looks)


def _memory(site: Site, day: list[Happening]) -> tuple[int, int]:
    """What a board holds after a day and after two more of the same, whose tubes have left it, in kB."""
    board = Board(site)
    tracemalloc.start()
    sizes = []
    for _ in range(3):
        states: dict[int, Specimen] = {}
        for happening in day[:: 1 if len(day) < 10_000 else 4]:
            state = states.get(happening.number)
            if state is None and not isinstance(happening.event, Collected):
                continue
            states[happening.number] = state_of([happening.event]) if state is None else state
            board.put(states[happening.number])
        board.at(MORNING + timedelta(seconds=OPEN_S))
        for state in states.values():
            board.drop(state.id)
        states.clear()
        gc.collect()
        sizes.append(tracemalloc.get_traced_memory()[0] // 1024)
    tracemalloc.stop()
    return sizes[0], sizes[-1]

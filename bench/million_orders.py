"""A million orders of a realistic mix at the shipped directory, on two processes, planned exactly."""

from __future__ import annotations

import resource
from collections.abc import Iterator, Set
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from itertools import accumulate, islice
from multiprocessing import get_context
from pathlib import Path
from random import Random
from time import perf_counter, process_time
from typing import NamedTuple

import cubital
from bench.report import Line, show
from cubital.errors import PlanError
from cubital.model import Ask, Order, Patient, Site
from cubital.model.vocabulary import AccessKey
from cubital.planning import Planner

PROCESSES = 2
TARGET_PER_S = 80_000
TARGET_MB = 1024
MENUS = 4_000
ACCESSES: tuple[AccessKey, ...] = ("straight-needle", "winged-set", "syringe")


class Share(NamedTuple):
    """What one process did: its orders, its seconds of planning by the clock and of its core, its peak memory.

    `worked_out` counts the plans that were not answered from those before.
    """

    orders: int
    spent_s: float
    core_s: float
    peak_mb: float
    worked_out: int


def november() -> frozenset[str]:
    """The keys of tests and panels that the shipped directory had on 25 November 2026."""
    lines = (Path(__file__).parent / "data" / "november_directory.txt").read_text(encoding="utf-8").splitlines()
    return frozenset(line for line in lines if line and line[0] not in "#[")


def menus(random: Random, site: Site, among: Set[str] | None) -> tuple[list[tuple[Ask, ...]], list[float]]:
    """Invented: sets of 1 to 14 tests and panels, some asked far more often than others (as 1 over rank).

    They are taken from the keys `among`, or from the whole directory.
    """
    planner = Planner(site)
    known = site.tests.keys() | site.panels.keys() if among is None else among
    singles = [
        key for key, test in site.tests.items() if key in known and test.culture is None and _is_drawn(planner, key)
    ]
    panels = [
        key for key, panel in site.panels.items() if key in known and not panel.series and _is_drawn(planner, key)
    ]
    found = []
    for _ in range(MENUS):
        keys = random.sample(panels, random.choice((0, 1, 1, 2))) + random.sample(singles, random.randint(1, 12))
        found.append(tuple(Ask(test=key) for key in keys))
    return found, list(accumulate(1 / rank for rank in range(1, MENUS + 1)))


def _is_drawn(planner: Planner, key: str) -> bool:
    """Whether this test or panel can be drawn here by every access, from a child of unknown weight too."""
    try:
        for access in ACCESSES:
            planner.plan(Order(asks=(Ask(test=key),), access=access, patient=Patient(age_h=3 * 8766)))
    except PlanError:
        return False
    return True


def orders(seed: int, count: int, site: Site, among: Set[str] | None = None) -> Iterator[Order]:
    """Invented patients: 2 % in the first year, 10 % children, 88 % adults.

    Nine in ten bring a weight, one in fifty a measured hematocrit.
    """
    asked, weights = menus(Random(1), site, among)
    random = Random(seed)
    for _ in range(count):
        low_y, high_y = random.choices(((0, 1), (1, 18), (18, 95)), cum_weights=(2, 12, 100))[0]
        age_h = int(random.uniform(low_y, high_y) * 8766)
        grown = min(1.0, 0.05 + age_h / 8766 / 18)
        yield Order(
            asks=tuple([Ask(test=ask.test) for ask in random.choices(asked, cum_weights=weights)[0]]),
            patient=Patient(
                age_h=age_h,
                sex=random.choice(("female", "male")),
                weight_g=round(random.gauss(750, 90) * grown) * 100 if random.random() < 0.9 else None,
                hematocrit=Fraction(random.randint(28, 58), 100) if random.random() < 0.02 else None,
            ),
            access=random.choices(ACCESSES, cum_weights=(2, 3, 4))[0],
        )


def plan_share(seed: int, count: int, among: Set[str] | None) -> Share:
    """Plan `count` orders in this process; only the planning is timed, in chunks made before it."""
    site = cubital.read_site()
    planner = Planner(site)
    source = orders(seed, count, site, among)
    spent_s, core_s, done = 0.0, 0.0, 0
    while chunk := list(islice(source, 10_000)):
        started, core_started = perf_counter(), process_time()
        for order in chunk:
            planner.plan(order)
        spent_s += perf_counter() - started
        core_s += process_time() - core_started
        done += len(chunk)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Share(done, spent_s, core_s, peak_mb, planner.worked_out)


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether speed and memory are within their targets."""
    count = 40_000 if is_quick else 1_000_000
    is_met = _measure("the shipped directory", count, None)
    return _measure("its tests of 25 November 2026 alone", count, november()) and is_met


def _measure(directory: str, count: int, among: Set[str] | None) -> bool:
    started = perf_counter()
    with ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn")) as pool:
        shares = list(
            pool.map(plan_share, range(PROCESSES), [count // PROCESSES] * PROCESSES, [among] * PROCESSES)
        )
    whole_s = perf_counter() - started
    orders_done = sum(share.orders for share in shares)
    per_s = orders_done / max(share.spent_s for share in shares)
    core_per_s = orders_done / max(share.core_s for share in shares)
    peak_mb = sum(share.peak_mb for share in shares)
    is_quick_enough = core_per_s >= TARGET_PER_S
    repeated = 1 - sum(share.worked_out for share in shares) / orders_done
    return show(
        f"{count:,} orders of a realistic mix at {directory}, {PROCESSES} processes",
        [
            Line("orders a second, by the cores' time", f"{core_per_s:,.0f}", f"{TARGET_PER_S:,}", is_quick_enough),
            Line("orders a second, by the clock", f"{per_s:,.0f}"),
            Line("answered from a plan before", f"{100 * repeated:.1f} %"),
            Line("peak memory, both processes", f"{peak_mb:,.0f} MB", f"under {TARGET_MB:,} MB", peak_mb < TARGET_MB),
            Line("whole run, making the orders included", f"{whole_s:.0f} s"),
        ],
    )

"""A million orders of a realistic mix at the shipped directory, on two processes, planned exactly."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from itertools import accumulate
from multiprocessing import get_context
from random import Random
from time import perf_counter
from typing import NamedTuple

import cubital
from bench.report import Line, show
from cubital.errors import PlanError
from cubital.model import Ask, Order, Patient, Site
from cubital.model.vocabulary import AccessKey
from cubital.planning import Planner

PROCESSES = 2
TARGET_PER_S = 50_000
TARGET_MB = 1024
MENUS = 4_000
ACCESSES: tuple[AccessKey, ...] = ("straight-needle", "winged-set", "syringe")


class Share(NamedTuple):
    """What one process did: its orders, its seconds of planning, its peak memory and what it repeated."""

    orders: int
    spent_s: float
    peak_mb: float
    questions: int


def menus(random: Random, site: Site) -> tuple[list[tuple[Ask, ...]], list[float]]:
    """Invented: sets of 1 to 14 tests and panels, some asked far more often than others (as 1 over rank)."""
    planner = Planner(site)
    singles = [key for key, test in site.tests.items() if test.culture is None and _is_drawn(planner, key)]
    panels = [key for key, panel in site.panels.items() if not panel.series and _is_drawn(planner, key)]
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


def orders(seed: int, count: int, site: Site) -> Iterator[Order]:
    """Invented patients: 2 % in the first year, 10 % children, 88 % adults.

    Nine in ten bring a weight, one in fifty a measured hematocrit.
    """
    asked, weights = menus(Random(1), site)
    random = Random(seed)
    for _ in range(count):
        low_y, high_y = random.choices(((0, 1), (1, 18), (18, 95)), cum_weights=(2, 12, 100))[0]
        age_h = int(random.uniform(low_y, high_y) * 8766)
        grown = min(1.0, 0.05 + age_h / 8766 / 18)
        yield Order(
            asks=random.choices(asked, cum_weights=weights)[0],
            patient=Patient(
                age_h=age_h,
                sex=random.choice(("female", "male")),
                weight_g=int(random.gauss(75_000, 9_000) * grown) if random.random() < 0.9 else None,
                hematocrit=Fraction(random.randint(28, 58), 100) if random.random() < 0.02 else None,
            ),
            access=random.choices(ACCESSES, cum_weights=(2, 3, 4))[0],
        )


def plan_share(seed: int, count: int) -> Share:
    """Plan `count` orders in this process; only the planning is timed, in chunks made before it."""
    site = cubital.read_site()
    planner = Planner(site)
    source = orders(seed, count, site)
    spent_s, done = 0.0, 0
    while chunk := [order for order, _ in zip(source, range(10_000), strict=False)]:
        started = perf_counter()
        for order in chunk:
            planner.plan(order)
        spent_s += perf_counter() - started
        done += len(chunk)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Share(done, spent_s, peak_mb, 0)


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether speed and memory are within their targets."""
    count = 40_000 if is_quick else 1_000_000
    started = perf_counter()
    with ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn")) as pool:
        shares = list(pool.map(plan_share, range(PROCESSES), [count // PROCESSES] * PROCESSES))
    whole_s = perf_counter() - started
    per_s = sum(share.orders for share in shares) / max(share.spent_s for share in shares)
    peak_mb = max(share.peak_mb for share in shares)
    return show(
        f"{count:,} orders of a realistic mix at the shipped directory, {PROCESSES} processes",
        [
            Line("orders planned exactly in a second", f"{per_s:,.0f}", f"{TARGET_PER_S:,}", per_s >= TARGET_PER_S),
            Line("most memory of a process", f"{peak_mb:,.0f} MB", f"under {TARGET_MB:,} MB", peak_mb < TARGET_MB),
            Line("whole run, making the orders included", f"{whole_s:.0f} s"),
        ],
    )

"""12-test orders, each asked once: our packing, and our whole plan, against both solvers."""

from __future__ import annotations

import gc
from collections.abc import Sequence
from statistics import median
from time import perf_counter
from typing import Any
from unittest.mock import patch

from tests.generators import Case
from tests.oracles.campaign import make_case

from bench.report import Line, show, spread
from bench.solvers import check_equal, fastest_s, instance_of
from cubital.model import Plan
from cubital.planning import Planner
from cubital.planning.packing import pack

TARGET = 50


class _Watch:
    """Stands where the planner calls `pack`, and adds up the time it takes."""

    def __init__(self) -> None:
        self.spent_s = 0.0

    def __call__(self, *args: Any, **named: Any) -> Any:
        started = perf_counter()
        packing = pack(*args, **named)
        self.spent_s += perf_counter() - started
        return packing


def measure(count: int, seed: int = 900) -> tuple[list[float], list[float], dict[str, list[float]]]:
    """Seconds of packing and of planning for each order, and each solver's; equal optima are checked."""
    cases = [make_case("realistic", seed + number, budget=False) for number in range(count)]
    packing_s, plan_s, plans = _plan_all(cases)
    solver_s: dict[str, list[float]] = {}
    for case, plan in zip(cases, plans, strict=True):
        best, proved = fastest_s(instance_of(plan, *case))
        check_equal(plan, *case, proved)
        for name, spent_s in best.items():
            solver_s.setdefault(name, []).append(spent_s)
    return packing_s, plan_s, solver_s


def _plan_all(cases: Sequence[Case]) -> tuple[list[float], list[float], list[Plan]]:
    """Every order planned once, each at a site of its own: nothing is remembered from another."""
    packing_s, plan_s, plans = [], [], []
    watch = _Watch()
    gc.collect()
    gc.disable()
    with patch("cubital.planning.plan.pack", watch):
        for order, site in cases:
            planner = Planner(site)
            watch.spent_s = 0.0
            started = perf_counter()
            plans.append(planner.plan(order))
            plan_s.append(perf_counter() - started)
            packing_s.append(watch.spent_s)
    gc.enable()
    return packing_s, plan_s, plans


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether the targets are met."""
    count = 40 if is_quick else 400
    packing_s, plan_s, solver_s = measure(count)
    ours = f"{1e6 * median(packing_s):.0f} us; the whole plan {1e6 * median(plan_s):.0f} us"
    lines = [Line("our packing, median", ours)]
    for name, times_s in solver_s.items():
        ratios = [theirs / mine for theirs, mine in zip(times_s, packing_s, strict=True)]
        middle, total = median(ratios), sum(times_s) / sum(packing_s)
        lines += [
            Line(f"{name}, median", f"{1e6 * median(times_s):.0f} us"),
            Line(f"{name} / our packing", spread(ratios), f"median {TARGET}", middle >= TARGET),
            Line(f"{name} / our packing, in all", f"{total:.3g}", f"{TARGET}", total >= TARGET),
            Line(f"{name} / our whole plan", spread([a / b for a, b in zip(times_s, plan_s, strict=True)])),
        ]
    return show(f"{count} orders of 12 tests, each asked once, equal optimum every time", lines)

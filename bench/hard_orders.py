"""Hard orders (30 tests on one bench, tight stock, 10 kinds of 3 sizes) against the better solver."""

from __future__ import annotations

from functools import partial
from statistics import median
from time import perf_counter

from tests.oracles.campaign import make_case
from tests.oracles.contract import promise_within, value_of
from tests.oracles.instance import Instance

from bench.report import Line, show, spread
from bench.solvers import SOLVERS, check_equal, fastest_s
from cubital.model import Plan
from cubital.planning import Planner

PASSES = 3


def measure(seeds: range, *, seconds: float, budget: bool = False, passes: int = 1) -> list[float]:
    """For each order our time for the whole plan over the better solver's; over 1 is a loss.

    Every time is the median of the passes, each by a new planner.

    With a budget the patient is a child whose blood limit leaves out some of the tests.
    """
    ratios = []
    for seed in seeds:
        order, site = make_case("hard", seed, budget=budget)
        spent_s = []
        for _ in range(passes):
            planner = Planner(site)
            started = perf_counter()
            plan = planner.plan(order)
            spent_s.append(perf_counter() - started)
        ours_s = median(spent_s)
        if budget:
            ratios.append(ours_s / _promised_s(seed, plan))
            continue
        instance = Instance.of(order, site, minimum=plan.volumes == "minimum")
        best, proved = fastest_s(instance, seconds=seconds, passes=passes)
        check_equal(plan, order, site, proved)
        ratios.append(ours_s / min(best.values()))
    return ratios


def _promised_s(seed: int, plan: Plan) -> float:
    """Seconds of the fastest solver and mode for this limited order: all at typical volumes, else at minimum.

    Raises `AssertionError` where a solver proved another optimum.
    """
    order, site = make_case("hard", seed, budget=True)
    reached, spent_s = value_of(plan, order, site), []
    room_ul = max(0, (plan.totals.limit_ul or 0) - order.patient.drawn_ul)
    for solver in SOLVERS.values():
        for one_sum in (True, False):
            started = perf_counter()
            try:
                solve = partial(solver.solve, one_sum=one_sum)
                promised = promise_within(order, site, solve, plan.objective, room_ul)
            except ValueError:
                continue  # the levels weigh too much for one sum: no mode for this order
            spent_s.append(perf_counter() - started)
            if promised != reached:
                raise AssertionError(f"the plan reached {reached}, a solver {promised}")
    return min(spent_s)


def run(*, is_quick: bool) -> bool:
    """Measure and print; whether no order was slower than the better solver."""
    seeds = range(8 if is_quick else 40)
    ratios = measure(seeds, seconds=30.0, passes=PASSES)
    losses = sum(ratio > 1 for ratio in ratios)
    limited = measure(range(4 if is_quick else 20), seconds=30.0, budget=True, passes=PASSES)
    return show(
        f"{len(seeds)} hard orders: 30 tests on one bench, tight stock, 10 kinds of 3 sizes",
        [
            Line("our whole plan / the better solver", spread(ratios), "at most 1", max(ratios) <= 1),
            Line("orders slower than the better solver", f"{losses} of {len(ratios)}", "0", losses == 0),
            Line("under a blood limit that leaves tests out", spread(limited)),
            Line("slower than the better solver", f"{sum(ratio > 1 for ratio in limited)} of {len(limited)}"),
        ],
    )
